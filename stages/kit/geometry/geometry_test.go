package geometry

import (
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/uncertain"
)

func ex(v float64) uncertain.Value { return uncertain.Exact(v) }

func rel(a, b float64) float64 { return math.Abs(a/b - 1) }

// rounding is a few ulps of the products involved.
const rounding = 1e-13

func ring(outer, bore, thick float64, holes ...Holes) Disk {
	return Disk{[]Layer{{ex(outer), ex(bore), ex(thick), holes}}}
}

// OpenStax University Physics vol. 1, §10.5: merry-go-round of 500 kg and radius 2.0 m with
// a child of 25 kg at 1.0 m: 1025 kg·m². Seen; exact.
func TestDiskAndPointMass(t *testing.T) {
	j := ring(4, 0, 0.1).InertiaAtMass(ex(500)).Add(PointMass(ex(25), ex(1)))
	if rel(j.Mean, 1025) > rounding {
		t.Error(j.Mean)
	}
}

// Same, §10.5: rod of 2.0 kg and 0.5 m with a sphere of 1.0 kg and radius 0.2 m at
// its end, about the other end (0.673 kg·m²) and about the rod's own end where
// the sphere sits at 0.2 m (0.223 kg·m²). Seen; printed to three digits.
func TestRodAndSphere(t *testing.T) {
	const printed = 0.0005
	rod := ParallelAxis(Rod(ex(2), ex(0.5)), ex(2), ex(0.25))
	ball := Sphere(ex(1), ex(0.2))
	if a := rod.Add(ParallelAxis(ball, ex(1), ex(0.7))).Mean; math.Abs(a-0.673) > printed {
		t.Error(a)
	}
	if b := rod.Add(ParallelAxis(ball, ex(1), ex(0.2))).Mean; math.Abs(b-(2.0*0.25/3+0.4*0.04+0.04)) > printed || math.Abs(b-0.223) > printed {
		t.Error(b)
	}
}

// ½πρt(Ro⁴ − Ri⁴) − n·m(½r² + c²) with ρ 2700, radii 50 and 5 mm, thickness 10 mm, six
// ⌀6 on radius 30 mm. Calc, 1e-9.
func TestDiskWithHoles(t *testing.T) {
	d := ring(0.1, 0.01, 0.01, Holes{6, ex(0.006), ex(0.06)})
	const want, tolerance = 2.609023631e-4, 1e-9
	if j := d.InertiaAtDensity(ex(2700)).Mean; rel(j, want) > tolerance {
		t.Error(j)
	}
	m := d.DrawnMassKg(ex(2700))
	if j := d.InertiaAtMass(m).Mean; rel(j, want) > tolerance {
		t.Error("mass and density disagree:", j)
	}
}

// Handbook densities in kg/m³ (6061-T6 seen, the others memory, 0.3 %): the 6061 disk of
// ⌀100 × 10 mm weighs π·0.05²·0.01·2700 = 0.21206 kg, and the others in proportion.
func TestDensities(t *testing.T) {
	const handbook = 0.003
	for name, c := range map[string]struct{ rho, kg float64 }{
		"6061-T6": {2700, 0.21206}, "7075-T6": {2810, 0.22070}, "carbon steel": {7850, 0.61654}, "304": {8000, 0.62832}, "brass": {8490, 0.66680},
	} {
		if m := ring(0.1, 0, 0.01).DrawnMassKg(ex(c.rho)).Mean; rel(m, c.kg) > handbook {
			t.Errorf("%s: %v kg", name, m)
		}
	}
}

// Ugural & Fenster, Advanced Strength and Applied Elasticity, ex. 8.4: ρ 7800, ν 0.3,
// radii 50 and 250 mm, 6900 rpm: 211.76 MPa (seen); the same disk solid 104.99 MPa (calc). 1e-4.
func TestBoreStress(t *testing.T) {
	const tolerance = 1e-4
	m := Metal{DensityKgM3: 7800, Poisson: 0.3}
	w := 6900 * math.Pi / 30
	if s := m.CentreStress(0.25, 0.05, w); rel(s, 211.76e6) > tolerance {
		t.Error(s)
	}
	if s := m.CentreStress(0.25, 0, w); rel(s, 104.99e6) > tolerance {
		t.Error(s)
	}
	r, s := m.Stresses(0.25, 0.05, 0.05, w)
	if rel(s, m.CentreStress(0.25, 0.05, w)) > rounding || math.Abs(r) > 1e-6*s {
		t.Error("at the bore:", r, s)
	}
	if r, _ := m.Stresses(0.25, 0.05, 0.25, w); math.Abs(r) > 1e-6*s {
		t.Error("the rim carries a radial stress:", r)
	}
	r, s = m.Stresses(0.25, 0, 1e-9, w)
	if rel(r, s) > 1e-9 || rel(s, m.CentreStress(0.25, 0, w)) > 1e-9 {
		t.Error("at the centre of a solid disk:", r, s)
	}
}

