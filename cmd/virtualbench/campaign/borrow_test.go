package campaign

import (
	"math"
	"testing"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/pipeline"
	"spinledger/stages/kit/spin"
)

// TestBorrowed: a propeller recorded on one motor, predicted on another of more torque constant, resistance, bell and
// windage, on another day of another bench: sessions of drawn errors, the truth integrated with the propeller on it.
// The receiving job has no current law (its loads are too small for one), hence a U of some 3.6 %; with its own propeller recorded
// U was 0.5 %, and of 30 sessions 28 were held by their 95 %, off by −0.16 % in the mean.
func TestBorrowed(t *testing.T) {
	const sessions = 3
	for seed := range uint64(sessions) {
		own, other := Nominal(rig.Class22(), 2000), Nominal(rig.Class22(), 2000)
		other.Rotors = []string{"bare", "disk"}
		m := &other.Class.Motor
		m.KtNmPerA, m.ResistanceOhm, m.BellInertia = 1.15*m.KtNmPerA, 1.2*m.ResistanceOhm, 1.4*m.BellInertia
		m.BellWindage.SquareNms2 *= 2
		m.Drag.CoulombNm *= 1.3
		a, err := Build(own, 71000+seed)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Build(other, 72000+seed)
		if err != nil {
			t.Fatal(err)
		}
		from, to := a.Work, b.Work
		to.Job = "other"
		for i := range to.Recordings {
			to.Recordings[i].Declared.Job = "other"
		}
		q := question(other, "prop", Condition{1, 0.7})
		for _, w := range []*pipeline.Work{&from, &to} {
			w.Options.Respond.Draws = 0
			w.Responses = []spin.ResponseRequest{q}
		}
		f, _, err := pipeline.Compute(a.Files, from, 1, nil)
		if err != nil {
			t.Fatal(err)
		}
		g, _, err := pipeline.Compute(b.Files, to, 1, nil)
		if err != nil {
			t.Fatal(err)
		}
		r, _ := g.Borrow(f, q.Rotor, q, to.Options.Respond)
		if r.Refused != "" || r.Stalled {
			t.Fatalf("seed %d: %s", seed, r.Refused)
		}
		fixed := q
		fixed.FinalShare, fixed.To = 0, r.ToRadPerS
		r, _ = g.Borrow(f, q.Rotor, fixed, to.Options.Respond)
		// The propeller is that of the first session, the air that of the second.
		prop := rig.Draw(own.Errors, 71000+seed).Propeller(own.Class.Propeller, 0.6*own.Class.Supply.VoltageV/own.Class.Motor.KtNmPerA)
		b.rotors["prop"] = m.Rotor("prop", prop)
		truth, err := b.spinUp(other, r, r.ToRadPerS)
		if err != nil {
			t.Fatal(err)
		}
		e, u := r.TimeS.Mean/truth.TimeS-1, r.TimeS.Expanded().U/truth.TimeS
		if math.Abs(e) > 1.5*u || u > 0.05 {
			t.Errorf("seed %d: off by %.2g %%, U %.2g %%", seed, 100*e, 100*u)
		}
	}
}
