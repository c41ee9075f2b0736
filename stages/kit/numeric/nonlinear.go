package numeric

import (
	"fmt"
	"math"
)

// Model gives the value at observation i and writes ∂value/∂coef into grad.
type Model func(i int, coef, grad []float64) float64

const (
	// maxSteps bounds the search. Ordinary fits take 10 to 40 steps; NIST's MGH17
	// from its far start takes 583.
	maxSteps = 1000
	// convergedStep is the relative step at which every coefficient stands still.
	convergedStep = 1e-12
	// roundingStep is a relative step that may fail to lower the sum by rounding alone.
	roundingStep = 1e-10
	// roundingFit is the change of the fitted values, as a share of the length
	// of y, that rounding makes.
	roundingFit = 1e-15
)

// Nonlinear minimises Σ w·(y − model)² from start by Levenberg–Marquardt with
// the model's own derivatives and column-scaled QR: damping scaled by the
// largest column length met so far (Moré 1978), raised and lowered by how
// well the linear model foretold the last step (Nielsen 1999). w may be nil:
// all 1. The solution's Cov, Gain and RSS are those of the linear problem at
// the minimum (JCGM 102:2011, 6.3). It fails on values or weights that are
// not finite, on coefficients the observations cannot separate
// (*ErrSingular), and when the search ends where another step would still
// move a coefficient by more than 1e-9 of itself and 1e-4 of its deviation.
func Nonlinear(model Model, y, w, start []float64) (Solution, error) {
	if err := usable("nonlinear fit", y, w); err != nil {
		return Solution{}, err
	}
	f := &search{model: model, y: y, w: w, a: NewMatrix(len(y), len(start)), r: make([]float64, len(y)),
		damp: make([]float64, len(start)), grad: make([]float64, len(start))}
	x := append([]float64(nil), start...)
	x, err := f.run(x)
	if err != nil {
		return Solution{}, err
	}
	x = f.polish(x)
	sum := f.linearise(x)
	s, err := LeastSquares(f.a, f.r, w)
	if err != nil {
		return Solution{}, err
	}
	// Cov is for observations of unit deviation at weight 1; sigma is what
	// they really have, tiny the rounding of the fitted values.
	sigma, tiny := 0.0, 1e4*roundingFit*f.length()
	if s.DoF > 0 {
		sigma = math.Sqrt(sum / float64(s.DoF))
	}
	for j, d := range s.Coef {
		sd := math.Sqrt(s.Cov.At(j, j))
		if !(math.Abs(d) <= math.Max(1e-9*math.Abs(x[j]), sd*math.Max(1e-4*sigma, tiny))) {
			return Solution{}, fmt.Errorf("nonlinear fit: not converged: coefficient %d would still move by %g from %g", j, d, x[j])
		}
	}
	s.Coef, s.RSS, s.Residual = x, sum, f.r
	return s, nil
}

// search is the state of one fit: a and r are the derivatives and residuals at the last point linearised.
type search struct {
	model Model
	y, w  []float64
	a     Matrix
	r     []float64
	// damp is the largest weighted length met so far of each column of a: a
	// damping that faded with its column, as that of an exponential long gone
	// does, would let the coefficient run away.
	damp []float64
	grad []float64
}

// run goes downhill from x until nothing moves.
func (f *search) run(x []float64) ([]float64, error) {
	sum := f.linearise(x)
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return nil, fmt.Errorf("nonlinear fit: the model is not finite at %v", x)
	}
	floor := roundingFit * roundingFit * f.length() * f.length()
	lambda, raise := 1e-3, 2.0
	for range maxSteps {
		step, err := f.step(lambda)
		if err != nil {
			return nil, err
		}
		next, relative := make([]float64, len(x)), 0.0
		for j, d := range step {
			next[j] = x[j] + d
			relative = math.Max(relative, math.Abs(d)/(math.Abs(x[j])+1e-300))
		}
		foretold := f.foretold(step, lambda)
		gain := (sum - f.sum(next)) / foretold
		if !(gain > 0) {
			if relative < roundingStep || foretold <= floor || lambda > 1e14 {
				break
			}
			lambda, raise = lambda*raise, raise*2
			continue
		}
		x, sum = next, f.linearise(next)
		if relative < convergedStep || foretold <= floor {
			break
		}
		g := 2*gain - 1
		lambda, raise = math.Max(lambda*math.Max(1.0/3, 1-float64(g*g*g)), 1e-16), 2
	}
	return x, nil
}

