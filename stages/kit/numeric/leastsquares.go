package numeric

import (
	"fmt"
	"math"
)

// Matrix is row major: element (i, j) is Data[i*Cols+j].
type Matrix struct {
	Rows, Cols int
	Data       []float64
}

// NewMatrix is a zero matrix.
func NewMatrix(rows, cols int) Matrix {
	return Matrix{rows, cols, make([]float64, rows*cols)}
}

// FromRows is the matrix with the given rows, all of one length.
func FromRows(rows ...[]float64) Matrix {
	if len(rows) == 0 {
		return Matrix{}
	}
	m := NewMatrix(len(rows), len(rows[0]))
	for i, r := range rows {
		if len(r) != m.Cols {
			panic(fmt.Sprintf("numeric: FromRows: row %d has %d of %d columns", i, len(r), m.Cols))
		}
		copy(m.Data[i*m.Cols:], r)
	}
	return m
}

// At is element (i, j).
func (m Matrix) At(i, j int) float64 { return m.Data[i*m.Cols+j] }

// Set writes element (i, j).
func (m Matrix) Set(i, j int, v float64) { m.Data[i*m.Cols+j] = v }

// Row is row i, not a copy.
func (m Matrix) Row(i int) []float64 { return m.Data[i*m.Cols : (i+1)*m.Cols] }

// Solution of a linear least-squares problem with m observations, n coefficients.
type Solution struct {
	Coef []float64
	// Cov is (AᵀWA)⁻¹, n × n: the covariance of Coef where the weights are
	// inverse variances; times RSS/DoF where they are only relative.
	Cov Matrix
	// Gain is ∂Coef/∂y, n × m.
	Gain Matrix
	// Residual is y − A·Coef, in the unit of y.
	Residual []float64
	// RSS is Σ w·residual², or residualᵀ·V⁻¹·residual: χ² where weights are inverse variances.
	RSS float64
	// DoF is m − n, observations of weight 0 not counted.
	DoF int
	// Cond is the ratio of the largest to the smallest diagonal element of R
	// with all columns scaled to length one: large means that the data
	// cannot tell coefficients apart.
	Cond float64
}

// ErrSingular reports coefficients that the observations cannot separate.
type ErrSingular struct{ Column int }

func (e *ErrSingular) Error() string {
	return fmt.Sprintf("least squares: column %d depends on the columns before it", e.Column)
}

// rankLimit is the smallest diagonal element of R, columns scaled to length
// one, that still counts as information: a few hundred roundings.
const rankLimit = 1e-13

// LeastSquares minimises Σ w·(y − A·x)² by Householder QR of the weighted,
// column-scaled matrix, with one step of refinement. w may be nil: all 1. It
// returns *ErrSingular for a rank-deficient matrix, and an error for fewer
// observations than coefficients, values that are not finite and weights that
// are negative or not finite.
func LeastSquares(a Matrix, y, w []float64) (Solution, error) {
	if len(y) != a.Rows || (w != nil && len(w) != a.Rows) {
		panic(fmt.Sprintf("numeric: LeastSquares: %d rows, %d values, %d weights", a.Rows, len(y), len(w)))
	}
	if err := usable("least squares", y, w); err != nil {
		return Solution{}, err
	}
	b := NewMatrix(a.Rows, a.Cols)
	root := make([]float64, a.Rows)
	for i := range root {
		root[i] = 1
		if w != nil {
			root[i] = math.Sqrt(w[i])
		}
		for j := range a.Cols {
			b.Set(i, j, float64(root[i]*a.At(i, j)))
		}
	}
	f, err := factor(b)
	if err != nil {
		return Solution{}, err
	}
	white := func(v []float64) []float64 {
		out := make([]float64, len(v))
		for i := range v {
			out[i] = float64(root[i] * v[i])
		}
		return out
	}
	s := f.solve(a, y, white)
	for _, r := range root {
		if r == 0 {
			s.DoF--
		}
	}
	for j := range s.Gain.Rows {
		for i := range s.Gain.Cols {
			s.Gain.Set(j, i, s.Gain.At(j, i)*root[i])
		}
	}
	return s, nil
}

