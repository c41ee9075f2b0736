package respond

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// thrustCurve is F = c0·x + c1·x², x = ω/ref, of one rotor.
type thrustCurve struct {
	coef      []uncertain.Value // c1 first
	ref       float64
	low, high float64 // N
}

// thrustOf fits thrust against speed from a rotor's steady recordings, nil
// where none was recorded. The zero is each recording's own.
func (m *model) thrustOf(rotor string) *thrustCurve {
	if t, known := m.thrusts[rotor]; known {
		return t
	}
	t := m.fitThrust(rotor)
	m.thrusts[rotor] = t
	return t
}

func (m *model) fitThrust(rotor string) *thrustCurve {
	var sets [][]spin.ThrustPoint
	t := &thrustCurve{}
	n := 0
	for _, e := range m.in.Evidence {
		if e.Rotor == rotor && len(e.Thrust) > 0 {
			sets = append(sets, e.Thrust)
			n += len(e.Thrust)
			for _, p := range e.Thrust {
				t.ref = math.Max(t.ref, p.SpeedRadPerS)
			}
		}
	}
	if n < len(sets)+4 || t.ref <= 0 {
		return nil
	}
	solve := func(k int) (numeric.Solution, float64, error) {
		a := numeric.NewMatrix(n, k+len(sets))
		y := make([]float64, n)
		i := 0
		for j, set := range sets {
			for _, p := range set {
				x := p.SpeedRadPerS / t.ref
				if p.Rest {
					x = 0
				}
				a.Set(i, 0, x*x)
				if k > 1 {
					a.Set(i, 1, x)
				}
				a.Set(i, k+j, 1)
				y[i] = p.ThrustN
				i++
			}
		}
		s, err := numeric.LeastSquares(a, y, nil)
		kk, nn := float64(k+len(sets)), float64(n)
		return s, nn*math.Log(s.RSS/nn+1e-30) + 2*kk + 2*kk*(kk+1)/math.Max(1, nn-kk-1), err
	}
	k := 1
	s, aicc, err := solve(1)
	if richer, b, err2 := solve(2); err2 == nil && b < aicc-bendBy {
		s, err, k = richer, nil, 2
	}
	if err != nil || s.DoF < 1 || !(s.Coef[0] > 0) {
		return nil
	}
	cov := make([]float64, k*k)
	for a := range k {
		for b := range k {
			cov[a*k+b] = s.Cov.At(a, b) * s.RSS / float64(s.DoF)
		}
	}
	t.coef = uncertain.FromCovariance(s.Coef[:k], cov, float64(s.DoF), m.in.Job+"/rotor:"+rotor+"/thrust")
	t.low = math.Inf(1)
	for _, set := range sets {
		for _, p := range set {
			if !p.Rest {
				f := thrustAt(s.Coef[:k], p.SpeedRadPerS/t.ref)
				t.low, t.high = math.Min(t.low, f), math.Max(t.high, f)
			}
		}
	}
	return t
}

func thrustAt(c []float64, x float64) float64 {
	f := c[0] * x * x
	if len(c) > 1 {
		f += c[1] * x
	}
	return f
}

// speedFor is x at thrust f: the positive root.
func speedFor(c []float64, f float64) float64 {
	if len(c) == 1 || c[1] == 0 {
		return math.Sqrt(f / c[0])
	}
	return (-c[1] + math.Sqrt(c[1]*c[1]+4*c[0]*f)) / (2 * c[0])
}
