package numeric_test

import (
	"bufio"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

const rpm = math.Pi / 30

// passage is the time at which the first component reaches level.
func passage(t *testing.T, f numeric.Rates, y0 []float64, level, limit, rel float64) (float64, numeric.Trajectory) {
	t.Helper()
	abs := make([]float64, len(y0))
	for i := range abs {
		abs[i] = 1e-12
	}
	p, err := numeric.Advance(f, 0, y0, limit, func(_ float64, y []float64) float64 { return y[0] - level }, numeric.Tolerance{Rel: rel, Abs: abs})
	if err != nil {
		t.Fatal(err)
	}
	if !p.Met {
		t.Fatalf("level %g is not reached within %g s", level, limit)
	}
	at, _ := p.End()
	return at, p
}

func within(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g within %.1g: %+.3g", what, got, want, rel, got/want-1)
	}
}

// TestClosedForms holds the solver against motions that have a formula. The
// tolerance of 1e-8 is that of the digits in the formulas' figures.
func TestClosedForms(t *testing.T) {
	// Constant torque against a square load: ω = ω∞·tanh(t/τ), ω∞ = √(T0/k),
	// τ = J/√(T0·k). Closed form; figures calculated from it.
	const j, t0, k = 2e-4, 0.5, 1e-6
	spin := func(_ float64, y, d []float64) { d[0] = (t0 - k*y[0]*y[0]) / j }
	final := math.Sqrt(t0 / k)
	for _, c := range []struct{ share, want float64 }{{0.90, 0.41640655}, {0.99, 0.74858635}} {
		got, _ := passage(t, spin, []float64{0}, c.share*final, 10, 1e-11)
		within(t, "tanh spin-up", got, c.want, 2e-8)
		within(t, "tanh spin-up, formula", got, j/math.Sqrt(t0*k)*math.Atanh(c.share), 1e-10)
	}
	// Run-down under square drag: 1/ω − 1/ω0 = k·t/J. Closed form.
	down := func(_ float64, y, d []float64) { d[0] = -k * y[0] * y[0] / j }
	got, _ := passage(t, down, []float64{700}, 70, 10, 1e-11)
	within(t, "square run-down", got, j/k*(1./70-1./700), 1e-10)
}

// TestTextbookSpinUps are worked examples with printed figures.
func TestTextbookSpinUps(t *testing.T) {
	// Fitzgerald, Kingsley, Umans, Electric Machinery, ex. 11.6 (seen): dω/dt +
	// 48.4·ω − 24.7·V = 0 has the time constant 20.7 ms; dω/dt + 1.18·ω − 310 = 0
	// from 209 rad/s gives 262 − 53·exp(−t/0.845) rad/s. Printed to three digits: 0.5 %.
	const v = 10.0
	first := func(_ float64, y, d []float64) { d[0] = 24.7*v - 48.4*y[0] }
	got, _ := passage(t, first, []float64{0}, 24.7*v/48.4*(1-math.Exp(-1)), 1, 1e-11)
	within(t, "Fitzgerald 11.6, time constant", got, 0.0207, 0.005)
	second := func(_ float64, y, d []float64) { d[0] = 310 - 1.18*y[0] }
	_, curve := passage(t, second, []float64{262 - 53}, 261, 10, 1e-11)
	for _, at := range []float64{0.2, 0.845, 2} {
		var w [1]float64
		curve.At(at, w[:])
		within(t, "Fitzgerald 11.6, with its load", w[0], 262-53*math.Exp(-at/0.845), 0.005)
	}
	// Dubey, Fundamentals of Electrical Drives, ex. 2.2 (seen): J 10 kg·m², T =
	// −100 − 0.1·N, load 0.05·N, N in rpm, from 666.7 to −633.3 rpm: 25.7532 s
	// exact (calculated), 25.5 s in print (1 %).
	reverse := func(_ float64, y, d []float64) {
		n := y[0] / rpm
		d[0] = (-100 - 0.1*n - 0.05*n) / 10
	}
	got, _ = passage(t, reverse, []float64{2000. / 3 * rpm}, -1900./3*rpm, 100, 1e-11)
	within(t, "Dubey 2.2, exact", got, 25.7532, 2e-6)
	within(t, "Dubey 2.2, print", got, 25.5, 0.01)
	// Theraja, Electrical Technology II, ex. 29.18 (seen): J 252.8 kg·m², 55.95 kW
	// at 750 rpm, accelerated by 0.6 of the full-load torque: 46.45 s (0.2 %).
	full := 55.95e3 / (750 * rpm)
	steady := func(_ float64, _, d []float64) { d[0] = 0.6 * full / 252.8 }
	got, _ = passage(t, steady, []float64{0}, 750*rpm, 1000, 1e-11)
	within(t, "Theraja 29.18", got, 46.45, 0.002)
}

