// Package spin holds the nouns that more than one stage speaks of: what a job
// declares (Bench, Part, Rotor, Declared), what stages hand on (Recording,
// LoadCurve, Evidence, Choice, RunFit, Number, Check), and nothing that
// estimates.
//
// Everything here is plain data without maps, functions or interfaces, so
// that a stage's input can be written down whole: its JSON is the key under
// which the result is kept and the text that an auditor reads. JSON knows no
// NaN and no infinity, hence no such value passes a stage border.
//
// # Number ids
//
// A number is named job/subject/quantity: "weir-2207/prop-5x4.A/inertia". The
// slash of a specimen ("prop-5x4/A") becomes a dot.
//
// # Source names
//
// A source is one physical cause, named the same wherever it acts:
//
//	bench/loft/2026-03-02/scale            torque scale from that calibration
//	parts/disk-40/outer_diameter           one declared dimension
//	weir-2207/session:spring/lag           pooled lag of one session
//	weir-2207/rotor:bare/drag~0            decorrelated drag coefficients
//	weir-2207/rotor:bare/scatter           between-run scatter of the mean
//	weir-2207/mounting:disk/remount        error of putting the rotor together
package spin
