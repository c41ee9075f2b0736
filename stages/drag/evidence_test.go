package drag

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
)

// jitter is a fixed series between −1 and 1 that no smooth curve follows.
func jitter(i int) float64 { return math.Mod(0.6180339887*float64(i*i+3*i+1), 1)*2 - 1 }

// set is a staircase up and down over ten levels from 100 to 1000 rad/s with
// the load of the given law, N·m at x = ω/1000, a zero, a drift and noise.
func set(name string, kind spin.Kind, load func(x float64) float64, zero, drift, noise float64) Set {
	s := Set{Recording: name, Kind: kind}
	for i := range 20 {
		x := 0.1 * float64(min(i, 19-i)+1)
		at := 2 * float64(i)
		s.Plateaus = append(s.Plateaus, spin.Plateau{
			Recording: name, Kind: spin.Level, N: 1000, MidS: at, SpanS: 1, SpeedRadPerS: 1000 * x,
			TorqueNm: load(x) + zero + drift*at + noise*jitter(i), TorqueSE: noise / math.Sqrt(3),
		})
	}
	return s
}

// TestFormByEvidence: the law that made the levels is the law that is taken.
// Exponents 1.86 to 2.17 are the 5 to 95 % range of the static torque of small propellers
// (static rows of the UIUC propeller database; calc).
func TestFormByEvidence(t *testing.T) {
	for _, c := range []struct {
		form string
		law  func(x float64) float64
	}{
		{spin.FormSquare, func(x float64) float64 { return 0.5 * x * x }},
		{spin.FormPower, func(x float64) float64 { return 0.5 * math.Pow(x, 1.86) }},
		{spin.FormPower, func(x float64) float64 { return 0.5 * math.Pow(x, 2.17) }},
		{spin.FormLinearSquare, func(x float64) float64 { return 0.1*x + 0.4*x*x }},
		{spin.FormCubic, func(x float64) float64 { return 0.1*x + 0.1*x*x + 0.3*x*x*x }},
	} {
		const noise = 2e-5
		out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{set("s", spin.Steady, c.law, 0.02, 1e-4, noise)}}, DefaultOptions())
		if err != nil || out.Curve == nil {
			t.Fatalf("%s: %v %+v", c.form, err, out.Refusals)
		}
		if out.Curve.Form != c.form || out.Curve.Basis != "steady" || out.Curve.Levels != 10 {
			t.Errorf("made by %s, taken for %s (%s, %d levels): %+v", c.form, out.Curve.Form, out.Curve.Basis, out.Curve.Levels, out.Curve.Candidates)
		}
		for _, x := range []float64{0.1, 0.35, 0.7, 1} {
			if got, want := out.Curve.At(1000*x), c.law(x); math.Abs(got-want) > 5*noise {
				t.Errorf("%s at x = %.2f: %.7g, want %.7g", c.form, x, got, want)
			}
		}
	}
}

// TestNeverGuessed: no steady recording and no declared form, no curve.
func TestNeverGuessed(t *testing.T) {
	square := func(x float64) float64 { return 0.5 * x * x }
	in := Input{Job: "j", Rotor: "bare+disk", Sets: []Set{set("steps", spin.Step, square, 0, 0, 1e-5)}}
	out, err := Run(in, DefaultOptions())
	if err != nil || out.Curve != nil || len(out.Refusals) != 1 {
		t.Fatalf("%v %+v", err, out)
	}
	if r := out.Refusals[0]; r.Code != "no-steady" || r.Subject != "j/rotor:bare+disk" || r.Waivable || !strings.Contains(r.Text, "no form declared under options.drag.form") {
		t.Errorf("%+v", r)
	}
	opt := DefaultOptions()
	opt.Form = spin.FormSquare
	if out, err = Run(in, opt); err != nil || out.Curve == nil || out.Curve.Basis != "plateaus" {
		t.Fatalf("with a form: %v %+v", err, out)
	}
	if got := out.Curve.At(700); math.Abs(got-0.245) > 1e-4 {
		t.Errorf("load at 700 rad/s: %.7g, want 0.245", got)
	}
}

