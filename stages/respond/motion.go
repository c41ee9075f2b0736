package respond

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// plant is one rotor on the motor with every number fixed.
type plant struct {
	j     float64
	form  string
	load  [3]float64
	ref   float64
	ratio float64 // of the air's density to that of the load curve
	dry   float64 // friction against the ground, N·m
	added float64
	curve []spin.LoadStep
	// A propeller's inflow carries the share of the load and follows the speed lagRad radians behind.
	// j is then the inertia in air, from which a settling inflow has taken share·lagRad·virtual.
	share, lagRad, virtual float64

	// The surface.
	a, b, c, tau, bend, emf float64
	ohm, kt, k0, k1         float64 // supply and current law; kt 0: none
	v0, duty, ramp          float64
	// warmth is the relative rise of the windings' resistance by a joule lost in them, warmer that at the start.
	warmth, warmer float64
	drag           []float64 // of a coast
}

// demand is the torque that holds speed w.
func (p *plant) demand(w float64) float64 {
	t := spin.LoadAt(p.form, p.load, w/p.ref)*p.ratio + p.added
	if w > 0 {
		t += p.dry
	}
	if len(p.curve) > 0 {
		t += corner(p.curve, w)
	}
	return t
}

// inflowed tells whether an inflow is a state of its own: one that lags by less than
// a tenth of a radian follows at once.
func (p *plant) inflowed() bool { return p.share > 0 && p.lagRad > 0.1 && p.virtual > 0 }

// body is the inertia that is left when the inflow is a state of its own.
func (p *plant) body() float64 {
	if !p.inflowed() {
		return p.j
	}
	return p.j + float64(p.share*p.lagRad*p.virtual)
}

// lagging is the load at speed w that the inflow, still that of speed v, leaves off.
func (p *plant) lagging(w, v float64) float64 {
	if w <= 0 {
		return 0
	}
	return p.share * spin.LoadAt(p.form, p.load, w/p.ref) * p.ratio * (1 - v/w)
}

// inflow is dv/dt: v follows dv/dθ = (ω − v)/c.
func (p *plant) inflow(w, v float64) float64 { return w * (w - v) / p.lagRad }

// corner reads a curve of straight lines; beyond its ends it keeps the end's value.
func corner(c []spin.LoadStep, w float64) float64 {
	if w <= c[0].SpeedRadPerS {
		return c[0].TorqueNm
	}
	for i := 1; i < len(c); i++ {
		if w <= c[i].SpeedRadPerS {
			f := (w - c[i-1].SpeedRadPerS) / (c[i].SpeedRadPerS - c[i-1].SpeedRadPerS)
			return c[i-1].TorqueNm + float64(f*(c[i].TorqueNm-c[i-1].TorqueNm))
		}
	}
	return c[len(c)-1].TorqueNm
}

// gain is the torque's gain in N·m/V as warm as the motor is at the start.
func (p *plant) gain() float64 { return p.a / (1 + p.warmer) }

// sag is κ = Gain·duty²·ohm/kt: how much the supply's resistance softens the torque.
func (p *plant) sag(d float64) float64 {
	if p.kt <= 0 {
		return 0
	}
	return p.gain() * d * d * p.ohm / p.kt
}

// current is the phase current at a torque.
func (p *plant) current(w, t float64) float64 {
	if p.kt <= 0 {
		return 0
	}
	return (t + p.k0 + float64(p.k1*w)) / p.kt
}

// settled is the torque at speed w and duty d once the current has settled.
func (p *plant) settled(w, d float64) float64 {
	k := p.sag(d)
	t := (float64(p.gain()*d*p.v0) + float64(p.b/(1+p.warmer)*w) + p.c) / (1 + k)
	if p.kt > 0 {
		t -= k * (p.k0 + float64(p.k1*w)) / (1 + k)
	}
	if p.bend == 0 {
		return t
	}
	straight := t
	for range 8 {
		v := p.v0 - float64(p.ohm*d*p.current(w, t))
		u := float64(d*v) - float64(p.emf*w)
		t = straight + float64(p.bend/(1+p.warmer)*u*u)/(1+k)
	}
	return t
}

