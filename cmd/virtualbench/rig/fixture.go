package rig

import "math"

// spring advances x” + 2ζω·x' + ω²·x = ω²·u exactly over a step for u constant
// in it, so any resonance is right at any step and the gain at rest is 1.
type spring struct {
	rigid              bool
	a11, a12, a21, a22 float64
	x, rate            float64 // torque in the spring, and its rate over ω
}

func newSpring(f Fixture, h float64) spring {
	if f.Hz <= 0 {
		return spring{rigid: true}
	}
	w := 2 * math.Pi * f.Hz
	z := f.Damping
	wd := w * math.Sqrt(1-z*z)
	e := math.Exp(-z * w * h)
	s, c := math.Sincos(wd * h)
	g := w / wd
	// State (x−u, x'/ω): the matrix exponential of [[0, ω], [−ω, −2ζω]]·h.
	return spring{
		a11: e * (c + z*g*s), a12: e * g * s,
		a21: -e * g * s, a22: e * (c - z*g*s),
	}
}

func (s *spring) advance(u float64) float64 {
	if s.rigid {
		s.x = u
		return u
	}
	d := s.x - u
	d, s.rate = s.a11*d+s.a12*s.rate, s.a21*d+s.a22*s.rate
	s.x = u + d
	return s.x
}

// cell is the analog side of the torque channel: spring, creep, play, filter.
// Its output still lacks scale, zero and noise.
type cell struct {
	spring, second           spring
	share2                   float64
	imbalance                float64
	creepShare, creepStep    float64
	crept                    float64
	playShare, playHalf      float64
	played                   float64
	filterStep               float64 // 1 − exp(−h/τ); 1 when there is no filter
	out                      float64
	crosstalk                float64
	needsExtras, needsFilter bool
}

// lag is the share of the way to its input that a first-order lag of time
// constant tau goes in h.
func lag(h, tau float64) float64 {
	if tau <= 0 {
		return 1
	}
	return -math.Expm1(-h / tau)
}

func newCell(b *Bench, l Load, ratio, h float64) cell {
	t := &b.Torque
	c := cell{
		spring:     newSpring(b.Fixture, h),
		second:     newSpring(Fixture{Hz: b.Fixture.Hz2, Damping: b.Fixture.Damping2}, h),
		share2:     b.Fixture.Share2,
		imbalance:  l.ImbalanceNm2,
		creepShare: t.Creep, creepStep: lag(h, t.CreepS),
		playShare: t.Hysteresis, playHalf: t.PlayNm,
		filterStep: lag(h, t.FilterS),
		crosstalk:  t.CrosstalkNmPerN * l.ThrustNs2 * ratio,
	}
	c.needsExtras = t.Creep != 0 || t.Hysteresis != 0 || c.crosstalk != 0
	c.needsFilter = t.FilterS > 0
	return c
}

// start puts the cell in equilibrium under torque u at speed w. Its creep has
// not begun: the cell was unloaded before.
func (c *cell) start(u, w float64) {
	c.spring.x, c.second.x, c.played = u, u, u
	c.out = u*(1-c.playShare) + c.playShare*c.played + c.crosstalk*w*w
}

// advance takes the mean torque on the stator over a step, the speed and the
// rotor angle at its middle, and returns the analog output at its end.
func (c *cell) advance(u, w, angle float64) float64 {
	if c.imbalance != 0 {
		u += c.imbalance * w * w * fastSin(angle)
	}
	x := c.spring.advance(u)
	if c.share2 != 0 {
		x += c.share2 * (c.second.advance(u) - x)
	}
	if c.needsExtras {
		c.crept += (x - c.crept) * c.creepStep
		if d := x - c.played; d > c.playHalf {
			c.played = x - c.playHalf
		} else if d < -c.playHalf {
			c.played = x + c.playHalf
		}
		x += c.creepShare*c.crept + c.playShare*(c.played-x) + c.crosstalk*w*w
	}
	if c.needsFilter {
		c.out += (x - c.out) * c.filterStep
	} else {
		c.out = x
	}
	return c.out
}
