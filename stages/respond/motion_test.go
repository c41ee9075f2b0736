package respond

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.10g, want %.10g within %.1g", what, got, want, rel)
	}
}

// TestSpinUpByFormula: constant torque against a square load, ω = ω∞·tanh(t/τ),
// ω∞ = √(T0/k), τ = J/√(T0·k): J 2e-4 kg·m², T0 0.5 N·m, k 1e-6 N·m·s² gives 90 % at
// 0.41640655 s and 99 % at 0.74858635 s. Closed form, figures calculated.
func TestSpinUpByFormula(t *testing.T) {
	p := plant{j: 2e-4, form: spin.FormSquare, load: [3]float64{1e-6}, ref: 1, ratio: 1, a: 0.5, v0: 1, duty: 1}
	final := math.Sqrt(0.5 / 1e-6)
	near(t, "final speed", p.final(0), final, 1e-9)
	for share, want := range map[float64]float64{0.90: 0.41640655, 0.99: 0.74858635} {
		o := p.up(0, share*final, false, nil)
		near(t, "tanh spin-up", o.time, want, 2e-8)
		near(t, "peak acceleration", o.peak, 0.5/2e-4, 1e-9)
	}
	// Twice the air: k twice, the same as a load coefficient of twice the size.
	p.ratio = 2
	double := p
	double.ratio, double.load[0] = 1, 2e-6
	if a, b := p.up(0, 400, false, nil).time, double.up(0, 400, false, nil).time; a != b {
		t.Errorf("density ratio 2 gives %v s, twice the load %v s", a, b)
	}
}

// TestLinearByFormula: a torque line against a linear load and constant added
// torque is a first-order system: t = τ·ln((ω∞ − ω0)/(ω∞ − ω1)). The current's own lag
// makes it second order, whose slow branch is late by the lag (two real poles).
func TestLinearByFormula(t *testing.T) {
	p := plant{
		j: 6.3e-6, form: spin.FormLinearSquare, load: [3]float64{2e-5, 0}, ref: 1, ratio: 1, added: 2e-3,
		a: 0.0589, b: -3.128e-4, c: -1.5e-3, v0: 14.8, duty: 0.7,
	}
	line := 3.128e-4 + 2e-5
	final := (0.0589*0.7*14.8 - 1.5e-3 - 2e-3) / line
	tau := 6.3e-6 / line
	near(t, "final speed", p.final(700), final, 1e-9)
	near(t, "first order", p.up(700, 1500, false, nil).time, tau*math.Log((final-700)/(final-1500)), 1e-8)
	// With the lag: α̈·τe + α̇ + α/τ = 0 from α = 0, dα/dt = (final − 700)/(τ·τe).
	const te = 2e-4
	p.tau = te
	// Only the torque lags, not the load: J·α' = T' − 2e-5·α and τe·T' = S − T.
	exact := secondOrder(p, 700, 1500)
	near(t, "second order", p.up(700, 1500, false, nil).time, exact, 1e-7)
	// The lag as virtual inertia and delay leaves its square.
	near(t, "first order in the lag", p.up(700, 1500, true, nil).time, exact, 20*(te/tau)*(te/tau)/10)
}

