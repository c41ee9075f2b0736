package spin

import (
	"math"
	"testing"

	"spinledger/stages/kit/uncertain"
)

func TestNewRotor(t *testing.T) {
	for id, parts := range map[string][]string{
		"bare": nil, "bare+disk-40": {"disk-40"}, "bare+nut+prop-5x4.A.2": {"nut", "prop-5x4/A.2"},
	} {
		if got := NewRotor(parts); got.ID != id || len(got.Parts) != len(parts) {
			t.Errorf("%v: %+v", parts, got)
		}
	}
}

// TestClassOf: the narrowest class that holds the inertia, whatever the order.
func TestClassOf(t *testing.T) {
	all := []Repeatability{{RunRel: 3}, {UpToKgM2: 20e-7, RunRel: 2}, {UpToKgM2: 2e-7, RunRel: 1}}
	for j, want := range map[float64]float64{1e-7: 1, 2e-7: 1, 2.1e-7: 2, 20e-7: 2, 1e-3: 3} {
		for range len(all) {
			all = append(all[1:], all[0])
			if got, ok := ClassOf(all, j); !ok || got.RunRel != want {
				t.Errorf("%g: class %+v", j, got)
			}
		}
	}
	if _, ok := ClassOf(all[:0], 1); ok {
		t.Error("a class of none")
	}
	if _, ok := ClassOf([]Repeatability{{UpToKgM2: 1e-7}}, 2e-7); ok {
		t.Error("a class too small")
	}
}

// TestLoadCurve: every form against its formula, nothing at rest or below, and dry
// friction while the rotor turns.
func TestLoadCurve(t *testing.T) {
	exact := func(v ...float64) []uncertain.Value {
		var out []uncertain.Value
		for _, x := range v {
			out = append(out, uncertain.Exact(x))
		}
		return out
	}
	const w, ref = 300.0, 1000.0
	x := w / ref
	for _, c := range []struct {
		form string
		coef []uncertain.Value
		want float64
	}{
		{FormNone, nil, 0},
		{FormSquare, exact(0.5), 0.5 * x * x},
		{FormLinearSquare, exact(0.1, 0.4), 0.1*x + 0.4*x*x},
		{FormCubic, exact(0.1, 0.2, 0.3), 0.1*x + 0.2*x*x + 0.3*x*x*x},
		{FormPower, exact(0.5, 1.9), 0.5 * math.Pow(x, 1.9)},
	} {
		l := LoadCurve{Form: c.form, Coef: c.coef, RefRadPerS: ref}
		if got := l.At(w); math.Abs(got-c.want) > 1e-15 || l.At(0) != 0 || l.At(-w) != 0 {
			t.Errorf("%s: %g, want %g; at rest %g, backwards %g", c.form, got, c.want, l.At(0), l.At(-w))
		}
		smooth := l.At(5)
		l.Coef, l.Dry = append(exact(), append(c.coef, uncertain.Exact(0.03))...), true
		if got := l.At(w); math.Abs(got-c.want-0.03) > 1e-15 || l.DryNm(w) != 0.03 || l.At(5) != smooth {
			t.Errorf("%s with friction: %g at speed, %g about rest", c.form, got, l.At(5))
		}
	}
}

// TestMoved: a source moves every coefficient by its own part, and leaves the curve itself.
func TestMoved(t *testing.T) {
	c := LoadCurve{Form: FormLinearSquare, RefRadPerS: 1, Coef: []uncertain.Value{
		uncertain.New(1, 0.1, 0, "a"), uncertain.New(2, 0.2, 0, "b").With(uncertain.Part{Source: "a", Contribution: -0.05}),
	}}
	m := c.Moved("a", 2)
	if m.Coef[0].Mean != 1.2 || m.Coef[1].Mean != 1.9 || c.Coef[0].Mean != 1 || c.Coef[1].Mean != 2 {
		t.Errorf("moved %+v, left %+v", m.Coef, c.Coef)
	}
	if n := c.Moved("c", 1); n.At(0.7) != c.At(0.7) {
		t.Error("an unknown source moves the curve")
	}
}

func TestLookups(t *testing.T) {
	r := Recording{Plateaus: []Plateau{{Segment: 3, N: 7}}}
	if p, ok := r.Plateau(3); !ok || p.N != 7 {
		t.Errorf("plateau %+v", p)
	}
	if _, ok := r.Plateau(0); ok {
		t.Error("a plateau of no segment")
	}
	s := TorqueSource{Coef: []float64{1, -2, 3}, RefRadPerS: 100}
	if got := s.At(50); got != 1-2*0.5+3*0.25 {
		t.Errorf("torque source %g", got)
	}
	if d := (Declared{Job: "j", Name: "a"}); d.ID() != "j/a" {
		t.Errorf("id %q", d.ID())
	}
}
