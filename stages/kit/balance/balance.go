// Package balance is the momentum balance of a run in weak form.
//
// The sensor reads T(t+τ) = J·dω/dt + λ·L(ω) + z₀ + z₁·(t − t₀). Multiplied by
// a smooth test function w(t) that vanishes at both ends, and integrated by
// parts, the derivative of the speed disappears:
//
//	∫ w·T(t+τ) dt = −J·∫ w′·ω dt + λ·∫ w·L(ω) dt + z₀·∫ w dt + z₁·∫ w·(t − t₀) dt
//
// (weak or modulating-function form: Shinbrot, On the analysis of linear and
// nonlinear systems, Trans. ASME 79 (1957) 547). Fixture ringing, latency and
// noise enter through integrals only, and no speed is ever differentiated.
//
// Two kinds of test function are used. With h_A, h_B windows of unit area on
// two plateaus,
//
//	w = h_A                  reads zero and load on plateau A,
//	w = ∫ (h_A − h_B) dt     rises over A, is 1 in between, falls over B: then
//	                         −∫ w′ω dt = ⟨ω⟩_B − ⟨ω⟩_A, and the equation is the
//	                         momentum balance from plateau to plateau.
//
// Windows are tapered (cosine over a quarter of their length at either end),
// so that ringing and ripple are averaged away rather than cut through.
package balance

import (
	"math"
	"slices"

	"spinledger/stages/kit/series"
)

// Window is a tapered window of unit area over From ≤ t ≤ To, in s.
type Window struct{ From, To float64 }

// taper is the share of the window that each cosine flank takes.
const taper = 0.25

// Density is h(t) in 1/s: flat in the middle, raised-cosine flanks (Tukey 1967), unit area.
func (w Window) Density(t float64) float64 {
	l := w.To - w.From
	x := (t - w.From) / l
	if x <= 0 || x >= 1 {
		return 0
	}
	x = math.Min(x, 1-x)
	h := 1 / (l * (1 - taper))
	if x >= taper {
		return h
	}
	return h * (1 - math.Cos(math.Pi*x/taper)) / 2
}

// Share is ∫ h dt from From to t: 0 before, 1 after.
func (w Window) Share(t float64) float64 {
	x := (t - w.From) / (w.To - w.From)
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case x > 0.5:
		return 1 - w.lower(1-x)
	}
	return w.lower(x)
}

// lower is the integral of the normalised window up to x ≤ ½.
func (w Window) lower(x float64) float64 {
	if x < taper {
		return (x - taper/math.Pi*math.Sin(math.Pi*x/taper)) / (2 * (1 - taper))
	}
	return (taper/2 + x - taper) / (1 - taper)
}

// derivative is h′(t) in 1/s².
func (w Window) derivative(t float64) float64 {
	l := w.To - w.From
	x, sign := (t-w.From)/l, 1.0
	if x > 0.5 {
		x, sign = 1-x, -1
	}
	if x <= 0 || x >= taper {
		return 0
	}
	return sign * math.Pi / (2 * taper * l * l * (1 - taper)) * math.Sin(math.Pi*x/taper)
}

// Roughness is ∫ h′² dt in 1/s³: the noise of −∫ h′ω dt per noise density of the speed.
func (w Window) Roughness() float64 {
	l := w.To - w.From
	return math.Pi * math.Pi / (4 * taper * l * l * l * (1 - taper) * (1 - taper))
}

// View is a stretch of a recording prepared for balances: each sample with its
// share of time, the speed dated where it belongs.
type View struct {
	// TimeS and DtS: stamp and trapezoidal share of time of each torque sample.
	TimeS, DtS []float64
	// SpeedTimeS and SpeedDtS are those of the speed: a reading taken from the
	// last whole period is one period old on average (half a period from its
	// middle to its end, half a period of age).
	SpeedTimeS, SpeedDtS []float64
	SpeedRadPerS         []float64
	TorqueNm             []float64
	CurrentA, Duty       []float64
	VoltageV, ThrustN    []float64
}

// maxPeriodS bounds the period by which a speed is dated back: a slower edge
// rate is a rotor at rest, whose reading has no date.
const maxPeriodS = 0.010

// NewView prepares samples from ≤ i < to. edges is the number of period edges
// in a turn when readings are whole periods, 0 when they are instantaneous.
func NewView(s *series.Samples, from, to int, edges float64) *View {
	v := &View{
		TimeS: s.TimeS[from:to], SpeedRadPerS: s.SpeedRadPerS[from:to],
		SpeedTimeS: s.TimeS[from:to],
	}
	for _, c := range []struct {
		have []float64
		to   *[]float64
	}{{s.TorqueNm, &v.TorqueNm}, {s.CurrentA, &v.CurrentA}, {s.Duty, &v.Duty}, {s.VoltageV, &v.VoltageV}, {s.ThrustN, &v.ThrustN}} {
		if c.have != nil {
			*c.to = c.have[from:to]
		}
	}
	if edges > 0 {
		v.SpeedTimeS = dated(v.TimeS, v.SpeedRadPerS, edges)
	}
	v.DtS = shares(v.TimeS)
	v.SpeedDtS = shares(v.SpeedTimeS)
	return v
}

// dated moves each stamp back by one period, keeping stamps in order.
func dated(t, w []float64, edges float64) []float64 {
	out := make([]float64, len(t))
	for i := range t {
		p := maxPeriodS
		if turn := 2 * math.Pi / (edges * math.Abs(w[i])); turn < p {
			p = turn
		}
		out[i] = t[i] - p
		if i > 0 && out[i] < out[i-1] {
			out[i] = out[i-1]
		}
	}
	return out
}

