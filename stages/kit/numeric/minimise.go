package numeric

import "math"

// Minimise finds a minimum of f between lo and hi by a grid of n ≥ 3 points
// and golden-section search around the best of them, to an interval of tol. A
// minimum at either end is returned as that end with edge true: the true one
// may lie outside.
func Minimise(f func(float64) float64, lo, hi float64, n int, tol float64) (x float64, edge bool) {
	if n < 3 || !(hi > lo) || !(tol > 0) {
		panic("numeric: Minimise: want n ≥ 3, hi > lo, tol > 0")
	}
	step := (hi - lo) / float64(n-1)
	best, fbest := 0, math.Inf(1)
	for i := range n {
		if v := f(lo + float64(float64(i)*step)); v < fbest {
			best, fbest = i, v
		}
	}
	if best == 0 || best == n-1 {
		return lo + float64(float64(best)*step), true
	}
	return golden(f, lo+float64(float64(best-1)*step), lo+float64(float64(best+1)*step), tol), false
}

// golden is golden-section search (Kiefer 1953) for a unimodal f.
func golden(f func(float64) float64, a, b, tol float64) float64 {
	const ratio = 0.6180339887498949 // (√5 − 1)/2
	c, d := b-float64(ratio*(b-a)), a+float64(ratio*(b-a))
	fc, fd := f(c), f(d)
	for b-a > tol {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - float64(ratio*(b-a))
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + float64(ratio*(b-a))
			fd = f(d)
		}
	}
	return (a + b) / 2
}
