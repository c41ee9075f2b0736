package fit

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// settling is what plateaus of finite length leave of the lagging inflow in an
// inertia "in air": mean and standard deviation over the ranges.
//
// An inflow that settles completely between plateaus is exactly the virtual
// inertia −f·c·∫k dv/Δω, k = L/ω². On a plateau that ends after a few times c
// radians it still pulls the load off its static curve, which the balance takes for
// zero and load factor. So the run is balanced once more with the
// load L·(1 − f·(1 − v/ω)), whose v follows dv/dθ = (ω − v)/c along the
// recorded speed, and the virtual inertia of the completed settling is put back.
func (p *stepProblem) settling() (mean, u float64) {
	in := p.opt.Inflow
	fs, fw := nodes(2, in.FLow, in.FHigh)
	cs, cw := nodes(3, in.CLow, in.CHigh)
	square := 0.0
	for k, c := range cs {
		v := balance.Following(&p.in.Recording, p.run, c)
		virtual := p.virtual(v, c)
		for i, f := range fs {
			load := make([]float64, len(p.load))
			for n, l := range p.load {
				load[n] = l
				if w := p.v.SpeedRadPerS[n]; w > 0 {
					load[n] -= f * l * (1 - v[n]/w)
				}
			}
			s, err := p.system(p.tau, load, p.priorLambda, p.priorDrift)
			if err != nil {
				continue
			}
			body, lambda := s.Coef[0], s.Coef[1]
			d := body - f*lambda*virtual - p.j
			mean += cw[k] * fw[i] * d
			square += cw[k] * fw[i] * d * d
		}
	}
	return mean, math.Sqrt(math.Max(0, square-mean*mean))
}

// virtual is c·∫k dv/Δω of a completed rise from A to B by the curve as given, with v as it was on the way
// and what is still missing at both ends added at their speeds. A load that is λ times the curve's makes λ times of it.
func (p *stepProblem) virtual(v []float64, c float64) float64 {
	lo, hi := indexOf(p.v.SpeedTimeS, p.a.From), indexOf(p.v.SpeedTimeS, p.b.To)
	hi = min(hi, len(v)-1)
	k := func(n int) float64 {
		w := p.v.SpeedRadPerS[n]
		if w <= 0 {
			return 0
		}
		return p.load[n] / (w * w)
	}
	a, b := p.v.MeanSpeed(p.a), p.v.MeanSpeed(p.b)
	sum := k(lo)*(v[lo]-a) + k(hi)*(b-v[hi])
	for n := lo; n < hi; n++ {
		sum += (k(n) + k(n+1)) / 2 * (v[n+1] - v[n])
	}
	return c * sum / (b - a)
}

// nodes are n Gauss–Legendre abscissae over a range and their weights, sum 1.
func nodes(n int, low, high float64) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	if high <= low {
		for i := range x {
			x[i], w[i] = low, 1/float64(n)
		}
		return x, w
	}
	quad.Legendre{}.FixedLocations(x, w, low, high)
	for i := range w {
		w[i] /= high - low
	}
	return x, w
}

// settled corrects a propeller's inertia for what its inflow had not settled.
func (p *stepProblem) settled(f *spin.RunFit, j uncertain.Value) uncertain.Value {
	if !p.in.Propeller {
		return j
	}
	mean, u := p.settling()
	return j.Add(uncertain.Exact(mean)).With(uncertain.Part{
		Source: f.Job + "/rotor:" + f.Rotor + "/inflow-tail", Contribution: u,
	})
}
