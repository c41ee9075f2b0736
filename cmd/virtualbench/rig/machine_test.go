package rig

import (
	"math"
	"testing"
)

// plainMotor has no ripple and no heat, so that closed forms apply.
func plainMotor() Motor {
	m := Class22().Motor
	m.Ripple = nil
	m.Thermal = Thermal{}
	return m
}

func free(inertia float64, l Load) *machine {
	m := plainMotor()
	m.Drag = Drag{}
	r := Rotor{Inertia: inertia, Load: l}
	a := Air{DensityKgM3: ReferenceDensity, TemperatureC: ReferenceC}
	return newMachine(&m, r, Supply{VoltageV: 14.8}, Controller{Braking: true}, a, Uniform(ReferenceC), 10e-6)
}

// passageTime advances v under constant torque until speed w.
func passageTime(v *machine, torque, w float64) float64 {
	for n := 0; ; n++ {
		before := v.speed
		v.mechanics(torque)
		if (before-w)*(v.speed-w) <= 0 {
			return (float64(n) + (w-before)/(v.speed-before)) * v.h
		}
	}
}

// Constant torque against a square load: ω = ω∞·tanh(t/τ), ω∞ = √(T0/k),
// τ = J/√(T0·k). Closed form, computed here; J 2e-4, T0 0.5, k 1e-6.
func TestConstantTorqueSquareLoad(t *testing.T) {
	const j, t0, k = 2e-4, 0.5, 1e-6
	end := math.Sqrt(t0 / k)
	for _, c := range []struct{ share, want float64 }{{0.90, 0.41640655}, {0.99, 0.74858635}} {
		if got := passageTime(free(j, Load{SquareNms2: k}), t0, c.share*end); math.Abs(got-c.want) > 2e-8 {
			t.Errorf("to %g of the end speed: %.9f s; want %.8f", c.share, got, c.want)
		}
		// The same load as a propeller of exponent 2 and, through the series of
		// powerLaw, of an exponent that only just is not 2.
		for _, n := range []float64{2, 2 + 1e-12} {
			if got := passageTime(free(j, Load{PropK: k, PropN: n}), t0, c.share*end); math.Abs(got-c.want) > 2e-8 {
				t.Errorf("propeller n = %g, to %g of the end speed: %.9f s; want %.8f", n, c.share, got, c.want)
			}
		}
	}
}

// Run-down against a square drag: 1/ω − 1/ω0 = k·t/J. Closed form, computed here.
func TestRunDownSquareDrag(t *testing.T) {
	const j, k, w0, w1 = 2e-4, 1e-6, 2000.0, 700.0
	v := free(j, Load{SquareNms2: k})
	v.speed = w0
	want := j / k * (1/w1 - 1/w0)
	if got := passageTime(v, 0, w1); math.Abs(got/want-1) > 1e-8 {
		t.Errorf("run-down took %.10f s; want %.10f", got, want)
	}
}

// Fitzgerald, Kingsley, Umans, Electric Machinery, ex. 11.6 (read in a copy):
// dω/dt + 48.4·ω − 24.7·V = 0 has the time constant 20.7 ms.
func TestLinearTorqueLine(t *testing.T) {
	const slope, gain, volts = 48.4, 24.7, 100.0
	m := plainMotor()
	// J·dω/dt = Kt·(V − Kt·ω)/R with Kt²/(J·R) = 48.4 and Kt/(J·R) = 24.7.
	m.KtNmPerA = slope / gain
	m.ResistanceOhm, m.ExtraOhm, m.InductanceH, m.Drag = 1, 0, 0, Drag{}
	j := m.KtNmPerA / gain
	v := newMachine(&m, Rotor{Inertia: j}, Supply{VoltageV: volts}, Controller{Braking: true},
		Air{DensityKgM3: 1.2, TemperatureC: ReferenceC}, Uniform(ReferenceC), 20e-6)
	v.duty = 1
	end := gain * volts / slope
	n := 0
	for v.speed < (1-math.Exp(-1))*end {
		v.step()
		n++
	}
	if got := float64(n) * v.h; math.Abs(got/20.7e-3-1) > 0.005 {
		t.Errorf("time constant %.5f s; want 0.0207 (as printed)", got)
	}
}

