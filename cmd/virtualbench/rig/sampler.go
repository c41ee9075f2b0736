package rig

import (
	"math"
	"math/rand/v2"
)

// Streams of random numbers. Each disturbance has its own, so that switching
// one on leaves all others as they were.
const (
	streamPlan = iota + 1
	streamClock
	streamTelemetryClock
	streamTorque
	streamThrust
	streamSpeed
	streamPower
	streamTemperature
	streamFaults
	streamTelemetryFaults
	streamWeights
	streamDraw
	streamText
	streamSession
	streamLag
	streamHum
	streamWeightsAgain
)

func stream(seed, which uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15*which))
}

// ticker gives the true instants of a logger's samples, in order.
type ticker struct {
	clock Clock
	rng   *rand.Rand
	phase float64
	at    []float64
	stamp []float64
}

func newTicker(c Clock, rng *rand.Rand) *ticker {
	return &ticker{clock: c, rng: rng, phase: rng.Float64() / c.SampleHz}
}

// upTo makes sure that an instant later than t is known.
func (k *ticker) upTo(t float64) {
	dt := 1 / k.clock.SampleHz
	for len(k.at) == 0 || k.at[len(k.at)-1] <= t {
		n := float64(len(k.at))
		at, stamp := k.phase+n*dt*(1+k.clock.RateError), k.clock.OriginS+n*dt
		if j := k.clock.SampleJitter; j > 0 {
			at += max(-0.4*dt, min(0.4*dt, j*k.rng.NormFloat64()))
		}
		if j := k.clock.StampJitter; j > 0 {
			stamp += j * k.rng.NormFloat64()
		}
		k.at = append(k.at, at)
		k.stamp = append(k.stamp, quantise(stamp, k.clock.StampLSB))
	}
}

// torqueSampler point-samples or averages the cell's output at the ticks of the logger, or of the converter's own clock where that is
// slower, late by the channel's delay.
type torqueSampler struct {
	ch         TorqueChannel
	ticks      *ticker
	rng        *rand.Rand
	zero       float64
	lastT      float64
	hum        float64 // phase of the hum, rad
	flicker    [flickerDecades]float64
	extra      *rand.Rand // of hum and flicker
	sum        float64    // ∫ output dt, for the mean converter
	opened     []float64
	next       int
	prev       float64
	start      float64 // output before t = 0
	values     []float64
	nextOpen   float64
	nextSample float64
}

// flickerDecades of time constants from flickerS on, each with the same variance: 1/f noise in between.
const (
	flickerDecades = 5
	flickerS       = 1e-3
)

func newTorqueSampler(ch TorqueChannel, ticks *ticker, seed uint64, start float64) *torqueSampler {
	s := &torqueSampler{ch: ch, ticks: ticks, rng: stream(seed, streamTorque), extra: stream(seed, streamHum), zero: ch.ZeroNm, prev: start, start: start}
	s.hum = 2 * math.Pi * s.extra.Float64()
	for i := range s.flicker {
		s.flicker[i] = ch.FlickerNm * s.extra.NormFloat64()
	}
	if ch.HoldS > 0 {
		s.ticks = newTicker(Clock{SampleHz: 1 / ch.HoldS}, s.extra)
		s.ticks.phase -= ch.HoldS
	}
	if s.ch.Scale == 0 {
		s.ch.Scale = 1
	}
	s.schedule(0)
	return s
}

// schedule finds the next instants at which the converter opens and reads.
func (s *torqueSampler) schedule(t float64) {
	s.ticks.upTo(t + s.ch.DelayS + s.ch.AverageS + 1e-3)
	s.nextSample = s.instant(s.next)
	s.nextOpen = math.Inf(1)
	if s.ch.AverageS > 0 {
		s.nextOpen = s.instant(len(s.opened)) - s.ch.AverageS
	}
}

func (s *torqueSampler) instant(k int) float64 {
	if k >= len(s.ticks.at) {
		s.ticks.upTo(s.ticks.at[len(s.ticks.at)-1] + 1/s.ticks.clock.SampleHz)
	}
	return s.ticks.at[k] - s.ch.DelayS
}

// feed takes the output at the end of a step from t0 to t0+h and reads the
// converter at every instant that falls into it.
func (s *torqueSampler) feed(t0, h, out float64) {
	t1 := t0 + h
	for s.nextOpen <= t1 || s.nextSample <= t1 {
		if s.nextOpen <= s.nextSample {
			s.opened = append(s.opened, s.integral(s.nextOpen, t0, h, out))
		} else {
			s.read(s.nextSample, t0, h, out)
		}
		s.schedule(t1)
	}
	s.sum += 0.5 * h * (s.prev + out)
	s.prev = out
}

// integral is ∫ output from 0 to t inside the present step (trapezoid); before
// 0 the output was constant.
func (s *torqueSampler) integral(t, t0, h, out float64) float64 {
	if t <= 0 {
		return s.start * t
	}
	x := t - t0
	return s.sum + x*(s.prev+0.5*(out-s.prev)*x/h)
}

