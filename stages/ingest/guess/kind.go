package guess

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/ingest/segment"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

const (
	// staircaseLevels: a steady recording has at least this many distinct speeds, a step two.
	staircaseLevels = 5
	// sameLevel is the share of the top speed within which two levels are one.
	sameLevel = 0.02
	// cutDuty: less throttle than this is none.
	cutDuty = 0.02
	// sweepS is the shortest loading worth the name.
	sweepS = 1.0
	// abruptS: a step's rise is shorter, a brake's loading longer.
	abruptS = 1.5
)

// Kind says what kind of recording the samples show, and why; empty where
// they show none. The declaration d gives the name for messages only.
func Kind(s *series.Samples, d spin.Declared) (spin.Kind, Note) {
	find := func(k spin.Kind) segment.Result {
		d.Kind = k
		return segment.Find(s, d)
	}
	steady := find(spin.Steady)
	if n := distinct(steady.Plateaus); n >= staircaseLevels {
		return spin.Steady, Note{About: "kind", Text: fmt.Sprintf("steady: %d settled speeds", n), Sure: true}
	}
	steps := find(spin.Step)
	n, abrupt := 0, 0
	for _, r := range steps.Runs {
		if r.A >= 0 && r.B >= 0 {
			n++
			if r.RiseS < abruptS {
				abrupt++
			}
		}
	}
	sweep, slow := find(spin.Sweep), Note{About: "kind", Text: "sweep: the speed is drawn slowly through its range at one throttle", Sure: true}
	// A sweep may end in a run-down with the throttle cut; a run-down holds no sweep.
	if s.Duty != nil && swept(s, sweep) {
		return spin.Sweep, slow
	}
	coast := find(spin.Coast)
	if ok, why := runsDown(s, coast, n); ok {
		return spin.Coast, Note{About: "kind", Text: why, Sure: true}
	}
	if abrupt > 0 {
		return spin.Step, Note{About: "kind", Text: fmt.Sprintf("step: %d transients between plateaus", n), Sure: true}
	}
	if swept(s, sweep) {
		return spin.Sweep, slow
	}
	for _, r := range slices.Concat(steps.Refusals, steady.Refusals) {
		return "", Note{About: "kind", Text: "none recognised: " + r.Text, Sure: false}
	}
	return "", Note{About: "kind", Text: "none recognised", Sure: false}
}

// distinct counts speeds that differ by more than sameLevel of the fastest.
func distinct(p []spin.Plateau) int {
	var speeds []float64
	for _, x := range p {
		speeds = append(speeds, x.SpeedRadPerS)
	}
	slices.Sort(speeds)
	n := 0
	for i, v := range speeds {
		if v > 1 && (n == 0 || v-speeds[i-1] > sameLevel*speeds[len(speeds)-1]) {
			n++
		}
	}
	return n
}

// runsDown is true for a run-down to a standstill with the current cut: the
// throttle says so where it was recorded; without it, a recording that steps up
// and returns is a step.
func runsDown(s *series.Samples, r segment.Result, steps int) (bool, string) {
	for _, run := range r.Runs {
		if run.B < 0 {
			continue
		}
		seg := r.Segments[run.B]
		if s.Duty != nil {
			if numeric.Median(s.Duty[seg.From:seg.To]) < cutDuty {
				return true, fmt.Sprintf("coast: the throttle is cut and the speed falls to 15 %% in %.3g s", run.RiseS)
			}
			continue
		}
		if run.C >= 0 && steps <= 1 {
			return true, fmt.Sprintf("coast: the speed falls to a standstill, to 15 %% in %.3g s", run.RiseS)
		}
	}
	return false, ""
}

// swept is true for a loading of at least sweepS at one throttle.
func swept(s *series.Samples, r segment.Result) bool {
	for _, seg := range r.Segments {
		if seg.Kind == spin.Loading && seg.ToS-seg.FromS >= sweepS {
			if s.Duty == nil {
				return true
			}
			d := s.Duty[seg.From:seg.To]
			return numeric.Median(d) > cutDuty && math.Abs(numeric.Quantile(d, 0.98)-numeric.Quantile(d, 0.02)) < 0.02
		}
	}
	return false
}
