package numeric_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

// problem is a random well-posed regression with m observations, n coefficients.
func problem(seed uint64, m, n int) (a numeric.Matrix, y, w []float64) {
	r := rand.New(rand.NewPCG(seed, 7))
	a, y, w = numeric.NewMatrix(m, n), make([]float64, m), make([]float64, m)
	for i := range m {
		for j := range n {
			a.Set(i, j, r.NormFloat64()*math.Pow(10, float64(3*j)))
		}
		y[i], w[i] = 5+r.NormFloat64(), 0.1+r.Float64()*10
	}
	return a, y, w
}

func diagonal(w []float64) numeric.Matrix {
	v := numeric.NewMatrix(len(w), len(w))
	for i := range w {
		v.Set(i, i, 1/w[i])
	}
	return v
}

// correlated is a positive definite matrix with correlations of both signs.
func correlated(seed uint64, m int) numeric.Matrix {
	r := rand.New(rand.NewPCG(seed, 8))
	g, v := numeric.NewMatrix(m, m+3), numeric.NewMatrix(m, m)
	for i := range g.Data {
		g.Data[i] = r.NormFloat64()
	}
	for i := range m {
		for j := range m {
			v.Set(i, j, numeric.Dot(g.Row(i), g.Row(j)))
		}
	}
	return v
}

// near compares slices element by element relative to the largest of want.
func near(t *testing.T, what string, got, want []float64, tol float64) {
	t.Helper()
	scale := 0.0
	for _, v := range want {
		scale = math.Max(scale, math.Abs(v))
	}
	if len(got) != len(want) {
		t.Fatalf("%s: %d elements; want %d", what, len(got), len(want))
	}
	for i := range got {
		if !(math.Abs(got[i]-want[i]) <= tol*scale) {
			t.Errorf("%s, element %d: got %.15g; want %.15g", what, i, got[i], want[i])
		}
	}
}

func product(a, b numeric.Matrix) numeric.Matrix {
	out := numeric.NewMatrix(a.Rows, b.Cols)
	for i := range a.Rows {
		for j := range b.Cols {
			for k := range a.Cols {
				out.Set(i, j, out.At(i, j)+a.At(i, k)*b.At(k, j))
			}
		}
	}
	return out
}

func transpose(a numeric.Matrix) numeric.Matrix {
	out := numeric.NewMatrix(a.Cols, a.Rows)
	for i := range a.Rows {
		for j := range a.Cols {
			out.Set(j, i, a.At(i, j))
		}
	}
	return out
}

// roundingTol is a few hundred roundings: the problems here are well posed once columns are scaled.
const roundingTol = 1e-12

// The thermometer of JCGM 100:2008, H.3, Table H.6: y1 + y2·(t − 20 °C).
// Printed digits: seen; the longer ones: calc from the data.
func TestGUMCalibrationLine(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corr := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	a := numeric.NewMatrix(len(temp), 2)
	for i, v := range temp {
		a.Set(i, 0, 1)
		a.Set(i, 1, v-20)
	}
	s, err := numeric.LeastSquares(a, corr, nil)
	if err != nil {
		t.Fatal(err)
	}
	sigma := math.Sqrt(s.RSS / float64(s.DoF))
	s1, s2 := sigma*math.Sqrt(s.Cov.At(0, 0)), sigma*math.Sqrt(s.Cov.At(1, 1))
	r := s.Cov.At(0, 1) / math.Sqrt(s.Cov.At(0, 0)*s.Cov.At(1, 1))
	b30 := s.Coef[0] + 10*s.Coef[1]
	u30 := sigma * math.Sqrt(s.Cov.At(0, 0)+20*s.Cov.At(0, 1)+100*s.Cov.At(1, 1))
	for _, c := range []struct {
		what                string
		got, printed, digit float64
		calc                float64
	}{
		{"y1", s.Coef[0], -0.1712, 1e-4, -0.171203790131},
		{"s(y1)", s1, 0.0029, 1e-4, 0.002877597835},
		{"y2", s.Coef[1], 0.00218, 1e-5, 0.00218269774},
		{"s(y2)", s2, 0.00067, 1e-5, 0.000667938773},
		{"r(y1, y2)", r, -0.930, 1e-3, -0.930429603},
		{"s", sigma, 0.0035, 1e-4, math.Sqrt(1.10096583e-4 / 9)},
		{"b(30 °C)", b30, -0.1494, 1e-4, -0.14937681273},
		{"u(b(30 °C))", u30, 0.0041, 1e-4, 0.00413859575},
	} {
		if !(math.Abs(c.got-c.printed) <= c.digit/2) {
			t.Errorf("%s: got %.10g; printed %g", c.what, c.got, c.printed)
		}
		relative(t, c.what, c.got, c.calc, 2e-9, 0)
	}
	relative(t, "RSS", s.RSS, 1.10096583e-4, 2e-9, 0)
	if s.DoF != 9 {
		t.Errorf("degrees of freedom: got %d; want 9", s.DoF)
	}
}