// What the supply gives is found again as heat, drag work, load work, kinetic
// and magnetic energy.
func TestEnergyBalance(t *testing.T) {
	m := plainMotor()
	s := Supply{VoltageV: 14.8, Ohm: 0.012}
	r := m.Rotor("prop", Class22().Propeller)
	r.Load.PropN, r.Load.PropK = 1.93, 2.6e-8
	v := newMachine(&m, r, s, Controller{Braking: true}, Room(), Uniform(ReferenceC), 10e-6)
	v.settle(0.3)
	v.duty = 0.7
	stored := func(i float64) float64 {
		return 0.5*v.inertia*v.speed*v.speed + 0.5*m.InductanceH*i*i
	}
	before := stored(v.current)
	var in, heat, work float64
	for n := range 20000 {
		if n == 10000 {
			v.duty = 0.3
		}
		v.step()
		i := v.current
		in += s.VoltageV * v.duty * i * v.h
		heat += i * i * v.loop * v.h
		work += (v.dragNow + v.loadNow) * v.midSpeed * v.h
	}
	change := stored(v.current) - before
	if gap := in - heat - work - change; math.Abs(gap) > 1e-4*in {
		t.Errorf("in %.6f J, heat %.6f, work %.6f, stored %.6f: %.2g J missing", in, heat, work, change, gap)
	}
}

// state after 60 ms of a step with everything smooth switched on.
func endState(h float64) (speed, current float64) {
	m := plainMotor()
	m.SaturationA = 60
	r := m.Rotor("prop", Class22().Propeller)
	v := newMachine(&m, r, Supply{VoltageV: 14.8, Ohm: 0.012}, Controller{Braking: true}, Room(), Uniform(ReferenceC), h)
	v.settle(0.3)
	v.duty = 0.7
	for range int(math.Round(0.02 / h)) {
		v.step()
	}
	return v.speed, v.current
}

// Halving the step shrinks the change of the result fourfold: second order.
func TestConvergesWithStep(t *testing.T) {
	a, _ := endState(40e-6)
	b, _ := endState(20e-6)
	c, _ := endState(10e-6)
	if r := (a - b) / (b - c); math.Abs(r-4) > 1 {
		t.Errorf("speeds %.9f, %.9f, %.9f: ratio of changes %.3f; want about 4", a, b, c, r)
	}
	if math.Abs(b/c-1) > 1e-5 {
		t.Errorf("speed at 20 µs %.9f, at 10 µs %.9f: more than 1e-5 apart", b, c)
	}
}

// The reaction on the stator is J·dω/dt + L in every step, whatever happens
// between rotor and stator.
func TestReactionIsInertiaAndLoad(t *testing.T) {
	c := Class11()
	r := c.Motor.Rotor("prop", c.Propeller)
	v := newMachine(&c.Motor, r, c.Supply, Controller{Braking: true}, Room(), Uniform(21), 25e-6)
	v.settle(0.3)
	v.duty = 0.7
	for n := range 20000 {
		before := v.speed
		v.step()
		want := v.inertia*(v.speed-before)/v.h + v.loadNow
		if math.Abs(v.reaction-want) > 1e-9 {
			t.Fatalf("step %d: reaction %.12f, J·dω/dt + L %.12f N·m", n, v.reaction, want)
		}
	}
}

// The settled speed of the integrator is the equilibrium found by bisection.
func TestSettles(t *testing.T) {
	for _, c := range Classes() {
		c.Motor.Thermal = Thermal{}
		c.Motor.Ripple = nil
		r := c.Motor.Rotor("prop", c.Propeller)
		v := newMachine(&c.Motor, r, c.Supply, Controller{Braking: true}, Room(), Uniform(21), 25e-6)
		v.settle(0.7)
		want := v.speed
		v.settle(0.3)
		v.duty = 0.7
		for range 40000 {
			v.step()
		}
		if math.Abs(v.speed/want-1) > 1e-9 {
			t.Errorf("%s: settles at %.9f, equilibrium %.9f rad/s", c.Name, v.speed, want)
		}
	}
}

// To first order the lag of the inflow is a virtual inertia −f·k·c (n = 2).
// The first neglected term is of relative order c/(ω·rise time), 2 % here.
func TestInflowIsVirtualInertia(t *testing.T) {
	c := Class40()
	r := c.Motor.Rotor("prop", c.Propeller)
	r.Load.InflowF, r.Load.InflowC = 0.2, 4
	_, truth, err := Record(NominalBench(500), c.Motor, r, StepPlan(c.Conditions(), c.NominalSteps(r, 1)), 3)
	if err != nil {
		t.Fatal(err)
	}
	l := r.Load
	want := -l.InflowF * l.PropK * l.InflowC * Room().DensityKgM3 / ReferenceDensity
	for _, x := range truth.Transitions {
		got := x.EffectiveInertia - truth.Inertia - truth.Entrained
		if math.Abs(got/want-1) > 0.03 {
			t.Errorf("%g -> %g: virtual inertia %.4g; want %.4g kg·m²", x.FromDuty, x.ToDuty, got, want)
		}
	}
}

