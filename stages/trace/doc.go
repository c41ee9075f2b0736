// Package trace is the points that pages draw: a few hundred a plot, thinned
// from samples and taken from results, so that reports compute nothing.
//
//	Recording  one recording: channels over time (extremes kept), and for steps
//	           the apparent inertia (T(t+τ) − z − λL)/(dω/dt) moment by moment
//	Job        load curves with residuals, the torque-speed plane, runs by
//	           condition and source, the adjustment, disks against geometry
//
// Apparent inertia is for looking, never for releasing: torque, load and
// acceleration are means over one short window after another, and where the
// acceleration vanishes the quotient is noise; such points are marked.
package trace