func TestYieldSpeed(t *testing.T) {
	m := Metal{DensityKgM3: 7800, Poisson: 0.3, YieldPa: 211.76e6}
	const tolerance = 1e-4
	if w := m.YieldSpeed(ring(0.5, 0.1, 0.02)); rel(w, 6900*math.Pi/30) > tolerance {
		t.Error(w)
	}
	plain, holed := m.YieldSpeed(ring(0.5, 0.1, 0.02)), m.YieldSpeed(ring(0.5, 0.1, 0.02, Holes{6, ex(0.01), ex(0.25)}))
	if !(holed < plain) {
		t.Errorf("holes do not weaken: %v, %v", holed, plain)
	}
	if w := (Metal{DensityKgM3: 7800}).YieldSpeed(ring(0.5, 0, 0.02)); w != 0 {
		t.Error("a speed without a yield strength:", w)
	}
}

func TestFastener(t *testing.T) {
	f := Fastener{2, ex(0.31e-3), ex(3.8e-3), ex(0), ex(12e-3)}
	// n·m·(d²/8 + c²)
	if want := 2 * 0.31e-3 * (3.8e-3*3.8e-3/8 + 6e-3*6e-3); rel(f.InertiaKgM2().Mean, want) > rounding {
		t.Error(f.InertiaKgM2().Mean, want)
	}
	nut := Fastener{1, ex(1.2e-3), ex(8e-3), ex(5e-3), ex(0)}
	if want := 0.5 * 1.2e-3 * (16e-6 + 6.25e-6); rel(nut.InertiaKgM2().Mean, want) > rounding {
		t.Error(nut.InertiaKgM2().Mean, want)
	}
	// A nut is a ring of the same mass.
	if want := ring(8e-3, 5e-3, 4e-3).InertiaAtMass(ex(1.2e-3)).Mean; rel(nut.InertiaKgM2().Mean, want) > rounding {
		t.Error("nut and ring differ")
	}
}

// named gives every input a cause of its own.
func named(v float64, name string) uncertain.Value { return uncertain.New(v, v*1e-3, 0, name) }

// checkParts compares each part with a central difference of the function by that input.
func checkParts(t *testing.T, at []float64, names []string, f func(x []uncertain.Value) uncertain.Value) {
	t.Helper()
	build := func(x []float64) uncertain.Value {
		v := make([]uncertain.Value, len(x))
		for i := range x {
			v[i] = named(x[i], names[i])
		}
		return f(v)
	}
	y := build(at)
	for i, name := range names {
		// Third-order error of a 1e-5 step is 1e-10; rounding adds 1e-11.
		const step, tolerance = 1e-5, 1e-8
		hi, lo := append([]float64{}, at...), append([]float64{}, at...)
		hi[i] *= 1 + step
		lo[i] *= 1 - step
		slope := (build(hi).Mean - build(lo).Mean) / (2 * step * at[i])
		if want := slope * at[i] * 1e-3; math.Abs(y.Part(name)-want) > tolerance*math.Abs(y.Mean)*1e-3+tolerance*math.Abs(want) {
			t.Errorf("%s: %g, by differences %g", name, y.Part(name), want)
		}
	}
}

func TestSensitivities(t *testing.T) {
	at := []float64{40e-3, 5e-3, 3e-3, 2e-3, 32e-3, 20e-3, 4e-3, 7e-3, 9.92e-3}
	names := []string{"outer", "bore", "thick", "hole", "pitch", "outer2", "bore2", "thick2", "last"}
	disk := func(x []uncertain.Value) Disk {
		return Disk{[]Layer{{x[0], x[1], x[2], []Holes{{4, x[3], x[4]}}}, {x[5], x[6], x[7], nil}}}
	}
	checkParts(t, at, names, func(x []uncertain.Value) uncertain.Value { return disk(x).InertiaAtMass(x[8]) })
	checkParts(t, at, names, func(x []uncertain.Value) uncertain.Value { return disk(x).InertiaAtDensity(x[8]) })
	checkParts(t, at, names, func(x []uncertain.Value) uncertain.Value { return disk(x).DrawnMassKg(x[8]) })
	checkParts(t, []float64{0.31e-3, 3.8e-3, 1e-3, 12e-3}, []string{"m", "d", "b", "p"}, func(x []uncertain.Value) uncertain.Value {
		return Fastener{2, x[0], x[1], x[2], x[3]}.InertiaKgM2()
	})
	checkParts(t, []float64{0.1, 0.3}, []string{"m", "d"}, func(x []uncertain.Value) uncertain.Value { return PropellerBound(x[0], x[1]) })
}