// At rest friction takes the torque up to its grip and the sensor sees only
// what the ground holds; beyond it the rotor moves.
func TestFrictionHoldsAtRest(t *testing.T) {
	v := free(1e-6, Load{DryNm: 2e-3})
	v.motor.Drag.CoulombNm = 1e-3
	v.mechanics(2.5e-3)
	if v.speed != 0 || math.Abs(v.reaction-1.5e-3) > 1e-15 {
		t.Errorf("below the grip: speed %g, reaction %g; want 0 and 0.0015", v.speed, v.reaction)
	}
	v.mechanics(4e-3)
	if v.speed <= 0 {
		t.Errorf("above the grip: speed %g; want it to move", v.speed)
	}
	for range 100000 {
		v.mechanics(0)
	}
	if v.speed != 0 || v.reaction != 0 {
		t.Errorf("left alone: speed %g, reaction %g; want rest", v.speed, v.reaction)
	}
}

// Without braking the current never reverses, and the way back takes far
// longer than with it.
func TestBraking(t *testing.T) {
	c := Class22()
	c.Motor.Ripple = nil
	r := c.Motor.Rotor("disk", c.Disk.DiskPart("disk"))
	took := map[bool]float64{}
	for _, braking := range []bool{true, false} {
		v := newMachine(&c.Motor, r, c.Supply, Controller{Braking: braking}, Room(), Uniform(21), 25e-6)
		v.settle(0.3)
		idle := v.speed
		v.settle(0.7)
		v.duty = 0.3
		n, least := 0, 0.0
		for ; v.speed > idle*1.05; n++ {
			v.step()
			least = min(least, v.current)
		}
		took[braking] = float64(n) * v.h
		if braking == (least == 0) {
			t.Errorf("braking %v: smallest current %g A", braking, least)
		}
	}
	if took[false] < 5*took[true] {
		t.Errorf("return to idle: %.3f s braking, %.3f s coasting; want the latter far longer", took[true], took[false])
	}
}

// Copper warms as ∫I²R dt over its heat capacity while nothing has flowed off.
func TestWindingHeats(t *testing.T) {
	m := plainMotor()
	m.Thermal = Thermal{WindingJPerK: 2.7, WindingKPerW: 1e9, StatorJPerK: 9, StatorKPerW: 1e9}
	v := newMachine(&m, Rotor{Inertia: 1e3}, Supply{VoltageV: 1}, Controller{}, Room(), Uniform(ReferenceC), 40e-6)
	v.duty = 1
	for range 50000 {
		v.step()
	}
	// At constant voltage: C·dθ/dt = V²·R/(R+Rx)², R = R0(1+αθ); by small steps of
	// the implicit time t(θ) = ∫ C·(R+Rx)²/(V²·R) dθ. R0 0.070, Rx 0.020, computed here.
	want := 0.0
	for t, d := 0.0, 1e-4; t < 2; want += d {
		w := 0.070 * (1 + 0.00393*(want+d/2))
		t += d * 2.7 * (w + 0.020) * (w + 0.020) / w
	}
	if got := v.heat.WindingC - ReferenceC; math.Abs(got/want-1) > 1e-3 {
		t.Errorf("winding rose %.4f K; want %.4f", got, want)
	}
}

// Constant drag stops the rotor after J·ω0/T and there it stays, from any
// speed, hence from any place of the stop within a step.
func TestStopsAtOnce(t *testing.T) {
	const j, drag = 2.5e-6, 1.5e-3
	for n := range 50 {
		v := free(j, Load{})
		v.motor.Drag.CoulombNm = drag
		v.speed = 20 + 0.00037*float64(n)
		want := j * v.speed / drag
		steps := 0
		for ; v.speed != 0 && steps < 20000; steps++ {
			before := v.speed
			v.mechanics(0)
			if v.speed > before || v.speed < 0 {
				t.Fatalf("from run %d: speed goes from %g to %g while stopping", n, before, v.speed)
			}
		}
		if got := float64(steps) * v.h; math.Abs(got-want) > 1.01*v.h {
			t.Errorf("run %d: stops after %.6f s; want %.6f", n, got, want)
		}
	}
}
