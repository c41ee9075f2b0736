package numeric

import (
	"math/bits"
	"slices"
)

// selectNth reorders s so that s[n] is what sorting would put there, nothing before it is
// larger and nothing behind it smaller; NaN counts as smallest, as in slices.Sort.
//
// Quickselect (Hoare 1961, Algorithm 65) with the median of three as pivot:
// a recording's medians cost a few passes instead of a sort. Where the pivots
// turn out bad the rest is sorted, so that no data take quadratic time.
func selectNth(s []float64, n int) {
	// NaN compares false with everything and would run through the ends.
	from := 0
	for i, v := range s {
		if v != v {
			s[i], s[from] = s[from], v
			from++
		}
	}
	if n < from {
		return
	}
	to := len(s)
	const few = 24
	for tries := 2 * bits.Len(uint(len(s))); to-from > few && tries > 0; tries-- {
		pivot := median3(s[from], s[from+(to-from)/2], s[to-1])
		i, j := from, to-1
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			to = j + 1
		case n >= i:
			from = i
		default:
			return
		}
	}
	slices.Sort(s[from:to])
}

func median3(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