// TestDensity: levels of two days in air of 1.0 and 1.2 kg/m³ give the load at the mean density.
func TestDensity(t *testing.T) {
	thin := set("thin", spin.Steady, func(x float64) float64 { return 0.5 * x * x }, 0.01, 0, 1e-5)
	thick := set("thick", spin.Steady, func(x float64) float64 { return 0.6 * x * x }, -0.03, 0, 1e-5)
	thin.DensityKgM3, thick.DensityKgM3 = 1.0, 1.2
	out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{thin, thick}}, DefaultOptions())
	if err != nil || out.Curve == nil {
		t.Fatal(err, out.Refusals)
	}
	if got := out.Curve.At(1000); out.Curve.Form != spin.FormSquare || math.Abs(got-0.55) > 1e-4 || math.Abs(out.Curve.DensityKgM3-1.1) > 1e-12 {
		t.Errorf("%s, %.6g N·m at %.6g kg/m³; want square, 0.55 at 1.1", out.Curve.Form, got, out.Curve.DensityKgM3)
	}
}

// TestDryFriction: a constant is told from the torque zero by rest, and only by rest.
func TestDryFriction(t *testing.T) {
	const friction, zero, noise = 0.03, 0.02, 2e-5
	opt := DefaultOptions()
	opt.DryFriction = true
	turning := set("s", spin.Steady, func(x float64) float64 { return 0.5*x*x + friction }, zero, 0, noise)
	out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{turning}}, opt)
	if err != nil || out.Curve != nil || len(out.Refusals) != 1 || out.Refusals[0].Code != "dry-no-rest" || !strings.Contains(out.Refusals[0].Text, "options.drag.dry_friction") {
		t.Fatalf("without rest: %v, %+v", err, out)
	}
	rested := turning
	rested.Plateaus = append([]spin.Plateau{{Recording: "s", Kind: spin.Rest, N: 1000, MidS: -2, SpanS: 1, TorqueNm: zero, TorqueSE: noise}}, turning.Plateaus...)
	out, err = Run(Input{Job: "j", Rotor: "bare", Sets: []Set{rested}}, opt)
	if err != nil || out.Curve == nil {
		t.Fatalf("%v %+v", err, out.Refusals)
	}
	c := *out.Curve
	if c.Form != spin.FormSquare || !c.Dry || len(c.Coef) != 2 {
		t.Fatalf("curve %+v", c)
	}
	u := c.Coef[1].Std()
	if d := c.DryNm(500) - friction; math.Abs(d) > 3*u || u > 1e-3 {
		t.Errorf("friction is %g off, u %g", d, u)
	}
	if c.At(0) != 0 || math.Abs(c.At(1000)-0.53) > 3*noise*math.Sqrt2+3*u {
		t.Errorf("load at rest %g, at the top %g", c.At(0), c.At(1000))
	}
}

// TestRestApart: where rest shows another zero than the levels lead to, the rest is left out, said so, and the curve is that of the levels; where it
// shows the same, or by no more than a level's floor, it belongs to them.
func TestRestApart(t *testing.T) {
	const zero, noise = 0.02, 2e-5
	law := func(x float64) float64 { return 0.5 * x * x }
	for _, c := range []struct {
		off   float64
		apart bool
	}{{0, false}, {1e-5, false}, {0.005, true}, {0.05, true}, {-0.05, true}} {
		s := set("s", spin.Steady, func(x float64) float64 { return law(x) + c.off }, zero, 1e-4, noise)
		for i, at := range []float64{-2, 40} {
			s.Plateaus = append(s.Plateaus, spin.Plateau{Recording: "s", Kind: spin.Rest, N: 1000, MidS: at, SpanS: 1, TorqueNm: zero + 1e-4*at + noise*jitter(30+i), TorqueSE: noise / math.Sqrt(3)})
		}
		out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{s}}, DefaultOptions())
		if err != nil || out.Curve == nil {
			t.Fatalf("%v %+v", err, out.Refusals)
		}
		warned, said := len(out.Warnings) == 1 && out.Warnings[0].Code == "rest-apart", 0.0
		if warned {
			fmt.Sscanf(out.Warnings[0].Text, "its levels, followed down to rest, end %g mN·m", &said)
		}
		if warned != c.apart || c.apart && math.Abs(said/(1e3*c.off)-1) > 0.02 || !c.apart && len(out.Warnings) > 0 || out.Curve.Dry {
			t.Errorf("%g N·m off: warnings %+v", c.off, out.Warnings)
		}
		for _, x := range []float64{0.1, 0.35, 0.7, 1} {
			if got, want := out.Curve.At(1000*x), law(x); out.Curve.Form != spin.FormSquare || math.Abs(got-want) > 8*noise {
				t.Errorf("%g N·m off, %s at x = %.2f: %.7g, want %.7g", c.off, out.Curve.Form, x, got, want)
			}
		}
	}
}
