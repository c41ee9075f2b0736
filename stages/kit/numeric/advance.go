package numeric

import (
	"errors"
	"fmt"
	"math"
)

// Rates writes dy/dt at (t, y) into dydt; it must not keep or change y.
type Rates func(t float64, y, dydt []float64)

// Tolerance of Advance: each step's error of component i is held below
// Abs[i] + Rel·|y_i|, in the root mean square over components.
type Tolerance struct {
	Rel float64
	// Abs has one entry a component, in its unit, > 0.
	Abs []float64
	// MaxSteps bounds the work; 0 means 100 000.
	MaxSteps int
}

// Trajectory is a solution with its interpolant.
type Trajectory struct {
	// TimeS are the ends of the steps, the start first; State the states there.
	TimeS []float64
	State [][]float64
	// Met is true where the event ended it: the last entry is then the event.
	Met bool
	// ErrorSum adds the absolute error estimates of all steps, a component at a
	// time: what the whole solution may be off by where errors do not grow.
	ErrorSum []float64
	// Evaluations of Rates.
	Evaluations int

	rates [][]float64 // dy/dt at the ends of the steps
	mids  [][]float64 // the interpolant's own term of each step, h·Σdᵢkᵢ
}

// ErrStep is given where no step is small enough: a singularity, or rates that are no numbers.
var ErrStep = errors.New("numeric: the step size vanishes")

// Coefficients of the pair of orders 5 and 4 and of its interpolant of order 4
// (Dormand and Prince, A family of embedded Runge-Kutta formulae, J. Comput.
// Appl. Math. 6 (1980) 19–26; interpolant: Hairer, Nørsett, Wanner, Solving
// Ordinary Differential Equations I, 2nd ed. 1993, II.6).
var (
	stageTime = [7]float64{0, 1. / 5, 3. / 10, 4. / 5, 8. / 9, 1, 1}
	stageMix  = [7][6]float64{
		{},
		{1. / 5},
		{3. / 40, 9. / 40},
		{44. / 45, -56. / 15, 32. / 9},
		{19372. / 6561, -25360. / 2187, 64448. / 6561, -212. / 729},
		{9017. / 3168, -355. / 33, 46732. / 5247, 49. / 176, -5103. / 18656},
		{35. / 384, 0, 500. / 1113, 125. / 192, -2187. / 6784, 11. / 84},
	}
	stageError  = [7]float64{71. / 57600, 0, -71. / 16695, 71. / 1920, -17253. / 339200, 22. / 525, -1. / 40}
	stageInside = [7]float64{
		-12715105075. / 11282082432, 0, 87487479700. / 32700410799, -10690763975. / 1880347072,
		701980252875. / 199316789632, -1453857185. / 822651844, 69997945. / 29380423,
	}
)

// Advance integrates dy/dt = f from (t0, y0) to time end > t0, or to the first
// time at which event passes through zero or reaches it; nil: there is none. An event that is zero
// at the start counts only once it has left zero.
//
// Explicit Runge–Kutta of order 5 with an embedded error estimate of order 4;
// step sizes by a proportional-integral controller (Hairer, Nørsett, Wanner,
// II.4). The event is located on the interpolant and then by steps of the full order.
//
// It fails with ErrStep, or when MaxSteps do not suffice; the trajectory so far
// comes with the error. It panics on tolerances that do not fit y0.
func Advance(f Rates, t0 float64, y0 []float64, end float64, event func(t float64, y []float64) float64, tol Tolerance) (Trajectory, error) {
	if len(tol.Abs) != len(y0) || !(end > t0) || !(tol.Rel >= 0) {
		panic(fmt.Sprintf("numeric: Advance: %d states, %d tolerances, from %v to %v", len(y0), len(tol.Abs), t0, end))
	}
	if tol.MaxSteps == 0 {
		tol.MaxSteps = 100000
	}
	s := &stepper{f: f, tol: tol, n: len(y0)}
	s.start(t0, y0)
	err := s.march(end, event)
	return s.out, err
}

// stepper is one integration in hand.
type stepper struct {
	f   Rates
	tol Tolerance
	n   int
	out Trajectory

	k         [7][]float64
	y, next   []float64
	errs      []float64
	lastError float64
}

func (s *stepper) start(t0 float64, y0 []float64) {
	for i := range s.k {
		s.k[i] = make([]float64, s.n)
	}
	s.y, s.next, s.errs = make([]float64, s.n), make([]float64, s.n), make([]float64, s.n)
	s.out.ErrorSum = make([]float64, s.n)
	s.lastError = 1e-4
	s.rate(t0, y0, s.k[0])
	s.keep(t0, y0)
}

func (s *stepper) rate(t float64, y, into []float64) {
	s.f(t, y, into)
	s.out.Evaluations++
}

// keep appends a state whose rate stands in k[0].
func (s *stepper) keep(t float64, y []float64) {
	s.out.TimeS = append(s.out.TimeS, t)
	s.out.State = append(s.out.State, append([]float64(nil), y...))
	s.out.rates = append(s.out.rates, append([]float64(nil), s.k[0]...))
}

// try makes one step of size h from (t, y), k[0] being the rate there; it fills
// next, k[6] (the rate at its end) and errs, and returns the scaled error.
func (s *stepper) try(t float64, y []float64, h float64) float64 {
	for i := 1; i < 7; i++ {
		for j := range s.next {
			sum := 0.0
			for m := range i {
				sum += float64(stageMix[i][m] * s.k[m][j])
			}
			s.next[j] = y[j] + float64(h*sum)
		}
		s.rate(t+float64(stageTime[i]*h), s.next, s.k[i])
	}
	total := 0.0
	for j := range s.next {
		e := 0.0
		for i := range stageError {
			e += float64(stageError[i] * s.k[i][j])
		}
		s.errs[j] = math.Abs(h * e)
		scaled := s.errs[j] / (s.tol.Abs[j] + float64(s.tol.Rel*math.Max(math.Abs(y[j]), math.Abs(s.next[j]))))
		total += float64(scaled * scaled)
	}
	return math.Sqrt(total / float64(s.n))
}

