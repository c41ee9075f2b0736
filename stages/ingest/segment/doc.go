// Package segment finds what happens when in a recording: rest, plateaus,
// steps, staircases, sweeps and run-downs.
//
// It looks at the speed alone. Speed is the one channel that neither rings with
// the fixture nor drifts, and that every bench has; torque decides nothing
// about where a run lies, so a window can never have been chosen for its result.
//
// Order of work: the speed is smoothed over 10 ms; stretches over which the
// smoothed speed stays within a tolerance are flats; flats that follow each
// other at different speeds are joined by transitions; each transition's 10 %,
// 90 % and 95 % points are found; flats are trimmed away from transitions so
// that the fixture has rung down and the throttle ramp has not begun.
package segment
