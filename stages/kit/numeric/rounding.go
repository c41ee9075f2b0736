package numeric

import (
	"math"
	"slices"
)

// Repeats is the share of values equal to the one before: of white noise of deviation σ in
// steps of h it is about h/(2√π·σ), so that a tenth means noise of no more than three steps.
func Repeats(x []float64) float64 {
	n := 0
	for i := 1; i < len(x); i++ {
		if x[i] == x[i-1] {
			n++
		}
	}
	return float64(n) / math.Max(1, float64(len(x)-1))
}

// GridStep is the step of the grid on which values lie, 0 where they lie on none: the smallest
// difference between two of them by multiples of which nine tenths of all are away from the least.
func GridStep(x []float64) float64 {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	var steps []float64
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	slices.Sort(steps)
	// Equal steps differ by the rounding of their ends: each size is tried once, the eight smallest of them.
	const sizes, same, off = 8, 1e-6, 0.02
	last, tried := 0.0, 0
	for _, d := range steps {
		if d <= last*(1+same) {
			continue
		}
		if tried++; tried > sizes {
			break
		}
		last = d
		on := 0
		for _, v := range sorted {
			if n := (v - sorted[0]) / d; math.Abs(n-math.Round(n)) < off {
				on++
			}
		}
		if 10*on >= 9*len(sorted) {
			return d
		}
	}
	return 0
}

// RoundingU is the standard deviation of the error that rounding to a grid of steps h leaves in the mean of values, for a
// true mean anywhere on the grid: Σ (−1)^k·h/(πk)·φ(2πk/h)·sin(2πk·x/h), φ the characteristic function of the noise
// (Widrow & Kollár, Quantization Noise, 2008, ch. 5), h/√12 without noise. Its deviation σ is read from the middle half of the
// values, since a fixture that rings itself out at the beginning covers the steps for that while only. A ripple covers them worst
// of all that a plateau shows: of a sine φ is J₀(2πk·√2σ/h), which falls as √(2/πz) only; Gaussian noise would be
// gone at σ = h. Of values that keep to two neighbouring steps σ cannot be read: it is taken for none.
func RoundingU(x []float64, h float64) float64 {
	if len(x) == 0 || h <= 0 {
		return 0
	}
	counts := map[int]int{}
	for _, v := range x {
		counts[int(math.Round((v-x[0])/h))]++
	}
	two := 0
	for k, n := range counts {
		two = max(two, n+counts[k+1])
	}
	if 10*two >= 7*len(x) {
		return h / math.Sqrt(12)
	}
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	// The middle half of a Gaussian is 1.349 σ wide.
	sigma := (sorted[3*len(x)/4] - sorted[len(x)/4]) / 1.349
	sum := 0.0
	for k := 1.0; k <= 30; k++ {
		a := h / (math.Pi * k)
		if z := 2 * math.Pi * k * math.Sqrt2 * sigma / h; z > 2/math.Pi {
			a *= math.Sqrt(2 / (math.Pi * z))
		}
		sum += float64(a*a) / 2
	}
	return math.Sqrt(sum)
}
