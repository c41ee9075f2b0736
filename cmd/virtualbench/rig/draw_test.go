package rig

import (
	"math"
	"testing"
)

// ½·m·(Ro²+Ri²) with OpenStax University Physics vol. 1, §10.5 (seen): a solid
// disk of 500 kg and 2.0 m radius has 1000 kg·m². A point mass of 25 kg at
// 1.0 m has 25.
func TestGeometry(t *testing.T) {
	d := Disk{OuterM: 4, ThicknessM: 1, DensityKgM3: 500 / (math.Pi * 4)}
	if got := d.Inertia(); math.Abs(got-1000) > 1e-9 {
		t.Errorf("disk %.9f; want 1000 kg·m²", got)
	}
	if got := (Fasteners{Count: 1, MassKg: 25, PitchM: 2}).Inertia(); got != 25 {
		t.Errorf("point mass %g; want 25 kg·m²", got)
	}
}

// The classes are those on which accuracy is stated: bare inertia, rise.
func TestClassesMatchTheirTable(t *testing.T) {
	for i, want := range []struct{ bare, rise, disk, prop float64 }{
		{1, 12e-3, 6, 4.5}, {25, 8e-3, 60, 63}, {150, 4e-3, 670, 650},
	} {
		c := Classes()[i]
		bare := c.Motor.Rotor("bare")
		disk := c.Motor.Rotor("disk", c.Disk.DiskPart("disk"))
		prop := c.Motor.Rotor("prop", c.Propeller)
		near := func(what string, got, want float64) {
			if math.Abs(got/want-1) > 0.02 {
				t.Errorf("%s: %s %.4g; want %.4g", c.Name, what, got, want)
			}
		}
		near("bare", bare.Inertia/gcm2, want.bare)
		near("rise", c.Motor.RiseS(bare.Inertia), want.rise)
		near("disk", disk.Inertia/gcm2, want.disk)
		near("propeller", prop.Inertia/gcm2, want.prop)
		// An unshrouded propeller has J below m·R²/3 (a uniform bar's).
		radius := []float64{1.5, 2.5, 6.5}[i] * 0.0254
		if c.Propeller.Inertia >= c.Propeller.MassKg*radius*radius/3 {
			t.Errorf("%s: propeller has more inertia than a uniform bar", c.Name)
		}
	}
}

// Drawn errors have the spread declared: 400 draws, the standard deviation of
// a standard deviation is 1/√800 = 3.5 %, four of them are allowed.
func TestDrawSpread(t *testing.T) {
	u := Usual()
	const n = 400
	var scale, low, high float64
	low = math.Inf(1)
	for seed := range uint64(n) {
		e := Draw(u, seed)
		scale += e.TorqueScale * e.TorqueScale
		low, high = min(low, e.PropExponent), max(high, e.PropExponent)
	}
	if s := math.Sqrt(scale / n); math.Abs(s/u.TorqueScale-1) > 4*0.0354 {
		t.Errorf("scale errors scatter by %.5f; declared %.5f", s, u.TorqueScale)
	}
	if low < 1.86 || high > 2.17 || high-low < 0.28 {
		t.Errorf("exponents from %.4f to %.4f; want 1.86 to 2.17 nearly filled", low, high)
	}
	one := Draw(u, 3)
	u.DriftNmPs = 0
	if two := Draw(u, 3); two.DriftNmPs != 0 || two.InflowC != one.InflowC || two.TorqueScale != one.TorqueScale {
		t.Error("switching one uncertainty off moved another's draw")
	}
}

func TestDrawnApplies(t *testing.T) {
	e := Draw(Usual(), 11)
	b := e.Bench(NominalBench(2000))
	if got := b.Torque.DelayS - b.Speed.DelayS; math.Abs(got-e.LagS) > 1e-15 {
		t.Errorf("lag %g; drawn %g", got, e.LagS)
	}
	d, weighed := e.Disk(Class22().Disk)
	if math.Abs(weighed-d.Mass()-e.DiskMassKg) > 1e-15 || d.Inertia() == Class22().Disk.Inertia() {
		t.Error("disk drawn without its errors")
	}
	p := e.Propeller(Class22().Propeller, 1500)
	if q := p.Inertia / Class22().Propeller.Inertia; q == 1 || math.Abs(q-1-e.PartInertia) > 1e-12 {
		t.Errorf("specimen's inertia %.6f of the preset; drawn %+.6f", q, e.PartInertia)
	}
	if got, want := p.Load.At(1500, 1.2), Class22().Propeller.Load.At(1500, 1.2); math.Abs(got/want-1) > 1e-12 {
		t.Errorf("torque at the pivot speed %.9g; want %.9g", got, want)
	}
}

