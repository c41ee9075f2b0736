package rig

import (
	"math"
	"math/rand/v2"
)

// Declared are the standard uncertainties (normal, unless stated) that the
// tester declares, from which Draw takes the true errors of one session. Zero
// means known exactly.
type Declared struct {
	TorqueScale  float64 // relative, of the torque reading; simulated dead weights see it too
	Gravity      float64 // relative, of local gravity as used with the weights
	Arm          float64 // relative, of the lever arm
	Mass         float64 // relative, of each dead weight, common to all
	ZeroNm       float64 // of the torque zero
	DriftNmPs    float64 // of its drift
	LagS         float64 // half range, rectangular: torque later (+) or earlier (−) than speed
	DiskOuterM   float64 // of the reference disk's drawing: diameters, thickness
	DiskBoreM    float64
	DiskThickM   float64
	DiskDensity  float64 // relative
	DiskMassKg   float64 // of its weighing
	PropExponent [2]float64
	InflowF      [2]float64 // ranges, rectangular; both ends 0 leaves the preset
	InflowC      [2]float64 // rad
	Entrained    float64    // relative, of the entrained air
	AirDensity   float64    // relative
	FixtureHz    float64    // relative, of the resonance: no two mountings are equally stiff
	PartInertia  float64    // relative: specimens of a propeller differ; the truth is what is drawn
}

// Usual are uncertainties of a careful small workshop. Common practice, no
// source; inflow ranges as the study of this bench uses them.
func Usual() Declared {
	return Declared{
		TorqueScale: 0.005, Gravity: 2e-4, Arm: 1e-3, Mass: 3e-4, ZeroNm: 2e-3, DriftNmPs: 2e-6, LagS: 1e-3,
		DiskOuterM: 15e-6, DiskBoreM: 15e-6, DiskThickM: 10e-6, DiskDensity: 0.004, DiskMassKg: 5e-6,
		PropExponent: [2]float64{1.86, 2.17}, InflowF: [2]float64{0.15, 0.30}, InflowC: [2]float64{3, 12},
		Entrained: 0.3, AirDensity: 2e-3, FixtureHz: 0.1, PartInertia: 0.03,
	}
}

// Drawn are the true errors of one session.
type Drawn struct {
	TorqueScale, Gravity, Arm, Mass  float64 // relative
	ZeroNm, DriftNmPs, LagS          float64
	DiskOuterM, DiskBoreM            float64
	DiskThickM, DiskDensity          float64
	DiskMassKg                       float64 // weighed − true
	PropExponent, InflowF, InflowC   float64
	Entrained, AirDensity, FixtureHz float64
	PartInertia                      float64
}

// Draw takes one set of errors. Each has its place in the random stream, so
// declaring one more uncertainty leaves the others' draws as they were.
func Draw(d Declared, seed uint64) Drawn {
	rng := stream(seed, streamDraw)
	n := func(u float64) float64 { return u * rng.NormFloat64() }
	between := func(r [2]float64) float64 { return r[0] + (r[1]-r[0])*rng.Float64() }
	var e Drawn
	e.TorqueScale, e.Gravity, e.Arm, e.Mass = n(d.TorqueScale), n(d.Gravity), n(d.Arm), n(d.Mass)
	e.ZeroNm, e.DriftNmPs = n(d.ZeroNm), n(d.DriftNmPs)
	e.LagS = between([2]float64{-d.LagS, d.LagS})
	e.DiskOuterM, e.DiskBoreM, e.DiskThickM = n(d.DiskOuterM), n(d.DiskBoreM), n(d.DiskThickM)
	e.DiskDensity, e.DiskMassKg = n(d.DiskDensity), n(d.DiskMassKg)
	e.PropExponent, e.InflowF, e.InflowC = between(d.PropExponent), between(d.InflowF), between(d.InflowC)
	e.Entrained, e.AirDensity, e.FixtureHz = n(d.Entrained), n(d.AirDensity), n(d.FixtureHz)
	e.PartInertia = n(d.PartInertia)
	return e
}

// Bench is b with the drawn errors: scale, zero, drift, lag, fixture, and the
// true gravity and arm around those that the tester uses (b's).
func (e Drawn) Bench(b Bench) Bench {
	if b.Torque.Scale == 0 {
		b.Torque.Scale = 1
	}
	b.Torque.Scale *= 1 + e.TorqueScale
	b.Torque.ZeroNm += e.ZeroNm
	b.Torque.DriftNmPs += e.DriftNmPs
	if e.LagS >= 0 {
		b.Torque.DelayS += e.LagS
	} else {
		b.Speed.DelayS -= e.LagS
	}
	b.Fixture.Hz *= math.Max(0.5, 1+e.FixtureHz)
	b.GravityMs2 *= 1 + e.Gravity
	b.ArmM *= 1 + e.Arm
	return b
}

