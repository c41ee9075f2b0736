package segment

import (
	"fmt"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// Thresholds, each with its reason. Lengths are in s.
const (
	// smoothS averages out period quantisation and telemetry steps while
	// staying below the rise time of the fastest bare rotor worth measuring (26 ms).
	smoothS = 0.010
	// flatWindowS: a speed that stays within tolerance for this long is settled
	// for a rotor with a rise constant up to about 70 ms.
	flatWindowS = 0.060
	// flatShare of the recording's speed span is the tolerance: half the
	// smallest step (3 %) that still counts as a transition.
	flatShare = 0.015
	// minFlatS is the shortest stretch that is called a plateau before trimming.
	minFlatS = 0.080
	// minStepShare of the span: smaller changes of level are not runs.
	minStepShare = 0.08
	// restShare of the top speed: slower is standing still (the speed channel
	// reads 0 or its last period there).
	restShare = 0.005

	// MinIdleS and MinSettledS are the shortest plateaus after trimming from
	// which zero and load can be told: at 25 µN·m noise and 1 kHz, 0.12 s give
	// the mean torque to 2.3 µN·m. About 0.1 s more goes to trimming.
	MinIdleS    = 0.12
	MinSettledS = 0.12
)

// Range is what a long recording's earlier stretches showed; its zero value knows nothing.
type Range struct {
	// SpanRadPerS and TopRadPerS are the largest so far.
	SpanRadPerS, TopRadPerS float64
	// SpanShare of the top speed is the least span, so that a stretch without any
	// step does not take its noise for steps. 0 for a whole recording.
	SpanShare float64
	// Runs is the number of runs so far.
	Runs int
}

// Result is what Find saw. Plateau entries carry no recording id yet when the
// declaration has no name.
type Result struct {
	Segments []spin.Segment
	Plateaus []spin.Plateau
	Runs     []spin.Run
	Warnings []spin.Warning
	Refusals []spin.Refusal
	// Range with this stretch's.
	Range Range
}

// finder is the state of one Find.
type finder struct {
	s   *series.Samples
	d   spin.Declared
	out Result

	step   float64   // median sampling interval, s
	smooth []float64 // speed over smoothS
	span   float64   // 2 % to 98 % range of the smoothed speed, rad/s
	top    float64   // 98 % point, rad/s
	noise  float64   // robust standard deviation of the smoothed speed about its course
}

// Find divides a recording of the declared kind into segments and runs. It
// reads time, speed and whatever channels plateaus summarise; samples are not
// changed. A recording without usable runs gives refusals that say what is
// missing, never an error. Fewer than 16 samples or no speed give a refusal.
func Find(s *series.Samples, d spin.Declared) Result { return FindWithin(s, d, Range{}) }

// FindWithin is Find for a stretch of a recording of which before is known.
func FindWithin(s *series.Samples, d spin.Declared, before Range) Result {
	f := &finder{s: s, d: d, out: Result{Range: before}}
	if len(s.SpeedRadPerS) < 16 || len(s.SpeedRadPerS) != len(s.TimeS) {
		f.refuse("no-speed", fmt.Sprintf("%d samples of speed; a run needs at least 16", len(s.SpeedRadPerS)), 0, 0)
		return f.out
	}
	f.prepare()
	if !(f.top > 1) {
		f.refuse("no-motion", fmt.Sprintf("the rotor never turns faster than %.3g rad/s", f.top), 0, 0)
		return f.out
	}
	switch d.Kind {
	case spin.Step:
		f.steps()
	case spin.Steady:
		f.staircase()
	case spin.Sweep:
		f.sweep()
	case spin.Coast:
		f.coast()
	default:
		f.refuse("kind", fmt.Sprintf("kind %q is not one of %v", d.Kind, spin.Kinds()), 0, 0)
	}
	f.out.Range.Runs += len(f.out.Runs)
	return f.out
}

func (f *finder) refuse(code, text string, value, limit float64) {
	f.out.Refusals = append(f.out.Refusals, spin.Refusal{
		Stage: "ingest", Code: code, Subject: f.d.ID(), Text: text, Value: value, Limit: limit,
	})
}

// add appends a segment and its plateau summary when it is a flat; it returns the index.
func (f *finder) add(kind string, from, to int, flat bool) int {
	seg := spin.Segment{Kind: kind, From: from, To: to, FromS: f.s.TimeS[from], ToS: f.s.TimeS[to-1]}
	f.out.Segments = append(f.out.Segments, seg)
	i := len(f.out.Segments) - 1
	if flat {
		p := Summarise(f.s, seg)
		p.Recording, p.Segment = f.d.ID(), i
		f.out.Plateaus = append(f.out.Plateaus, p)
	}
	return i
}
