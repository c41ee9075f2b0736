package fit

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// stepProblem is the linear problem of one step run.
type stepProblem struct {
	in   Input
	run  spin.Run
	opt  Options
	v    *balance.Kept
	tau  float64
	load []float64 // L per sample, N·m
	t0   float64

	tests  []balance.Test
	a, b   balance.Window // on A and, for the way up, on B
	b2, c  balance.Window // on B for the way down, and on C
	up     balance.Test   // the passage from A to B
	down   balance.Test   // and that from B to C
	three  bool
	noiseT float64 // torque noise density, N²m²s
	noiseW float64 // speed noise density, rad²/s
	peak   float64 // largest mean torque of the passage, N·m
	rough  float64 // the inertia, kg·m², by impulse and speeds alone
	loaded float64 // loadRel
	settle float64 // least of a passage's end and its rise together, s

	priorLambda, priorDrift float64

	// Solution.
	j, lambda, z0, z1 float64
	uj, ulambda       float64    // of this run's own noise and priors
	byPrior           [4]float64 // ∂(J, λ, z₀, z₁)/∂(mean of λ's prior)
}

func newStep(in Input, run spin.Run, v *balance.View, tau float64, opt Options) *stepProblem {
	p := &stepProblem{in: in, run: run, opt: opt, v: v.Keep(), tau: tau, load: balance.Loads(v, in.Curve)}
	p.loaded = p.loadRel()
	p.settle = settlePeriods / settleHz
	if in.ringHz > 0 {
		p.settle = math.Max(p.settle, settlePeriods/in.ringHz)
	}
	seg := in.Recording.Segments
	p.a = clampWindow(seg[run.A], opt.PlateauS, true)
	p.b = p.after(seg[run.B])
	p.t0 = p.b.From
	if run.C >= 0 {
		p.three = true
		p.b2 = clampWindow(seg[run.B], opt.PlateauS, true)
		p.c = p.after(seg[run.C])
	}
	p.noise()
	p.up = p.between(p.a, p.b)
	p.tests = []balance.Test{{From: p.a}, {From: p.b}, p.up}
	if p.three {
		p.down = p.between(p.b2, p.c)
		p.tests = append(p.tests, balance.Test{From: p.c}, p.down)
		if p.b2.From > p.b.From {
			// A settled stretch longer than PlateauS: its far end is a plateau of its own.
			p.tests = append(p.tests, balance.Test{From: p.b2})
		}
	}
	return p
}

const (
	// settlePeriods of the fixture, or of one of 80 Hz where that is longer, is the least that a passage's end and the rise last
	// together: what the step has set ringing is averaged away. shortestEnd, s, is for rises so slow that they ring little.
	settlePeriods = 8.8
	settleHz      = 80.0
	shortestEnd   = 0.04
	// endSamples is the fewest samples of an end: a window of fewer has no shape.
	endSamples = 24
)

// between is the passage from plateau a to plateau b.
//
// The balance holds for any test function. Its ends, over which it rises and falls, need not be whole plateaus: it is for zero
// and load that these are read. Torque noise counts from end to end, speed noise by the ends' length, so an end of length l brings
// a twelfth of l of the one, once the zero is taken off, and 1/l of the other, and J = ∫(T − L − z)dt/Δω is least uncertain
// where the two are equal. The first end lasts until 0.3 rises before a tenth of the speed's way is gone, the last begins when
// all but a twentieth is. A propeller's inflow is still settling then: its ends are whole plateaus.
func (p *stepProblem) between(a, b balance.Window) balance.Test {
	whole := balance.Test{From: a, To: b, Passage: true}
	if p.in.Propeller || p.loaded >= loadedRel {
		return whole
	}
	begun, done := p.reaches(0.1, a, b), p.reaches(0.95, a, b)
	rise := p.reaches(0.9, a, b) - begun
	// A slow channel still shows afterwards, or shows before, what the lag only sets right on average.
	late := 2 * math.Abs(p.tau)
	last, done := math.Max(a.To, begun-0.3*rise-late), math.Min(b.From, done+late)
	if last >= done {
		return whole
	}
	l := p.rough * math.Sqrt(12*a.Integral()*(a.To-a.From)*p.noiseW/p.noiseT)
	step := math.Max(p.in.Recording.StepS, p.in.Recording.TorqueRenewedS)
	l = max(l, shortestEnd, p.settle-rise, endSamples*step)
	return balance.Test{
		From:    balance.Window{From: math.Max(a.From, last-l), To: last},
		To:      balance.Window{From: done, To: math.Min(b.To, done+l)},
		Passage: true,
	}
}