// secondOrder solves the linear motion with lag by its two exponentials and bisection.
func secondOrder(p plant, from, to float64) float64 {
	// y = ω − ω∞, s = T − T∞: y' = (s − l·y)/J, s' = (b·y − s)/τe.
	l := p.load[0]
	tr, det := -l/p.j-1/p.tau, (l/p.j-p.b/p.j)/p.tau
	root := math.Sqrt(tr*tr/4 - det)
	r1, r2 := tr/2+root, tr/2-root
	final := p.final(from)
	y0 := from - final
	s0 := l*from + p.added - (l*final + p.added)
	d0 := (s0 - l*y0) / p.j
	c2 := (d0 - r1*y0) / (r2 - r1)
	c1 := y0 - c2
	lo, hi := 0.0, 10.0
	for range 200 {
		if mid := (lo + hi) / 2; final+c1*math.Exp(r1*mid)+c2*math.Exp(r2*mid) < to {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// TestRunDownByFormula: 1/ω − 1/ω0 = k·t/J under square drag; ω falls linearly under a constant.
func TestRunDownByFormula(t *testing.T) {
	p := plant{j: 2e-4, form: spin.FormSquare, load: [3]float64{1e-6}, ref: 1, ratio: 1}
	near(t, "square drag", p.down(700, 70, nil).time, 2e-4/1e-6*(1./70-1./700), 1e-8)
	p = plant{j: 2e-4, form: spin.FormNone, ref: 1, ratio: 1, drag: []float64{4e-3}}
	near(t, "constant drag", p.down(700, 70, nil).time, 2e-4*630/4e-3, 1e-8)
	if o := (&plant{j: 2e-4, form: spin.FormNone, ref: 1, ratio: 1}).down(700, 70, nil); o.reached {
		t.Error("without drag nothing slows it, yet 70 rad/s is reached")
	}
}

// TestKnownAddedBody: two run-downs, losses unchanged, differ by a body of
// known inertia: J = J₁·α₂/(α₁ − α₂) (retardation test with added flywheel,
// textbook form, from memory).
func TestKnownAddedBody(t *testing.T) {
	bare := plant{j: 3e-4, form: spin.FormNone, ref: 1, ratio: 1, drag: []float64{5e-3}}
	with := bare
	with.j += 1.2e-4
	a1, a2 := 630/bare.down(700, 70, nil).time, 630/with.down(700, 70, nil).time
	near(t, "J from the added body", 1.2e-4*a2/(a1-a2), 3e-4, 1e-7)
}

// TestSupplySag: with the supply's resistance and the current law the torque
// and current satisfy both of the equations they come from.
func TestSupplySag(t *testing.T) {
	p := plant{a: 0.0589, b: -3.128e-4, c: -1.5e-3, emf: 5.305e-3, ohm: 0.012, kt: 5.305e-3, k0: 1.5e-3, k1: 1.5e-6, v0: 14.8}
	for _, bend := range []float64{0, -3e-4} {
		p.bend = bend
		torque := p.settled(900, 0.7)
		v := 14.8 - 0.012*0.7*p.current(900, torque)
		u := 0.7*v - p.emf*900
		near(t, "torque at the sagged voltage", torque, 0.0589*0.7*v-3.128e-4*900-1.5e-3+bend*u*u, 1e-6)
	}
}

// TestStall: a load that the motor cannot carry is named with the speed at which the rotor stays.
func TestStall(t *testing.T) {
	p := plant{j: 6.3e-6, form: spin.FormSquare, load: [3]float64{1.7e-8}, ref: 1, ratio: 1, a: 0.0589, b: -3.128e-4, v0: 14.8, duty: 0.7}
	o := p.up(700, 5000, false, nil)
	if o.reached || math.Abs(p.settled(o.stall, 0.7)-p.demand(o.stall)) > 1e-9 {
		t.Errorf("reached %v, stays at %v rad/s", o.reached, o.stall)
	}
	p.added = 10
	if o := p.up(700, 800, false, nil); o.reached || o.stall != 700 {
		t.Errorf("against 10 N·m: reached %v, stays at %v rad/s", o.reached, o.stall)
	}
	// A curve of added load is read along its lines.
	p.added, p.curve = 0, []spin.LoadStep{{SpeedRadPerS: 0}, {SpeedRadPerS: 1000, TorqueNm: 0.01}}
	near(t, "added curve", p.demand(500), 1.7e-8*500*500+0.005, 1e-12)
}

// TestRamp: a ramp of the duty that takes long is followed; one that takes no time is a step.
func TestRamp(t *testing.T) {
	p := plant{j: 6.3e-6, form: spin.FormSquare, load: [3]float64{1.7e-8}, ref: 1, ratio: 1, a: 0.0589, b: -3.128e-4, v0: 14.8, duty: 0.7}
	step := p.up(700, 1400, false, nil).time
	p.ramp = 1e-9
	near(t, "ramp of a nanosecond", p.up(700, 1400, false, nil).time, step, 1e-6)
	p.ramp = 10
	// Followed quasi-statically: at each instant the duty is that which holds the speed.
	hold, at := p.holding(700), p.holding(1400)
	near(t, "ramp of ten seconds", p.up(700, 1400, false, nil).time, 10*(at-hold)/(0.7-hold), 0.01)
}

// An inflow that lags, against steps of a microsecond with the equations written out once more:
// J·dω/dt = T − L·(1 − f·(1 − v/ω)), dv/dt = ω·(ω − v)/c, with J what the inertia in air and the
// virtual inertia f·c·k of a load k·ω² make; up, and down by coasting.
func TestInflowLags(t *testing.T) {
	const j, k, f, c, a, b, v0, duty = 4e-7, 1.1e-9, 0.25, 8.0, 0.06, -1e-4, 8.0, 0.7
	p := plant{j: j, form: spin.FormSquare, load: [3]float64{k * 1e6}, ref: 1000, ratio: 1, a: a, b: b, v0: v0, duty: duty, share: f, lagRad: c, virtual: k, drag: []float64{1e-5}}
	if got, want := p.demand(2000), k*4e6; math.Abs(got-want) > 1e-12 {
		t.Fatalf("load %g, want %g", got, want)
	}
	steps := func(from, to, torque, slope float64) float64 {
		const h = 1e-6
		w, v, n := from, from, 0
		for ; (to-from)*(to-w) > 0 && n < 1e7; n++ {
			load := k * w * w * (1 - f*(1-v/w))
			dw, dv := (torque+slope*w-load)/(j+f*c*k), w*(w-v)/c
			w, v = w+h*dw, v+h*dv
		}
		return float64(n) * h
	}
	still := p
	still.share = 0
	for _, x := range []struct {
		name      string
		got, want float64
		without   float64
	}{
		{"up", p.up(500, 2200, false, nil).time, steps(500, 2200, a*duty*v0, b), still.up(500, 2200, false, nil).time},
		{"down", p.down(2200, 1200, nil).time, steps(2200, 1200, -1e-5, 0), still.down(2200, 1200, nil).time},
	} {
		if math.Abs(x.got/x.want-1) > 2e-4 {
			t.Errorf("%s: %.6f s, want %.6f s", x.name, x.got, x.want)
		}
		if math.Abs(x.got/x.without-1) < 1e-5 {
			t.Errorf("%s: the inflow moves nothing: %.6f s and %.6f s", x.name, x.got, x.without)
		}
	}
}
