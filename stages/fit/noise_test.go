package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/uncertain"
)

// TestNoiseDensity: the density of white noise is found within its own scatter, on a plateau that drifts, and on one where a fixture of 90 Hz
// still rings by thousands of times the noise and hardly decays.
func TestNoiseDensity(t *testing.T) {
	const hz, sigma = 2000.0, 25e-6
	rng := rand.New(rand.NewPCG(3, 8))
	for _, c := range []struct{ drift, ring, hz float64 }{{0, 0, 90}, {0.01, 0, 90}, {0.01, 0.3, 90}, {0, 0.3, 200}} {
		for _, n := range []int{440, 1600} {
			mean := 0.0
			const sets = 200
			for range sets {
				x := make([]float64, n)
				phase := 2 * math.Pi * rng.Float64()
				for i := range x {
					at := float64(i) / hz
					x[i] = sigma*rng.NormFloat64() + c.drift*at + c.ring*math.Exp(-at/0.12)*math.Sin(2*math.Pi*c.hz*at+phase)
				}
				mean += noiseDensity(x, float64(n)/hz) / sets
			}
			if want := sigma * sigma / hz; mean < 0.8*want || mean > 2*want {
				t.Errorf("drift %g, ringing %g at %g Hz, %d samples: %.3g, white noise has %.3g", c.drift, c.ring, c.hz, n, mean, want)
			}
		}
	}
}

// TestLoadOfAnotherDay: a propeller's inertia is the same whether the steady recording's load was that of the steps, or 15 % more than it:
// the virtual inertia of what its inflow had not settled goes with the load that the steps had.
func TestLoadOfAnotherDay(t *testing.T) {
	of := func(more float64) float64 {
		in := input(1, 0, 0, 0.004)
		in.Propeller = true
		in.Curve.Coef = []uncertain.Value{in.Curve.Coef[0].Scale(more)}
		f := fitted(t, in)
		if math.Abs(f.LoadFactor*more-1) > 2e-3 {
			t.Fatalf("load factor %g of a curve %g times the load", f.LoadFactor, more)
		}
		return f.JKgM2.Mean
	}
	if same, other := of(1), of(1.15); math.Abs(other/same-1) > 2e-4 {
		t.Errorf("%.4g %% off", 100*(other/same-1))
	}
}

// TestOtherLoad: a load 15 % off the steady recording's is said once, one of 3 % is what has to be expected.
func TestOtherLoad(t *testing.T) {
	for _, more := range []float64{1, 1.03, 1.15} {
		in := input(1, 0, 0, 0.004)
		in.Curve.Coef = []uncertain.Value{in.Curve.Coef[0].Scale(more)}
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		if said := len(out.Warnings) == 1 && out.Warnings[0].Code == "other-load"; said != (more == 1.15) {
			t.Errorf("%g times the load: %+v", more, out.Warnings)
		}
	}
}

// TestPowerOfLateTorque: mechanical over electrical power is what it is, whether the torque comes at once or 10 ms late.
func TestPowerOfLateTorque(t *testing.T) {
	for _, lag := range []float64{0, 0.01} {
		in, now := input(1, 0, lag, 0.004), input(1, 0, 0, 0.004)
		s := in.Recording.Samples
		for i, w := range s.SpeedRadPerS {
			// Eight tenths arrive, of what the torque that is not late makes of the zero of 0.01 N·m less.
			s.VoltageV, s.CurrentA = append(s.VoltageV, 10), append(s.CurrentA, (now.Recording.Samples.TorqueNm[i]-0.01)*w/10/0.8)
		}
		if f := fitted(t, in); math.Abs(f.ElectricalRatio/0.8-1) > 2e-3 {
			t.Errorf("lag of %g s: %.4f, want 0.8", lag, f.ElectricalRatio)
		}
	}
}
