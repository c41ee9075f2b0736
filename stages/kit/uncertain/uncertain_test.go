package uncertain_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/uncertain"
)

func parse(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// some is a value of positive mean with sources out of a common pool, so that
// any two share some of them.
func some(r *rand.Rand) uncertain.Value {
	v := uncertain.Exact(1 + 9*r.Float64())
	for range 1 + r.IntN(12) {
		c := r.NormFloat64() * math.Pow(10, -float64(r.IntN(6)))
		v = v.With(uncertain.Part{Source: fmt.Sprintf("cause/%d", r.IntN(20)), Contribution: c, DoF: float64(r.IntN(30))})
	}
	return v
}

func clone(v uncertain.Value) uncertain.Value {
	return uncertain.Value{Mean: v.Mean, Parts: slices.Clone(v.Parts)}
}

func equal(v, w uncertain.Value) bool { return v.Mean == w.Mean && slices.Equal(v.Parts, w.Parts) }

func orderly(t *testing.T, v uncertain.Value) {
	t.Helper()
	for i, p := range v.Parts {
		if p.Contribution == 0 || i > 0 && v.Parts[i-1].Source >= p.Source {
			t.Fatalf("parts are not sorted, single and nonzero: %v", v.Parts)
		}
	}
}

// As variables, not as pairs of numbers: a difference of equal things is
// exactly 0 ± 0.
func TestCancellation(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 200 {
		x, y := some(r), some(r)
		for name, d := range map[string]uncertain.Value{
			"x − x":         x.Sub(x),
			"x·y − y·x":     x.Mul(y).Sub(y.Mul(x)),
			"(x+y) − (y+x)": x.Add(y).Sub(y.Add(x)),
			"2x − x − x":    x.Scale(2).Sub(x).Sub(x),
			"0·x":           x.Scale(0),
		} {
			if d.Mean != 0 || len(d.Parts) != 0 || d.Std() != 0 {
				t.Fatalf("%s of %v, %v: got %v; want exactly 0 ± 0", name, x, y, d)
			}
		}
		// These hold to rounding.
		for name, d := range map[string]uncertain.Value{
			"(x+y) − y − x": x.Add(y).Sub(y).Sub(x),
			"x·y/y − x":     x.Mul(y).Div(y).Sub(x),
			"√x·√x − x":     x.Pow(0.5).Mul(x.Pow(0.5)).Sub(x),
			"x/y − x·y⁻¹":   x.Div(y).Sub(x.Mul(y.Pow(-1))),
		} {
			if scale := x.Std() + y.Std()*(1+x.Mean); math.Abs(d.Mean) > 1e-13*(x.Mean+y.Mean) || d.Std() > 1e-13*scale {
				t.Errorf("%s: got %g ± %g; want 0 ± 0", name, d.Mean, d.Std())
			}
		}
	}
}

func TestOperationsKeepOrderAndInputs(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	for range 200 {
		x, y := some(r), some(r)
		x0, y0 := clone(x), clone(y)
		for _, v := range []uncertain.Value{
			x, x.Add(y), x.Sub(y), x.Mul(y), x.Div(y), x.Pow(3), x.Scale(-2),
			x.With(uncertain.Part{Source: "cause/5", Contribution: 1}, uncertain.Part{Source: "a", Contribution: 2}),
			x.Fold("rest", func(s string) bool { return strings.HasSuffix(s, "1") }),
		} {
			orderly(t, v)
		}
		if !equal(x, x0) || !equal(y, y0) {
			t.Fatal("an operation changed its input")
		}
	}
	// Values made from one must not write into each other's parts.
	x := uncertain.New(1, 1, 0, "a").With(uncertain.Part{Source: "b", Contribution: 1})
	one := x.With(uncertain.Part{Source: "c", Contribution: 1})
	two := x.With(uncertain.Part{Source: "d", Contribution: 2})
	if one.Part("c") != 1 || one.Part("d") != 0 || two.Part("d") != 2 || two.Part("c") != 0 {
		t.Errorf("got %v and %v", one, two)
	}
	// Nor where the parts, as those read from JSON, have room to grow.
	roomy := uncertain.Value{Parts: append(make([]uncertain.Part, 0, 8), x.Parts...)}
	one = roomy.With(uncertain.Part{Source: "c", Contribution: 1})
	_ = roomy.With(uncertain.Part{Source: "A", Contribution: 2})
	if one.Part("c") != 1 || one.Part("A") != 0 || !slices.Equal(roomy.Parts, x.Parts) {
		t.Errorf("got %v from %v", one, roomy)
	}
}

// Every sensitivity against a central difference: all causes moved together, one at a time.
func TestSensitivitiesAgainstDifferences(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	type V = uncertain.Value
	for range 50 {
		x, y := some(r), some(r)
		for name, f := range map[string]func(x, y V) V{
			"x + y": V.Add, "x − y": V.Sub, "x·y": V.Mul, "x/y": V.Div,
			"x^1.7":     func(x, _ V) V { return x.Pow(1.7) },
			"y^−2":      func(_, y V) V { return y.Pow(-2) },
			"−3x":       func(x, _ V) V { return x.Scale(-3) },
			"x²/y − xy": func(x, y V) V { return x.Pow(2).Div(y).Sub(x.Mul(y)) },
		} {
			got := f(x, y)
			for _, p := range x.Add(y).Parts {
				const h = 1e-5
				side := func(h float64) float64 {
					return f(uncertain.Exact(x.Mean+h*x.Part(p.Source)), uncertain.Exact(y.Mean+h*y.Part(p.Source))).Mean
				}
				want := (side(h) - side(-h)) / (2 * h)
				// Rounding of the mean over 2h, and the third derivative.
				if tol := 1e-10*(math.Abs(got.Mean)+100) + 1e-6*math.Abs(want); math.Abs(got.Part(p.Source)-want) > tol {
					t.Errorf("%s, %s: got %g; want %g", name, p.Source, got.Part(p.Source), want)
				}
			}
		}
	}
}

func TestCovarianceAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	for range 200 {
		x, y := some(r), some(r)
		want, size := 0.0, 0.0
		for _, p := range x.Parts {
			for _, q := range y.Parts {
				if p.Source == q.Source {
					want += p.Contribution * q.Contribution
					size += math.Abs(p.Contribution * q.Contribution)
				}
			}
		}
		got := uncertain.Covariance(x, y)
		if math.Abs(got-want) > 1e-14*size || got != uncertain.Covariance(y, x) {
			t.Errorf("got %g and %g the other way round; want %g", got, uncertain.Covariance(y, x), want)
		}
		close(t, "cov(x, x)", uncertain.Covariance(x, x), x.Std()*x.Std(), 1e-14)
		// u²(x + y) = u²(x) + u²(y) + 2·cov(x, y).
		sum := x.Std()*x.Std() + y.Std()*y.Std() + 2*want
		if got := x.Add(y).Std(); math.Abs(got*got-sum) > 1e-13*(sum+size) {
			t.Errorf("u²(x+y): got %g; want %g", got*got, sum)
		}
	}
}

