package numeric_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"spinledger/stages/kit/numeric"
)

const epsilon = 0x1p-52

// exactSum is the sum in enough bits for any doubles that appear here, rounded once.
func exactSum(x []float64) float64 {
	s := new(big.Float).SetPrec(4096)
	for _, v := range x {
		s.Add(s, new(big.Float).SetPrec(4096).SetFloat64(v))
	}
	f, _ := s.Float64()
	return f
}

func TestSumAgainstExact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	cancelling := make([]float64, 2001)
	for i := range 1000 {
		v := math.Ldexp(r.Float64(), r.IntN(80))
		cancelling[2*i], cancelling[2*i+1] = v, -v
	}
	cancelling[2000] = 1
	r.Shuffle(len(cancelling), func(i, j int) { cancelling[i], cancelling[j] = cancelling[j], cancelling[i] })
	harmonic := make([]float64, 100000)
	for i := range harmonic {
		harmonic[i] = 1 / float64(i+1)
	}
	for _, c := range []struct {
		name string
		x    []float64
	}{
		{"none", nil},
		{"one", []float64{0.1}},
		{"small between large", []float64{1, 1e100, 1, -1e100}},
		{"large second", []float64{1e-16, 1, 1e-16}},
		{"tenths", slices.Repeat([]float64{0.1}, 100000)},
		{"harmonic", harmonic},
		{"cancelling pairs", cancelling},
		{"subnormal", []float64{5e-324, 5e-324, 1e-310}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, want := numeric.Sum(c.x), exactSum(c.x)
			size, n := 0.0, float64(len(c.x))
			for _, v := range c.x {
				size += math.Abs(v)
			}
			// The bound of the method (Higham, Accuracy and Stability of Numerical
			// Algorithms, 4.3): one rounding of the result and n² second-order ones.
			bound := epsilon*math.Abs(want) + n*n*epsilon*epsilon*size
			if !(math.Abs(got-want) <= bound) {
				t.Errorf("got %.17g; want %.17g within %g", got, want, bound)
			}
		})
	}
	// Uncompensated, this one is off in the twelfth digit: the sum must be the double nearest.
	if got := numeric.Sum(slices.Repeat([]float64{0.1}, 100000)); got != 10000.000000000000 {
		t.Errorf("100000 × 0.1: got %.17g; want 10000 to the last bit", got)
	}
}

func TestSumInfinite(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		x    []float64
		want float64
	}{
		{[]float64{1, inf, 2}, inf},
		{[]float64{1, -inf, 2}, -inf},
		{[]float64{math.MaxFloat64, math.MaxFloat64}, inf},
	} {
		if got := numeric.Sum(c.x); got != c.want {
			t.Errorf("Sum(%v): got %g; want %g", c.x, got, c.want)
		}
	}
	for _, x := range [][]float64{{inf, -inf}, {1, math.NaN()}} {
		if got := numeric.Sum(x); !math.IsNaN(got) {
			t.Errorf("Sum(%v): got %g; want NaN", x, got)
		}
	}
}

// Equal numbers must give equal bytes wherever they lie in memory.
func TestSubSlicesGiveTheSameBytes(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	base := make([]float64, 400)
	for i := range base {
		base[i] = r.NormFloat64() * math.Exp(3*r.NormFloat64())
	}
	all := func(x []float64) []float64 {
		n := len(x) / 2
		se, dof := numeric.BatchSE(x)
		out := []float64{numeric.Sum(x), numeric.Mean(x), numeric.Variance(x), numeric.Median(x), numeric.MAD(x),
			numeric.Quantile(x, 0.1), se, dof, numeric.Dot(x[:n], x[n:2*n]), numeric.Slope(x[:n], x[n:2*n])}
		a := numeric.Matrix{Rows: n / 4, Cols: 3, Data: x[:n/4*3]}
		s, err := numeric.LeastSquares(a, x[n:n+n/4], nil)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s.RSS, s.Cond)
		return slices.Concat(out, s.Coef, s.Cov.Data, s.Gain.Data, s.Residual, numeric.Detrended(x))
	}
	for offset := range 9 {
		for _, n := range []int{31, 64, 97, 200} {
			sub := base[offset : offset+n]
			before := slices.Clone(sub)
			got, want := all(sub), all(slices.Clone(sub))
			for i := range got {
				if math.Float64bits(got[i]) != math.Float64bits(want[i]) {
					t.Errorf("offset %d, %d elements, result %d: %v in place, %v in a copy", offset, n, i, got[i], want[i])
				}
			}
			if !slices.Equal(sub, before) {
				t.Fatalf("offset %d, %d elements: the input was changed", offset, n)
			}
		}
	}
}

func TestVariance(t *testing.T) {
	// NIST/ITL StRD univariate NumAcc4 (made as described there): 10000000.2 and
	// 500 pairs 10000000.1, 10000000.3: mean 10000000.2, deviation 0.1. Mark:
	// memory of the construction, values by calc.
	x := []float64{10000000.2}
	for range 500 {
		x = append(x, 10000000.1, 10000000.3)
	}
	// The inputs themselves are rounded to 1e-9, so 1e-8 of 0.1 is what the data can give.
	relative(t, "mean", numeric.Mean(x), 10000000.2, 1e-15, 0)
	relative(t, "deviation", math.Sqrt(numeric.Variance(x)), 0.1, 1e-8, 0)
	for _, few := range [][]float64{nil, {1}} {
		if v := numeric.Variance(few); !math.IsNaN(v) {
			t.Errorf("variance of %v: got %g; want NaN", few, v)
		}
	}
}