// The inflow of a propeller follows the blades by up to a dozen radians of
// rotation; inflowSettled of them later the load is the static one to 8 %, of which inflow is a fifth.
// loadedRel of the load in the torque's range is from where on that matters.
const (
	inflowSettled = 30.0
	loadedRel     = 0.05
)

// after is the window on a plateau behind a transient: as long as PlateauS, and, for a rotor
// under load, only from where its inflow has settled, if half of the plateau is left.
func (p *stepProblem) after(seg spin.Segment) balance.Window {
	w := clampWindow(seg, p.opt.PlateauS, false)
	speed := p.v.MeanSpeed(w)
	if !(speed > 0) || p.loaded < loadedRel {
		return w
	}
	if wait := inflowSettled / speed; wait < (seg.ToS-seg.FromS)/2 {
		seg.FromS += wait
		return clampWindow(seg, p.opt.PlateauS, false)
	}
	return w
}

// loadRel is the largest load over the largest torque, zero and all.
func (p *stepProblem) loadRel() float64 {
	load, low, high := 0.0, math.Inf(1), math.Inf(-1)
	for i, t := range p.v.TorqueNm {
		load, low, high = math.Max(load, p.load[i]), math.Min(low, t), math.Max(high, t)
	}
	return load / (high - low)
}

// noise takes the larger noise density of the plateaus: settled speeds carry
// imbalance and ripple that idle does not.
func (p *stepProblem) noise() {
	for _, w := range p.windows() {
		lo, hi := indexOf(p.v.TimeS, w.From), indexOf(p.v.TimeS, w.To)
		if hi-lo < 8 {
			continue
		}
		l := p.v.TimeS[hi-1] - p.v.TimeS[lo]
		p.noiseT = math.Max(p.noiseT, noiseDensity(p.v.TorqueNm[lo:hi], l))
		p.noiseW = math.Max(p.noiseW, noiseDensity(p.v.SpeedRadPerS[lo:hi], l))
	}
	dw := p.v.MeanSpeed(p.b) - p.v.MeanSpeed(p.a)
	e := p.v.Integrate(balance.Test{From: p.a, To: p.b, Passage: true}, p.tau, p.t0, p.load)
	zero := p.v.MeanTorque(p.a, p.tau)
	impulse := math.Abs(e.Y - zero*e.Zero)
	p.rough = impulse / math.Abs(dw)
	// The mean torque of a passage whose exponential rise takes 2.2 time
	// constants from 10 to 90 % peaks at about twice its mean.
	p.peak = 2 * impulse / math.Max(p.run.RiseS, p.in.Recording.StepS)
	// A hundred-thousandth of the peak a sample, where a quiet or coarsely quantised
	// channel shows less: the equations must stay solvable.
	p.noiseT = math.Max(p.noiseT, 1e-10*p.peak*p.peak*p.in.Recording.StepS)
	if p.noiseW == 0 {
		p.noiseW = 1e-12 * dw * dw * p.in.Recording.StepS
	}
	p.priorLambda = p.opt.LoadPriorRel
	p.priorDrift = p.opt.DriftPriorRelPerS * p.peak
}

func (p *stepProblem) windows() []balance.Window {
	if p.three {
		return []balance.Window{p.a, p.b, p.c}
	}
	return []balance.Window{p.a, p.b}
}

func indexOf(t []float64, x float64) int {
	i, _ := slices.BinarySearch(t, x)
	return i
}

// solve finds J, λ, z₀, z₁ and keeps them.
func (p *stepProblem) solve() error {
	s, err := p.system(p.tau, p.load, p.priorLambda, p.priorDrift)
	if err != nil {
		return err
	}
	p.j, p.lambda, p.z0, p.z1 = s.Coef[0], s.Coef[1], s.Coef[2], s.Coef[3]
	p.uj, p.ulambda = math.Sqrt(s.Cov.At(0, 0)), math.Sqrt(s.Cov.At(1, 1))
	for i := range p.byPrior {
		p.byPrior[i] = s.Gain.At(i, len(p.tests))
	}
	return nil
}

// moved is J with another lag or load and everything else kept.
func (p *stepProblem) moved(tau float64, load []float64) (float64, error) {
	s, err := p.system(tau, load, p.priorLambda, p.priorDrift)
	if err != nil {
		return 0, err
	}
	return s.Coef[0], nil
}

