package balance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// near gives what search gives, whatever the guess, repeats and gaps.
func TestNearIsSearch(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for range 3000 {
		times := make([]float64, rng.IntN(300))
		for i := range times {
			times[i] = float64(rng.IntN(200))
		}
		slices.Sort(times)
		for _, x := range []float64{float64(rng.IntN(220) - 10), rng.Float64() * 200, math.Inf(1), math.Inf(-1)} {
			guess := rng.IntN(400) - 50
			if got, want := near(times, x, guess), search(times, x); got != want {
				t.Fatalf("near(%v, %v, %d) = %d, search gives %d", times, x, guess, got, want)
			}
		}
	}
}