func TestGainIsTheDerivative(t *testing.T) {
	a, y, w := problem(11, 12, 3)
	v := correlated(12, 12)
	for name, solve := range map[string]func(y []float64) (numeric.Solution, error){
		"plain":       func(y []float64) (numeric.Solution, error) { return numeric.LeastSquares(a, y, nil) },
		"weighted":    func(y []float64) (numeric.Solution, error) { return numeric.LeastSquares(a, y, w) },
		"generalised": func(y []float64) (numeric.Solution, error) { return numeric.Generalised(a, y, v) },
	} {
		t.Run(name, func(t *testing.T) {
			s, err := solve(y)
			if err != nil {
				t.Fatal(err)
			}
			for i := range y {
				moved := slices.Clone(y)
				moved[i]++
				m, err := solve(moved)
				if err != nil {
					t.Fatal(err)
				}
				for j := range s.Coef {
					// The problem is linear: a unit step is exact but for rounding of Coef.
					relative(t, "gain", s.Gain.At(j, i), m.Coef[j]-s.Coef[j], 1e-9, math.Abs(s.Coef[j]))
				}
			}
			for j := range s.Coef {
				relative(t, "gain on y", numeric.Dot(s.Gain.Row(j), y), s.Coef[j], roundingTol*100, 0)
			}
			near(t, "gain on the columns", product(s.Gain, a).Data, []float64{1, 0, 0, 0, 1, 0, 0, 0, 1}, 1e-5)
		})
	}
}

// Cov·(AᵀV⁻¹A) is the unit matrix, and the residual is orthogonal, in V⁻¹, to
// every column: the normal equations, which the code does not form.
func TestNormalEquations(t *testing.T) {
	a, y, w := problem(13, 15, 3)
	for _, c := range []struct {
		name string
		v    numeric.Matrix
	}{{"diagonal", diagonal(w)}, {"full", correlated(14, 15)}} {
		t.Run(c.name, func(t *testing.T) {
			s, err := numeric.Generalised(a, y, c.v)
			if err != nil {
				t.Fatal(err)
			}
			l, err := numeric.Cholesky(c.v)
			if err != nil {
				t.Fatal(err)
			}
			vr := numeric.CholeskySolve(l, s.Residual)
			relative(t, "RSS", s.RSS, numeric.Dot(s.Residual, vr), roundingTol*10, 0)
			normal := numeric.NewMatrix(3, 3)
			for j, col := range transposeRows(a) {
				va := numeric.CholeskySolve(l, col)
				scale := math.Sqrt(numeric.Dot(col, va) * s.RSS)
				if d := numeric.Dot(col, vr); math.Abs(d) > roundingTol*scale {
					t.Errorf("residual with column %d: got %g; want 0 against %g", j, d, scale)
				}
				for k, other := range transposeRows(a) {
					normal.Set(j, k, numeric.Dot(other, va))
				}
			}
			unit := product(s.Cov, normal)
			for j := range 3 {
				for k := range 3 {
					// Columns differ by 10³ each; compare with both scaled to one.
					scale := math.Sqrt(normal.At(k, k) / normal.At(j, j))
					want := 0.0
					if j == k {
						want = 1
					}
					if math.Abs(unit.At(j, k)/scale-want) > roundingTol*10 {
						t.Errorf("Cov·(AᵀV⁻¹A) at %d, %d: got %g; want %g", j, k, unit.At(j, k)/scale, want)
					}
				}
			}
			// Cov is also what the gain makes of V.
			near(t, "G·V·Gᵀ", product(product(s.Gain, c.v), transpose(s.Gain)).Data, s.Cov.Data, roundingTol*10)
		})
	}
}

