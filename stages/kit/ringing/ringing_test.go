package ringing

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// TestFind: the frequency of a fixture with 2 % damping after a step in 25 µN·m of noise, and none of one that does not ring.
func TestFind(t *testing.T) {
	step := func(hz float64) *spin.Recording {
		rng := rand.New(rand.NewPCG(3, 4))
		s := &series.Samples{}
		for i := range 2400 {
			t := float64(i) / 2000
			q := 0.001 + 25e-6*rng.NormFloat64()
			if u := t - 0.5; u >= 0 {
				q += 0.02 * math.Exp(-u/0.03)
				if hz > 0 {
					q -= 0.02 * math.Exp(-0.02*2*math.Pi*hz*u) * math.Cos(2*math.Pi*hz*u)
				}
			}
			s.TimeS, s.TorqueNm = append(s.TimeS, t), append(s.TorqueNm, q)
		}
		return &spin.Recording{
			Samples: s, StepS: 1.0 / 2000,
			Segments: []spin.Segment{{Kind: spin.Idle, From: 0, To: 980, ToS: 0.49}, {Kind: spin.Settled, From: 1300, To: 2400, FromS: 0.65, ToS: 1.2}},
			Runs:     []spin.Run{{ID: "a#1", Kind: spin.Step, A: 0, B: 1, C: -1}},
		}
	}
	for _, hz := range []float64{80, 137, 200, 410} {
		got, found := Find(step(hz))
		if !found || math.Abs(got-hz) > 0.03*hz+4 {
			t.Errorf("%g Hz: got %.4g, found %v", hz, got, found)
		}
	}
	if got, found := Find(step(0)); found {
		t.Errorf("a fixture that does not ring: %.4g Hz found", got)
	}
}
