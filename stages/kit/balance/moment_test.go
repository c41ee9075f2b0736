package balance

import (
	"math"
	"testing"
)

// A speed and a torque that is late by τ, with a zero that drifts, a load and a
// fixture that rings at 80 Hz: the centre finds τ and the fixture's 2ζ/ω_f. The ringing is
// the closed-form response of x” + 2ζω·x' + ω²·x = ω²·u to the step of an exponential rise.
func TestCentre(t *testing.T) {
	const j, tau, hz, rise, zeta = 3e-6, 1.3e-3, 2000.0, 0.02, 0.05
	wf := 2 * math.Pi * 80
	v := &View{}
	var load []float64
	curve := func(w float64) float64 { return 2e-9 * w * w }
	speed := func(s float64) float64 { return 900 - 500*math.Exp(-math.Max(s, 0)/rise) }
	// Spring by the exact step of 10 µs, torque constant within.
	const h = 1e-5
	e, wd := math.Exp(-zeta*wf*h), wf*math.Sqrt(1-zeta*zeta)
	sin, cos := math.Sincos(wd * h)
	g := wf / wd
	x, rate := curve(speed(-1)), 0.0
	var spring []float64
	for i := -60000; i < 60000; i++ {
		s := (float64(i) + 0.5) * h
		u := curve(speed(s))
		if s > 0 {
			u += j * 500 / rise * math.Exp(-s/rise)
		}
		d := x - u
		d, rate = e*(cos+zeta*g*sin)*d+e*g*sin*rate, -e*g*sin*d+e*(cos-zeta*g*sin)*rate
		x = u + d
		spring = append(spring, x)
	}
	for i := range 2200 {
		s := -0.5 + (float64(i)+0.37)/hz
		v.TimeS = append(v.TimeS, s)
		v.SpeedRadPerS = append(v.SpeedRadPerS, speed(s))
		load = append(load, curve(speed(s)))
		k := int(math.Round((s-tau)/h)) + 60000 - 1
		v.TorqueNm = append(v.TorqueNm, spring[k]+0.003+1e-4*s)
	}
	v.SpeedTimeS = v.TimeS
	v.DtS, v.SpeedDtS = shares(v.TimeS), shares(v.TimeS)
	got, _, ok := v.Centre([]Test{{From: Window{-0.15, -0.02}, To: Window{0.12, 0.27}, Passage: true}}, 1e-3, 2e-3, 1e-12, load)
	if want := tau + 2*zeta/wf; !ok || math.Abs(got-want) > 2e-5 {
		t.Errorf("lag %.4f ms, want %.4f ms (%v)", 1e3*got, 1e3*want, ok)
	}
}
