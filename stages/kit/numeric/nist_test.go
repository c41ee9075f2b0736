package numeric_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

// The NIST/ITL Statistical Reference Datasets with their certified values stand
// in testdata/reference/nist-strd; SOURCE.md there says where from. Mark: seen.
const (
	// linearTol is far below any uncertainty a fit here can have, and far above
	// the rounding of well-posed data.
	linearTol = 1e-9
	// filipTol: with ten powers of x the rounding of the entries of the matrix
	// to 53 bits alone moves the certified coefficients by parts in 1e8.
	filipTol = 1e-7
	// The nonlinear sets are certified to 11 digits.
	nonlinearTol, nonlinearSDTol = 1e-6, 1e-5
)

type nistSet struct {
	name string
	// coef and sd are certified; start has the two certified starting points
	// of a nonlinear set.
	coef, sd []float64
	start    [2][]float64
	rss      float64
	dof      int
	// rows hold y and then the predictors.
	rows [][]float64
}

func readNIST(t *testing.T, name string) nistSet {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "reference", "nist-strd", name+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s, inData := nistSet{name: name, rss: math.NaN()}, false
	for sc := bufio.NewScanner(f); sc.Scan(); {
		line := sc.Text()
		key, rest, _ := strings.Cut(line, " ")
		switch {
		case inData:
			s.rows = append(s.rows, decimals(t, line))
		case key == "coef":
			v := decimals(t, rest)
			s.coef, s.sd = append(s.coef, v[0]), append(s.sd, v[1])
			if len(v) == 4 {
				s.start[0], s.start[1] = append(s.start[0], v[2]), append(s.start[1], v[3])
			}
		case key == "rss":
			s.rss = decimals(t, rest)[0]
		case key == "dof":
			s.dof = int(decimals(t, rest)[0])
		case key == "data":
			inData = true
		}
	}
	if len(s.coef) == 0 || len(s.rows) != s.dof+len(s.coef) || math.IsNaN(s.rss) {
		t.Fatalf("%s: %d coefficients, %d rows, %d degrees of freedom, RSS %g: the file is not whole",
			name, len(s.coef), len(s.rows), s.dof, s.rss)
	}
	return s
}

func decimals(t *testing.T, s string) []float64 {
	t.Helper()
	var out []float64
	for _, w := range strings.Fields(s) {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

func (s nistSet) column(j int) []float64 {
	out := make([]float64, len(s.rows))
	for i, r := range s.rows {
		out[i] = r[j]
	}
	return out
}

// powers is the row 1, x, x² …, n long, by repeated multiplication.
func powers(x float64, n int) []float64 {
	out := make([]float64, n)
	out[0] = 1
	for j := 1; j < n; j++ {
		out[j] = float64(out[j-1] * x)
	}
	return out
}

// relative checks got against want to a share tol of want, or of scale where want is 0.
func relative(t *testing.T, what string, got, want, tol, scale float64) {
	t.Helper()
	size := math.Abs(want)
	if size == 0 {
		size = scale
	}
	if !(math.Abs(got-want) <= tol*size) {
		t.Errorf("%s: got %.15g; want %.15g to %g, off by %.2g", what, got, want, tol, math.Abs(got-want)/size)
	}
}

func TestNISTLinear(t *testing.T) {
	for _, c := range []struct {
		name   string
		design func(row []float64, n int) []float64
		tol    float64
	}{
		{"Norris", polynomial, linearTol},
		{"Pontius", polynomial, linearTol},
		{"NoInt1", throughOrigin, linearTol},
		{"NoInt2", throughOrigin, linearTol},
		{"Longley", plane, linearTol},
		{"Filip", polynomial, filipTol},
		{"Wampler1", polynomial, linearTol},
		{"Wampler2", polynomial, linearTol},
		{"Wampler3", polynomial, linearTol},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := readNIST(t, c.name)
			a := numeric.NewMatrix(len(s.rows), len(s.coef))
			for i, r := range s.rows {
				copy(a.Row(i), c.design(r, len(s.coef)))
			}
			y := s.column(0)
			sol, err := numeric.LeastSquares(a, y, nil)
			if err != nil {
				t.Fatal(err)
			}
			checkCertified(t, sol, s, c.tol, c.tol, math.Sqrt(numeric.Dot(y, y)))
		})
	}
}