func (s *torqueSampler) read(t, t0, h, out float64) {
	var v float64
	switch {
	case s.ch.AverageS > 0:
		v = (s.integral(t, t0, h, out) - s.opened[s.next]) / s.ch.AverageS
	case t <= 0:
		v = s.start
	default:
		v = s.prev + (out-s.prev)*(t-t0)/h
	}
	s.next++
	if w := s.ch.WalkNmRtS; w > 0 && t > s.lastT {
		s.zero += w * math.Sqrt(t-s.lastT) * s.rng.NormFloat64()
	}
	if s.ch.FlickerNm != 0 {
		v += s.flickered(max(0, t-s.lastT))
	}
	if s.ch.HumNm != 0 {
		v += s.ch.HumNm * math.Sin(2*math.Pi*s.ch.HumHz*t+s.hum)
	}
	s.lastT = t
	v = s.ch.Scale*v + s.zero + s.ch.DriftNmPs*t + s.ch.NoiseNm*s.rng.NormFloat64()
	if c := s.ch.ClipNm; c > 0 {
		v = max(-c, min(c, v))
	}
	v = quantise(v, s.ch.LSBNm)
	s.values = append(s.values, v)
}

// logged is what a logger finds at its instants: its own reading, or the latest of a converter with a slower clock.
func (s *torqueSampler) logged(at []float64) []float64 {
	if s.ch.HoldS <= 0 {
		return s.values[:len(at)]
	}
	out := make([]float64, len(at))
	k := 0
	for i, t := range at {
		for k+1 < len(s.values) && s.ticks.at[k+1] <= t {
			k++
		}
		out[i] = s.values[k]
	}
	return out
}

// flickered is the 1/f noise dt later.
func (s *torqueSampler) flickered(dt float64) (sum float64) {
	tau := flickerS
	for i := range s.flicker {
		keep := math.Exp(-dt / tau)
		s.flicker[i] = keep*s.flicker[i] + math.Sqrt(1-keep*keep)*s.ch.FlickerNm*s.extra.NormFloat64()
		sum += s.flicker[i]
		tau *= 10
	}
	return sum
}

// speedSampler reads the pickup at its logger's ticks, late by the delay.
type speedSampler struct {
	p          *pickup
	ticks      *ticker
	values     []float64
	start      float64
	nextAngle  float64
	nextSample float64
}

func newSpeedSampler(p *pickup, ticks *ticker, startSpeed float64) *speedSampler {
	s := &speedSampler{p: p, ticks: ticks, start: startSpeed}
	p.prime(startSpeed)
	s.nextAngle = p.edgeAngle()
	s.schedule(0)
	return s
}

func (s *speedSampler) schedule(t float64) {
	s.ticks.upTo(t + s.p.ch.DelayS + 1e-3)
	if n := len(s.values); n < len(s.ticks.at) {
		s.nextSample = s.ticks.at[n] - s.p.ch.DelayS
		return
	}
	s.nextSample = math.Inf(1)
}

// feed takes a step from t0 to t0+h in which the angle went from a0 to a1 and
// the speed from w0 to w1, and handles edges, renewals and samples in the
// order in which they happen.
func (s *speedSampler) feed(t0, h, a0, a1, w0, w1 float64) {
	t1 := t0 + h
	if s.p.ch.Mode == Instant {
		for s.nextSample <= t1 {
			v := w0 + (w1-w0)*max(0, s.nextSample-t0)/h
			s.values = append(s.values, s.p.logged(v, s.nextSample))
			s.schedule(t1)
		}
		return
	}
	for {
		edge := math.Inf(1)
		if s.nextAngle <= a1 {
			edge = t0 + crossing(s.nextAngle-a0, w0, (w1-w0)/h, h)
		}
		hold := math.Inf(1)
		if s.p.ch.HoldS > 0 && s.p.nextHold <= t1 {
			hold = s.p.nextHold
		}
		switch {
		case edge <= min(hold, s.nextSample) && !math.IsInf(edge, 1):
			s.p.edge(edge)
			s.nextAngle = s.p.edgeAngle()
		case hold <= s.nextSample && !math.IsInf(hold, 1):
			s.p.held = s.p.at(hold)
			s.p.nextHold += s.p.ch.HoldS
		case s.nextSample <= t1:
			s.sample(s.nextSample)
			s.schedule(t1)
		default:
			return
		}
	}
}

func (s *speedSampler) sample(t float64) {
	v := s.p.held
	if s.p.ch.HoldS <= 0 {
		v = s.p.at(t)
	}
	s.values = append(s.values, s.p.logged(v, t))
}

// crossing is the time in 0..h at which w·t + a·t²/2 reaches angle d.
func crossing(d, w, a, h float64) float64 {
	m := w + 0.5*a*h
	if m <= 0 {
		return h
	}
	t := d / m
	for range 2 {
		if m = w + 0.5*a*t; m > 0 {
			t = d / m
		}
	}
	return max(0, min(h, t))
}
