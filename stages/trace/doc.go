// Package trace is the points that pages draw: a few hundred a plot, thinned
// from samples and taken from results, so that reports compute nothing.
//
//	Recording  one recording: channels over time (extremes kept), and for steps
//	           the apparent inertia (T(t+τ) − z − λL)/(dω/dt) sample by sample
//	Job        load curves with residuals, the torque-speed plane, runs by
//	           condition and source, the adjustment, disks against geometry
//
// Apparent inertia is for looking, never for releasing: speed is
// differentiated by a straight line through a short window, and where the
// acceleration vanishes the quotient is noise; such points are marked.
package trace
