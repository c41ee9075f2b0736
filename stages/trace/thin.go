package trace

import "math"

// envelope keeps, of each of n equal stretches of x, the points with the lowest
// and the highest y in the order in which they come, so that no spike is lost.
// x must not decrease. Shorter data are copied whole.
func envelope(x, y []float64, n int) (ox, oy []float64) {
	if len(x) <= 2*n {
		return append([]float64(nil), x...), append([]float64(nil), y...)
	}
	from, width := x[0], (x[len(x)-1]-x[0])/float64(n)
	for i := 0; i < len(x); {
		k := math.Floor((x[i] - from) / width)
		lo, hi := i, i
		for ; i < len(x) && (math.Floor((x[i]-from)/width) == k || k >= float64(n-1)); i++ {
			if y[i] < y[lo] {
				lo = i
			}
			if y[i] > y[hi] {
				hi = i
			}
		}
		a, b := min(lo, hi), max(lo, hi)
		ox, oy = append(ox, x[a]), append(oy, y[a])
		if b > a {
			ox, oy = append(ox, x[b]), append(oy, y[b])
		}
	}
	return ox, oy
}

// linspace is n points from a to b.
func linspace(a, b float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = a + (b-a)*float64(i)/float64(n-1)
	}
	return out
}