func transposeRows(a numeric.Matrix) [][]float64 {
	at := transpose(a)
	out := make([][]float64, at.Rows)
	for i := range out {
		out[i] = at.Row(i)
	}
	return out
}

func TestGeneralisedEqualsLeastSquaresOnDiagonal(t *testing.T) {
	a, y, w := problem(15, 20, 4)
	one, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		t.Fatal(err)
	}
	two, err := numeric.Generalised(a, y, diagonal(w))
	if err != nil {
		t.Fatal(err)
	}
	for j := range one.Coef {
		relative(t, "coefficient", two.Coef[j], one.Coef[j], roundingTol, 0)
		near(t, "gain", two.Gain.Row(j), one.Gain.Row(j), roundingTol)
		relative(t, "variance", two.Cov.At(j, j), one.Cov.At(j, j), roundingTol, 0)
	}
	near(t, "residual", two.Residual, one.Residual, roundingTol)
	relative(t, "RSS", two.RSS, one.RSS, roundingTol, 0)
	relative(t, "condition", two.Cond, one.Cond, roundingTol, 0)
	if one.DoF != 16 || two.DoF != 16 {
		t.Errorf("degrees of freedom: got %d and %d; want 16", one.DoF, two.DoF)
	}
}

// A weight of 2 is the same observation twice, a weight of 0 none.
func TestWeightsCountObservations(t *testing.T) {
	a, y, _ := problem(17, 8, 2)
	w := []float64{1, 2, 1, 0, 1, 3, 1, 0}
	weighted, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]float64
	var ys []float64
	for i, n := range w {
		for range int(n) {
			rows, ys = append(rows, a.Row(i)), append(ys, y[i])
		}
	}
	repeated, err := numeric.LeastSquares(numeric.FromRows(rows...), ys, nil)
	if err != nil {
		t.Fatal(err)
	}
	for j := range repeated.Coef {
		relative(t, "coefficient", weighted.Coef[j], repeated.Coef[j], roundingTol, 0)
		relative(t, "variance", weighted.Cov.At(j, j), repeated.Cov.At(j, j), roundingTol, 0)
		for _, i := range []int{3, 7} {
			if g := weighted.Gain.At(j, i); g != 0 {
				t.Errorf("gain of an observation of weight 0: got %g", g)
			}
		}
	}
	relative(t, "RSS", weighted.RSS, repeated.RSS, roundingTol, 0)
	if weighted.DoF != 4 {
		t.Errorf("degrees of freedom of six observations and two without weight: got %d; want 4", weighted.DoF)
	}
}

// Columns in other units must give the same fit; powers of two, exactly.
func TestColumnUnitsDoNotMatter(t *testing.T) {
	a, y, w := problem(19, 10, 3)
	b := numeric.NewMatrix(a.Rows, a.Cols)
	units := []float64{math.Ldexp(1, -300), 1, math.Ldexp(1, 200)}
	for i := range a.Rows {
		for j, u := range units {
			b.Set(i, j, a.At(i, j)*u)
		}
	}
	one, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		t.Fatal(err)
	}
	two, err := numeric.LeastSquares(b, y, w)
	if err != nil {
		t.Fatal(err)
	}
	for j, u := range units {
		if two.Coef[j]*u != one.Coef[j] {
			t.Errorf("coefficient %d: got %g in the other unit; want %g", j, two.Coef[j]*u, one.Coef[j])
		}
	}
	if two.RSS != one.RSS || two.Cond != one.Cond {
		t.Errorf("RSS %g, condition %g; want %g, %g", two.RSS, two.Cond, one.RSS, one.Cond)
	}
}

