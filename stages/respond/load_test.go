package respond

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// toldBy gives every run of a rotor a load factor that its plateaus saw with a standard uncertainty u of their own, put
// together with 1 ± prior as a balance does.
func toldBy(in *Input, rotor string, prior, u float64, seen ...float64) {
	for i, n := 0, 0; i < len(in.Fits); i++ {
		f := &in.Fits[i]
		if f.Rotor != rotor {
			continue
		}
		f.Source, f.LoadPriorRel = spin.Recorded, prior
		p, w := 1/(prior*prior), 1/(u*u)
		f.LoadFactor, f.LoadFactorU = (p+w*seen[n%len(seen)])/(p+w), 1/math.Sqrt(p+w)
		n++
	}
}

// TestLoadFactor: what all runs expect counts once, what each saw as often as there are runs.
func TestLoadFactor(t *testing.T) {
	const prior = 0.03
	in := made(t, 1)
	if v := loadFactor(in, "bare+prop"); v.Mean != 1 || v.Std() != 0 {
		t.Errorf("no run has an expectation: %v ± %v", v.Mean, v.Std())
	}
	toldBy(in, "bare+prop", prior, 1e6, 1)
	if v := loadFactor(in, "bare+prop"); math.Abs(v.Mean-1) > 1e-9 || math.Abs(v.Std()/prior-1) > 1e-6 {
		t.Errorf("runs that saw nothing: %v ± %v, want 1 ± %v", v.Mean, v.Std(), prior)
	}
	// Six runs of 0.06 each come to 0.06/√6; with 1 ± 0.03 the weights are 1/0.0009 and 6/0.0036.
	toldBy(in, "bare+prop", prior, 0.06, 1.05)
	w, p := 6/(0.06*0.06), 1/(prior*prior)
	v := loadFactor(in, "bare+prop")
	near(t, "mean", v.Mean, (p+w*1.05)/(p+w), 1e-9)
	near(t, "uncertainty", v.Std(), 1/math.Sqrt(p+w), 1e-9)
	near(t, "of the expectation", v.Part("made/rotor:bare+prop/load-factor"), p/(p+w)*prior, 1e-9)
	// Runs ten of their uncertainties apart are not believed to a third of one.
	toldBy(in, "bare+prop", prior, 0.001, 1.04, 1.06)
	near(t, "mean of runs apart", loadFactor(in, "bare+prop").Mean, 1.05, 1e-3)
	near(t, "uncertainty of runs apart", loadFactor(in, "bare+prop").Std(), 0.01*math.Sqrt(6./5)/math.Sqrt(6), 1e-2)
}

// TestSteadyLoadOff: the load of a steady recording made in other air is that of the rises by what these saw of it, and
// the time that a rise takes stays.
func TestSteadyLoadOff(t *testing.T) {
	want := answer(t, made(t, 1), ask("bare+prop")).TimeS.Mean
	for _, off := range []float64{0.95, 1.05} {
		in := made(t, 1)
		c := &in.Curves[2]
		c.Coef = []uncertain.Value{c.Coef[0].Scale(off)}
		toldBy(in, "bare+prop", 0.03, 1e-3, 1/off)
		r := answer(t, in, ask("bare+prop"))
		near(t, "time", r.TimeS.Mean, want, 2e-4)
		if r.TimeS.Part("made/rotor:bare+prop/load-factor~runs") == 0 {
			t.Error("what the runs left unsure of the load is not in the time")
		}
	}
	// In air that is asked for it is what the rises saw, in proportion to the density.
	told := made(t, 1)
	told.Curves[2].Coef = []uncertain.Value{told.Curves[2].Coef[0].Scale(1.05)}
	toldBy(told, "bare+prop", 0.03, 1e-3, 1/1.05)
	told.RiseAir = []RotorAir{{"bare+prop", told.Curves[2].DensityKgM3 / 1.05}}
	known := ask("bare+prop")
	known.DensityKgM3 = uncertain.Exact(told.Curves[2].DensityKgM3 / 1.05)
	near(t, "time in the air of the rises", answer(t, told, known).TimeS.Mean, want, 2e-4)
	// Where theirs is not known it is the steady load, as unsure as any day's.
	off := made(t, 1)
	off.Curves[2].Coef = []uncertain.Value{off.Curves[2].Coef[0].Scale(1.05)}
	toldBy(off, "bare+prop", 0.03, 1e-3, 1/1.05)
	q := ask("bare+prop")
	q.DensityKgM3 = uncertain.Exact(off.Curves[2].DensityKgM3 / 1.05)
	r := answer(t, off, q)
	near(t, "time in the air asked for", r.TimeS.Mean, want, 2e-4)
	if c := r.TimeS.Part("made/rotor:bare+prop/load-factor~asked") / want; c < 0.005 {
		t.Errorf("the load of another day moves the time by %.2g of itself", c)
	}
	// The same without what the rises saw.
	in := made(t, 1)
	in.Curves[2].Coef = []uncertain.Value{in.Curves[2].Coef[0].Scale(1.05)}
	if r := answer(t, in, ask("bare+prop")); math.Abs(r.TimeS.Mean/want-1) < 0.002 {
		t.Errorf("a load 5 %% too large moves the time by %.2g only: this test shows nothing", r.TimeS.Mean/want-1)
	}
}
