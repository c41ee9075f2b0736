package respond

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// TestRaceSharesCauses: two rotors on one motor differ by far less than their
// times are uncertain, analytically and by draws; one against itself by nothing.
func TestRaceSharesCauses(t *testing.T) {
	in, opt := made(t, 1), Options{Seed: 1, Draws: 400}
	// The motor's torque is common: make it badly known through the current law.
	in.Law.KtNmPerA = uncertain.New(truePlant.kt, 0.05*truePlant.kt, 0, "made/law/kt")
	qa, qb := ask("bare+disk"), ask("bare+prop")
	a, b := Ask(*in, qa, opt), Ask(*in, qb, opt)
	d := Compare(a, b, Times(*in, qa, opt), Times(*in, qb, opt))
	alone := math.Hypot(a.TimeS.Std(), b.TimeS.Std())
	if !d.Told || d.Quicker < 0.999 || d.QuickerDrawn < 0.99 || d.DifferenceS.Std() >= alone {
		t.Errorf("%+v, u %v, unshared %v", d, d.DifferenceS.Std(), alone)
	}
	if d.LowS > d.DifferenceS.Mean || d.HighS < d.DifferenceS.Mean {
		t.Errorf("difference %v outside its draws %v to %v", d.DifferenceS.Mean, d.LowS, d.HighS)
	}
	self := Compare(a, a, Times(*in, qa, opt), Times(*in, qa, opt))
	if self.Told || self.Quicker != 0.5 || self.QuickerDrawn != 0.5 || self.DifferenceS.Std() != 0 {
		t.Errorf("against itself: %+v", self)
	}
}

// pointwise is a response with a curve of the given times at speeds 1, 2, 3 …, each ± 0.01 s.
func pointwise(id string, times ...float64) spin.Response {
	r := spin.Response{Request: spin.ResponseRequest{ID: id, From: 0, To: float64(len(times))}}
	for i, x := range times {
		r.Trace = append(r.Trace, spin.TracePoint{SpeedRadPerS: float64(i + 1), TimeS: uncertain.New(x, 0.01, 0, id)})
	}
	r.TimeS = r.Trace[len(times)-1].TimeS
	return r
}

// TestTurns: the lead turns where both leads can be shown; noise about zero turns nothing.
func TestTurns(t *testing.T) {
	a, b := pointwise("a", 1, 2, 3.2), pointwise("b", 1.1, 2.1, 3.1)
	d := Compare(a, b, nil, nil)
	if len(d.Turns) != 1 || math.Abs(d.Turns[0].SpeedRadPerS-2.5) > 1e-9 || d.Turns[0].LeadsThen != "b" || !d.Told || d.Quicker > 0.001 {
		t.Errorf("%+v", d)
	}
	if d := Compare(pointwise("a", 1, 2.01, 3), pointwise("b", 1.01, 2, 3.01), nil, nil); len(d.Turns) != 0 || d.Told {
		t.Errorf("differences below what can be shown: %+v", d)
	}
}

// TestRanks: b and c tie, a and b tie, a and c do not.
func TestRanks(t *testing.T) {
	a, b, c := pointwise("a", 1), pointwise("b", 1.02), pointwise("c", 1.04)
	duels := []spin.Duel{Compare(a, b, nil, nil), Compare(a, c, nil, nil), Compare(b, c, nil, nil)}
	if got := Ranks([]string{"a", "b", "c"}, duels); got[0] != 1 || got[1] != 1 || got[2] != 2 {
		t.Errorf("ranks %v, want 1 1 2", got)
	}
}

// TestNeverArrives: who never arrives in a draw loses it.
func TestNeverArrives(t *testing.T) {
	low, high, first := drawn([]float64{1, 0, 3, 0}, []float64{2, 2, 0, 0})
	if first != (1+0+1+0.5)/4 || low != -1 || high != -1 {
		t.Errorf("first %v, %v to %v", first, low, high)
	}
}