func TestQuantiles(t *testing.T) {
	x := []float64{4, 1, 3, 2}
	for _, c := range []struct{ q, want float64 }{
		// Hyndman & Fan 1996, type 7: position (n − 1)·q. Mark: calc.
		{0, 1}, {0.25, 1.75}, {0.5, 2.5}, {0.75, 3.25}, {0.9, 3.7}, {1, 4},
	} {
		relative(t, "quantile", numeric.Quantile(x, c.q), c.want, 1e-15, 0)
	}
	if !slices.Equal(x, []float64{4, 1, 3, 2}) {
		t.Error("the input was reordered")
	}
	if got := numeric.Median([]float64{9, 1, 5}); got != 5 {
		t.Errorf("median: got %g; want 5", got)
	}
	// MAD of 1…5 with one value spoiled: |x − 3| has median 1; 1/Φ⁻¹(3/4) = 1.4826022185056018.
	relative(t, "MAD", numeric.MAD([]float64{1, 2, 3, 4, 1e9}), 1.4826022185056018, 1e-15, 0)
	for _, v := range []float64{numeric.Median(nil), numeric.Quantile(nil, 0.3), numeric.MAD(nil), numeric.Mean(nil)} {
		if !math.IsNaN(v) {
			t.Errorf("of nothing: got %g; want NaN", v)
		}
	}
}

func TestSlopeAndDetrended(t *testing.T) {
	ts, y := []float64{100, 101, 103, 106}, []float64{7, 10, 16, 25}
	relative(t, "slope", numeric.Slope(ts, y), 3, 1e-14, 0)
	if got := numeric.Slope([]float64{2, 2}, []float64{1, 5}); got != 0 {
		t.Errorf("slope over equal times: got %g; want 0", got)
	}
	x := make([]float64, 50)
	for i := range x {
		x[i] = 5 - 0.25*float64(i)
		if i%2 == 0 {
			x[i] += 1
		}
	}
	d := numeric.Detrended(x)
	moment := 0.0
	for i, v := range d {
		moment += v * float64(i)
	}
	// Residuals of a line are orthogonal to a constant and to the index.
	if math.Abs(numeric.Sum(d)) > 1e-12 || math.Abs(moment) > 1e-10 {
		t.Errorf("residuals sum to %g, with the index to %g; want 0", numeric.Sum(d), moment)
	}
	// An even comb on 50 points has slope −3/(50² − 1) of its own (calc: Σ(i − i̅)·x/Σ(i − i̅)²).
	own := -3.0 / (50*50 - 1)
	relative(t, "step of the comb", d[1]-d[0], -1-own, 1e-12, 0)
}

// The mean square of the stated error must be the true variance of the mean,
// for white noise and for a first-order autoregression, whose mean has
// variance σ²/(n·(1 − φ)²) in the long run (closed form; mark: calc).
func TestBatchSE(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct {
		n       int
		phi     float64
		trend   float64
		batches int
		// tol covers the scatter over the series, √(2/(dof·series)), at most
		// 1.7 %, and the share of the correlation that short batches lose.
		tol float64
	}{
		{4, 0, 0, 4, 0.08}, {40, 0, 0.5, 5, 0.06}, {64, 0, 0, 8, 0.05}, {400, 0, -2, 16, 0.04}, {1600, 0.6, 0.1, 16, 0.06},
	} {
		series := min(4000, 800000/c.n)
		sum, x := 0.0, make([]float64, c.n)
		for range series {
			s := r.NormFloat64() / math.Sqrt(1-c.phi*c.phi)
			for i := range x {
				s = c.phi*s + r.NormFloat64()
				x[i] = s + c.trend*float64(i)
			}
			se, dof := numeric.BatchSE(x)
			if dof != float64(c.batches-2) {
				t.Fatalf("n = %d: got %g degrees of freedom; want %d", c.n, dof, c.batches-2)
			}
			sum += se * se / float64(series)
		}
		want := 1 / (float64(c.n) * (1 - c.phi) * (1 - c.phi))
		relative(t, "mean square of the error", sum, want, c.tol, 0)
	}
	if se, dof := numeric.BatchSE([]float64{1, 2, 3}); !math.IsNaN(se) || dof != 0 {
		t.Errorf("three values: got %g, %g; want NaN, 0", se, dof)
	}
}

func TestLengthsThatDisagreePanic(t *testing.T) {
	one, two := []float64{1}, []float64{1, 2}
	m := numeric.FromRows(two)
	for name, f := range map[string]func(){
		"Dot":          func() { numeric.Dot(one, two) },
		"Slope":        func() { numeric.Slope(one, two) },
		"FromRows":     func() { numeric.FromRows(one, two) },
		"LeastSquares": func() { _, _ = numeric.LeastSquares(m, two, nil) },
		"weights":      func() { _, _ = numeric.LeastSquares(m, one, two) },
		"Generalised":  func() { _, _ = numeric.Generalised(m, one, m) },
		"Nonlinear":    func() { _, _ = numeric.Nonlinear(nil, one, two, one) },
		"FixedMean":    func() { numeric.FixedMean(one, two) },
		"Minimise":     func() { numeric.Minimise(math.Sin, 0, 1, 2, 1e-3) },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if s, ok := recover().(string); !ok || len(s) < 8 || s[:8] != "numeric:" {
					t.Errorf("got %q; want a panic that starts with the package's name", s)
				}
			}()
			f()
		})
	}
}
