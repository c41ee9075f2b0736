package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/series"
)

// TestKept: a view with a memory gives the same bits as one without, asked in any order, again, and with other loads.
func TestKept(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	s := &series.Samples{}
	for i := range 3000 {
		at := float64(i) * 5e-4
		w := 500 + 800/(1+math.Exp(-(at-0.75)/0.03))
		s.TimeS = append(s.TimeS, at)
		s.SpeedRadPerS = append(s.SpeedRadPerS, w+rng.NormFloat64())
		s.TorqueNm = append(s.TorqueNm, 0.01+1e-3*rng.NormFloat64())
	}
	v := NewView(s, 0, len(s.TimeS), 12)
	kept := v.Keep()
	a, b := Window{0.1, 0.5}, Window{1, 1.4}
	tests := []Test{{From: a}, {From: b}, {From: a, To: b, Passage: true}}
	for range 60 {
		f, o := tests[rng.IntN(3)], tests[rng.IntN(3)]
		tau, t0 := 1e-3*float64(rng.IntN(3)), float64(rng.IntN(2))
		load := make([]float64, v.Len())
		for i := range load {
			load[i] = 1e-9 * s.SpeedRadPerS[i] * s.SpeedRadPerS[i] * float64(1+rng.IntN(2))
		}
		if got, want := kept.Integrate(f, tau, t0, load), v.Integrate(f, tau, t0, load); got != want {
			t.Fatalf("%+v at %v, %v: %+v, without memory %+v", f, tau, t0, got, want)
		}
		if got, want := kept.MeanSpeed(f.From), v.MeanSpeed(f.From); got != want {
			t.Fatalf("mean speed %v, without memory %v", got, want)
		}
		if got, want := kept.Overlap(f, o), v.Overlap(f, o); got != want {
			t.Fatalf("overlap %v, without memory %v", got, want)
		}
	}
}
