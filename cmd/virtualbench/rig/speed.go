package rig

import (
	"math"
	"math/rand/v2"
)

// maxSpan bounds SpeedChannel.Span.
const maxSpan = 64

// pickup turns the rotor's angle into the speed that a logger finds.
type pickup struct {
	ch      SpeedChannel
	edges   int
	span    int
	offsets []float64 // of each edge of a revolution, share of a period
	rng     *rand.Rand
	phase   float64 // angle of edge 0 in periods

	nextEdge int // index of the edge awaited
	times    [maxSpan + 1]float64
	count    int     // valid entries of times, at most span+1
	last     float64 // true time of the newest edge

	value    float64 // newest measurement, rad/s
	held     float64 // what the logger is given when HoldS > 0
	smooth   float64 // running mean, NaN before the first reading
	smoothAt float64 // of the last reading
	nextHold float64
}

func newPickup(ch SpeedChannel, polePairs int, rng *rand.Rand, startAngle float64) *pickup {
	p := &pickup{smooth: math.NaN(), ch: ch, edges: ch.EdgesPerRev, span: max(ch.Span, 1), rng: rng, last: math.Inf(-1)}
	if p.edges <= 0 {
		p.edges = max(polePairs, 1)
	}
	p.phase = rng.Float64()
	p.offsets = make([]float64, p.edges)
	for i := range p.offsets {
		// Kept below half a period, or edges would change places.
		p.offsets[i] = max(-0.4, min(0.4, ch.SpacingRMS*rng.NormFloat64()))
	}
	if ch.HoldS > 0 {
		p.nextHold = rng.Float64() * ch.HoldS
	}
	if p.ch.TimeoutS <= 0 {
		p.ch.TimeoutS = 0.1
	}
	p.nextEdge = int(math.Ceil(startAngle*float64(p.edges)/(2*math.Pi) - p.phase))
	return p
}

// edgeAngle is the rotor angle of the edge awaited.
func (p *pickup) edgeAngle() float64 {
	i := p.nextEdge % p.edges
	if i < 0 {
		i += p.edges
	}
	return (float64(p.nextEdge) + p.phase + p.offsets[i]) * 2 * math.Pi / float64(p.edges)
}

// prime gives the channel the history of a rotor that had turned at w before
// the recording began at t = 0, angle 0.
func (p *pickup) prime(w float64) {
	if w <= 0 || p.ch.Mode == Instant {
		return
	}
	first := p.nextEdge
	p.nextEdge -= p.span + 1
	for p.nextEdge < first {
		p.edge(p.edgeAngle() / w)
	}
	p.held = p.value
}

// edge records an edge at true time t, unless it is missed.
func (p *pickup) edge(t float64) {
	p.nextEdge++
	if p.ch.Miss > 0 && p.rng.Float64() < p.ch.Miss {
		return
	}
	if t-p.last > p.ch.TimeoutS {
		p.count = 0
	}
	p.last = t
	stamp := t
	if q := p.ch.TimerS; q > 0 {
		stamp = math.Floor(t/q) * q
	}
	if p.count == p.span+1 {
		copy(p.times[:p.span], p.times[1:p.span+1])
		p.count--
	}
	p.times[p.count] = stamp
	p.count++
	if p.count < p.span+1 {
		return
	}
	if d := stamp - p.times[0]; d > 0 {
		p.value = 2 * math.Pi * float64(p.span) / (float64(p.edges) * d)
	}
}

// at is what the channel holds at true time t; edges up to t must be known.
func (p *pickup) at(t float64) float64 {
	if t-p.last > p.ch.TimeoutS || p.count < p.span+1 {
		return 0
	}
	return p.value
}

// logged smooths a reading taken at true time t, and adds noise and rounding.
func (p *pickup) logged(v, t float64) float64 {
	if tau := p.ch.SmoothS; tau > 0 {
		if math.IsNaN(p.smooth) {
			p.smooth = v
		}
		p.smooth += (v - p.smooth) * lag(t-p.smoothAt, tau)
		p.smoothAt, v = t, p.smooth
	}
	if p.ch.NoiseRadPS > 0 {
		v += p.ch.NoiseRadPS * p.rng.NormFloat64()
	}
	return quantise(v, p.ch.LSBRadPerS)
}

func quantise(v, lsb float64) float64 {
	if lsb <= 0 {
		return v
	}
	return math.Round(v/lsb) * lsb
}