// warmed is a settled torque with the windings warmed by a loss in J.
func (p *plant) warmed(settled, loss float64) float64 {
	return p.c + (settled-p.c)/(1+float64(p.warmth*loss))
}

// loss is the power in W that a phase current leaves in the windings.
func (p *plant) loss(amps float64) float64 {
	if p.kt <= 0 || p.a <= 0 {
		return 0
	}
	return amps * amps * p.kt / p.gain()
}

// holding is the duty that holds speed w, at most 1.
func (p *plant) holding(w float64) float64 {
	need := p.demand(w)
	if w <= 0 {
		return 0
	}
	lo, hi := 0.0, 1.0
	for range 60 {
		if mid := (lo + hi) / 2; p.settled(w, mid) < need {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// fastest is a speed in rad/s that no small motor reaches: where final gives up.
const fastest = 1e5

// final is the speed at which the full duty balances the demand, coming from
// speed w: where the rotor stays. It is w itself where the torque does not suffice to leave it.
func (p *plant) final(w float64) float64 {
	net := func(w float64) float64 { return p.settled(w, p.duty) - p.demand(w) }
	if net(w) <= 0 {
		return w
	}
	lo, step := w, math.Max(1, 0.01*w)
	hi := w + step
	for net(hi) > 0 {
		if hi > fastest {
			return hi
		}
		lo, hi = hi, hi+math.Max(step, 0.01*hi)
	}
	for range 50 {
		if mid := (lo + hi) / 2; net(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// outcome of one motion.
type outcome struct {
	time, energy, charge, peak float64
	stall                      float64 // where the speed stays when the target is not reached
	reached                    bool
	stated                     float64 // the solver's own error of the time, s
	grid                       []float64
}

const (
	solverRel = 1e-9
	// longestS bounds a motion: nobody waits longer for a propeller.
	longestS = 600
	// unresolvedS is the electrical time constant below which the current follows at once.
	unresolvedS = 1e-6
)

// duties is the duty at time t after the command.
func (p *plant) dutyAt(t, from float64) float64 {
	if t >= p.ramp {
		return p.duty
	}
	return from + (p.duty-from)*t/p.ramp
}

// up spins from one speed to a higher one. slow takes the current's own lag
// as a virtual inertia and a delay, right to first order and fifty times
// quicker: for differences. grid are the speeds at which times are wanted.
func (p *plant) up(from, to float64, slow bool, grid []float64) outcome {
	if f := p.final(from); !(to < f) {
		return outcome{stall: f}
	}
	hold := p.duty
	if p.ramp > 0 {
		hold = p.holding(from)
	}
	if slow || p.tau < unresolvedS {
		return p.follow(from, to, hold, grid)
	}
	body, inflowed := p.body(), p.inflowed()
	rates := func(t float64, y, d []float64) {
		duty := p.dutyAt(t, hold)
		need := p.demand(y[0])
		if inflowed {
			need -= p.lagging(y[0], y[5])
			d[5] = p.inflow(y[0], y[5])
		}
		d[0] = (y[1] - need) / body
		d[1] = (p.warmed(p.settled(y[0], duty), y[4]) - y[1]) * (1 + p.sag(duty)) / p.tau
		i := p.current(y[0], y[1])
		d[2] = duty * i
		d[3] = (p.v0 - float64(p.ohm*d[2])) * d[2]
		d[4] = p.loss(i)
	}
	return p.drive(rates, p.from(from, p.demand(from), 0, 0, 0), to, grid)
}

// follow is up with the current taken as settled: T = S − τ·dS/dt, hence
// (J + τ·∂S/∂ω)·dω/dt = S(ω, duty one τ ago) − demand.
func (p *plant) follow(from, to, hold float64, grid []float64) outcome {
	h := 1e-4 * (to + from)
	tau := math.Max(0, p.tau) / (1 + p.sag(p.duty))
	bow := (p.settled(to+h, p.duty) - p.settled(to-h, p.duty)) / (2 * h)
	j, inflowed := p.body()+tau*bow, p.inflowed()
	rates := func(t float64, y, d []float64) {
		duty := p.dutyAt(t, hold)
		s := p.warmed(p.settled(y[0], duty), y[4])
		need := p.demand(y[0])
		if inflowed {
			need -= p.lagging(y[0], y[5])
			d[5] = p.inflow(y[0], y[5])
		}
		d[0] = (s - need) / j
		i := p.current(y[0], s-float64(tau*bow*d[0]))
		d[1] = 0
		d[2] = duty * i
		d[3] = (p.v0 - float64(p.ohm*d[2])) * d[2]
		d[4] = p.loss(i)
	}
	o := p.drive(rates, p.from(from, 0, 0, 0, 0), to, grid)
	o.time += tau
	for i := range o.grid {
		o.grid[i] += tau
	}
	return o
}

// down coasts from one speed to a lower one, the current cut.
func (p *plant) down(from, to float64, grid []float64) outcome {
	body, inflowed := p.body(), p.inflowed()
	rates := func(_ float64, y, d []float64) {
		drag := 0.0
		for i := len(p.drag) - 1; i >= 0; i-- {
			drag = float64(drag*y[0]) + p.drag[i]
		}
		need := p.demand(y[0])
		if inflowed {
			need -= p.lagging(y[0], y[5])
			d[5] = p.inflow(y[0], y[5])
		}
		d[0] = -(drag + need) / body
		d[1], d[2], d[3], d[4] = 0, 0, 0, 0
	}
	return p.drive(rates, p.from(from, 0, 0, 0, 0), to, grid)
}

// from is the state at the start: speed, torque, charge, energy, loss in the windings, and an inflow that has settled
// where there is one.
func (p *plant) from(state ...float64) []float64 {
	if p.inflowed() {
		state = append(state, state[0])
	}
	return state
}

// drive integrates until the first state passes to. The third and fourth are charge and energy.
func (p *plant) drive(rates numeric.Rates, y0 []float64, to float64, grid []float64) outcome {
	abs := make([]float64, len(y0))
	for i := range abs {
		abs[i] = 1e-12
	}
	abs[0] = 1e-9 * math.Max(y0[0], to)
	event := func(_ float64, y []float64) float64 { return y[0] - to }
	path, err := numeric.Advance(rates, 0, y0, longestS, event, numeric.Tolerance{Rel: solverRel, Abs: abs, MaxSteps: 20000})
	if err != nil || !path.Met {
		_, y := path.End()
		return outcome{stall: y[0]}
	}
	o := outcome{reached: true}
	t, y := path.End()
	o.time = t
	o.charge, o.energy = y[2], y[3]
	d, between := make([]float64, len(y0)), make([]float64, len(y0))
	for k := 0; k+1 < path.Times(); k++ {
		for f := 0; f < 4; f++ {
			at := path.TimeS[k] + (path.TimeS[k+1]-path.TimeS[k])*float64(f)/4
			path.At(at, between)
			rates(at, between, d)
			o.peak = math.Max(o.peak, math.Abs(d[0]))
		}
	}
	rates(t, y, d)
	o.peak = math.Max(o.peak, math.Abs(d[0]))
	if d[0] != 0 {
		o.stated = path.ErrorSum[0] / math.Abs(d[0])
	}
	o.grid = inverted(&path, y0[0], to, grid, between)
	return o
}

// inverted are the times at which the first state passes each speed of the grid.
func inverted(path *numeric.Trajectory, from, to float64, grid, y []float64) []float64 {
	sign := 1.0
	if to < from {
		sign = -1
	}
	out := make([]float64, len(grid))
	k := 0
	for i, w := range grid {
		for k+2 < path.Times() && sign*(path.State[k+1][0]-w) < 0 {
			k++
		}
		lo, hi := path.TimeS[k], path.TimeS[min(k+1, path.Times()-1)]
		for range 50 {
			mid := (lo + hi) / 2
			path.At(mid, y)
			if sign*(y[0]-w) < 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		out[i] = hi
	}
	return out
}