// Generalised minimises (y − A·x)ᵀ·V⁻¹·(y − A·x) for a full positive definite
// covariance V (Aitken 1935; JCGM 102:2011, 6.3) by whitening with V's Cholesky factor.
func Generalised(a Matrix, y []float64, v Matrix) (Solution, error) {
	if len(y) != a.Rows || v.Rows != a.Rows || v.Cols != a.Rows {
		panic("numeric: Generalised: shapes disagree")
	}
	if err := usable("least squares", y, nil); err != nil {
		return Solution{}, err
	}
	l, err := Cholesky(v)
	if err != nil {
		return Solution{}, err
	}
	white := func(x []float64) []float64 { return forward(l, x) }
	b := NewMatrix(a.Rows, a.Cols)
	col := make([]float64, a.Rows)
	for j := range a.Cols {
		for i := range a.Rows {
			col[i] = a.At(i, j)
		}
		for i, x := range white(col) {
			b.Set(i, j, x)
		}
	}
	f, err := factor(b)
	if err != nil {
		return Solution{}, err
	}
	s := f.solve(a, y, white)
	// Gain so far acts on whitened values: G·L⁻¹ by back substitution on each row.
	for j := range s.Gain.Rows {
		backward(l, s.Gain.Row(j))
	}
	return s, nil
}

// Cholesky is the lower factor L of V = L·Lᵀ; an error when V is not positive definite.
func Cholesky(v Matrix) (Matrix, error) {
	n := v.Rows
	l := NewMatrix(n, n)
	for j := range n {
		d := v.At(j, j) - Dot(l.Row(j)[:j], l.Row(j)[:j])
		if !(d > 0) {
			return Matrix{}, fmt.Errorf("covariance matrix is not positive definite at row %d: pivot %g", j, d)
		}
		l.Set(j, j, math.Sqrt(d))
		for i := j + 1; i < n; i++ {
			l.Set(i, j, (v.At(i, j)-Dot(l.Row(i)[:j], l.Row(j)[:j]))/l.At(j, j))
		}
	}
	return l, nil
}

// forward solves L·x = y.
func forward(l Matrix, y []float64) []float64 {
	x := make([]float64, len(y))
	for i := range x {
		x[i] = (y[i] - Dot(l.Row(i)[:i], x[:i])) / l.At(i, i)
	}
	return x
}

// backward replaces y by the solution of Lᵀ·x = y.
func backward(l Matrix, y []float64) {
	for i := len(y) - 1; i >= 0; i-- {
		s := y[i]
		for k := i + 1; k < len(y); k++ {
			s -= float64(l.At(k, i) * y[k])
		}
		y[i] = s / l.At(i, i)
	}
}

// qr holds Householder vectors below and R on and above the diagonal of b·diag(1/scale).
type qr struct {
	b     Matrix
	diag  []float64
	scale []float64
	cond  float64
}

func factor(b Matrix) (*qr, error) {
	if b.Rows < b.Cols {
		return nil, fmt.Errorf("least squares: %d observations for %d coefficients", b.Rows, b.Cols)
	}
	f := &qr{b: b, diag: make([]float64, b.Cols), scale: make([]float64, b.Cols)}
	for j := range b.Cols {
		f.scale[j] = columnNorm(b, j, 0)
		if f.scale[j] == 0 || math.IsNaN(f.scale[j]) || math.IsInf(f.scale[j], 0) {
			return nil, &ErrSingular{j}
		}
		for i := range b.Rows {
			b.Set(i, j, b.At(i, j)/f.scale[j])
		}
	}
	largest, smallest := 0.0, math.Inf(1)
	for j := range b.Cols {
		norm := columnNorm(b, j, j)
		if norm < rankLimit {
			return nil, &ErrSingular{j}
		}
		if b.At(j, j) > 0 {
			norm = -norm
		}
		for i := j; i < b.Rows; i++ {
			b.Set(i, j, b.At(i, j)/-norm)
		}
		b.Set(j, j, b.At(j, j)+1)
		f.diag[j] = norm
		for k := j + 1; k < b.Cols; k++ {
			reflect(b, j, b.Data[k:], b.Cols)
		}
		largest, smallest = math.Max(largest, math.Abs(norm)), math.Min(smallest, math.Abs(norm))
	}
	f.cond = largest / smallest
	return f, nil
}

