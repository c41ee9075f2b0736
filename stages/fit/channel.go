package fit

import (
	"slices"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// clocked adds what is not known of the torque logger's clock. J = ∫(T − L −
// z)dt/Δω, so a second that is wrong by a share makes J wrong by the same; the speeds
// are what their channel says, whatever the clock.
func clocked(j uncertain.Value, r *spin.Recording) uncertain.Value {
	c := r.ClockRate
	if c.Mean == 0 {
		return j
	}
	return j.Add(c.Sub(uncertain.Exact(c.Mean)).Scale(j.Mean / c.Mean))
}

// crosstalk adds what is not known of the thrust's share of the torque channel. slope is
// ∂J/∂c, N·m/N being the unit of c.
func crosstalk(j uncertain.Value, r *spin.Recording, slope float64) uncertain.Value {
	if r.CrosstalkM == nil {
		return j
	}
	for _, p := range r.CrosstalkM.Parts {
		p.Contribution *= slope
		j = j.With(p)
	}
	return j
}

// skewed is a view whose torque is ∂T/∂c less ∂L/∂c: minus (the sense's sign) the
// thrust, less the thrust that the same speed has when settled. The load curve was
// measured with the same cross-talk and moves along with the torque; what
// remains is how far the thrust lags its settled value in the transient. That value is
// a + b·ω² through the means of two windows. nil without thrust.
func skewed(r *spin.Recording, v *balance.View, low, high balance.Window, tau float64) *balance.View {
	if r.CrosstalkM == nil || v.ThrustN == nil {
		return nil
	}
	square := func(w balance.Window) float64 { s := v.MeanSpeed(w); return s * s }
	b := (v.MeanThrust(high, tau) - v.MeanThrust(low, tau)) / (square(high) - square(low))
	a := v.MeanThrust(low, tau) - b*square(low)
	sign := -1.0
	if r.Declared.Turns == spin.CW {
		sign = 1
	}
	out := *v
	out.TorqueNm = make([]float64, v.Len())
	for i, t := range v.TimeS {
		w := speedAt(v, t-tau)
		out.TorqueNm[i] = sign * (v.ThrustN[i] - a - float64(b*w*w))
	}
	return &out
}

// speedAt reads the speed between its samples, the nearest at the ends.
func speedAt(v *balance.View, t float64) float64 {
	i, _ := slices.BinarySearch(v.SpeedTimeS, t)
	if i == 0 {
		return v.SpeedRadPerS[0]
	}
	if i == len(v.SpeedTimeS) {
		return v.SpeedRadPerS[i-1]
	}
	before, after := v.SpeedTimeS[i-1], v.SpeedTimeS[i]
	if after == before {
		return v.SpeedRadPerS[i]
	}
	share := (t - before) / (after - before)
	return v.SpeedRadPerS[i-1] + float64(share*(v.SpeedRadPerS[i]-v.SpeedRadPerS[i-1]))
}

// crosstalkSlope is ∂J/∂c of a step: J is linear in the torque, so the balance of
// the torque with the skew added tells it.
func (p *stepProblem) crosstalkSlope() float64 {
	skew := skewed(&p.in.Recording, p.v.View, p.a, p.b, p.tau)
	if skew == nil {
		return 0
	}
	return p.byTorque(skew.TorqueNm)
}

// bent is what the bend of the calibration line does to J: its whole effect is taken for a standard uncertainty. The load
// curve was read by the same line.
func (p *stepProblem) bent() (uncertain.Part, bool) {
	b := p.in.Recording.Bend
	if b == nil {
		return uncertain.Part{}, false
	}
	by := make([]float64, p.v.Len())
	for i, t := range p.v.TimeS {
		zero := p.z0 + float64(p.z1*(t-p.t0))
		by[i] = b.Off(p.v.TorqueNm[i]-zero) - b.Off(p.load[i])
	}
	return uncertain.Part{Source: b.Source, Contribution: p.byTorque(by)}, true
}

// byTorque is ∂J/∂x with x·by added to the torque: J is linear in it.
func (p *stepProblem) byTorque(by []float64) float64 {
	// Scaled to a hundredth of the peak so that the difference keeps its digits.
	unit := 0.0
	for _, x := range by {
		unit = max(unit, x, -x)
	}
	if unit == 0 {
		return 0
	}
	unit = 0.01 * p.peak / unit
	v := *p.v.View
	v.TorqueNm = make([]float64, len(by))
	for i, x := range by {
		v.TorqueNm[i] = p.v.TorqueNm[i] + float64(unit*x)
	}
	q := *p
	q.v = v.Keep()
	moved, err := q.moved(q.tau, q.load)
	if err != nil {
		return 0
	}
	return (moved - p.j) / unit
}
