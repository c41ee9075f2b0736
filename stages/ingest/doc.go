// Package ingest turns the rows of a recording into SI units on a clean clock
// and says everything that was odd about them.
//
// # Order of work (Run)
//
//  1. Every file's rows are read; cells become SI by the bench's channel map.
//     Stamps stay integers as long as they are, so that a clock that started
//     years ago loses no digits.
//  2. Each file's clock is cleaned: counters that wrapped are unwrapped, rows that
//     changed places with a neighbour are sorted, repeated rows are dropped.
//     Time that runs backwards any other way is an error. Gaps are counted, not filled.
//  3. Files on other clocks are brought onto the clock of the torque channel: t =
//     rate·stamp + offset, then linear interpolation.
//  4. Speed: electrical speed over pole pairs, pulses over pulses a turn, sign by sense of
//     rotation. Isolated impossible readings (a missed or doubled edge, a
//     dropped reading) are replaced by interpolation and counted.
//  5. Torque: cell × gain of the calibration of that sense of rotation, sign by
//     sense, cross-talk taken off where thrust was recorded. Its zero stays in, and no
//     torque sample is ever replaced: a ringing fixture looks like spikes. Values of
//     a converter slower than the logger are dated by its own period (renewed.go).
//  6. Package segment finds rest, plateaus, steps and runs.
//
// # Signs
//
// Channel.Sign makes a torque positive that speeds the rotor up in the ccw sense;
// turning cw flips it, so that Samples.TorqueNm is positive whenever the rotor
// is sped up in its declared sense. Speed channels are magnitudes as a rule:
// they are kept so unless they hold both signs or only negative values.
//
// # Errors and refusals
//
// An error is returned for what cannot be read: it has file, line and column.
// What can be read but gives no number is a Refusal in the result; what was
// seen and put right, or merely seen, is a Warning.
package ingest

// Method is the version of this stage: it changes whenever its numbers can.
const Method = "ingest/7"
