package rig

import "math"

// fastSin is sin(x) to 4e-6 for |x| below 1e9. Torque ripple needs no more, and
// math.Sin was half the cost of a whole step.
func fastSin(x float64) float64 {
	t := x * (1 / (2 * math.Pi))
	t -= math.Floor(t + 0.5)
	if t > 0.25 {
		t = 0.5 - t
	} else if t < -0.25 {
		t = -0.5 - t
	}
	a := 2 * math.Pi * t
	y := a * a
	// Taylor to a^9: the next term is (π/2)^11/11! = 3.6e-6 at worst.
	z := y * y
	return a * ((1 - y*(1./6)) + z*((1./120-y*(1./5040))+z*(1./362880)))
}

// sinc is sin(x)/x for y = x² up to π², to 0.003; beyond its first zero it is
// 0. It is the mean of a sine over a step, relative to its middle.
func sinc(y float64) float64 {
	if y > math.Pi*math.Pi {
		return 0
	}
	z := y * y
	return (1 - y*(1./6)) + z*((1./120-y*(1./5040))+z*(1./362880))
}