// shares are trapezoidal weights: half the distance between the neighbours.
func shares(t []float64) []float64 {
	n := len(t)
	out := make([]float64, n)
	for i := range out {
		lo, hi := max(i-1, 0), min(i+1, n-1)
		out[i] = (t[hi] - t[lo]) / 2
	}
	return out
}

// Len is the number of samples.
func (v *View) Len() int { return len(v.TimeS) }

// MeanSpeed is the window-weighted mean speed.
func (v *View) MeanSpeed(w Window) float64 {
	return weighted(v.SpeedTimeS, v.SpeedDtS, v.SpeedRadPerS, w)
}

// MeanTorque is the window-weighted mean torque, read τ later.
func (v *View) MeanTorque(w Window, tau float64) float64 {
	return weighted(v.TimeS, v.DtS, v.TorqueNm, Window{w.From + tau, w.To + tau})
}

// MeanThrust is the window-weighted mean thrust, read τ later.
func (v *View) MeanThrust(w Window, tau float64) float64 {
	return weighted(v.TimeS, v.DtS, v.ThrustN, Window{w.From + tau, w.To + tau})
}

// Passes is when the speed last rises through w between two times, by a straight
// line between samples, and whether it does.
func (v *View) Passes(w, from, to float64) (t float64, ok bool) {
	lo, hi := span(v.SpeedTimeS, from, to)
	for i := hi - 1; i > lo; i-- {
		y0, y1 := v.SpeedRadPerS[i-1], v.SpeedRadPerS[i]
		if y0 < w && y1 >= w {
			return v.SpeedTimeS[i-1] + (w-y0)/(y1-y0)*(v.SpeedTimeS[i]-v.SpeedTimeS[i-1]), true
		}
	}
	return 0, false
}

func weighted(t, dt, x []float64, w Window) float64 {
	num, den := 0.0, 0.0
	lo, hi := span(t, w.From, w.To)
	for i := lo; i < hi; i++ {
		h := w.Density(t[i]) * dt[i]
		num += float64(h * x[i])
		den += h
	}
	if den == 0 {
		return math.NaN()
	}
	return num / den
}

// span is the index range with from ≤ t ≤ to in sorted stamps.
func span(t []float64, from, to float64) (lo, hi int) {
	return search(t, from), search(t, math.Nextafter(to, math.Inf(1)))
}

func search(t []float64, x float64) int {
	i, _ := slices.BinarySearch(t, x)
	return i
}

// near is search from a guess: on a clock of nearly even steps it is a step or two away.
func near(t []float64, x float64, guess int) int {
	const far = 64
	i := min(max(guess, 0), len(t))
	for tries := 0; tries < far; tries++ {
		switch {
		case i < len(t) && t[i] < x:
			i++
		case i > 0 && !(t[i-1] < x):
			i--
		default:
			return i
		}
	}
	return search(t, x)
}

// Test is a test function: a window on one plateau (To zero), or the passage
// from window From to window To.
type Test struct {
	From    Window
	To      Window
	Passage bool
}

// At is w(t): in 1/s for a plateau window, dimensionless for a passage.
func (f Test) At(t float64) float64 {
	if f.Passage {
		return f.From.Share(t) - f.To.Share(t)
	}
	return f.From.Density(t)
}

// Ends is the support of w.
func (f Test) Ends() (from, to float64) {
	if f.Passage {
		return f.From.From, f.To.To
	}
	return f.From.From, f.From.To
}

// Equation holds the integrals of one test function.
type Equation struct {
	// Y = ∫ w·T(t+τ) dt.
	Y float64
	// Momentum = −∫ w′·ω dt, the coefficient of J.
	Momentum float64
	// Load = ∫ w·L dt, Zero = ∫ w dt, Drift = ∫ w·(t − t₀) dt.
	Load, Zero, Drift float64
}

// Integrate forms the equation of test function f with lag tau, load l per
// sample (same length as the view) and drift origin t0. Plateau windows are
// normalised by their own discrete area.
func (v *View) Integrate(f Test, tau, t0 float64, l []float64) Equation {
	e, s := v.torqueSide(f, tau, t0), v.speedSide(f)
	e.Load, e.Momentum = s.load(f, l), s.momentum
	return e
}

// slope is −∫ h′·ω dt over the window, the mean of ω′ under h. The mean speed is
// taken out first: ∫ h′ dt is zero, but its discrete sum only nearly so.
func (v *View) slope(w Window) float64 {
	lo, hi := span(v.SpeedTimeS, w.From, w.To)
	mean, sum := v.MeanSpeed(w), 0.0
	for i := lo; i < hi; i++ {
		sum -= float64(w.derivative(v.SpeedTimeS[i]) * v.SpeedDtS[i] * (v.SpeedRadPerS[i] - mean))
	}
	return sum
}

// Overlap is ∫ w₁·w₂ dt over the torque's clock: times the noise density it is
// the covariance of two equations' torque integrals.
func (v *View) Overlap(a, b Test) float64 {
	af, at := a.Ends()
	bf, bt := b.Ends()
	lo, hi := span(v.TimeS, math.Max(af, bf), math.Min(at, bt))
	s := 0.0
	for i := lo; i < hi; i++ {
		s += float64(a.At(v.TimeS[i]) * b.At(v.TimeS[i]) * v.DtS[i])
	}
	return s
}

// Integral is ∫ h·h dt of a window: the noise of its mean per noise density.
func (w Window) Integral() float64 {
	// ∫ over flanks: 3/8 of their length each; over the middle: 1.
	l := w.To - w.From
	return (1 - 2*taper + 2*taper*3/8) / (l * (1 - taper) * (1 - taper))
}
