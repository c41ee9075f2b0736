package uncertain_test

import (
	"math"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/uncertain"
)

// printed checks a number to half of the last digit a text prints.
func printed(t *testing.T, what string, got, want, digit float64) {
	t.Helper()
	if !(math.Abs(got-want) <= digit/2*(1+1e-12)) {
		t.Errorf("%s: got %.9g; printed %g", what, got, want)
	}
}

// close checks to a share tol of want, of 1 where want is 0.
func close(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	size := math.Abs(want)
	if size == 0 {
		size = 1
	}
	if !(math.Abs(got-want) <= tol*size) {
		t.Errorf("%s: got %.15g; want %.15g to %g", what, got, want, tol)
	}
}

// JCGM 100:2008, H.2, Table H.2: five simultaneous readings of V, I, φ, and
// resistance, reactance, impedance from their means with the covariance of the
// means. Printed: seen; more digits: calc, the law of propagation written out
// in another language. The print of u(X), 0.295, is 0.29558 cut off, so the
// printed numbers are met to a whole last digit, not half of one.
func TestGUMSimultaneousResistanceAndReactance(t *testing.T) {
	rows := [][]float64{
		{5.007, 4.994, 5.005, 4.990, 4.999},
		{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
		{1.0456, 1.0438, 1.0468, 1.0428, 1.0433},
	}
	means, cov := make([]float64, 3), make([]float64, 9)
	for i := range rows {
		means[i] = numeric.Mean(rows[i])
	}
	for i := range rows {
		for j := range rows {
			for k := range 5 {
				cov[3*i+j] += (rows[i][k] - means[i]) * (rows[j][k] - means[j]) / (5 * 4)
			}
		}
	}
	in := uncertain.FromCovariance(means, cov, 4, "impedance")
	v, i, phi := in[0], in[1], in[2]
	z := v.Div(i)
	cos := uncertain.Combine(math.Cos(phi.Mean), uncertain.Term{Sensitivity: -math.Sin(phi.Mean), Value: phi})
	sin := uncertain.Combine(math.Sin(phi.Mean), uncertain.Term{Sensitivity: math.Cos(phi.Mean), Value: phi})
	r, x := z.Mul(cos), z.Mul(sin)
	for _, c := range []struct {
		what                     string
		v                        uncertain.Value
		mean, std, mean10, std10 float64
	}{
		{"R", r, 127.732, 0.071, 127.7321699281, 0.0710714073970},
		{"X", x, 219.847, 0.295, 219.8465119126, 0.2955816773586},
		{"Z", z, 254.260, 0.236, 254.2597019480, 0.2363361300824},
	} {
		printed(t, c.what, c.v.Mean, c.mean, 2*0.001)
		printed(t, "u("+c.what+")", c.v.Std(), c.std, 2*0.001)
		close(t, c.what, c.v.Mean, c.mean10, 1e-12)
		close(t, "u("+c.what+")", c.v.Std(), c.std10, 1e-10)
		// All rest on one set of five readings (H.2.4 reduces row by row: n − 1 = 4).
		close(t, "degrees of freedom of "+c.what, c.v.DoF(), 4, 1e-12)
	}
	for _, c := range []struct {
		what string
		a, b uncertain.Value
		want float64
	}{{"r(V, I)", v, i, -0.36}, {"r(V, φ)", v, phi, 0.86}, {"r(I, φ)", i, phi, -0.65}} {
		printed(t, c.what, uncertain.Covariance(c.a, c.b)/c.a.Std()/c.b.Std(), c.want, 0.01)
	}
	for _, c := range []struct {
		what         string
		a, b         uncertain.Value
		want, want10 float64
	}{
		{"r(R, X)", r, x, -0.588, -0.588429784424},
		{"r(R, Z)", r, z, -0.485, -0.485259224210},
		{"r(X, Z)", x, z, 0.993, 0.992511648949},
	} {
		got := uncertain.Covariance(c.a, c.b) / c.a.Std() / c.b.Std()
		printed(t, c.what, got, c.want, 0.001)
		close(t, c.what, got, c.want10, 1e-10)
	}
}

// JCGM 100:2008, H.3: the line of Table H.6 read at 30 °C has u = 0.0041 °C
// with ν = 9, the degrees of freedom of the fit (H.3.4). Mark: seen; more
// digits: calc.
func TestGUMCalibrationLineReadAt30(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corr := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	a := numeric.NewMatrix(len(temp), 2)
	for i, v := range temp {
		a.Set(i, 0, 1)
		a.Set(i, 1, v-20)
	}
	s, err := numeric.LeastSquares(a, corr, nil)
	if err != nil {
		t.Fatal(err)
	}
	cov := make([]float64, 4)
	for i, c := range s.Cov.Data {
		cov[i] = c * s.RSS / float64(s.DoF)
	}
	y := uncertain.FromCovariance(s.Coef, cov, float64(s.DoF), "thermometer")
	for _, at := range []float64{20, 24, 30} {
		b := uncertain.Combine(y[0].Mean+(at-20)*y[1].Mean,
			uncertain.Term{Sensitivity: 1, Value: y[0]}, uncertain.Term{Sensitivity: at - 20, Value: y[1]})
		close(t, "degrees of freedom", b.DoF(), 9, 1e-12)
		if at == 30 {
			printed(t, "b(30 °C)", b.Mean, -0.1494, 1e-4)
			printed(t, "u(b(30 °C))", b.Std(), 0.0041, 1e-4)
			close(t, "b(30 °C)", b.Mean, -0.14937681273, 1e-9)
			close(t, "u(b(30 °C))", b.Std(), 0.00413859575, 1e-9)
		}
	}
	printed(t, "r(y1, y2)", uncertain.Covariance(y[0], y[1])/y[0].Std()/y[1].Std(), -0.930, 0.001)
}

// JCGM 100:2008, G.4.1, example: a product of three inputs with 0.25 %, 0.57 %,
// 0.82 % from 10, 5, 15 readings. Mark: memory, recomputed.
func TestWelchSatterthwaite(t *testing.T) {
	y := uncertain.New(2, 2*0.0025, 9, "x1").
		Mul(uncertain.New(3, 3*0.0057, 4, "x2")).
		Mul(uncertain.New(5, 5*0.0082, 14, "x3"))
	e := y.Expanded()
	printed(t, "u/y in %", 100*y.Std()/y.Mean, 1.03, 0.01)
	printed(t, "effective degrees of freedom", e.DoF, 19.0, 0.1)
	printed(t, "t95", e.K, 2.09, 0.01)
	printed(t, "U/y in %", 100*e.U/y.Mean, 2.2, 0.1)
	// The formula in the example's own numbers.
	want := math.Pow(1.03, 4) / (math.Pow(0.25, 4)/9 + math.Pow(0.57, 4)/4 + math.Pow(0.82, 4)/14)
	printed(t, "formula with rounded numbers", e.DoF, want, 0.1)
}

// JCGM 100:2008, Table G.2, 95 %. Mark: memory. Closed forms for 1, 2 and 4
// degrees of freedom and the expansion in 1/ν for many: calc.
func TestCoverageFactor(t *testing.T) {
	for dof, want := range map[float64]float64{
		1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 7: 2.36, 8: 2.31, 9: 2.26, 10: 2.23, 11: 2.20, 12: 2.18,
		13: 2.16, 14: 2.14, 15: 2.13, 16: 2.12, 17: 2.11, 18: 2.10, 19: 2.09, 20: 2.09, 25: 2.06, 30: 2.04, 35: 2.03,
		40: 2.02, 45: 2.01, 50: 2.01,
	} {
		printed(t, "t95", uncertain.CoverageFactor(dof), want, 0.01)
	}
	printed(t, "t95 at 100", uncertain.CoverageFactor(100), 1.984, 0.001)
	printed(t, "t95 at ∞", uncertain.CoverageFactor(math.Inf(1)), 1.960, 0.001)

	const p = 0.975
	close(t, "t at 1", uncertain.CoverageFactor(1), math.Tan(math.Pi*(p-0.5)), 1e-10)
	alpha := 4 * p * (1 - p)
	close(t, "t at 2", uncertain.CoverageFactor(2), 2*(p-0.5)*math.Sqrt(2/alpha), 1e-10)
	close(t, "t at 4", uncertain.CoverageFactor(4), 2*math.Sqrt(math.Cos(math.Acos(math.Sqrt(alpha))/3)/math.Sqrt(alpha)-1), 1e-10)
	const z = 1.959963984540054
	for _, dof := range []float64{1e3, 1e4, 1e5, 9.9e5, 1.1e6, 1e9} {
		// Abramowitz & Stegun 26.7.5, two terms; the third is below 1e-8 here.
		want := z + (z*z*z+z)/(4*dof) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*dof*dof)
		tol := 1e-8
		if dof > 1e6 {
			// There the normal point stands in, off by the first term.
			tol = 1.3e-6
		}
		close(t, "t at many", uncertain.CoverageFactor(dof), want, tol)
	}
	if low, one := uncertain.New(0, 1, 0.5, "x").Expanded(), uncertain.CoverageFactor(1); low.K != one || low.DoF != 1 {
		t.Errorf("half a degree of freedom: got k %g, ν %g; want %g, 1", low.K, low.DoF, one)
	}
}

