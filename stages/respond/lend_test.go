package respond

import (
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// other is the evidence of a second motor of its own bell and windage, without the propeller, which was
// recorded in thinner air.
func other(t *testing.T) (*Input, plant) {
	t.Helper()
	keepPlant, keepRotors := truePlant, rotors
	defer func() { truePlant, rotors = keepPlant, keepRotors }()
	truePlant.a, truePlant.b, truePlant.emf, truePlant.kt, truePlant.tau = 0.07, -0.07*6.2e-3, 6.2e-3, 6.2e-3, 6e-5
	rotors = append(rotors[:0:0], keepRotors[:2]...)
	rotors[0].j, rotors[0].k = 33e-7, 4e-10
	rotors[1].j, rotors[1].k = 70e-7, 5e-10
	in := made(t, 1)
	in.Job = "second"
	for i := range in.Curves {
		in.Curves[i].DensityKgM3 = 1.10
	}
	return in, truePlant
}

// TestLend: a propeller measured on one motor, on another: inertia and load add up, and the time is that of the
// rotor that nobody has recorded.
func TestLend(t *testing.T) {
	to, motor := other(t)
	from := made(t, 1)
	in, name, err := Lend(*to, *from, "bare+prop")
	if err != nil {
		t.Fatal(err)
	}
	if name != "lent:made/bare+prop" || len(in.Rotors) != 3 || len(to.Rotors) != 2 {
		t.Fatalf("%q, %d rotors, and %d where there were 2", name, len(in.Rotors), len(to.Rotors))
	}
	const added, load = 63e-7 - 25e-7, 1.7e-8 - 2e-10
	p := motor
	p.j, p.load[0], p.v0, p.duty = 33e-7+added, 4e-10+load*1.10/1.19, 14.8, 0.7
	near(t, "inertia", in.Rotors[2].JKgM2.Mean, p.j, 1e-12)
	near(t, "load", in.Curves[2].At(1500), p.load[0]*1500*1500, 1e-9)
	q := ask(name)
	r := Ask(in, q, Options{})
	if r.Refused != "" {
		t.Fatal(r.Refused)
	}
	want := p.up(900, 1500, false, nil).time
	near(t, "time", r.TimeS.Mean, want, 0.003)
	if e := r.TimeS.Expanded().U; math.Abs(r.TimeS.Mean-want) > e {
		t.Errorf("%.5g s ± %.2g, want %.5g", r.TimeS.Mean, e, want)
	}
	// One bench's scale is in both jobs' torques and cancels; the bell that is taken off counts.
	if c := math.Abs(r.TimeS.Part("bench/made/scale")) / r.TimeS.Mean; c > 2e-4 {
		t.Errorf("the scale common to both jobs moves the time by %.2g of itself", c)
	}
	if !r.Release {
		t.Error("all that it rests on is fit for release, and it is not")
	}
}

func TestLendRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(to, from *Input)
		want   string
	}{
		{"no bare motor", func(to, _ *Input) { to.Rotors = to.Rotors[1:] },
			"second: neither inertia nor load of the rotor bare is known there: it takes the bare motor's step and steady recordings in both jobs, and the part's in one"},
		{"no load of the part", func(_, from *Input) { from.Curves = from.Curves[:2] },
			"made: neither inertia nor load of the rotor bare+prop is known there"},
		{"air in one", func(to, _ *Input) { to.Curves[0].DensityKgM3 = 0 }, "the air is stated in one of the jobs only"},
		{"speeds apart", func(to, _ *Input) { to.Curves[0].LowRadPerS, to.Curves[0].HighRadPerS = 3000, 4000 },
			"bare+prop on the motor of second: no speed is covered by the loads of all three rotors"},
	} {
		to, _ := other(t)
		from := made(t, 1)
		c.change(to, from)
		if _, _, err := Lend(*to, *from, "bare+prop"); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// TestDryFriction: friction against the ground is part of the demand, with any form of load.
func TestDryFriction(t *testing.T) {
	for _, form := range []string{spin.FormSquare, spin.FormCubic} {
		in := made(t, 1)
		coef := []uncertain.Value{uncertain.Exact(0), uncertain.Exact(1.7e-8), uncertain.Exact(0)}
		if form == spin.FormSquare {
			coef = coef[1:2]
		}
		c := &in.Curves[2]
		c.Form, c.Dry, c.Coef = form, true, append(coef, uncertain.New(2e-3, 1e-4, 0, "made/dry"))
		m := everything(in, DefaultOptions())
		s, _, refused := m.prepare(ask("bare+prop"))
		if refused != "" {
			t.Fatal(refused)
		}
		near(t, form+" with friction", s.p.demand(1000), 0.017+2e-3, 1e-9)
		if r := m.answer(ask("bare+prop"), Options{}); r.TimeS.Part("made/dry") == 0 {
			t.Errorf("%s: the friction's uncertainty is not in the time", form)
		}
	}
}
