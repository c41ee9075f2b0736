package numeric_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/numeric"
)

// rounded is n readings of a level with a noise, on a grid of steps h from an offset.
func rounded(n int, level, h, offset float64, noise func(i int) float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.Round((level+noise(i))/h)*h + offset
	}
	return x
}

// The step is found in readings on a grid, a few off it among them, and none in readings on no grid.
func TestGridStep(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	gauss := func(sigma float64) func(int) float64 {
		return func(int) float64 { return sigma * rng.NormFloat64() }
	}
	for _, h := range []float64{1e-6, 2.27e-3, 1. / 3} {
		x := rounded(900, 5, h, -0.0137, gauss(2*h))
		if got := numeric.GridStep(x); math.Abs(got/h-1) > 1e-6 {
			t.Errorf("steps of %g: got %g", h, got)
		}
		for i := range 40 {
			x[i*20] += 0.3 * h * rng.Float64()
		}
		// Forty of 900 off the grid may hide it, but not make a step of their own.
		if got := numeric.GridStep(x); got != 0 && math.Abs(got/h-1) > 1e-6 {
			t.Errorf("steps of %g, some off: got %g", h, got)
		}
	}
	free := make([]float64, 900)
	for i := range free {
		free[i] = rng.NormFloat64()
	}
	if got := numeric.GridStep(free); got != 0 {
		t.Errorf("no grid: got %g", got)
	}
	if got := numeric.GridStep([]float64{4, 4, 4}); got != 0 {
		t.Errorf("one value: got %g", got)
	}
}

// Over levels drawn evenly from the grid, the error of the mean of 20,000 readings scatters by no more than is
// said, for no noise, Gaussian noise and ripples of every size; of no noise it is h/√12 (a fact of uniform errors).
func TestRoundingU(t *testing.T) {
	const h, n, levels = 0.01, 20000, 40
	rng := rand.New(rand.NewPCG(3, 4))
	for _, size := range []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7, 1, 1.5, 2, 3} {
		for name, noise := range map[string]func(int) float64{
			"Gaussian": func(int) float64 { return size * h * rng.NormFloat64() },
			"ripple":   func(i int) float64 { return size * h * math.Sqrt2 * math.Sin(0.7391*float64(i)) },
		} {
			sum, said := 0.0, 0.0
			for k := range levels {
				level := 3 + h*(float64(k)+0.5)/levels
				x := rounded(n, level, h, 0, noise)
				e := numeric.Mean(x) - level
				sum += e * e / levels
				u := numeric.RoundingU(x, h)
				said += u * u / levels
			}
			got, want := math.Sqrt(sum), math.Sqrt(said)
			// The noise's own mean is in the error too.
			if own := size * h / math.Sqrt(n); got > want+own {
				t.Errorf("%s of %g steps: off by %.4f of a step; said %.4f", name, size, got/h, want/h)
			}
			if size == 0 && math.Abs(want*math.Sqrt(12)/h-1) > 1e-9 {
				t.Errorf("no noise: %.4f of a step; want 1/√12", want/h)
			}
		}
	}
}
