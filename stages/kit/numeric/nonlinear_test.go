package numeric_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

// spinUp is the shape of a recording: a noisy saturating exponential.
func spinUp(seed uint64, n int) (ts, y []float64) {
	r := rand.New(rand.NewPCG(seed, 9))
	for i := range n {
		ts = append(ts, 0.05*float64(i))
		y = append(y, 300*(1-math.Exp(-ts[i]/0.8))+r.NormFloat64())
	}
	return ts, y
}

func saturatingOver(ts []float64) numeric.Model {
	return func(i int, b, g []float64) float64 { return saturating(ts[i], b, g) }
}

func TestNonlinearGainIsTheDerivative(t *testing.T) {
	ts, y := spinUp(1, 40)
	// At a nonzero residual the true derivative has a term of the model's
	// curvature that the linear problem leaves out; noise-free data have none.
	for i := range y {
		y[i] = 300 * (1 - math.Exp(-ts[i]/0.8))
	}
	w := make([]float64, len(y))
	for i := range w {
		w[i] = 1 + float64(i%3)
	}
	s, err := numeric.Nonlinear(saturatingOver(ts), y, w, []float64{200, 1})
	if err != nil {
		t.Fatal(err)
	}
	const h = 1e-3
	want := numeric.NewMatrix(2, len(y))
	for i := range y {
		var side [2][]float64
		for k, d := range []float64{-h, h} {
			moved := slices.Clone(y)
			moved[i] += d
			m, err := numeric.Nonlinear(saturatingOver(ts), moved, w, []float64{200, 1})
			if err != nil {
				t.Fatal(err)
			}
			side[k] = m.Coef
		}
		for j := range s.Coef {
			want.Set(j, i, (side[1][j]-side[0][j])/(2*h))
		}
	}
	for j := range s.Coef {
		near(t, "gain", s.Gain.Row(j), want.Row(j), 1e-7)
	}
}