// polish takes undamped steps while they get shorter. Near the minimum the sum
// is flat, so run, which compares sums, ends half the digits short.
func (f *search) polish(x []float64) []float64 {
	// The sum must not rise by more than the rounding of the fitted values.
	limit := math.Sqrt(f.linearise(x))*(1+roundingStep) + 10*roundingFit*f.length()
	step, err := f.step(0)
	if err != nil {
		return x
	}
	for range 20 {
		next := make([]float64, len(x))
		for j, d := range step {
			next[j] = x[j] + d
		}
		before := f.foretold(step, 0)
		trial := f.linearise(next)
		if step, err = f.step(0); err != nil || !(f.foretold(step, 0) < before) || !(math.Sqrt(trial) <= limit) {
			break
		}
		x = next
	}
	return x
}

// linearise sets a, r and damp at the point x and returns the sum of squares.
func (f *search) linearise(x []float64) float64 {
	sum := 0.0
	for i := range f.y {
		f.r[i] = f.y[i] - f.model(i, x, f.a.Row(i))
		sum += float64(weight(f.w, i) * f.r[i] * f.r[i])
	}
	for j := range f.damp {
		norm := 0.0
		for i := range f.y {
			norm += float64(weight(f.w, i) * f.a.At(i, j) * f.a.At(i, j))
		}
		f.damp[j] = math.Max(f.damp[j], math.Sqrt(norm))
	}
	return sum
}

func (f *search) sum(x []float64) float64 {
	sum := 0.0
	for i := range f.y {
		d := f.y[i] - f.model(i, x, f.grad)
		sum += float64(weight(f.w, i) * d * d)
	}
	return sum
}

// length is √Σ w·y².
func (f *search) length() float64 {
	sum := 0.0
	for i, v := range f.y {
		sum += float64(weight(f.w, i) * v * v)
	}
	return math.Sqrt(sum)
}

// foretold is the fall of the sum that the linear model promises for a step:
// |A·s|² + 2λ·|D·s|².
func (f *search) foretold(step []float64, lambda float64) float64 {
	sum := 0.0
	for i := range f.y {
		d := Dot(f.a.Row(i), step)
		sum += float64(weight(f.w, i) * d * d)
	}
	for j, d := range step {
		d *= f.damp[j]
		sum += float64(2 * lambda * d * d)
	}
	return sum
}

// step solves the damped linear problem: the rows of a with √λ·damp below.
func (f *search) step(lambda float64) ([]float64, error) {
	m, n := f.a.Rows, f.a.Cols
	b, z := NewMatrix(m+n, n), make([]float64, m+n)
	for i := range m {
		root := math.Sqrt(weight(f.w, i))
		z[i] = float64(root * f.r[i])
		for j := range n {
			b.Set(i, j, float64(root*f.a.At(i, j)))
		}
	}
	for j, d := range f.damp {
		b.Set(m+j, j, float64(math.Sqrt(lambda)*d))
	}
	q, err := factor(b)
	if err != nil {
		return nil, err
	}
	return q.coef(z), nil
}

func weight(w []float64, i int) float64 {
	if w == nil {
		return 1
	}
	return w[i]
}

// usable is an error for a value that is not finite or a weight that is
// negative or not finite. It panics on unequal lengths.
func usable(what string, y, w []float64) error {
	if w != nil && len(w) != len(y) {
		panic(fmt.Sprintf("numeric: %s: %d values, %d weights", what, len(y), len(w)))
	}
	for i, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s: value %d is %g", what, i, v)
		}
	}
	for i, v := range w {
		if !(v >= 0) || math.IsInf(v, 1) {
			return fmt.Errorf("%s: weight %d is %g", what, i, v)
		}
	}
	return nil
}