func TestSingular(t *testing.T) {
	for _, c := range []struct {
		name   string
		rows   [][]float64
		column int
	}{
		{"repeated column", [][]float64{{1, 2, 2}, {1, 3, 3}, {1, 5, 5}, {1, 9, 9}}, 2},
		{"sum of two", [][]float64{{1, 2, 3}, {1, 3, 4}, {1, 5, 6}, {1, 9, 10}}, 2},
		{"zero column", [][]float64{{1, 0, 3}, {1, 0, 4}, {1, 0, 7}}, 1},
		{"not a number", [][]float64{{1, math.NaN()}, {1, 2}, {1, 3}}, 1},
		{"infinite", [][]float64{{1, math.Inf(1)}, {1, 2}, {1, 3}}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := make([]float64, len(c.rows))
			_, err := numeric.LeastSquares(numeric.FromRows(c.rows...), y, nil)
			var singular *numeric.ErrSingular
			if !errors.As(err, &singular) || singular.Column != c.column {
				t.Errorf("got %v; want column %d named as dependent", err, c.column)
			}
		})
	}
}

func TestUnusableData(t *testing.T) {
	a, y, w := problem(21, 6, 2)
	with := func(x []float64, i int, v float64) []float64 {
		out := slices.Clone(x)
		out[i] = v
		return out
	}
	v := correlated(22, 6)
	v.Set(0, 0, -1)
	for _, c := range []struct {
		name, want string
		solve      func() (numeric.Solution, error)
	}{
		{"too few", "1 observations for 2 coefficients", func() (numeric.Solution, error) {
			return numeric.LeastSquares(numeric.FromRows([]float64{1, 2}), []float64{1}, nil)
		}},
		{"value", "value 3 is NaN", func() (numeric.Solution, error) { return numeric.LeastSquares(a, with(y, 3, math.NaN()), nil) }},
		{"weight", "weight 2 is -1", func() (numeric.Solution, error) { return numeric.LeastSquares(a, y, with(w, 2, -1)) }},
		{"infinite weight", "weight 2 is +Inf", func() (numeric.Solution, error) { return numeric.LeastSquares(a, y, with(w, 2, math.Inf(1))) }},
		{"generalised value", "value 1 is +Inf", func() (numeric.Solution, error) {
			return numeric.Generalised(a, with(y, 1, math.Inf(1)), diagonal(w))
		}},
		{"covariance", "not positive definite at row 0", func() (numeric.Solution, error) { return numeric.Generalised(a, y, v) }},
		{"nonlinear value", "value 5 is NaN", func() (numeric.Solution, error) {
			return numeric.Nonlinear(nil, with(y, 5, math.NaN()), nil, []float64{1})
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := c.solve(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v; want an error that says %q", err, c.want)
			}
		})
	}
}

func TestCholesky(t *testing.T) {
	v := correlated(23, 9)
	l, err := numeric.Cholesky(v)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "L·Lᵀ", product(l, transpose(l)).Data, v.Data, roundingTol)
	for i := range 9 {
		for j := i + 1; j < 9; j++ {
			if l.At(i, j) != 0 {
				t.Errorf("L at %d, %d: got %g; want 0", i, j, l.At(i, j))
			}
		}
	}
	x := []float64{1, -2, 3, -4, 5, -6, 7, -8, 9}
	b := product(v, numeric.Matrix{Rows: 9, Cols: 1, Data: x}).Data
	before := slices.Clone(b)
	near(t, "solution", numeric.CholeskySolve(l, b), x, 1e-9)
	if !slices.Equal(b, before) {
		t.Error("CholeskySolve changed its argument")
	}
	for _, bad := range []numeric.Matrix{
		numeric.FromRows([]float64{1, 2}, []float64{2, 1}),
		numeric.FromRows([]float64{1, 1}, []float64{1, 1}),
		numeric.FromRows([]float64{math.NaN()}),
	} {
		if _, err := numeric.Cholesky(bad); err == nil {
			t.Errorf("%v: got no error", bad)
		}
	}
}
