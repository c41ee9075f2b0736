package respond

import (
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

// ramped are the made-up rises with a throttle that rises slowly, which no channel shows.
func ramped(t *testing.T, rampS float64) *Input {
	t.Helper()
	in := made(t, 1)
	for i := range in.Evidence {
		e := &in.Evidence[i]
		for n := range e.Runs {
			p := truePlant
			for _, r := range rotors {
				if r.id == e.Rotor {
					p.j, p.load[0] = r.j, r.k
				}
			}
			p.v0, p.duty, p.ramp = e.Runs[n].SupplyV, e.Runs[n].Duty, rampS
			e.Runs[n], _, _ = risen(t, p, 0.03, 0, e.Runs[n].Run)
		}
	}
	return in
}

// TestThrottleThatRises: what comes after a ramp gives the torque that hard steps give; the ramp
// itself is left out, said so, and its rises are foretold from where it has ended.
func TestThrottleThatRises(t *testing.T) {
	hard := everything(made(t, 1), DefaultOptions())
	if hard.cutS != 0 {
		t.Fatalf("hard steps lose their first %g s", hard.cutS)
	}
	for _, ramp := range []float64{0.01, 0.025} {
		m := everything(ramped(t, ramp), DefaultOptions())
		if m.surface == nil {
			t.Fatalf("%g s: %s", ramp, m.noSurface)
		}
		if m.rampS < ramp || m.rampS > ramp+0.03 {
			t.Errorf("a ramp of %g s is taken for %g s", ramp, m.rampS)
		}
		near(t, "gain", m.surface.coef[gain], truePlant.a, 0.01)
		near(t, "back-EMF", m.surface.emf, hard.surface.emf, 0.01)
		for _, r := range rotors {
			q := ask(r.id)
			q.Extrapolate = true
			p := truePlant
			p.j, p.load[0], p.v0, p.duty = r.j, r.k, 14.8, 0.7
			got, want := m.answer(q, Options{}).TimeS, p.up(900, 1500, false, nil).time
			if math.Abs(got.Mean-want) > got.Expanded().U || got.Expanded().U > 0.05*want {
				t.Errorf("%g s, %s: %g ± %g s, want %g", ramp, r.id, got.Mean, got.Expanded().U, want)
			}
		}
		told := 0
		for _, p := range m.predictions() {
			if p.Refused != "" {
				continue
			}
			told++
			if math.Abs(p.PredictedS.Mean-p.RecordedS) > p.PredictedS.Expanded().U+1e-3*p.RecordedS {
				t.Errorf("%g s, %s: predicted %g ± %g s, recorded %g s", ramp, p.Run, p.PredictedS.Mean, p.PredictedS.Expanded().U, p.RecordedS)
			}
		}
		if told == 0 {
			t.Errorf("%g s: no rise is foretold", ramp)
		}
	}
	out, err := Run(*ramped(t, 0.025), Options{})
	if err != nil || len(out.Warnings) == 0 || !strings.Contains(out.Warnings[len(out.Warnings)-1].Text, "the throttle was still rising") {
		t.Errorf("nothing is said of a ramp: %v %+v", err, out.Warnings)
	}
	if m := everything(ramped(t, 0.5), DefaultOptions()); m.surface != nil || m.noSurface != errThrottle.Error() {
		t.Errorf("a ramp longer than all rises gives a torque: %v %q", m.surface != nil, m.noSurface)
	}
}

// TestSaved: what a ramp saves of the loss in the windings, against integration of the current through a
// linear motor.
func TestSaved(t *testing.T) {
	for _, ramp := range []float64{0.001, 0.02, 0.05, 0.3} {
		x := exponential{ohm: 0.1, begin: 20, end: 3, tau: 0.05, from: 100, to: 900, rampS: ramp}
		// Excess current e: de/dt = (d/ramp while it lasts) − e/tau.
		rates := func(at float64, y, d []float64) {
			d[0] = -y[0] / x.tau
			if at < ramp {
				d[0] += (x.begin - x.end) / ramp
			}
			d[1] = x.ohm * (2*x.end*y[0] + y[0]*y[0])
		}
		path, err := numeric.Advance(rates, 0, []float64{0, 0}, 3, nil, numeric.Tolerance{Rel: 1e-8, Abs: []float64{1e-8, 1e-10}, MaxSteps: 20000})
		if err != nil {
			t.Fatal(err)
		}
		_, y := path.End()
		near(t, "loss", x.total(), y[1], 1e-5)
	}
}