// Disk is the true disk behind a drawing d, and the mass that its weighing
// gave, kg.
func (e Drawn) Disk(d Disk) (actual Disk, weighedKg float64) {
	actual = Disk{
		OuterM: d.OuterM + e.DiskOuterM, BoreM: d.BoreM + e.DiskBoreM, ThicknessM: d.ThicknessM + e.DiskThickM,
		DensityKgM3: d.DensityKgM3 * (1 + e.DiskDensity),
	}
	return actual, actual.Mass() + e.DiskMassKg
}

// Propeller is the true specimen behind a preset: inertia, exponent (with the
// torque kept at atRadPerS), inflow and entrained air as drawn.
func (e Drawn) Propeller(p Part, atRadPerS float64) Part {
	l := &p.Load
	p.Inertia *= 1 + e.PartInertia
	p.Entrained *= math.Max(0, 1+e.Entrained)
	if e.PropExponent > 0 && l.PropK > 0 {
		l.PropK *= math.Pow(atRadPerS, l.PropN-e.PropExponent)
		l.PropN = e.PropExponent
	}
	if e.InflowC > 0 {
		l.InflowF, l.InflowC = e.InflowF, e.InflowC
	}
	return p
}

// Air is the true air around the declared.
func (e Drawn) Air(a Air) Air {
	a.DensityKgM3 *= 1 + e.AirDensity
	return a
}

// Weight is one dead weight hung on the arm and what the bench read.
type Weight struct {
	MassKg    float64 // nominal
	Clockwise bool    // sense of the torque; readings are negative then
	ReadingNm float64 // mean of the readings, zero included
	Readings  []float64
}

// Weights describes a dead-weight calibration.
type Weights struct {
	MassesKg   []float64 // nominal; 0 is the empty arm
	BothSenses bool
	Repeats    int     // passes over all masses; 0 means 1
	HoldS      float64 // averaging time of one reading; its noise is NoiseNm/√(HoldS·SampleHz)
	// MassU is the relative standard uncertainty of each mass on its own.
	MassU float64
	// Asymmetry is the relative difference of the two senses' true slopes.
	Asymmetry float64
	// FrictionNm is what the arm's pivot can hold: readings scatter within ±.
	FrictionNm float64
	// Again hangs the same weights a second time: their own errors are those of the first, the readings' noise is new.
	Again bool
}

// DeadWeights hangs the weights on the bench b (already with its true errors)
// and reads them. The true torque is m·(1+δm)·g·arm with b's true gravity and
// arm, e's common mass error and an error of each mass of its own; the tester,
// who reckons with nominal values, so finds a slope that is wrong by the
// declared uncertainties and no more.
func DeadWeights(b Bench, e Drawn, w Weights, seed uint64) []Weight {
	rng := stream(seed, streamWeights)
	own := make([]float64, len(w.MassesKg))
	for i := range own {
		own[i] = w.MassU * rng.NormFloat64()
	}
	if w.Again {
		rng = stream(seed, streamWeightsAgain)
	}
	scale, noise := b.Torque.Scale, b.Torque.NoiseNm
	if scale == 0 {
		scale = 1
	}
	if n := w.HoldS * b.Clock.SampleHz; n > 1 {
		noise /= math.Sqrt(n)
	}
	senses := []float64{1}
	if w.BothSenses {
		senses = []float64{1, -1}
	}
	var out []Weight
	at := 0.0
	for _, sense := range senses {
		for i, m := range w.MassesKg {
			t := sense * m * (1 + e.Mass + own[i]) * b.GravityMs2 * b.ArmM
			slope := scale * (1 + 0.5*sense*w.Asymmetry)
			row := Weight{MassKg: m, Clockwise: sense < 0}
			for range max(w.Repeats, 1) {
				row.Readings = append(row.Readings, weighing(b, slope, t, at, noise, w.FrictionNm, rng))
				at += w.HoldS
			}
			for _, r := range row.Readings {
				row.ReadingNm += r / float64(len(row.Readings))
			}
			out = append(out, row)
		}
	}
	return out
}

// weighing is one reading. Creep comes in whole after several of its time
// constants; hanging and reading one weight takes about one hold time.
func weighing(b Bench, slope, t, at, noise, friction float64, rng *rand.Rand) float64 {
	held := t + friction*(2*rng.Float64()-1)
	r := slope*held*(1+b.Torque.Creep) + b.Torque.ZeroNm + b.Torque.DriftNmPs*at + noise*rng.NormFloat64()
	return quantise(r, b.Torque.LSBNm)
}