func TestFold(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	keep := func(s string) bool { return strings.HasSuffix(s, "2") || strings.HasSuffix(s, "5") }
	for range 200 {
		x := some(r)
		f := x.Fold("rest", keep)
		close(t, "u", f.Std(), x.Std(), 1e-14)
		if math.IsInf(x.DoF(), 1) != math.IsInf(f.DoF(), 1) {
			t.Errorf("degrees of freedom: got %g; want %g", f.DoF(), x.DoF())
		} else if !math.IsInf(x.DoF(), 1) {
			close(t, "degrees of freedom", f.DoF(), x.DoF(), 1e-12)
		}
		for _, p := range x.Parts {
			if keep(p.Source) && f.Part(p.Source) != p.Contribution {
				t.Errorf("%s was kept as %g; want %g", p.Source, f.Part(p.Source), p.Contribution)
			}
			if !keep(p.Source) && f.Part(p.Source) != 0 {
				t.Errorf("%s was not folded", p.Source)
			}
		}
		if again := f.Fold("rest", keep); math.Abs(again.Std()-x.Std()) > 1e-14*x.Std() {
			t.Errorf("folded twice: u %g; want %g", again.Std(), x.Std())
		}
		if all := x.Fold("rest", func(string) bool { return true }); !equal(all, x) {
			t.Errorf("nothing to fold: got %v; want %v", all, x)
		}
	}
	fit := uncertain.FromCovariance([]float64{1, 2}, []float64{4, 1, 1, 9}, 6, "fit")
	close(t, "degrees of freedom of a folded fit", fit[0].Add(fit[1]).Fold("rest", func(string) bool { return false }).DoF(), 6, 1e-12)
}

