package fit

import (
	"math"
	"spinledger/stages/kit/spin"
	"testing"

	"spinledger/stages/kit/uncertain"
)

// lagging is input with a propeller whose inflow carries the share f of its load and
// lags by c radians, and with plateaus too short for it to settle. The inflow is
// integrated here in steps of a hundredth of the sampling interval, by Heun's rule.
func lagging(f, c float64) Input {
	in := input(1, 0, 0, 0)
	in.Propeller = true
	s := in.Recording.Samples
	const parts = 100
	v := s.SpeedRadPerS[0]
	for i, w := range s.SpeedRadPerS {
		s.TorqueNm[i] -= f * loadK * w * (w - v)
		if i+1 == s.Len() {
			break
		}
		next := s.SpeedRadPerS[i+1]
		for k := range parts {
			a, b := w+(next-w)*float64(k)/parts, w+(next-w)*float64(k+1)/parts
			h := stepS / parts
			r1 := a * (a - v) / c
			r2 := b * (b - v - h*r1) / c
			v += h * (r1 + r2) / 2
		}
	}
	seg := in.Recording.Segments
	const from, to = 1.205, 1.265
	seg[1].FromS, seg[1].ToS, seg[1].From, seg[1].To = from, to, int(from/stepS), int(to/stepS)
	in.Recording.Runs[0].C = -1
	return in
}

// A lagging inflow is the virtual inertia −f·k·c (load as the square of speed), whatever the
// plateaus' length; without the correction short ones leave 0.07 % of J in the result.
func TestInflowLeftOnShortPlateaus(t *testing.T) {
	const f, c = 0.25, 10
	want := truthJ - f*loadK*c
	in := lagging(f, c)
	opt := DefaultOptions()
	opt.Inflow = spin.Inflow{FLow: f, FHigh: f, CLow: c, CHigh: c}
	result := func() uncertain.Value {
		t.Helper()
		out, err := Run(in, opt)
		if err != nil || len(out.Fits) != 1 {
			t.Fatalf("%v, %d fits, refused %+v", err, len(out.Fits), out.Refusals)
		}
		return out.Fits[0].JKgM2
	}
	near(t, "inflow known", result().Mean, want, 3e-4)
	opt.Inflow = DefaultOptions().Inflow
	ranged := result()
	u := 0.0
	for _, p := range ranged.Parts {
		if p.Source == "j/rotor:bare/inflow-tail" {
			u = p.Contribution
		}
	}
	if d := ranged.Mean - want; !(math.Abs(d) < 2*u) || !(u < 5e-3*want) {
		t.Errorf("inflow in its range: off by %.3g, inflow-tail %.3g", d/want, u/want)
	}
	in.Propeller = false
	if d := result().Mean/want - 1; !(math.Abs(d) > 5e-4) {
		t.Errorf("uncorrected only %.2g off: the test's plateaus are long enough, it shows nothing", d)
	}
}

// An inflow that had time to settle needs no correction.
func TestInflowSettled(t *testing.T) {
	in := input(1, 0, 0, 0)
	plain := fitted(t, in).JKgM2.Mean
	in.Propeller = true
	opt := DefaultOptions()
	opt.Inflow = spin.Inflow{FLow: 0.2, FHigh: 0.2, CLow: 0.5, CHigh: 0.5}
	out, err := Run(in, opt)
	if err != nil || len(out.Fits) != 1 {
		t.Fatal(err, out.Refusals)
	}
	near(t, "settled", out.Fits[0].JKgM2.Mean, plain, 2e-4)
}
