package numeric

import (
	"fmt"
	"math"
	"slices"
)

// Sum is the compensated sum of x (Neumaier 1974, "Rundungsfehleranalyse
// einiger Verfahren zur Summation endlicher Summen", algorithm IV); 0 for none, an infinity where
// an element or the running sum is infinite.
func Sum(x []float64) float64 {
	s, c := 0.0, 0.0
	for _, v := range x {
		t := s + v
		if math.Abs(s) >= math.Abs(v) {
			c += (s - t) + v
		} else {
			c += (v - t) + s
		}
		s = t
	}
	if math.IsInf(s, 0) {
		// The compensation of an infinity is NaN.
		return s
	}
	return s + c
}

// Dot is Σ xᵢ·yᵢ in index order, each product rounded on its own.
func Dot(x, y []float64) float64 {
	if len(x) != len(y) {
		panic(fmt.Sprintf("numeric: Dot: %d and %d elements", len(x), len(y)))
	}
	s := 0.0
	for i, v := range x {
		s += float64(v * y[i])
	}
	return s
}

// Mean is the arithmetic mean; NaN for none.
func Mean(x []float64) float64 { return Sum(x) / float64(len(x)) }

// Variance is Σ(x − x̄)²/(n − 1) (JCGM 100:2008, 4.2.2, eq. 4); NaN below two values.
func Variance(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	m := Mean(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = (v - m) * (v - m)
	}
	return Sum(d) / float64(len(x)-1)
}

// Median is the middle of the sorted values, the mean of the two middle ones
// for an even number; NaN for none. It does not reorder its argument.
func Median(x []float64) float64 {
	return Quantile(x, 0.5)
}

// Quantile is the q-quantile, 0 ≤ q ≤ 1, by linear interpolation between order
// statistics (Hyndman & Fan 1996, type 7); NaN for none.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	h := float64(q * float64(len(s)-1))
	i := min(int(math.Floor(h)), len(s)-1)
	selectNth(s, i)
	if i+1 == len(s) {
		return s[i]
	}
	// Values behind the i-th are no smaller, in no order: the next one is their least.
	s[i+1] = slices.Min(s[i+1:])
	return s[i] + float64((h-float64(i))*(s[i+1]-s[i]))
}

// MAD is 1.4826 × the median absolute deviation from the median: a standard
// deviation for normal data that half of the values cannot spoil; NaN for none.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	// 1/Φ⁻¹(3/4) = 1.482602...
	return 1.482602218505602 * Median(d)
}

// BatchSE is the standard error of the mean of a stationary series with
// autocorrelation, from the scatter of the means of consecutive batches, and
// the degrees of freedom behind it (batches − 2: mean and trend). Between 8 and
// 16 batches, fewer below 64 values, keep batches long against the correlation
// while the error of the error stays below a third (Law & Kelton, Simulation
// Modeling and Analysis, batch means). A linear trend is taken out first, since
// a plateau may creep. It is NaN with 0 for fewer than four values.
func BatchSE(x []float64) (se, dof float64) {
	n := len(x)
	if n < 4 {
		return math.NaN(), 0
	}
	batches := min(16, max(4, n/8))
	d := detrended(x)
	means := make([]float64, batches)
	for b := range means {
		means[b] = Mean(d[b*n/batches : (b+1)*n/batches])
	}
	// One degree of freedom more goes to the trend.
	v := Variance(means) * float64(batches-1) / float64(batches-2)
	return math.Sqrt(v / float64(batches)), float64(batches - 2)
}

// detrended is x less its least-squares straight line over the index.
func detrended(x []float64) []float64 {
	n := float64(len(x))
	mid, m := (n-1)/2, Mean(x)
	sxy, sxx := 0.0, 0.0
	for i, v := range x {
		t := float64(i) - mid
		sxy += float64(t * (v - m))
		sxx += float64(t * t)
	}
	slope := 0.0
	if sxx > 0 {
		slope = sxy / sxx
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - m - float64(slope*(float64(i)-mid))
	}
	return out
}

// Detrended is x less its least-squares straight line over the index, a copy.
func Detrended(x []float64) []float64 { return detrended(x) }

// Slope is the least-squares slope of y over t; 0 when all t are equal.
func Slope(t, y []float64) float64 {
	if len(t) != len(y) {
		panic(fmt.Sprintf("numeric: Slope: %d and %d elements", len(t), len(y)))
	}
	mt, my := Mean(t), Mean(y)
	sxy, sxx := 0.0, 0.0
	for i := range t {
		sxy += float64((t[i] - mt) * (y[i] - my))
		sxx += float64((t[i] - mt) * (t[i] - mt))
	}
	if sxx == 0 {
		return 0
	}
	return sxy / sxx
}