func TestDegreesOfFreedom(t *testing.T) {
	inf := math.Inf(1)
	fit := func(c0, c1 float64) uncertain.Value {
		return uncertain.Exact(0).With(uncertain.Part{Source: "fit~0", Contribution: c0, DoF: 8},
			// A stranger that sorts between two components.
			uncertain.Part{Source: "fit~0b", Contribution: 1e-30},
			uncertain.Part{Source: "fit~1", Contribution: c1, DoF: 8})
	}
	a, b := uncertain.New(0, 3, 5, "a"), uncertain.New(0, 4, 0, "b")
	for _, c := range []struct {
		name string
		v    uncertain.Value
		want float64
	}{
		{"exact", uncertain.Exact(1), inf},
		{"infinite", b, inf},
		{"one", a, 5},
		{"+Inf given", uncertain.New(0, 1, inf, "x"), inf},
		// (9 + 16)²/(81/5); calc.
		{"mixed", a.Add(b), 625.0 * 5 / 81},
		{"two causes that look alike", uncertain.New(0, 1, 8, "run/0").Add(uncertain.New(0, 1, 8, "run/1")), 16},
		{"names with a mark inside", uncertain.New(0, 1, 8, "a~b").Add(uncertain.New(0, 1, 8, "a~c")), 16},
		{"components of one fit", fit(3, 4), 8},
		{"components of two fits", fit(1, 0).Add(uncertain.New(0, 1, 8, "other~0")), 16},
		{"the smaller where inputs disagree", uncertain.New(0, 1, 7, "x").Add(uncertain.New(0, 1, 3, "x")), 3},
		{"a number before none", uncertain.New(0, 1, 0, "x").Add(uncertain.New(0, 1, 3, "x")), 3},
	} {
		got := c.v.DoF()
		if got != c.want && !(math.Abs(got-c.want) <= 1e-12*c.want) {
			t.Errorf("%s: got %g; want %g", c.name, got, c.want)
		}
	}
}

func TestJSON(t *testing.T) {
	v := uncertain.New(2, 0.5, math.Inf(1), "a").Add(uncertain.Value{Parts: []uncertain.Part{{Source: "b", Contribution: -1, DoF: 4}}})
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if want := `{"mean":2,"parts":[{"source":"a","c":0.5},{"source":"b","c":-1,"dof":4}]}`; string(text) != want {
		t.Errorf("got %s; want %s", text, want)
	}
	var back uncertain.Value
	if err := json.Unmarshal(text, &back); err != nil || !equal(back, v) {
		t.Errorf("read back: %v, %v; want %v", back, err, v)
	}
}