// TestAgainstAnotherSolver compares with SciPy's solvers; see testdata/reference/ode.
func TestAgainstAnotherSolver(t *testing.T) {
	const (
		j, a, b, v, duty, te = 6.3e-6, 0.0589, -3.128e-4, 14.8, 0.7, 3e-4
		k, n                 = 1.7e-8, 1.93
	)
	problems := map[string]struct {
		f     numeric.Rates
		y0    []float64
		watch int
		level float64
	}{
		"rotor with lag": {func(_ float64, y, d []float64) {
			i := (y[1] + 1.5e-3) / 5.305e-3
			d[0] = (y[1] - k*math.Pow(y[0], n)) / j
			d[1] = (a*duty*v + b*y[0] - y[1]) / te
			d[2], d[3] = duty*i, v*duty*i
		}, []float64{700, k * math.Pow(700, n), 0, 0}, 0, 1500},
		"coast": {func(_ float64, y, d []float64) {
			d[0] = -(1.5e-3 + 1.5e-6*y[0] + 1.7e-8*y[0]*y[0]) / 6.3e-6
		}, []float64{1800}, 0, 150},
		"prey": {func(_ float64, y, d []float64) {
			d[0], d[1] = 1.5*y[0]-y[0]*y[1], y[0]*y[1]-3*y[1]
		}, []float64{10, 5}, 1, 2},
	}
	h, err := os.Open(filepath.Join("..", "..", "..", "testdata", "reference", "ode", "scipy.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	seen := 0
	for s := bufio.NewScanner(h); s.Scan(); {
		cell := strings.Split(s.Text(), ",")
		p, ok := problems[cell[0]]
		if !ok {
			continue
		}
		seen++
		abs := make([]float64, len(p.y0))
		for i := range abs {
			abs[i] = 1e-13
		}
		got, err := numeric.Advance(p.f, 0, p.y0, 20, func(_ float64, y []float64) float64 { return y[p.watch] - p.level }, numeric.Tolerance{Rel: 1e-10, Abs: abs})
		if err != nil || !got.Met {
			t.Fatalf("%s: %v, met %v", cell[0], err, got.Met)
		}
		at, y := got.End()
		want, _ := strconv.ParseFloat(cell[2], 64)
		within(t, cell[0]+" against "+cell[1], at, want, 1e-9)
		for i, text := range strings.Fields(cell[3]) {
			want, _ := strconv.ParseFloat(text, 64)
			within(t, cell[0]+" state "+strconv.Itoa(i), y[i], want, 1e-8)
		}
	}
	if seen != 6 {
		t.Errorf("%d reference rows, want 6", seen)
	}
}

// TestStatedError: the sum of the steps' own estimates bounds the true error
// of a decaying motion, at every tolerance, and a tighter tolerance is better.
func TestStatedError(t *testing.T) {
	f := func(x float64, y, d []float64) { d[0] = -3*y[0] + math.Sin(x) }
	exact := func(x float64) float64 { return (3*math.Sin(x)-math.Cos(x))/10 + 1.1*math.Exp(-3*x) }
	before := math.Inf(1)
	for _, rel := range []float64{1e-4, 1e-7, 1e-10} {
		p, err := numeric.Advance(f, 0, []float64{1}, 5, nil, numeric.Tolerance{Rel: rel, Abs: []float64{rel}})
		if err != nil {
			t.Fatal(err)
		}
		_, y := p.End()
		off := math.Abs(y[0] - exact(5))
		if off > p.ErrorSum[0] || off >= before {
			t.Errorf("tolerance %g: off by %g, stated %g, before %g", rel, off, p.ErrorSum[0], before)
		}
		before = off
		// The interpolant is of one order less than the steps.
		var between [1]float64
		for x := 0.0; x <= 5; x += 0.01 {
			if p.At(x, between[:]); math.Abs(between[0]-exact(x)) > 100*rel {
				t.Errorf("tolerance %g: interpolant at %g off by %g", rel, x, between[0]-exact(x))
				break
			}
		}
	}
}

// TestNoWayOn: a singularity and rates that are no numbers end with an error.
func TestNoWayOn(t *testing.T) {
	for name, f := range map[string]numeric.Rates{
		"pole": func(_ float64, y, d []float64) { d[0] = y[0] * y[0] },
		"NaN":  func(_ float64, _, d []float64) { d[0] = math.NaN() },
	} {
		_, err := numeric.Advance(f, 0, []float64{1}, 2, nil, numeric.Tolerance{Rel: 1e-6, Abs: []float64{1e-9}})
		if !errors.Is(err, numeric.ErrStep) {
			t.Errorf("%s: %v, want ErrStep", name, err)
		}
	}
	still := func(_ float64, _, d []float64) { d[0] = 0 }
	p, err := numeric.Advance(still, 0, []float64{0}, 2, func(_ float64, y []float64) float64 { return y[0] }, numeric.Tolerance{Rel: 1e-6, Abs: []float64{1e-9}})
	if err != nil || p.Met && p.TimeS[len(p.TimeS)-1] == 0 {
		t.Errorf("an event that is zero at the start: met at %v, %v", p.TimeS, err)
	}
}