// A linear model must give what the linear solver gives, weights and all.
func TestNonlinearOfLinearModel(t *testing.T) {
	a, y, w := problem(31, 12, 3)
	model := func(i int, b, g []float64) float64 {
		copy(g, a.Row(i))
		return numeric.Dot(a.Row(i), b)
	}
	want, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		t.Fatal(err)
	}
	got, err := numeric.Nonlinear(model, y, w, []float64{1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	for j := range want.Coef {
		relative(t, "coefficient", got.Coef[j], want.Coef[j], roundingTol, 0)
		relative(t, "variance", got.Cov.At(j, j), want.Cov.At(j, j), roundingTol, 0)
		near(t, "gain", got.Gain.Row(j), want.Gain.Row(j), roundingTol)
	}
	near(t, "residual", got.Residual, want.Residual, roundingTol)
	relative(t, "RSS", got.RSS, want.RSS, roundingTol, 0)
	if got.DoF != want.DoF || got.Cond != want.Cond {
		t.Errorf("DoF %d, condition %g; want %d, %g", got.DoF, got.Cond, want.DoF, want.Cond)
	}
}

// The unit of y must not decide whether a fit counts as converged: µN·m and N·m alike.
func TestNonlinearUnits(t *testing.T) {
	ts, y := spinUp(3, 60)
	base, err := numeric.Nonlinear(saturatingOver(ts), y, nil, []float64{200, 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, unit := range []float64{1e-12, 1e-6, 1e6} {
		scaled := make([]float64, len(y))
		for i, v := range y {
			scaled[i] = v * unit
		}
		s, err := numeric.Nonlinear(saturatingOver(ts), scaled, nil, []float64{200 * unit, 1})
		if err != nil {
			t.Fatalf("unit %g: %v", unit, err)
		}
		relative(t, "amplitude", s.Coef[0]/unit, base.Coef[0], 1e-9, 0)
		relative(t, "rate", s.Coef[1], base.Coef[1], 1e-9, 0)
	}
}

func TestNonlinearExactDataWithZeroCoefficient(t *testing.T) {
	ts, y := spinUp(4, 30)
	for i, v := range ts {
		y[i] = 3 * math.Exp(-v)
	}
	model := func(i int, b, g []float64) float64 {
		e := math.Exp(-b[1] * ts[i])
		g[0], g[1], g[2] = e, -b[0]*ts[i]*e, 1
		return b[0]*e + b[2]
	}
	s, err := numeric.Nonlinear(model, y, nil, []float64{1, 2, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "coefficients", s.Coef, []float64{3, 1, 0}, 1e-10)
}

func TestNonlinearRefuses(t *testing.T) {
	ts, y := spinUp(5, 20)
	for _, c := range []struct {
		name, want string
		model      numeric.Model
		y          []float64
		start      []float64
	}{
		{"not finite at start", "not finite at [NaN 1]", saturatingOver(ts), y, []float64{math.NaN(), 1}},
		{"too few observations", "2 observations for 3 coefficients", func(_ int, b, g []float64) float64 {
			g[0], g[1], g[2] = 1, 2, b[2]
			return b[0] + 2*b[1] + b[2]*b[2]/2
		}, y[:2], []float64{1, 1, 1}},
		{"coefficient without effect", "depends on the columns before it", func(_ int, b, g []float64) float64 {
			g[0], g[1] = 1, 0
			return b[0]
		}, y, []float64{1, 1}},
		// The sum falls for ever as b grows: no minimum.
		{"no minimum", "nonlinear fit", func(i int, b, g []float64) float64 {
			v := 1 / (1 + b[0]*b[0])
			g[0] = -2 * b[0] * v * v
			return v
		}, make([]float64, 20), []float64{1}},
		// A model whose derivatives are wrong leads nowhere near the minimum.
		{"wrong derivative", "not converged", func(i int, b, g []float64) float64 {
			v := saturating(ts[i], b, g)
			g[1] = -g[1]
			return v
		}, y, []float64{200, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := numeric.Nonlinear(c.model, c.y, nil, c.start)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, %v; want an error that says %q", s.Coef, err, c.want)
			}
		})
	}
}

func TestNonlinearLeavesItsInputs(t *testing.T) {
	ts, y := spinUp(6, 30)
	w, start := slices.Repeat([]float64{2}, 30), []float64{200, 1}
	y0, w0, s0 := slices.Clone(y), slices.Clone(w), slices.Clone(start)
	if _, err := numeric.Nonlinear(saturatingOver(ts), y, w, start); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(y, y0) || !slices.Equal(w, w0) || !slices.Equal(start, s0) {
		t.Error("an input was changed")
	}
}

func TestMinimise(t *testing.T) {
	for _, c := range []struct {
		name       string
		f          func(float64) float64
		lo, hi     float64
		n          int
		tol, want  float64
		edge       bool
		coarseness float64
	}{
		{"parabola", func(x float64) float64 { return (x - 0.3) * (x - 0.3) }, -1, 2, 7, 1e-6, 0.3, false, 1e-6},
		{"cosine", math.Cos, 0, 6, 9, 1e-6, math.Pi, false, 1e-6},
		{"deeper of two", func(x float64) float64 { return math.Cos(x) + 0.1*x }, -8, 8, 41, 1e-6, -math.Pi - math.Asin(0.1), false, 1e-6},
		{"lower edge", func(x float64) float64 { return x }, 1, 2, 5, 1e-3, 1, true, 0},
		{"upper edge", func(x float64) float64 { return -x }, 1, 2, 5, 1e-3, 2, true, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			x, edge := numeric.Minimise(c.f, c.lo, c.hi, c.n, c.tol)
			if math.Abs(x-c.want) > c.coarseness || edge != c.edge {
				t.Errorf("got %.9g, edge %t; want %.9g, %t", x, edge, c.want, c.edge)
			}
		})
	}
}