// JCGM 101:2008, 9.2: the sum of four inputs of unit standard deviation. Normal
// (9.2.2): 95 % within ±3.92. Rectangular (9.2.3): ±3.88, seen; the closed form
// from the Irwin–Hall distribution, 2√3·(2 − 0.6^¼) = 3.8794: calc.
func TestMonteCarloInterval(t *testing.T) {
	var sum uncertain.Value
	for _, name := range []string{"x1", "x2", "x3", "x4"} {
		sum = sum.Add(uncertain.New(0, 1, 0, name))
	}
	const n = 200000
	// The half-width has a standard error of 0.008 at this number of draws.
	const tol = 0.02
	for _, c := range []struct {
		name  string
		shape func(string) uncertain.Shape
		want  float64
	}{
		{"normal", nil, 2 * 1.959963984540054},
		{"rectangular", func(string) uncertain.Shape { return uncertain.Rectangular }, 2 * math.Sqrt(3) * (2 - math.Pow(0.6, 0.25))},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := uncertain.Draw(1, n, c.shape, sum)[0]
			half := (numeric.Quantile(y, 0.975) - numeric.Quantile(y, 0.025)) / 2
			if math.Abs(half-c.want) > tol {
				t.Errorf("got ±%.4f; want ±%.4f within %g", half, c.want, tol)
			}
			close(t, "standard deviation", math.Sqrt(numeric.Variance(y)), 2, 0.01)
			if m := numeric.Mean(y); math.Abs(m) > 0.015 {
				t.Errorf("mean: got %g; want 0", m)
			}
		})
	}
}

