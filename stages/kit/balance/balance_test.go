package balance

import (
	"math"
	"testing"
)

// The window's area, share, derivative and roughness against sums over a fine grid.
func TestWindow(t *testing.T) {
	w := Window{From: 0.3, To: 0.8}
	const n = 200000
	h := (w.To - w.From) / n
	area, square, rough := 0.0, 0.0, 0.0
	for i := range n {
		x := w.From + (float64(i)+0.5)*h
		area += w.Density(x) * h
		square += w.Density(x) * w.Density(x) * h
		rough += w.derivative(x) * w.derivative(x) * h
		if i%10000 == 0 {
			if got := w.Share(x + h/2); math.Abs(got-area) > 1e-9 {
				t.Errorf("share at %g: %.12g, sum %.12g", x, got, area)
			}
			if slope := (w.Density(x+1e-7) - w.Density(x-1e-7)) / 2e-7; math.Abs(slope-w.derivative(x)) > 1e-4*(1+math.Abs(slope)) {
				t.Errorf("derivative at %g: %g, difference %g", x, w.derivative(x), slope)
			}
		}
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"area", area, 1}, {"integral of h squared", w.Integral(), square}, {"roughness", w.Roughness(), rough}} {
		if math.Abs(c.got-c.want) > 1e-7*c.want {
			t.Errorf("%s: %.10g, want %.10g", c.what, c.got, c.want)
		}
	}
}

// A speed and torque that satisfy T = J·dω/dt + z exactly give J and z back,
// however the sampling is offset.
func TestPassage(t *testing.T) {
	const j, z, hz = 3e-6, 0.004, 2000.0
	for _, phase := range []float64{0, 0.3, 0.77} {
		v := &View{}
		for i := range 2400 {
			s := (float64(i) + phase) / hz
			x := s - 0.6
			v.TimeS = append(v.TimeS, s)
			v.SpeedRadPerS = append(v.SpeedRadPerS, 900+400*math.Tanh(x/0.05))
			v.TorqueNm = append(v.TorqueNm, z+j*400/0.05/math.Pow(math.Cosh(x/0.05), 2))
		}
		v.SpeedTimeS = v.TimeS
		v.DtS, v.SpeedDtS = shares(v.TimeS), shares(v.TimeS)
		a, b := Window{0.05, 0.35}, Window{0.85, 1.15}
		e := v.Integrate(Test{From: a, To: b, Passage: true}, 0, 0.6, make([]float64, v.Len()))
		plateau := v.Integrate(Test{From: a}, 0, 0.6, make([]float64, v.Len()))
		zero := (plateau.Y*e.Momentum - e.Y*plateau.Momentum) / (e.Momentum - e.Zero*plateau.Momentum)
		if got := (e.Y - zero*e.Zero) / e.Momentum; math.Abs(got/j-1) > 1e-6 {
			t.Errorf("phase %g: J %.9g, want %g", phase, got, j)
		}
		if math.Abs(zero-z) > 1e-8 {
			t.Errorf("phase %g: zero %.9g, want %g", phase, zero, z)
		}
	}
}
