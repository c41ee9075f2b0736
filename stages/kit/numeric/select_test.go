package numeric

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Quantiles are those of the sorted values to the last bit, whatever order and repeats the values have.
func TestQuantileIsThatOfSortedValues(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	kinds := map[string]func(i, n int) float64{
		"random":     func(int, int) float64 { return rng.NormFloat64() },
		"few":        func(int, int) float64 { return float64(rng.IntN(3)) },
		"rising":     func(i, _ int) float64 { return float64(i) },
		"falling":    func(i, _ int) float64 { return -float64(i) },
		"organ":      func(i, n int) float64 { return float64(min(i, n-i)) },
		"equal":      func(int, int) float64 { return 7 },
		"saw":        func(i, _ int) float64 { return float64(i % 17) },
		"with NaN":   func(int, int) float64 { return []float64{math.NaN(), 1, 2, rng.Float64()}[rng.IntN(4)] },
		"infinite":   func(int, int) float64 { return []float64{math.Inf(1), math.Inf(-1), 3}[rng.IntN(3)] },
		"median bad": func(i, n int) float64 { return float64((i * 7919) % max(1, n/2)) },
	}
	for name, f := range kinds {
		for _, n := range []int{1, 2, 3, 5, 24, 25, 26, 100, 1001, 5000} {
			x := make([]float64, n)
			for i := range x {
				x[i] = f(i, n)
			}
			sorted := slices.Clone(x)
			slices.Sort(sorted)
			before := fmt.Sprint(x)
			for _, q := range []float64{0, 0.01, 0.02, 0.25, 0.5, 0.75, 0.98, 0.99, 1} {
				h := float64(q * float64(n-1))
				i := min(int(math.Floor(h)), n-1)
				want := sorted[i]
				if i+1 < n {
					want += float64((h - float64(i)) * (sorted[i+1] - sorted[i]))
				}
				if got := Quantile(x, q); math.Float64bits(got) != math.Float64bits(want) && (got == got || want == want) {
					t.Fatalf("%s, %d values, q = %v: %v, sorting gives %v", name, n, q, got, want)
				}
			}
			if fmt.Sprint(x) != before {
				t.Fatalf("%s: the argument was reordered", name)
			}
		}
	}
}

func BenchmarkMedian(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 2))
	x := make([]float64, 6000)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	b.SetBytes(int64(8 * len(x)))
	for b.Loop() {
		Median(x)
	}
}
