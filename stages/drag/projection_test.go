package drag

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// stairs is a number of recordings of settled levels; those of ten have a drift of their own.
func stairs(recordings int, exponent float64) []Set {
	rng := rand.New(rand.NewPCG(71, uint64(recordings)))
	var sets []Set
	for i := range recordings {
		s := Set{Kind: spin.Steady}
		for k := range 3 + 7*(i%2) {
			w := 200 + 80*float64(k) + 20*rng.Float64()
			s.Plateaus = append(s.Plateaus, spin.Plateau{
				SpeedRadPerS: w, MidS: 1.1 * float64(k), TorqueSE: 2e-6 * (1 + rng.Float64()),
				TorqueNm: 3e-3*math.Pow(w/900, exponent) + 1e-3*float64(i) + 1e-5*float64(k) + 3e-6*rng.NormFloat64(),
			})
		}
		sets = append(sets, s)
	}
	return sets
}

// TestSetsTakenOut: the load's coefficients, their covariance and the residuals are those of the regression in which
// every zero and drift is a column, solved by the library's own least squares.
func TestSetsTakenOut(t *testing.T) {
	l := problem(stairs(5, 1.9))
	l.weigh(2e-4)
	for form, terms := range map[string]int{spin.FormSquare: 1, spin.FormLinearSquare: 2, spin.FormCubic: 3, spin.FormPower: 2} {
		got, err := l.fit(form)
		if err != nil {
			t.Fatal(err)
		}
		coef := make([]float64, terms)
		y := make([]float64, len(l.points))
		whole := numeric.NewMatrix(len(l.points), terms+5+2)
		if form == spin.FormPower {
			copy(coef, got.sol.Coef) // the linear problem at the minimum
		}
		for i, p := range l.points {
			row := whole.Row(i)
			v := loadTerm(form, coef, row, p.p.SpeedRadPerS/l.ref, 1)
			y[i] = p.p.TorqueNm - v
			row[terms+p.set] = 1
			if p.set%2 == 1 {
				row[terms+5+p.set/2] = p.t
			}
		}
		want, err := numeric.LeastSquares(whole, y, l.w)
		if err != nil {
			t.Fatal(err)
		}
		near := func(what string, got, want, scale float64) {
			if math.Abs(got-want) > 1e-9*scale {
				t.Errorf("%s, %s: got %.15g; want %.15g", form, what, got, want)
			}
		}
		for j := range terms {
			near("coefficient", got.sol.Coef[j], coef[j]+want.Coef[j], math.Abs(got.sol.Coef[j]))
			for k := range terms {
				near("covariance", got.sol.Cov.At(j, k), want.Cov.At(j, k), math.Sqrt(want.Cov.At(j, j)*want.Cov.At(k, k)))
			}
		}
		for i := range y {
			near("residual", got.sol.Residual[i], want.Residual[i], 1e-6)
		}
		near("RSS", got.sol.RSS, want.RSS, want.RSS)
		if got.sol.DoF != want.DoF {
			t.Errorf("%s: %d degrees of freedom; want %d", form, got.sol.DoF, want.DoF)
		}
	}
}

// TestLevelsThatSayNothing: one level a recording leaves no load to be found, to the last rounding.
func TestLevelsThatSayNothing(t *testing.T) {
	var sets []Set
	for i := range 7 {
		sets = append(sets, Set{Kind: spin.Steady, Plateaus: []spin.Plateau{{SpeedRadPerS: 100 + 77*float64(i), TorqueNm: 0.1 + 0.013*float64(i), TorqueSE: 1e-6 * (1 + float64(i))}}})
	}
	l := problem(sets)
	l.weigh(2e-4)
	for _, form := range []string{spin.FormSquare, spin.FormLinearSquare, spin.FormPower, spin.FormCubic} {
		if f, err := l.fit(form); err == nil {
			t.Errorf("%s: found %v in nothing", form, f.sol.Coef)
		}
	}
}

// BenchmarkSets shows that time grows with the number of recordings, not faster.
func BenchmarkSets(b *testing.B) {
	for name, n := range map[string]int{"10": 10, "100": 100, "1000": 1000} {
		in := Input{Job: "b", Rotor: "bare", Sets: stairs(n, 1.9)}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if out, err := Run(in, DefaultOptions()); err != nil || out.Curve == nil {
					b.Fatal(err, out.Refusals)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*n), "µs/recording")
		})
	}
}
