package drag

import (
	"fmt"
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// fitted is one form's solution; the first terms coefficients are the load's.
// Zeros and drifts of the sets are solved for, and not among the coefficients.
type fitted struct {
	form  string
	terms int
	sol   numeric.Solution
	aicc  float64
}

// An exponent outside of these is the shape of something else: friction of grease falls to ω^⅔, no fan rises faster than ω³.
const leastExponent, mostExponent = 0.5, 4

// fit solves for the load's coefficients, a zero a set, and a drift where the set has levels enough.
func (l *levels) fit(form string) (fitted, error) {
	model, terms := l.model(form)
	n := len(l.points)
	y := make([]float64, n)
	for i, p := range l.points {
		y[i] = p.p.TorqueNm
	}
	sets := l.projection()
	sets.out(y)
	if n < terms+sets.coefs {
		return fitted{}, fmt.Errorf("drag: %d points for %d coefficients", n, terms+sets.coefs)
	}
	start := make([]float64, terms)
	if form == spin.FormPower {
		// Start from the square law.
		sq, err := l.fit(spin.FormSquare)
		if err != nil {
			return fitted{}, err
		}
		start[0], start[1] = sq.sol.Coef[0], 2
		copy(start[2:], sq.sol.Coef[1:])
		if start[0] == 0 {
			start[0] = 1e-9
		}
	}
	sol, err := l.solve(form, model, sets, y, start)
	if err != nil {
		return fitted{}, err
	}
	if n := sol.Coef[min(1, terms-1)]; form == spin.FormPower && !(n >= leastExponent && n <= mostExponent) {
		return fitted{}, fmt.Errorf("drag: an exponent of %.3g is no load's", n)
	}
	sol.DoF -= sets.coefs
	k, nn := float64(terms+sets.coefs+1), float64(n)
	if nn-k-1 <= 0 {
		return fitted{form, terms, sol, math.Inf(1)}, nil
	}
	// Levels on a grid may follow a wrong law to the last digit: a misfit below what rounding alone makes is no evidence.
	aicc := nn*math.Log(sol.RSS/nn+l.rounding+1e-300) + 2*k + 2*k*(k+1)/(nn-k-1)
	return fitted{form, terms, sol, aicc}, nil
}

// model is a form's load at a point, and its gradient by so many coefficients.
func (l *levels) model(form string) (numeric.Model, int) {
	terms := map[string]int{spin.FormSquare: 1, spin.FormLinearSquare: 2, spin.FormPower: 2, spin.FormCubic: 3}[form]
	shape := terms
	if l.dry {
		terms++
	}
	return func(i int, coef, grad []float64) float64 {
		p, v := l.points[i], 0.0
		if l.dry {
			grad[shape] = 0
			if p.p.Kind != spin.Rest {
				grad[shape] = 1
				v += coef[shape]
			}
		}
		return v + p.density*loadTerm(form, coef, grad, p.p.SpeedRadPerS/l.ref, p.density)
	}, terms
}

// solve minimises over the load's coefficients; y and the model's columns are what the sets' zeros and drifts cannot follow.
func (l *levels) solve(form string, model numeric.Model, sets projection, y, start []float64) (numeric.Solution, error) {
	if form == spin.FormPower {
		return numeric.Nonlinear(sets.of(model, len(y), len(start)), y, l.w, start)
	}
	a := numeric.NewMatrix(len(y), len(start))
	sets.columns(model, make([]float64, len(start)), nil, a)
	return numeric.LeastSquares(a, y, l.w)
}

// loadTerm is L(x) and, times density, its gradient by the form's coefficients.
func loadTerm(form string, c, grad []float64, x, density float64) float64 {
	if x <= 0 {
		x = 0
	}
	switch form {
	case spin.FormSquare:
		grad[0] = density * x * x
		return c[0] * x * x
	case spin.FormLinearSquare:
		grad[0], grad[1] = density*x, density*x*x
		return (c[0] + c[1]*x) * x
	case spin.FormCubic:
		grad[0], grad[1], grad[2] = density*x, density*x*x, density*x*x*x
		return (c[0] + (c[1]+c[2]*x)*x) * x
	default: // power
		if x == 0 {
			grad[0], grad[1] = 0, 0
			return 0
		}
		p := math.Pow(x, c[1])
		grad[0], grad[1] = density*p, density*c[0]*p*math.Log(x)
		return c[0] * p
	}
}

// curve turns a solution into a load curve; its covariance is widened by χ²/ν
// where that exceeds one (the levels scatter more than their noise says).
func (l *levels) curve(f fitted, in Input, basis string) spin.LoadCurve {
	rel, dof := 1.0, f.sol.DoF
	if dof > 0 {
		rel = f.sol.RSS / float64(dof)
	}
	widen := math.Max(1, rel)
	cov := make([]float64, f.terms*f.terms)
	for i := range f.terms {
		for j := range f.terms {
			cov[i*f.terms+j] = widen * f.sol.Cov.At(i, j)
		}
	}
	c := spin.LoadCurve{
		Rotor: in.Rotor, Form: f.form, RefRadPerS: l.ref, LowRadPerS: l.low, HighRadPerS: l.ref,
		Coef:        uncertain.FromCovariance(f.sol.Coef[:f.terms], cov, float64(max(dof, 1)), in.Job+"/rotor:"+in.Rotor+"/drag"),
		DensityKgM3: l.rho, Basis: basis, Levels: l.levels, Dry: l.dry,
		ChiSquaredRel: rel, DoF: dof, LackOfFitP: l.lackOfFit(f),
	}
	if u := l.roundingNm(); u > 0 {
		// The load at the reference speed is off by u, and less below as the square of the speed.
		at := map[string]int{spin.FormLinearSquare: 1, spin.FormCubic: 1}[f.form]
		c.Coef[at] = c.Coef[at].With(uncertain.Part{Source: in.Job + "/rotor:" + in.Rotor + "/drag/torque-resolution", Contribution: u})
	}
	for i, p := range l.points {
		at := spin.LoadPoint{
			Recording: p.p.Recording, SpeedRadPerS: p.p.SpeedRadPerS,
			SE: 1 / math.Sqrt(l.w[i]), ResidualNm: f.sol.Residual[i],
		}
		at.TorqueNm = p.density*c.At(p.p.SpeedRadPerS) + (1-p.density)*c.DryNm(p.p.SpeedRadPerS) + f.sol.Residual[i]
		c.Points = append(c.Points, at)
	}
	return c
}

// roundingNm is the standard uncertainty of the load at the top speed by the steps of the torque channel. The levels'
// errors of rounding are not each other's chance: a load within one step shows nothing at all in however many levels, and one that climbs
// over n steps is wrong by another part of a step on each. So it is that of a difference of two levels, over √n.
func (l *levels) roundingNm() float64 {
	u := 0.0
	for _, p := range l.points {
		u = math.Max(u, p.p.TorqueRoundingU)
	}
	if u == 0 {
		return 0
	}
	return u * math.Sqrt(2/math.Max(1, l.climb/(math.Sqrt(12)*u)))
}

// lackOfFit compares the misfit of pair means with the difference within
// pairs: two levels of one set at the same speed (1 %), one up and one down
// (Draper & Smith, Applied Regression Analysis, lack of fit with repeats). 1
// when fewer than three pairs exist.
func (l *levels) lackOfFit(f fitted) float64 {
	var within, between float64
	pairs := 0
	used := make([]bool, len(l.points))
	for i, a := range l.points {
		if used[i] || a.p.Kind == spin.Rest {
			continue
		}
		for j := i + 1; j < len(l.points); j++ {
			b := l.points[j]
			if a.set != b.set {
				break // points stand set by set
			}
			if used[j] || math.Abs(a.p.SpeedRadPerS-b.p.SpeedRadPerS) > 0.01*l.ref {
				continue
			}
			ra, rb := f.sol.Residual[i], f.sol.Residual[j]
			w := (l.w[i] + l.w[j]) / 2
			within += w * (ra - rb) * (ra - rb) / 2
			between += w * (ra + rb) * (ra + rb) / 2
			used[i], used[j] = true, true
			pairs++
			break
		}
	}
	free := pairs - f.terms - 1
	if pairs < 3 || free < 1 || within == 0 {
		return 1
	}
	return numeric.FTail((between/float64(free))/(within/float64(pairs)), float64(free), float64(pairs))
}
