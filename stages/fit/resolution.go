package fit

import (
	"fmt"
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/spin"
)

// resolution is the standard uncertainty of the inertia by the steps in which the torque channel is written.
//
// While the torque rises it crosses many steps and their error averages out. A plateau whose noise is smaller than a step
// stays on one or two of them, however long it lasts: its mean, and with it zero and load, is off by up
// to half a step, in every run that has the same plateau. From plateau to plateau a fast rotor's balance takes many times as
// long as the rise, and the inertia is off by as many times more. 0 where noise covers the steps.
func (p *stepProblem) resolution() float64 {
	off := func(segment int) float64 {
		at, _ := p.in.Recording.Plateau(segment)
		return at.TorqueRoundingU
	}
	a, b, c := off(p.run.A), off(p.run.B), 0.0
	const begun, done = 0.05, 0.95
	from := []float64{math.Inf(-1), p.reaches(done, p.a, p.b)}
	to := []float64{p.reaches(begun, p.a, p.b), math.Inf(1)}
	if p.three {
		c = off(p.run.C)
		to[1] = p.reaches(begun, p.b2, p.c)
		from, to = append(from, p.reaches(done, p.b2, p.c)), append(to, math.Inf(1))
	}
	// What a plateau's mean is off by, every reading up to the transient is.
	by := make([]float64, p.v.Len())
	moved := func(u float64, of ...int) float64 {
		if u == 0 {
			return 0
		}
		clear(by)
		for _, k := range of {
			for i, t := range p.v.TimeS {
				if t -= p.tau; t >= from[k] && t < to[k] {
					by[i] = 1
				}
			}
		}
		return u * p.byTorque(by)
	}
	idle, settled := moved(a, 0), moved(b, 1)
	square := float64(idle * idle)
	if p.three {
		back := moved(c, 2)
		// Idle before and idle after stand on the same step unless the zero went from one to another.
		both := moved(math.Max(a, c), 0, 2)
		square = math.Max(float64(both*both), square+float64(back*back))
	}
	return math.Sqrt(square + float64(settled*settled))
}

// speedResolution is the standard uncertainty of the inertia by the steps in which the speed is written: J = ∫(T − L − z)dt/Δω, and a
// plateau's mean speed is off by up to half a step where ripple and noise are smaller than one, in every run that has the same
// plateau. Idle before and idle after are one speed.
func (p *stepProblem) speedResolution() float64 {
	off := func(segment int) float64 {
		at, _ := p.in.Recording.Plateau(segment)
		return at.SpeedRoundingU
	}
	idle, settled := off(p.run.A), off(p.run.B)
	if p.three {
		idle = math.Max(idle, off(p.run.C))
	}
	return p.j * math.Hypot(idle, settled) / math.Abs(p.v.MeanSpeed(p.b)-p.v.MeanSpeed(p.a))
}

// reaches is when the speed has gone a share of the way between two plateaus' speeds, the first time after a.
func (p *stepProblem) reaches(share float64, a, b balance.Window) float64 {
	wa, wb := p.v.MeanSpeed(a), p.v.MeanSpeed(b)
	for i := indexOf(p.v.SpeedTimeS, a.To); i < p.v.Len() && p.v.SpeedTimeS[i] < b.From; i++ {
		if (p.v.SpeedRadPerS[i]-wa-share*(wb-wa))*(wb-wa) >= 0 {
			return p.v.SpeedTimeS[i]
		}
	}
	return b.From
}

// coarseRel of an inertia is from where on the channel's steps are worth a warning.
const coarseRel = 1e-3

// coarse warns, once a recording and channel, where the channel's steps are a large part of the uncertainty.
func (o *Output) coarse(r *spin.Recording, f spin.RunFit) {
	for _, c := range []struct {
		code, what, off string
		u               float64
	}{
		{"coarse-torque", fmt.Sprintf("the torque comes in steps of %.3g mN·m", 1e3*r.TorqueStepNm), "have the logger write more digits, or set the amplifier higher", f.ResolutionU},
		{"coarse-speed", fmt.Sprintf("the speed comes in steps of %.3g rpm", r.SpeedStepRadPerS*30/math.Pi), "have the logger write more digits, or the periods themselves", f.SpeedResolutionU},
	} {
		if c.u < coarseRel*f.JKgM2.Mean {
			continue
		}
		o.warnOnce(r, c.code, "%s, which the noise on its plateaus does not cover: their means may be off by half a step, and the inertia of %s by %.2g %% (standard uncertainty, in its budget); %s",
			c.what, f.Run, 100*c.u/f.JKgM2.Mean, c.off)
	}
}