// JCGM 100:2008, 7.2.6. Mark: memory. It allows 10.47 mΩ to be rounded up to
// 11 mΩ and asks for 28.05 kHz to be rounded to 28 kHz; here rounding is to
// the nearest throughout, which loses at most 5 %.
func TestRound(t *testing.T) {
	for _, c := range []struct {
		mean, u     float64
		mText, uTex string
	}{
		{10.05762, 0.027, "10.058", "0.027"},
		{0, 28.05, "0", "28"},
		{0, 10.47, "0", "10"},
		{-0.14937681273, 0.00413859575, "-0.1494", "0.0041"},
		{127.732, 0.0711, "127.732", "0.071"},
		// Carry into a third digit: 0.0996 is 0.10, not 0.100.
		{1.23456, 0.0996, "1.23", "0.10"},
		{1.23456, 0.0994, "1.235", "0.099"},
		{1.23456, 9.96, "1", "10"},
		{1234.56, 99.6, "1230", "100"},
		// Two digits left of the point.
		{123456, 4567, "123500", "4600"},
		{123456, 1000, "123500", "1000"},
		{123456, 1e5, "120000", "100000"},
		{5e-6, 1e-3, "0.0000", "0.0010"},
		{2.5e-9, 1.26e-12, "0.0000000025000", "0.0000000000013"},
		{-1e-9, 0.1, "0.00", "0.10"},
		{-4, 1000, "0", "1000"},
		{3.14159265358979, 0, "3.14159265", "0"},
		{math.NaN(), 1, "NaN", "1"},
		{1, math.Inf(1), "1", "+Inf"},
	} {
		m, u := uncertain.Round(c.mean, c.u)
		if m != c.mText || u != c.uTex {
			t.Errorf("Round(%g, %g): got %s ± %s; want %s ± %s", c.mean, c.u, m, u, c.mText, c.uTex)
		}
	}
	// No rounding loses more than 5 % of U, or moves the mean by more than 5 % of it.
	for u := 1.0; u < 12; u *= 1.0007 {
		if _, s := uncertain.Round(0, u); math.Abs(parse(t, s)-u) > 0.05*u {
			t.Errorf("U = %g was written %s", u, s)
		}
	}
}