func TestFromCovariance(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for n := 1; n <= 13; n++ {
		for rank := 0; rank <= n; rank++ {
			// G·Gᵀ with scales over six decades has the given rank.
			g, cov, means := make([]float64, n*n), make([]float64, n*n), make([]float64, n)
			for i := range n {
				means[i] = r.NormFloat64()
				for k := range rank {
					g[i*n+k] = r.NormFloat64() * math.Pow(10, float64(i%4)*2-6)
				}
			}
			for i := range n {
				for j := range n {
					cov[i*n+j] = numeric.Dot(g[i*n:i*n+n], g[j*n:j*n+n])
				}
			}
			values := uncertain.FromCovariance(means, cov, 5, "p")
			causes := map[string]bool{}
			for _, v := range values {
				for _, p := range v.Parts {
					causes[p.Source] = true
				}
			}
			if len(causes) != rank {
				t.Errorf("n %d, rank %d: %d causes", n, rank, len(causes))
			}
			for i, v := range values {
				orderly(t, v)
				if v.Mean != means[i] {
					t.Fatalf("mean %d: got %g; want %g", i, v.Mean, means[i])
				}
				for j, w := range values {
					// A pivot left out for being rounding is below 1e-12 of its
					// diagonal, its effect on a covariance below the root of that.
					scale := math.Sqrt(cov[i*n+i] * cov[j*n+j])
					tol := 1e-12
					if rank < n {
						tol = 1e-6
					}
					if got := uncertain.Covariance(v, w); math.Abs(got-cov[i*n+j]) > tol*scale {
						t.Errorf("n %d, rank %d: covariance %d, %d: got %g; want %g", n, rank, i, j, got, cov[i*n+j])
					}
				}
			}
		}
	}
	// Fully correlated inputs share one cause: their scaled difference is certain.
	two := uncertain.FromCovariance([]float64{1, 1}, []float64{4, -6, -6, 9}, 0, "p")
	if d := two[0].Scale(1.5).Add(two[1]); d.Std() != 0 {
		t.Errorf("1.5·x + y with r = −1: got u %g; want 0", d.Std())
	}
	if got := two[0].Parts[0].Source; got != "p~0" {
		t.Errorf("source: got %q; want \"p~0\"", got)
	}
}

func TestProgrammingErrorsPanic(t *testing.T) {
	x := uncertain.New(1, 1, 0, "x")
	for name, f := range map[string]func(){
		"negative u":        func() { uncertain.New(1, -1, 0, "x") },
		"u not a number":    func() { uncertain.New(1, math.NaN(), 0, "x") },
		"negative dof":      func() { uncertain.New(1, 1, -2, "x") },
		"no source":         func() { uncertain.New(1, 1, 0, "") },
		"division by zero":  func() { x.Div(uncertain.Exact(0)) },
		"power of negative": func() { x.Scale(-1).Pow(2) },
		"fold into kept": func() {
			x.With(uncertain.Part{Source: "y", Contribution: 1}).Fold("x", func(s string) bool { return s == "x" })
		},
		"lengths":            func() { uncertain.FromCovariance([]float64{1}, []float64{1, 2}, 0, "p") },
		"negative variance":  func() { uncertain.FromCovariance([]float64{1}, []float64{-1}, 0, "p") },
		"correlation above":  func() { uncertain.FromCovariance([]float64{1, 1}, []float64{1, 2, 2, 1}, 0, "p") },
		"covariance of zero": func() { uncertain.FromCovariance([]float64{1, 1}, []float64{0, 1, 1, 4}, 0, "p") },
		"covariance of nothing left": func() {
			uncertain.FromCovariance([]float64{1, 1, 1}, []float64{1, 1, 0, 1, 1, 1, 0, 1, 1}, 0, "p")
		},
		"not a number": func() { uncertain.FromCovariance([]float64{1}, []float64{math.NaN()}, 0, "p") },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if s, ok := recover().(string); !ok || !strings.HasPrefix(s, "uncertain: ") {
					t.Errorf("got %q; want a panic that starts with the package's name", s)
				}
			}()
			f()
		})
	}
	if v := uncertain.New(3, 0, 0, ""); !equal(v, uncertain.Exact(3)) {
		t.Errorf("u = 0 without a source: got %v; want exactly 3", v)
	}
}
