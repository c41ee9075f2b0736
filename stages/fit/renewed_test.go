package fit

import (
	"math"
	"testing"
)

// TestAliasingOfSlowConverter: where each torque value stands for eight rows, even and odd rows agree whatever falls between
// the values; even and odd values tell, as rows do of a logger as slow.
func TestAliasingOfSlowConverter(t *testing.T) {
	const rows = 8
	in := input(1, 0, 0, 0.004)
	x := in.Recording.Samples.TorqueNm
	ring := func(i int) float64 { // 375 Hz, sampled at 250 Hz: 125 Hz, with a sign for each value
		return 0.02 * math.Exp(-math.Pow((float64(i)*stepS-1.1)/0.03, 2)) * math.Cos(2*math.Pi*375*float64(i)*stepS)
	}
	for i := range x {
		x[i] = x[i-i%rows] + ring(i-i%rows)
	}
	blind := fitted(t, in).Aliasing
	in.Recording.TorqueRenewedS, in.Recording.TorqueRenewedAtS = rows*stepS, -stepS/2
	seen := fitted(t, in).Aliasing
	if blind > 0.002 || seen < 10*blind {
		t.Errorf("rows disagree by %.3g %%, values by %.3g %%", 100*blind, 100*seen)
	}
}
