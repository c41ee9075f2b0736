package uncertain_test

import (
	"math"
	"slices"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/uncertain"
)

func sampleCovariance(x, y []float64) float64 {
	mx, my, s := numeric.Mean(x), numeric.Mean(y), 0.0
	for i := range x {
		s += (x[i] - mx) * (y[i] - my)
	}
	return s / float64(len(x)-1)
}

// What propagation shares the draws share: joint, apart, and in any company.
func TestDrawsShareSources(t *testing.T) {
	x := uncertain.New(5, 1, 0, "a").With(uncertain.Part{Source: "b", Contribution: 0.5})
	y := uncertain.New(-3, 0.2, 0, "c").With(uncertain.Part{Source: "a", Contribution: -2}, uncertain.Part{Source: "b", Contribution: 0.3})
	const n = 100000
	joint := uncertain.Draw(3, n, nil, x, y, x.Sub(x), x.Add(y))
	for _, c := range []struct {
		name string
		i, j int
		want float64
	}{
		{"u²(x)", 0, 0, uncertain.Covariance(x, x)}, {"u²(y)", 1, 1, uncertain.Covariance(y, y)},
		{"cov(x, y)", 0, 1, uncertain.Covariance(x, y)},
	} {
		// Five standard errors of a sample covariance.
		tol := 5 * x.Std() * y.Std() * math.Sqrt(2.0/n)
		if c.i == c.j {
			tol = 5 * c.want * math.Sqrt(2.0/n)
		}
		if got := sampleCovariance(joint[c.i], joint[c.j]); math.Abs(got-c.want) > tol {
			t.Errorf("%s: got %g; want %g within %g", c.name, got, c.want, tol)
		}
	}
	for i := range n {
		if joint[2][i] != 0 {
			t.Fatalf("draw %d of x − x: got %g; want 0", i, joint[2][i])
		}
		if d := joint[3][i] - joint[0][i] - joint[1][i]; math.Abs(d) > 1e-12 {
			t.Fatalf("draw %d of x + y is off by %g from the draws of x and y", i, d)
		}
	}
	for k, v := range []uncertain.Value{x, y} {
		if !slices.Equal(uncertain.Draw(3, n, nil, v)[0], joint[k]) {
			t.Errorf("value %d drawn alone with the same seed differs", k)
		}
	}
	if slices.Equal(uncertain.Draw(4, n, nil, x)[0], joint[0]) {
		t.Error("another seed gave the same draws")
	}
}

// With ν degrees of freedom 95 % of the draws lie within t95(ν)·u, for one cause
// and for any combination of components of one fit.
func TestDrawsFollowStudent(t *testing.T) {
	const n = 200000
	for _, c := range []struct {
		dof float64
		// tol is four standard errors of the half-width at this number of draws.
		tol float64
	}{{5, 0.015}, {1, 0.05}} {
		fit := uncertain.FromCovariance([]float64{0, 0}, []float64{1, 0.5, 0.5, 2}, c.dof, "fit")
		for name, v := range map[string]uncertain.Value{
			"one cause":   uncertain.New(0, 3, c.dof, "x"),
			"intercept":   fit[0],
			"combination": fit[0].Scale(2).Sub(fit[1]),
			// Two independent t of one degree of freedom would make this √2 too wide.
			"even": fit[0].With(uncertain.Part{Source: "fit~1", Contribution: 1, DoF: c.dof}),
		} {
			y := uncertain.Draw(11, n, nil, v)[0]
			half := (numeric.Quantile(y, 0.975) - numeric.Quantile(y, 0.025)) / 2
			close(t, name, half, v.Expanded().U, c.tol)
		}
	}
}

func TestDrawOfNothingUncertain(t *testing.T) {
	got := uncertain.Draw(1, 3, nil, uncertain.Exact(2), uncertain.Exact(-1))
	if len(got) != 2 || !slices.Equal(got[0], []float64{2, 2, 2}) || !slices.Equal(got[1], []float64{-1, -1, -1}) {
		t.Errorf("got %v; want the means", got)
	}
}
