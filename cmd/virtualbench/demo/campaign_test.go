package demo

import (
	"math"
	"testing"
)

// TestDrawnAnew builds the demonstration catalogue from a few other seeds, each
// with every systematic error drawn anew, and asks that the stated 95 %
// intervals hold as often as a binomial allows. The long form is virtualbench campaign.
func TestDrawnAnew(t *testing.T) {
	const seeds = 6
	hit, all := 0, 0
	for seed := range uint64(seeds) {
		h, a, err := Coverage(seed + 100)
		if err != nil {
			t.Fatal(err)
		}
		for id, ok := range h {
			if ok {
				hit++
			} else {
				t.Logf("seed %d: %s outside its interval", seed+100, id)
			}
		}
		all += a
	}
	// At 95 % and n numbers, 4 standard deviations below the mean.
	n := float64(all)
	if low := 0.95*n - 4*math.Sqrt(n*0.95*0.05); float64(hit) < low {
		t.Errorf("%d of %d inside; at least %.0f expected", hit, all, low)
	}
}