// columnNorm is the length of column j from row from on. Scaling by a power of
// two keeps squares in range without a rounding; math.Hypot, which has
// assembly of its own on some platforms, would round once per element.
func columnNorm(b Matrix, j, from int) float64 {
	largest := 0.0
	for i := from; i < b.Rows; i++ {
		v := math.Abs(b.At(i, j))
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return v
		}
		largest = math.Max(largest, v)
	}
	if largest == 0 {
		return 0
	}
	_, exp := math.Frexp(largest)
	s := 0.0
	for i := from; i < b.Rows; i++ {
		v := math.Ldexp(b.At(i, j), -exp)
		s += float64(v * v)
	}
	return math.Ldexp(math.Sqrt(s), exp)
}

// reflect applies Householder reflection j to the vector x[0], x[stride], x[2·stride] …
func reflect(b Matrix, j int, x []float64, stride int) {
	v, step := b.Data[j*b.Cols+j:], b.Cols
	x = x[j*stride:]
	n := b.Rows - j
	s := 0.0
	for i := range n {
		s += float64(v[i*step] * x[i*stride])
	}
	s = -s / v[0]
	for i := range n {
		x[i*stride] += float64(s * v[i*step])
	}
}

// coef solves R·x = Qᵀ·z and undoes the column scaling. z is overwritten.
func (f *qr) coef(z []float64) []float64 {
	for j := range f.b.Cols {
		reflect(f.b, j, z, 1)
	}
	f.backsolve(z[:f.b.Cols])
	return z[:f.b.Cols]
}

// backsolve replaces x by the solution of R·diag(scale)·x' = x.
func (f *qr) backsolve(x []float64) {
	for j := len(x) - 1; j >= 0; j-- {
		s := x[j]
		for k := j + 1; k < len(x); k++ {
			s -= float64(f.b.At(j, k) * x[k])
		}
		x[j] = s / f.diag[j]
	}
	for j := range x {
		x[j] /= f.scale[j]
	}
}

// gain sets g to R⁻¹·Qᵀ with the column scaling undone: the coefficients as a
// function of whitened observations. The first n columns of Q come from
// reflecting unit vectors, in m·n² steps; solving once per observation would
// take m²·n, too many for a recording.
func (f *qr) gain(g Matrix) {
	n, m := g.Rows, g.Cols
	for j := range n {
		q := g.Row(j)
		q[j] = 1
		for k := n - 1; k >= 0; k-- {
			reflect(f.b, k, q, 1)
		}
	}
	x := make([]float64, n)
	for i := range m {
		for j := range n {
			x[j] = g.At(j, i)
		}
		f.backsolve(x)
		for j := range n {
			g.Set(j, i, x[j])
		}
	}
}

func (f *qr) solve(a Matrix, y []float64, white func([]float64) []float64) Solution {
	m, n := a.Rows, a.Cols
	s := Solution{DoF: m - n, Cond: f.cond, Gain: NewMatrix(n, m), Cov: NewMatrix(n, n)}
	s.Coef = f.coef(white(y))
	s.Residual = residual(a, y, s.Coef)
	// One refinement step: the correction solves for the residual of the first solution.
	for j, d := range f.coef(white(s.Residual)) {
		s.Coef[j] += d
	}
	s.Residual = residual(a, y, s.Coef)
	w := white(s.Residual)
	s.RSS = Dot(w, w)
	f.gain(s.Gain)
	// In whitened coordinates the observations have unit covariance: Cov = G·Gᵀ.
	for i := range n {
		for j := range n {
			s.Cov.Set(i, j, Dot(s.Gain.Row(i), s.Gain.Row(j)))
		}
	}
	return s
}

// residual is y − A·x with the sum compensated, so that refinement has something to work on.
func residual(a Matrix, y, x []float64) []float64 {
	r := make([]float64, len(y))
	terms := make([]float64, len(x)*2+1)
	for i := range r {
		terms[0] = y[i]
		for j, v := range x {
			p := float64(a.At(i, j) * v)
			terms[2*j+1] = -p
			terms[2*j+2] = -math.FMA(a.At(i, j), v, -p)
		}
		r[i] = Sum(terms)
	}
	return r
}

// CholeskySolve solves L·Lᵀ·x = y for the factor L; y is not changed.
func CholeskySolve(l Matrix, y []float64) []float64 {
	x := forward(l, y)
	backward(l, x)
	return x
}