// system builds and solves the equations. Rows: tests, then the priors of λ and z₁.
func (p *stepProblem) system(tau float64, load []float64, priorLambda, priorDrift float64) (numeric.Solution, error) {
	n := len(p.tests)
	a, y := numeric.NewMatrix(n+2, 4), make([]float64, n+2)
	cov := numeric.NewMatrix(n+2, n+2)
	jGuess := 0.0
	for i, t := range p.tests {
		e := p.v.Integrate(t, tau, p.t0, load)
		copy(a.Row(i), []float64{e.Momentum, e.Load, e.Zero, e.Drift})
		y[i] = e.Y
		if i == 2 && e.Momentum != 0 {
			jGuess = (e.Y - y[0]*e.Zero) / e.Momentum
		}
	}
	for i := range p.tests {
		for k := i; k < n; k++ {
			c := p.noiseT*p.v.Overlap(p.tests[i], p.tests[k]) + jGuess*jGuess*p.noiseW*speedOverlap(p.tests[i], p.tests[k])
			cov.Set(i, k, c)
			cov.Set(k, i, c)
		}
	}
	a.Set(n, 1, 1)
	y[n] = 1
	cov.Set(n, n, priorLambda*priorLambda)
	a.Set(n+1, 3, 1)
	cov.Set(n+1, n+1, priorDrift*priorDrift)
	s, err := numeric.Generalised(a, y, cov)
	if err != nil {
		return s, fmt.Errorf("momentum balance: %w", err)
	}
	return s, nil
}

// speedOverlap is ∫ w₁′·w₂′ dt: shared windows carry shared speed noise. A plateau
// and a passage that begins or ends on it share none (∫ h·h′ dt = 0).
func speedOverlap(x, y balance.Test) float64 {
	if !x.Passage && !y.Passage && x.From == y.From {
		return x.From.Roughness()
	}
	if !x.Passage || !y.Passage {
		return 0
	}
	s := 0.0
	for _, a := range []struct {
		w    balance.Window
		sign float64
	}{{x.From, 1}, {x.To, -1}} {
		for _, b := range []struct {
			w    balance.Window
			sign float64
		}{{y.From, 1}, {y.To, -1}} {
			s += a.sign * b.sign * common(a.w, b.w)
		}
	}
	return s
}

// common is ∫ h₁·h₂ dt: exact for equal windows, by the flat tops for overlapping ones.
func common(a, b balance.Window) float64 {
	if a == b {
		return a.Integral()
	}
	lo, hi := math.Max(a.From, b.From), math.Min(a.To, b.To)
	if hi <= lo {
		return 0
	}
	return (hi - lo) / ((a.To - a.From) * (b.To - b.From))
}

// fill writes the solution into the result.
func (p *stepProblem) fill(f *spin.RunFit) {
	f.JKgM2.Mean = p.j
	f.RandomU = p.uj
	f.ZeroNm, f.DriftNmPerS = p.z0, p.z1
	f.LoadFactor, f.LoadFactorU = p.lambda, p.ulambda
	f.Plateaus = 2
	f.IdleRadPerS, f.SettledRadPerS = p.v.MeanSpeed(p.a), p.v.MeanSpeed(p.b)
	if p.three {
		f.Plateaus = 3
		f.ReturnRadPerS = p.v.MeanSpeed(p.c)
	}
	f.PeakNm = p.peak
	f.LagS = p.tau
	if f.SettledRadPerS > 0 {
		f.LoadCoefNmS2 = p.lambda * p.in.Curve.At(f.SettledRadPerS) / (f.SettledRadPerS * f.SettledRadPerS)
	}
	p.zeroGap(f)
}

// zeroGap is the zero seen at B less that at A (with C: less the mean of A and
// C, drift taken out) with the load curve as given.
func (p *stepProblem) zeroGap(f *spin.RunFit) {
	zero := func(w balance.Window) float64 {
		e := p.v.Integrate(balance.Test{From: w}, p.tau, p.t0, p.load)
		return e.Y - e.Load - p.j*e.Momentum
	}
	mid := func(w balance.Window) float64 { return (w.From + w.To) / 2 }
	za, zb := zero(p.a), zero(p.b)
	v := p.noiseT * (p.a.Integral() + p.b.Integral())
	if p.three {
		zc := zero(p.c)
		share := (mid(p.b) - mid(p.a)) / (mid(p.c) - mid(p.a))
		f.ZeroGapNm = zb - (za + share*(zc-za))
		v += p.noiseT * p.c.Integral()
	} else {
		f.ZeroGapNm = zb - za
	}
	f.ZeroGapU = math.Sqrt(v)
}
