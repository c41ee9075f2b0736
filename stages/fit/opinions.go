package fit

import (
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// opinions fills the second opinions of a recorded-torque fit: each sees
// faults that the balance between plateaus does not.
func (p *stepProblem) opinions(f *spin.RunFit) {
	f.JUp = p.passage(p.up, p.load)
	if p.three {
		f.JDown = p.passage(p.down, p.load)
	}
	f.JEnergy = p.energy()
	f.JWhole = p.whole()
	f.JKept, f.JRetied = p.extremes()
	f.JLowerHalf, f.JUpperHalf = p.halves()
	f.EnergyLoadU, f.HalvesLoadU = p.loadGaps(f)
	f.Aliasing = p.aliasing()
	f.SettledCreep, f.HasSettledCreep = p.settledCreep()
	f.ElectricalRatio = p.electrical()
}

// loadGaps are the changes of JEnergy/JUp and of JLowerHalf/JUpperHalf with the mean of the load factor's prior one
// of its standard uncertainties higher.
func (p *stepProblem) loadGaps(f *spin.RunFit) (energy, halves float64) {
	q := *p
	for i, x := range []*float64{&q.j, &q.lambda, &q.z0, &q.z1} {
		*x += p.byPrior[i] * p.priorLambda
	}
	if up := q.passage(q.up, q.load); f.JUp > 0 && f.JEnergy > 0 && up > 0 {
		energy = math.Abs(q.energy()/up - f.JEnergy/f.JUp)
	}
	if lower, upper := q.halves(); f.JUpperHalf > 0 && upper > 0 {
		halves = math.Abs(lower/upper - f.JLowerHalf/f.JUpperHalf)
	}
	return energy, halves
}

// rest is what an equation leaves for J: Y less load, zero and drift.
func (p *stepProblem) rest(e balance.Equation) float64 {
	return e.Y - p.lambda*e.Load - p.z0*e.Zero - p.z1*e.Drift
}

// passage is J from one passage alone, with the run's zero, drift and load factor.
func (p *stepProblem) passage(t balance.Test, load []float64) float64 {
	e := p.v.Integrate(t, p.tau, p.t0, load)
	if e.Momentum == 0 {
		return 0
	}
	return p.rest(e) / e.Momentum
}

// energy is J from ∫ w·(T − L − z)·ω dt = ½J·(⟨ω²⟩_B − ⟨ω²⟩_A) on the way up: the
// torque is weighted with the speed of its instant, so that lag, drift and a
// wrong load show in another proportion than in the momentum balance.
func (p *stepProblem) energy() float64 {
	t := p.up
	from, to := t.Ends()
	num, k := 0.0, 0
	for i, at := range p.v.TimeS {
		at -= p.tau
		if at < from || at > to {
			continue
		}
		for k+2 < p.v.Len() && p.v.SpeedTimeS[k+1] <= at {
			k++
		}
		w0, w1 := p.v.SpeedRadPerS[k], p.v.SpeedRadPerS[k+1]
		w, l := w0, p.load[k]
		if h := p.v.SpeedTimeS[k+1] - p.v.SpeedTimeS[k]; h > 0 {
			x := math.Min(math.Max((at-p.v.SpeedTimeS[k])/h, 0), 1)
			w += x * (w1 - w0)
			l += x * (p.load[k+1] - p.load[k])
		}
		net := p.v.TorqueNm[i] - p.lambda*l - p.z0 - p.z1*(at-p.t0)
		num += float64(t.At(at) * p.v.DtS[i] * net * w)
	}
	den := (p.meanSquare(t.To) - p.meanSquare(t.From)) / 2
	if den <= 0 {
		return 0
	}
	return num / den
}

func (p *stepProblem) meanSquare(w balance.Window) float64 {
	num, den := 0.0, 0.0
	for i, t := range p.v.SpeedTimeS {
		if h := w.Density(t) * p.v.SpeedDtS[i]; h > 0 {
			num += float64(h * p.v.SpeedRadPerS[i] * p.v.SpeedRadPerS[i])
			den += h
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// whole is J from the regression of the speed on the torque integral over the
// whole transient, zero, drift and load free.
func (p *stepProblem) whole() float64 {
	to := p.b.To
	if p.three {
		to = p.c.To
	}
	s := p.v.NewLagSearch(p.a.From, to, p.load, p.three)
	inv, ok := s.InverseJ(p.tau)
	if !ok || inv <= 0 {
		return 0
	}
	return 1 / inv
}

// extremes are J from A and B with the load kept (λ = 1, the zero moves) and
// with the load tied again to the plateaus (the zero stands still).
func (p *stepProblem) extremes() (kept, retied float64) {
	const free, fixed = 1e3, 1e-9
	q := *p
	q.tests, q.three = p.tests[:3], false
	if s, err := q.system(p.tau, p.load, fixed, free*p.priorDrift); err == nil {
		kept = s.Coef[0]
	}
	if s, err := q.system(p.tau, p.load, free, fixed*p.priorDrift); err == nil {
		retied = s.Coef[0]
	}
	return kept, retied
}

// halves are J from the lower and the upper half of the rise, by a narrow
// window around the middle speed: a drift, a soft fixture or a wrong drag curve
// divides them. Weak on fast rotors.
func (p *stepProblem) halves() (lower, upper float64) {
	mid := p.crossing(0.5)
	width := math.Max(0.3*p.run.RiseS, 6*p.in.Recording.StepS)
	m := balance.Window{From: mid - width/2, To: mid + width/2}
	if m.From < p.up.From.To || m.To > p.up.To.From {
		return 0, 0
	}
	return p.passage(balance.Test{From: p.up.From, To: m, Passage: true}, p.load),
		p.passage(balance.Test{From: m, To: p.up.To, Passage: true}, p.load)
}

// crossing is the time at which the speed first passes a share of the rise for good.
func (p *stepProblem) crossing(share float64) float64 {
	low, high := p.v.MeanSpeed(p.a), p.v.MeanSpeed(p.b)
	level := low + share*(high-low)
	for i := indexOf(p.v.SpeedTimeS, p.b.From); i > 0; i-- {
		if i < p.v.Len() && p.v.SpeedRadPerS[i-1] < level && p.v.SpeedRadPerS[i] >= level {
			x := (level - p.v.SpeedRadPerS[i-1]) / (p.v.SpeedRadPerS[i] - p.v.SpeedRadPerS[i-1])
			return p.v.SpeedTimeS[i-1] + x*(p.v.SpeedTimeS[i]-p.v.SpeedTimeS[i-1])
		}
	}
	return (p.a.To + p.b.From) / 2
}

// aliasing is half the relative difference of the inertias that even and odd
// samples of the torque give on the way up: each is the same integral at half
// the sampling rate. Of a converter that is slower than the logger it is even and odd values.
func (p *stepProblem) aliasing() float64 {
	t := p.up
	odd := func(i int) int { return i & 1 }
	if r := p.in.Recording; r.TorqueRenewedS > 0 {
		odd = func(i int) int { return int(math.Floor((p.v.TimeS[i]-r.TorqueRenewedAtS)/r.TorqueRenewedS)) & 1 }
	}
	var y [2]float64
	var area [2]float64
	for i, at := range p.v.TimeS {
		w := t.At(at-p.tau) * p.v.DtS[i]
		y[odd(i)] += float64(2 * w * p.v.TorqueNm[i])
		area[odd(i)] += 2 * w
	}
	e := p.v.Integrate(t, p.tau, p.t0, p.load)
	if e.Momentum == 0 || p.j == 0 {
		return 0
	}
	// Each half has its own area; the zero must not pass for aliasing.
	d := (y[0] - p.z0*area[0]) - (y[1] - p.z0*area[1])
	return math.Abs(d) / math.Abs(e.Momentum*p.j) / 2
}

// electrical is mean mechanical power, (T − z)·ω, over mean electrical power
// on the settled plateau; more than 1 cannot be. 0 when voltage or current is not recorded.
func (p *stepProblem) electrical() float64 {
	if p.v.CurrentA == nil || p.v.VoltageV == nil {
		return 0
	}
	lo, hi := indexOf(p.v.TimeS, p.b.From), indexOf(p.v.TimeS, p.b.To)
	if hi-lo < 4 {
		return 0
	}
	// From the middle of the rise on, so that a bare bell, which delivers
	// next to nothing when settled, is seen at work. Torque that comes late belongs to the speed of its own time.
	lo = indexOf(p.v.TimeS, p.crossing(0.5))
	var mech, elec []float64
	for i := lo; i < hi; i++ {
		elec = append(elec, p.v.CurrentA[i]*p.v.VoltageV[i])
	}
	for i := indexOf(p.v.TimeS, p.v.TimeS[lo]+p.tau); i < p.v.Len() && p.v.TimeS[i] < p.v.TimeS[hi-1]+p.tau; i++ {
		mech = append(mech, (p.v.TorqueNm[i]-p.z0)*speedAt(p.v.View, p.v.TimeS[i]-p.tau))
	}
	if len(mech) == 0 || len(elec) == 0 {
		return 0
	}
	e := numeric.Mean(elec)
	if e <= 0 {
		return 0
	}
	return numeric.Mean(mech) / e
}
