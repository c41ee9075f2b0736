package numeric_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
)

// table reads a reference table of the consensus folder, its header left out.
func table(t *testing.T, name string, columns int) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "reference", "consensus", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var rows [][]string
	for sc := bufio.NewScanner(f); sc.Scan(); {
		cells := strings.Split(sc.Text(), ",")
		if len(cells) != columns {
			t.Fatalf("%s: %q has %d of %d columns", name, sc.Text(), len(cells), columns)
		}
		rows = append(rows, cells)
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Sixteen measurements of the Newtonian constant that went into the CODATA
// 2018 adjustment do not agree. Q 197.84: seen; Birge ratio 3.63: calc.
func TestInconsistentResults(t *testing.T) {
	var x, variance []float64
	for _, r := range table(t, "newtonian-constant.csv", 3) {
		u := number(t, r[2])
		x, variance = append(x, number(t, r[1])), append(variance, u*u)
	}
	if len(x) != 16 {
		t.Fatalf("got %d measurements; want 16", len(x))
	}
	c := numeric.FixedMean(x, variance)
	// Last digit of the print.
	if math.Abs(c.Q-197.8399) > 1e-3 || math.Abs(c.Birge-math.Sqrt(197.8399/15)) > 1e-3 || math.Abs(c.Birge-3.63) > 0.005 {
		t.Errorf("got Q %.5f, Birge ratio %.4f; want 197.8399, 3.63", c.Q, c.Birge)
	}
	if c.DoF != 15 || c.Tau != 0 {
		t.Errorf("got %d degrees of freedom, τ %g; want 15, 0", c.DoF, c.Tau)
	}
	if p := numeric.ChiSquaredTail(c.Q, float64(c.DoF)); !(p > 0 && p < 1e-30) {
		t.Errorf("probability of Q: got %g; want less than 1e-30, not 0", p)
	}
	// The order of the measurements must not matter beyond rounding.
	slices.Reverse(x)
	slices.Reverse(variance)
	relative(t, "Q reversed", numeric.FixedMean(x, variance).Q, c.Q, 1e-12, 0)
}

// DerSimonian & Kacker 2007, Contemporary Clinical Trials 28, Tables 3 and 4:
// six trials, log odds ratios. Mark: seen.
func TestRandomEffects(t *testing.T) {
	var x, variance []float64
	for _, r := range table(t, "clasp.csv", 4) {
		n1, a, n2, c := number(t, r[0]), number(t, r[1]), number(t, r[2]), number(t, r[3])
		x = append(x, math.Log(a/(n1-a)/(c/(n2-c))))
		variance = append(variance, 1/a+1/(n1-a)+1/c+1/(n2-c))
	}
	for _, c := range []struct {
		name        string
		got         numeric.Consensus
		tau, mu, se float64
	}{
		{"DerSimonian–Laird", numeric.DerSimonianLaird(x, variance), 0.2323, -0.3240, 0.1540},
		{"Mandel–Paule", numeric.MandelPaule(x, variance), 0.3681, -0.3811, 0.2060},
	} {
		t.Run(c.name, func(t *testing.T) {
			const lastDigit = 1e-4
			if math.Abs(c.got.Tau-c.tau) > lastDigit || math.Abs(c.got.Mean-c.mu) > lastDigit || math.Abs(c.got.SE-c.se) > lastDigit {
				t.Errorf("got τ %.5f, μ %.5f, se %.5f; want %.4f, %.4f, %.4f", c.got.Tau, c.got.Mean, c.got.SE, c.tau, c.mu, c.se)
			}
			fixed := numeric.FixedMean(x, variance)
			if c.got.Q != fixed.Q || c.got.Birge != fixed.Birge || c.got.DoF != 5 {
				t.Errorf("got Q %g, Birge %g, DoF %d; want those of the fixed mean: %g, %g, 5", c.got.Q, c.got.Birge, c.got.DoF, fixed.Q, fixed.Birge)
			}
		})
	}
	// The defining equation of Mandel and Paule: Σ(x − μ)²/(v + τ²) = n − 1.
	mp, q := numeric.MandelPaule(x, variance), 0.0
	for i := range x {
		q += (x[i] - mp.Mean) * (x[i] - mp.Mean) / (variance[i] + mp.Tau*mp.Tau)
	}
	relative(t, "generalised Q", q, 5, 1e-12, 0)
}

func TestConsistentAndSingleResults(t *testing.T) {
	for name, f := range map[string]func(x, v []float64) numeric.Consensus{
		"fixed": numeric.FixedMean, "DerSimonian–Laird": numeric.DerSimonianLaird, "Mandel–Paule": numeric.MandelPaule,
	} {
		t.Run(name, func(t *testing.T) {
			// 1 ± 1 and 2 ± 2: mean (1 + 2/4)/(1 + 1/4) = 1.2, se √0.8, Q = 1/5; calc.
			c := f([]float64{1, 2}, []float64{1, 4})
			relative(t, "mean", c.Mean, 1.2, 1e-14, 0)
			relative(t, "standard error", c.SE, math.Sqrt(0.8), 1e-14, 0)
			relative(t, "Q", c.Q, 0.2, 1e-14, 0)
			relative(t, "Birge ratio", c.Birge, math.Sqrt(0.2), 1e-14, 0)
			if c.Tau != 0 || c.DoF != 1 {
				t.Errorf("τ %g, DoF %d; want 0, 1", c.Tau, c.DoF)
			}
			// τ² of one result is 0/0 in the formula.
			for _, variance := range []float64{1, 0.0123, 7e-9, 3} {
				const v = 0.3
				one := f([]float64{v}, []float64{variance})
				relative(t, "single mean", one.Mean, v, 1e-14, 0)
				relative(t, "single error", one.SE, math.Sqrt(variance), 1e-14, 0)
				if one.Tau != 0 || one.DoF != 0 || !math.IsNaN(one.Birge) {
					t.Errorf("single result %g: got τ %g, DoF %d, Birge %g; want 0, 0, NaN", v, one.Tau, one.DoF, one.Birge)
				}
			}
		})
	}
}

// Tails against closed forms (mark: calc): χ² with 2 degrees of freedom is
// exponential; F with 2 and d is (1 + 2f/d)^(−d/2); t with 1 is 1 − 2/π·atan t;
// and F(1, d) is the square of t(d).
func TestTails(t *testing.T) {
	for _, x := range []float64{1e-3, 0.5, 3, 40, 500} {
		relative(t, "χ² tail", numeric.ChiSquaredTail(x, 2), math.Exp(-x/2), 1e-11, 0)
		for _, d := range []float64{1, 7, 50} {
			relative(t, "F tail", numeric.FTail(x, 2, d), math.Pow(1+2*x/d, -d/2), 1e-11, 0)
			relative(t, "F(1, d) tail", numeric.FTail(x*x, 1, d), numeric.StudentTail(x, d), 1e-10, 0)
		}
		relative(t, "t tail", numeric.StudentTail(x, 1), 2/math.Pi*math.Atan(1/x), 1e-12, 0)
		relative(t, "t tail of −t", numeric.StudentTail(-x, 4), numeric.StudentTail(x, 4), 0, 0)
	}
	// Normal: P(|z| > 1.959963984540054) = 0.05; on both sides of the switch to it.
	for _, dof := range []float64{9e5, 2e6, math.Inf(1)} {
		relative(t, "t tail at many degrees of freedom", numeric.StudentTail(1.959963984540054, dof), 0.05, 1e-5, 0)
	}
	for _, p := range []float64{numeric.FTail(0, 1, 2), numeric.ChiSquaredTail(0, 1), numeric.StudentTail(0, 3), numeric.FTail(-1, 1, 2)} {
		if p != 1 {
			t.Errorf("tail above 0: got %g; want 1", p)
		}
	}
}
