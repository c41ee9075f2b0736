package fit

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
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

// TestBent: with a torque channel that bends, the inertia is off by what its budget says, sign and all.
func TestBent(t *testing.T) {
	straight := fitted(t, input(1, 0, 0, 0.004))
	in := input(1, 0, 0, 0.004)
	bend := &spin.Bend{Source: "bench/loft/2026-03-02/linearity", PerNm: 0.02, RangeNm: 0.9}
	for i, x := range in.Recording.Samples.TorqueNm {
		w := in.Recording.Samples.SpeedRadPerS[i]
		in.Recording.Samples.TorqueNm[i] += bend.Off(x-0.01) - bend.Off(loadK*w*w)
	}
	in.Recording.Bend = bend
	f := fitted(t, in)
	off, said := f.JKgM2.Mean-straight.JKgM2.Mean, f.JKgM2.Part(bend.Source)
	if math.Abs(off) < 1e-3*truthJ || math.Abs(said/off-1) > 0.05 {
		t.Errorf("off by %.3g %%, said %.3g %%", 100*off/truthJ, 100*said/truthJ)
	}
}
