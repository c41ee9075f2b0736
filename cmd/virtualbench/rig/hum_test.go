package rig

import (
	"math"
	"testing"
)

// torqueOf reads a channel for a time at an even clock, its input zero.
func torqueOf(ch TorqueChannel, hz, seconds float64, seed uint64) []float64 {
	s := newTorqueSampler(ch, newTicker(Clock{SampleHz: hz}, stream(seed, streamClock)), seed, 0)
	s.feed(0, seconds, 0)
	return s.values
}

// Hum has its amplitude and its frequency: all of its power is in the pair of sums at 50 Hz.
func TestHum(t *testing.T) {
	const amplitude, hz, n = 3e-4, 2000.0, 2000 // whole periods
	v := torqueOf(TorqueChannel{HumNm: amplitude, HumHz: 50}, hz, 1.1, 3)[:n]
	var c, s, square float64
	for i, x := range v {
		sin, cos := math.Sincos(2 * math.Pi * 50 * float64(i) / hz)
		c, s, square = c+x*cos, s+x*sin, square+x*x
	}
	if got := 2 * math.Hypot(c, s) / n; math.Abs(got/amplitude-1) > 1e-9 {
		t.Errorf("amplitude %.6g; want %.6g", got, amplitude)
	}
	if got := math.Sqrt(2 * square / n); math.Abs(got/amplitude-1) > 1e-9 {
		t.Errorf("all frequencies: %.6g; want %.6g", got, amplitude)
	}
}

// A process of time constant τ and unit variance has correlation exp(−d/τ) at distance d (Ornstein & Uhlenbeck): the mean square of
// differences of flicker noise over a distance is 2·Σ(1 − exp(−d/τ)) of its five, here within four standard
// errors of 400 seeds.
func TestFlicker(t *testing.T) {
	const each, seeds = 2e-5, 400
	for _, d := range []float64{2e-3, 0.05, 1} {
		sum := 0.0
		for seed := range uint64(seeds) {
			v := torqueOf(TorqueChannel{FlickerNm: each}, 1000, d+0.01, seed)
			k := int(math.Round(d * 1000))
			sum += (v[k] - v[0]) * (v[k] - v[0])
		}
		want := 0.0
		for k := range flickerDecades {
			want += 2 * -math.Expm1(-d/(flickerS*math.Pow(10, float64(k))))
		}
		if got := sum / seeds / (each * each); math.Abs(got/want-1) > 4*math.Sqrt(2.0/seeds) {
			t.Errorf("over %g s: %.3f; want %.3f", d, got, want)
		}
	}
}

// Held values change once a hold, and a straight line is then late by half a hold on average.
func TestTorqueHeld(t *testing.T) {
	const h, hold, slope = 1e-4, 5e-3, 2.0
	tick := newTicker(Clock{SampleHz: 2000}, stream(4, streamClock))
	s := newTorqueSampler(TorqueChannel{HoldS: hold}, tick, 4, 0)
	for n := range 10000 {
		s.feed(float64(n)*h, h, slope*float64(n+1)*h)
	}
	tick.upTo(0.99)
	values := s.logged(tick.at)
	changes, late := 0, 0.0
	for i := 1; i < len(values); i++ {
		if values[i] != values[i-1] {
			changes++
		}
		late += (tick.at[i] - values[i]/slope) / float64(len(values)-1)
	}
	if changes < 196 || changes > 200 {
		t.Errorf("%d values in 1 s; want 200", changes)
	}
	// The converter's clock has a phase of its own: readings of any age up to its period.
	if math.Abs(late-hold/2) > 0.5*0.5e-3 {
		t.Errorf("late by %.4f ms; want 2.5", 1e3*late)
	}
}

// With two modes a step of the torque settles on its value: the gain at rest is 1. What the second one carries swings on after
// the first has died away.
func TestSecondMode(t *testing.T) {
	const h = 1e-5
	c := newCell(&Bench{Fixture: Fixture{Hz: 200, Damping: 0.3, Share2: 0.25, Hz2: 70, Damping2: 0.02}}, Load{}, 1, h)
	c.start(0, 0)
	most, last := 0.0, 0.0
	for i := range 200_000 {
		last = c.advance(1, 0, 0)
		if at := float64(i) * h; at > 0.05 && at < 0.08 {
			most = math.Max(most, math.Abs(last-1))
		}
	}
	// A quarter of the step, its envelope exp(−ζωt) at 0.05 to 0.064 s (a period later).
	if w := 0.02 * 2 * math.Pi * 70; most > 0.25*math.Exp(-w*0.05)*1.001 || most < 0.25*math.Exp(-w*(0.05+1/70.0)) {
		t.Errorf("swings by %.4f after 50 ms", most)
	}
	if math.Abs(last-1) > 1e-6 {
		t.Errorf("settles on %.7f; want 1", last)
	}
}

// A running mean is behind a steady rise by its time constant.
func TestSpeedSmoothed(t *testing.T) {
	const tau, slope, h = 4e-3, 500.0, 1e-4
	tick := newTicker(Clock{SampleHz: 2000}, stream(5, streamClock))
	s := newSpeedSampler(newPickup(SpeedChannel{Mode: Instant, SmoothS: tau}, 7, stream(5, streamSpeed), 0), tick, 0)
	for n := range 3000 {
		t0 := float64(n) * h
		s.feed(t0, h, 0, 0, slope*t0, slope*(t0+h))
	}
	i := len(s.values) - 1
	// Of a mean over readings 0.5 ms apart: dt·q/(1−q), q = exp(−dt/τ).
	q := math.Exp(-0.5e-3 / tau)
	if late, want := tick.at[i]-s.values[i]/slope, 0.5e-3*q/(1-q); math.Abs(late-want) > 1e-6 {
		t.Errorf("late by %.4f ms; want %.4f", 1e3*late, 1e3*want)
	}
}