// At a given density J goes as R⁴, at a given mass as R².
func TestWeighedDiskIsTheBetterReference(t *testing.T) {
	d := Disk{[]Layer{{named(0.04, "d"), ex(0), ex(0.003), nil}}}
	if j := d.InertiaAtDensity(ex(2700)); rel(j.Std()/j.Mean, 4e-3) > 1e-9 {
		t.Error(j.Std() / j.Mean)
	}
	if j := d.InertiaAtMass(ex(0.01)); rel(j.Std()/j.Mean, 2e-3) > 1e-9 {
		t.Error(j.Std() / j.Mean)
	}
}

func TestShapesThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		d    interface{ Check() error }
		want string
	}{
		{Disk{}, "layers: got no layer; want at least one"},
		{ring(0, 0, 1), "layers.0.outer_diameter: got 0 mm; want a diameter above 0"},
		{ring(0.04, 0, 0), "layers.0.thickness: got 0 mm; want a thickness above 0"},
		{ring(0.04, 0.05, 0.003), "layers.0.bore_diameter: got 50 mm; want at least 0 and below the outer diameter of 40 mm"},
		{ring(0.04, 0.005, 0.003, Holes{4, ex(0.002), ex(0.039)}), "layers.0.holes.0.pitch_diameter: got holes of 2 mm on 39 mm; want holes between bore and rim, 5 mm and 40 mm"},
		{ring(0.04, 0.005, 0.003, Holes{4, ex(0.002), ex(0.006)}), "layers.0.holes.0.pitch_diameter: got holes of 2 mm on 6 mm; want holes between bore and rim, 5 mm and 40 mm"},
		{ring(0.04, 0.005, 0.003, Holes{40, ex(0.003), ex(0.03)}), "layers.0.holes.0.count: got 40 holes of 3 mm on 30 mm; want holes that do not meet"},
		{ring(0.04, 0.005, 0.003, Holes{0, ex(0.003), ex(0.03)}), "layers.0.holes.0.count: got 0; want at least 1"},
		{Fastener{0, ex(1), ex(1), ex(0), ex(0)}, "fastener.count: got 0; want at least 1"},
		{Fastener{1, ex(0), ex(1), ex(0), ex(0)}, "fastener.mass_each: got 0 g; want a mass above 0"},
		{Fastener{1, ex(1), ex(0), ex(0), ex(0)}, "fastener.diameter: got 0 mm; want a diameter above 0"},
		{Fastener{1, ex(1), ex(0.005), ex(0.006), ex(0)}, "fastener.bore_diameter: got 6 mm; want at least 0 and below the diameter of 5 mm"},
		{Fastener{6, ex(1), ex(0.005), ex(0), ex(0.008)}, "fastener.pitch_diameter: got 6 of 5 mm on 8 mm; want a circle on which they do not meet"},
	} {
		err := c.d.Check()
		if err == nil || !strings.HasSuffix(err.Error(), c.want) {
			t.Errorf("got %v\nwant %s", err, c.want)
		}
	}
	if err := ring(0.04, 0.005, 0.003, Holes{4, ex(0.002), ex(0.032)}).Check(); err != nil {
		t.Error(err)
	}
}

// A small hole where σr = σt = σ sees 2σ at its edge, and one under σ alone 3σ (Kirsch 1898;
// Timoshenko & Goodier, art. 35; memory). The first is a hole near the centre of a solid
// disk, the second one at its rim, where the radial stress is gone.
func TestHolesConcentrateStress(t *testing.T) {
	m := Metal{DensityKgM3: 7800, Poisson: 0.3}
	layer := func(pitch float64) Layer {
		return Layer{OuterM: ex(0.5), ThicknessM: ex(0.02), Holes: []Holes{{1, ex(1e-6), ex(pitch)}}}
	}
	const tolerance = 1e-6
	if s := m.PeakStress(layer(1e-5), 100); rel(s, 2*m.CentreStress(0.25, 0, 100)) > tolerance {
		t.Error(s)
	}
	_, rim := m.Stresses(0.25, 0, 0.25, 100)
	if s := m.PeakStress(layer(0.5), 100); rel(s, math.Max(3*rim, m.CentreStress(0.25, 0, 100))) > tolerance {
		t.Error(s)
	}
}