// accept appends the step just tried.
func (s *stepper) accept(t, h float64) {
	mid := make([]float64, s.n)
	for j := range mid {
		sum := 0.0
		for i := range stageInside {
			sum += float64(stageInside[i] * s.k[i][j])
		}
		mid[j] = h * sum
		s.out.ErrorSum[j] += s.errs[j]
	}
	s.out.mids = append(s.out.mids, mid)
	s.k[0], s.k[6] = s.k[6], s.k[0]
	s.keep(t+h, s.next)
}

// first is a step size from the state's own time scale (Hairer, Nørsett, Wanner, II.4, first half).
func (s *stepper) first(y []float64, span float64) float64 {
	d0, d1 := 0.0, 0.0
	for j := range y {
		scale := s.tol.Abs[j] + float64(s.tol.Rel*math.Abs(y[j]))
		d0 = math.Max(d0, math.Abs(y[j])/scale)
		d1 = math.Max(d1, math.Abs(s.k[0][j])/scale)
	}
	if d0 < 1e-5 || d1 < 1e-5 {
		return 1e-6 * span
	}
	return math.Min(0.01*d0/d1, span)
}

func (s *stepper) march(end float64, event func(float64, []float64) float64) error {
	t, y := s.out.TimeS[0], s.out.State[0]
	h := s.first(y, end-t)
	was := 0.0
	if event != nil {
		was = event(t, y)
	}
	rejected := false
	for range s.tol.MaxSteps {
		if h < 16*math.Nextafter(math.Abs(t), math.Inf(1))-16*math.Abs(t) || math.IsNaN(h) {
			return ErrStep
		}
		last := t+h >= end
		if last {
			h = end - t
		}
		e := s.try(t, y, h)
		if !(e <= 1) {
			grow := 0.1
			if !math.IsNaN(e) && !math.IsInf(e, 0) {
				grow = math.Max(0.2, 0.9*math.Pow(e, -0.2))
			}
			h, rejected = h*grow, true
			continue
		}
		now := 0.0
		if event != nil {
			now = event(t+h, s.next)
		}
		if event != nil && (now == 0 || was*now < 0) {
			return s.meet(t, y, h, was, now, event)
		}
		s.accept(t, h)
		t, y = s.out.TimeS[len(s.out.TimeS)-1], s.out.State[len(s.out.State)-1]
		if last {
			return nil
		}
		was = now
		grow := 0.9 * math.Pow(math.Max(e, 1e-10), -0.17) * math.Pow(s.lastError, 0.04)
		grow = math.Min(5, math.Max(0.2, grow))
		if rejected {
			grow = math.Min(1, grow)
		}
		s.lastError, rejected = math.Max(e, 1e-4), false
		h *= grow
	}
	return fmt.Errorf("numeric: %d steps do not reach the end", s.tol.MaxSteps)
}

// meet ends the trajectory where the event is zero, inside the step of size h
// that was just tried: regula falsi (Illinois) on steps of the full order.
func (s *stepper) meet(t float64, y []float64, h, was, now float64, event func(float64, []float64) float64) error {
	lo, hi, glo, ghi := 0.0, h, was, now
	x := h
	for range 60 {
		if ghi == 0 || hi-lo <= 4e-16*(math.Abs(t)+h) {
			break
		}
		x = hi - ghi*(hi-lo)/(ghi-glo)
		if !(x > lo && x < hi) {
			x = lo + (hi-lo)/2
		}
		s.try(t, y, x)
		g := event(t+x, s.next)
		if g == 0 || (g < 0) == (ghi < 0) {
			if hi = x; (g < 0) == (ghi < 0) && g != 0 {
				glo /= 2
			}
			ghi = g
		} else {
			lo, glo = x, g
			ghi /= 2
		}
		if math.Abs(g) <= 1e-14*math.Max(math.Abs(was), math.Abs(now)) {
			hi = x
			break
		}
	}
	s.try(t, y, hi)
	s.accept(t, hi)
	s.out.Met = true
	return nil
}

// Times is the number of states kept, at least one.
func (p *Trajectory) Times() int { return len(p.TimeS) }

// End is the last time and state; the state is the trajectory's own.
func (p *Trajectory) End() (float64, []float64) {
	k := len(p.TimeS) - 1
	return p.TimeS[k], p.State[k]
}

// At writes the state at time t into y, by the interpolant of order 4; t outside
// the trajectory is taken as its nearer end. It panics when len(y) is not that of the state.
func (p *Trajectory) At(t float64, y []float64) {
	if len(y) != len(p.State[0]) {
		panic(fmt.Sprintf("numeric: Trajectory.At: %d for %d states", len(y), len(p.State[0])))
	}
	k := 0
	for k+2 < len(p.TimeS) && p.TimeS[k+1] < t {
		k++
	}
	if len(p.TimeS) == 1 || t <= p.TimeS[0] {
		copy(y, p.State[0])
		return
	}
	h := p.TimeS[k+1] - p.TimeS[k]
	x := math.Min(1, (t-p.TimeS[k])/h)
	for j := range y {
		y0, d := p.State[k][j], p.State[k+1][j]-p.State[k][j]
		b := float64(h*p.rates[k][j]) - d
		c := d - float64(h*p.rates[k+1][j]) - b
		inner := c + float64((1-x)*p.mids[k][j])
		y[j] = y0 + float64(x*(d+float64((1-x)*(b+float64(x*inner)))))
	}
}