// With no noise the slope of reading against nominal torque is the scale times
// the errors of mass, gravity and arm, in both senses.
func TestDeadWeights(t *testing.T) {
	b := NominalBench(1000)
	b.Torque = TorqueChannel{Scale: 1.015, ZeroNm: 0.02}
	e := Drawn{Gravity: 1e-3, Arm: -2e-3, Mass: 5e-4}
	nominalG, nominalArm := b.GravityMs2, b.ArmM
	rows := DeadWeights(e.Bench(b), e, Weights{MassesKg: []float64{0, 0.05, 0.1}, BothSenses: true, Repeats: 2, HoldS: 5}, 1)
	if len(rows) != 6 {
		t.Fatalf("%d rows; want 6", len(rows))
	}
	want := 1.015 * 1.001 * 0.998 * 1.0005
	for _, r := range rows {
		sense := 1.0
		if r.Clockwise {
			sense = -1
		}
		if len(r.Readings) != 2 {
			t.Fatalf("%d readings; want 2", len(r.Readings))
		}
		if got := 0.02 + sense*want*r.MassKg*nominalG*nominalArm; math.Abs(r.ReadingNm-got) > 1e-12 {
			t.Errorf("%g kg: %.9f; want %.9f N·m", r.MassKg, r.ReadingNm, got)
		}
	}
	// With noise it is smaller by the root of the samples averaged.
	b.Torque = TorqueChannel{NoiseNm: 1e-3}
	sum := 0.0
	rows = DeadWeights(b, Drawn{}, Weights{MassesKg: []float64{0}, Repeats: 400, HoldS: 0.1}, 2)
	for _, r := range rows[0].Readings {
		sum += r * r
	}
	if s := math.Sqrt(sum / 400); math.Abs(s/1e-4-1) > 4*0.0354 {
		t.Errorf("noise of readings %.3g; want 1e-4", s)
	}
}

// Constant voltage, square load, no friction, thin coil: the spin-up between
// two speeds of a linear torque line against k·ω² has a closed form by
// partial fractions: with a = T0, b = Kt²/R, roots r± of a − bω − kω²,
// t = J/(k·(r+ − r−))·ln[(ω−r−)/(r+−ω)] between the limits. Computed here.
func TestSpinUpClosedForm(t *testing.T) {
	m := plainMotor()
	m.Drag, m.InductanceH = Drag{}, 0
	r := Rotor{Inertia: 60e-7, Load: Load{SquareNms2: 1.7e-8, RefDensity: 1.2}}
	c := Conditions{Supply: Supply{VoltageV: 14.8}, Air: Air{DensityKgM3: 1.2, TemperatureC: ReferenceC}}
	const from, to, duty = 800.0, 1600.0, 0.7
	got, err := SpinUp(m, r, c, Response{FromRadPerS: from, ToRadPerS: to, Duty: duty, Braking: true})
	if err != nil {
		t.Fatal(err)
	}
	res := m.ResistanceOhm + m.ExtraOhm
	a, b, k := m.KtNmPerA*duty*14.8/res, m.KtNmPerA*m.KtNmPerA/res, 1.7e-8
	root := math.Sqrt(b*b + 4*a*k)
	plus, minus := (-b+root)/(2*k), (-b-root)/(2*k)
	f := func(w float64) float64 { return math.Log((w - minus) / (plus - w)) }
	want := r.Inertia / (k * (plus - minus)) * (f(to) - f(from))
	// The command takes effect half a step late in the current: 5 µs of 25 ms.
	if math.Abs(got.TimeS/want-1) > 5e-4 {
		t.Errorf("%.7f s; want %.7f", got.TimeS, want)
	}
	// Without drag charge is angular impulse over Kt, times the duty; energy is
	// the source's voltage times charge; acceleration is largest at the start.
	impulse := r.Inertia * (to - from)
	for n := range 4000 {
		step := (to - from) / 4000
		w := from + (float64(n)+0.5)*step
		impulse += k * w * w * r.Inertia * step / (a - b*w - k*w*w)
	}
	if charge := duty * impulse / m.KtNmPerA; math.Abs(got.ChargeC/charge-1) > 2e-3 || math.Abs(got.EnergyJ/(14.8*charge)-1) > 2e-3 {
		t.Errorf("charge %.6g C, energy %.6g J; want %.6g and %.6g", got.ChargeC, got.EnergyJ, charge, 14.8*charge)
	}
	if peak := (a - b*from - k*from*from) / r.Inertia; math.Abs(got.PeakRadPerS2/peak-1) > 5e-3 {
		t.Errorf("peak acceleration %.6g; want %.6g rad/s²", got.PeakRadPerS2, peak)
	}
	if _, err := SpinUp(m, r, c, Response{FromRadPerS: 800, ToRadPerS: 5000, Duty: duty, LimitS: 1}); err == nil {
		t.Error("a speed beyond reach was reached")
	}
}
