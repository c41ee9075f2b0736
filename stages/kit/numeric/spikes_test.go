package numeric

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestSpikes: single and double values off a quiet or ringing channel are found, each once; noise, ringing, a slope and a
// settling step are not spikes.
func TestSpikes(t *testing.T) {
	const n = 800
	rng := rand.New(rand.NewPCG(4, 2))
	quiet := func(int) float64 { return 1e-3 * rng.NormFloat64() }
	ring := func(hz float64) func(int) float64 {
		return func(i int) float64 {
			s := float64(i) / 2000
			return math.Exp(-s/0.06)*math.Sin(2*math.Pi*hz*s) + 1e-3*rng.NormFloat64()
		}
	}
	for name, f := range map[string]func(int) float64{
		"noise": quiet, "80 Hz": ring(80), "216 Hz": ring(216), "540 Hz": ring(540), "900 Hz": ring(900),
		"two modes": func(i int) float64 { return ring(80)(i) + ring(216)(i) },
		"settling":  func(i int) float64 { return math.Exp(-float64(i)/9) + 1e-3*rng.NormFloat64() },
		"constant":  func(int) float64 { return 2 },
	} {
		x := make([]float64, n)
		for i := range x {
			x[i] = f(i)
		}
		if got := Spikes(x, 0.02); len(got) != 0 {
			t.Errorf("%s: spikes at %v", name, got)
		}
		at := []int{300, 500, 700}
		for k, i := range at {
			x[i] += 2.5 * float64(1-2*(k%2))
		}
		if got := Spikes(x, 0.02); !slices.Equal(got, at) {
			t.Errorf("%s: spikes at %v, want %v", name, got, at)
		}
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = quiet(i)
	}
	x[400], x[401] = 1, 1
	if got := Spikes(x, 0.02); len(got) < 1 || len(got) > 2 {
		t.Errorf("two values wide: %v", got)
	}
	for _, x := range [][]float64{nil, {1}, {1, 5, 1}} {
		if got := Spikes(x, 0); got != nil {
			t.Errorf("%v: %v", x, got)
		}
	}
}