func polynomial(row []float64, n int) []float64    { return powers(row[1], n) }
func throughOrigin(row []float64, _ int) []float64 { return row[1:] }
func plane(row []float64, _ int) []float64         { return append([]float64{1}, row[1:]...) }

// checkCertified compares coefficients, their standard deviations s·√Cov_jj
// with s² = RSS/DoF, and RSS. Where the certified deviation is 0 the one got
// is compared with what a residual as large as y would give.
func checkCertified(t *testing.T, sol numeric.Solution, s nistSet, tol, sdTol, norm float64) {
	t.Helper()
	if sol.DoF != s.dof {
		t.Errorf("degrees of freedom: got %d; want %d", sol.DoF, s.dof)
	}
	sigma := math.Sqrt(sol.RSS / float64(sol.DoF))
	for j := range s.coef {
		unit := math.Sqrt(sol.Cov.At(j, j))
		relative(t, "coefficient "+strconv.Itoa(j), sol.Coef[j], s.coef[j], tol, 1)
		relative(t, "deviation "+strconv.Itoa(j), sigma*unit, s.sd[j], sdTol, norm*unit)
	}
	relative(t, "RSS", sol.RSS, s.rss, sdTol, norm*norm)
}

func TestNISTNonlinear(t *testing.T) {
	for _, c := range []struct {
		name  string
		model func(x float64, b, grad []float64) float64
	}{
		{"Misra1a", saturating},
		{"Hahn1", func(x float64, b, g []float64) float64 { return rational(x, b, g, 4) }},
		{"Kirby2", func(x float64, b, g []float64) float64 { return rational(x, b, g, 3) }},
		{"MGH17", twoExponentials},
	} {
		s := readNIST(t, c.name)
		x, y := s.column(1), s.column(0)
		for k, start := range s.start {
			t.Run(c.name+"/start"+strconv.Itoa(k+1), func(t *testing.T) {
				sol, err := numeric.Nonlinear(func(i int, b, g []float64) float64 { return c.model(x[i], b, g) }, y, nil, start)
				if err != nil {
					t.Fatal(err)
				}
				checkCertified(t, sol, s, nonlinearTol, nonlinearSDTol, 1)
			})
		}
	}
}

// saturating is b1·(1 − exp(−b2·x)), the shape of a spin-up under a torque
// that falls linearly with speed.
func saturating(x float64, b, g []float64) float64 {
	e := math.Exp(-b[1] * x)
	g[0], g[1] = 1-e, b[0]*x*e
	return b[0] * (1 - e)
}

// rational has up coefficients above the line and the rest below, after 1.
func rational(x float64, b, g []float64, up int) float64 {
	p := powers(x, max(up, len(b)-up+1))
	num, den := numeric.Dot(b[:up], p[:up]), 1+numeric.Dot(b[up:], p[1:len(b)-up+1])
	for j := range b {
		if j < up {
			g[j] = p[j] / den
		} else {
			g[j] = -num / den * p[j-up+1] / den
		}
	}
	return num / den
}

func twoExponentials(x float64, b, g []float64) float64 {
	e4, e5 := math.Exp(-x*b[3]), math.Exp(-x*b[4])
	g[0], g[1], g[2], g[3], g[4] = 1, e4, e5, -x*b[1]*e4, -x*b[2]*e5
	return b[0] + b[1]*e4 + b[2]*e5
}

// Wampler1 is a polynomial of integers, in doubles without a rounding: the
// refined solution must be exact, where that of QR alone is off by 3e-10 and
// one refined with rounded residuals by 3e-11.
func TestRefinementIsExactOnExactData(t *testing.T) {
	s := readNIST(t, "Wampler1")
	a := numeric.NewMatrix(len(s.rows), len(s.coef))
	for i, r := range s.rows {
		copy(a.Row(i), powers(r[1], len(s.coef)))
	}
	sol, err := numeric.LeastSquares(a, s.column(0), nil)
	if err != nil {
		t.Fatal(err)
	}
	for j, c := range sol.Coef {
		relative(t, "coefficient "+strconv.Itoa(j), c, s.coef[j], 1e-13, 0)
	}
}
