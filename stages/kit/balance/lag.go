package balance

import (
	"math"

	"spinledger/stages/kit/numeric"
)

// LagSearch looks for the lag τ at which the speed follows from the torque.
type LagSearch struct {
	view     *View
	from, to float64
	cumT     []float64 // ∫T dt up to each sample
	cumL     []float64 // ∫L dt on the speed's clock
	stride   int
	lo, hi   int // samples of the speed
	terms    int
	// ata, aty and yy are the normal equations, the torque's row still empty: nothing else of them depends on the lag.
	ata [25]float64
	aty [5]float64
	yy  float64
	n   int
}

// NewLagSearch prepares a search over the samples between from and to: the
// whole run, up and down, so that zero, drift and load factor are free and
// cannot pass for a lag. quad adds a drift term; a run with no return cannot
// carry one.
func (v *View) NewLagSearch(from, to float64, l []float64, quad bool) *LagSearch {
	s := &LagSearch{view: v, from: from, to: to, terms: 4, stride: 1}
	if quad {
		s.terms = 5
	}
	s.cumT = cumulate(v.TimeS, v.TorqueNm)
	s.cumL = cumulate(v.SpeedTimeS, l)
	// A few hundred points carry the shape of the transient; the integral has
	// already averaged what lies between them.
	s.lo, s.hi = span(v.SpeedTimeS, from, to)
	if s.hi-s.lo > 600 {
		s.stride = (s.hi - s.lo) / 600
	}
	for i := s.lo; i < s.hi; i += s.stride {
		row, y := s.row(i), v.SpeedRadPerS[i]
		for a := 1; a < s.terms; a++ {
			for b := a; b < s.terms; b++ {
				s.ata[a*5+b] += float64(row[a] * row[b])
			}
			s.aty[a] += float64(row[a] * y)
		}
		s.yy += float64(y * y)
		s.n++
	}
	return s
}

// row is [·, ∫L, 1, t, t²] at sample i of the speed, with t from −1 to 1; the place of ∫T is left free.
func (s *LagSearch) row(i int) [5]float64 {
	mid, half := (s.from+s.to)/2, (s.to-s.from)/2
	x := (s.view.SpeedTimeS[i] - mid) / half
	return [5]float64{0, s.cumL[i] - s.cumL[s.lo], 1, x, x * x}
}

func cumulate(t, x []float64) []float64 {
	out := make([]float64, len(t))
	for i := 1; i < len(t); i++ {
		out[i] = out[i-1] + float64((x[i]+x[i-1])/2*(t[i]-t[i-1]))
	}
	return out
}

// at interpolates ∫T dt quadratically between samples: its slope is the torque
// itself. i is the index of the first stamp at or after x, as search gives it.
func (s *LagSearch) at(x float64, i int) float64 {
	t := s.view.TimeS
	switch {
	case i == 0:
		return s.cumT[0] - float64((t[0]-x)*s.view.TorqueNm[0])
	case i == len(t):
		return s.cumT[i-1] + float64((x-t[i-1])*s.view.TorqueNm[i-1])
	}
	h, u := t[i]-t[i-1], x-t[i-1]
	a, b := s.view.TorqueNm[i-1], s.view.TorqueNm[i]
	return s.cumT[i-1] + float64(u*(a+(b-a)*u/h/2))
}

// Misfit is the residual sum of squares of the speed on
// [1, ∫T(t+τ), ∫L, t, t²] at lag τ, and the number of points and terms.
func (s *LagSearch) Misfit(tau float64) float64 {
	sol, ok := s.solve(tau)
	if !ok {
		return math.Inf(1)
	}
	return sol.RSS
}

// InverseJ is the coefficient of ∫T dt at lag τ, 1/J of the whole transient.
func (s *LagSearch) InverseJ(tau float64) (float64, bool) {
	sol, ok := s.solve(tau)
	if !ok {
		return 0, false
	}
	return sol.Coef[0], true
}

type smallSolution struct {
	Coef []float64
	RSS  float64
}

func (s *LagSearch) solve(tau float64) (smallSolution, bool) {
	if s.n < 2*s.terms {
		return smallSolution{}, false
	}
	ata, aty := s.ata, s.aty
	times := s.view.TimeS
	base := s.at(s.from+tau, search(times, s.from+tau))
	at := 0
	for i := s.lo; i < s.hi; i += s.stride {
		t := s.view.SpeedTimeS[i] + tau
		at = near(times, t, at+s.stride)
		row := s.row(i)
		row[0] = s.at(t, at) - base
		for b := range s.terms {
			ata[b] += float64(row[0] * row[b])
		}
		aty[0] += float64(row[0] * s.view.SpeedRadPerS[i])
	}
	return normal(ata, aty, s.yy, s.terms)
}

// normal solves the scaled normal equations of a few well-scaled columns;
// columns that vanish (no load) are left out. The search needs a misfit, not a
// published number: normal equations are accurate enough and ten times faster.
func normal(ata [25]float64, aty [5]float64, yy float64, terms int) (smallSolution, bool) {
	var keep []int
	for a := range terms {
		if ata[a*5+a] > 0 {
			keep = append(keep, a)
		}
	}
	m := numeric.NewMatrix(len(keep), len(keep))
	rhs := make([]float64, len(keep))
	for i, a := range keep {
		for j, b := range keep {
			lo, hi := min(a, b), max(a, b)
			m.Set(i, j, ata[lo*5+hi]/math.Sqrt(ata[a*5+a]*ata[b*5+b]))
		}
		m.Set(i, i, 1+1e-12)
		rhs[i] = aty[a] / math.Sqrt(ata[a*5+a])
	}
	l, err := numeric.Cholesky(m)
	if err != nil {
		return smallSolution{}, false
	}
	x := numeric.CholeskySolve(l, rhs)
	out := smallSolution{Coef: make([]float64, terms), RSS: yy}
	for i, a := range keep {
		out.RSS -= float64(x[i] * rhs[i])
		out.Coef[a] = x[i] / math.Sqrt(ata[a*5+a])
	}
	out.RSS = math.Max(out.RSS, 0)
	return out, true
}
