package balance

import (
	"math"

	"spinledger/stages/kit/numeric"
)

// Moment is the first moment of a passage's balance.
type Moment struct {
	// Miss is what is left of the equation at a lag, N·m·s²; 0 at the true one.
	Miss float64
	// Slope is ∂Miss/∂τ, N·m·s.
	Slope float64
	// Square is ∫ u² dt, s³: times the torque's noise density it is the variance of Miss.
	Square float64
}

// Moment weighs the balance of passage f with the time from its centre t̄:
// with u = w·(t − t̄),
//
//	∫ u·T(t+τ) dt = −J·∫ u′·ω dt + ∫ u·(L + z) dt
//
// where J is the passage's own, and z the line through the zeros that its two
// plateaus show (so that drift, and the level of the load, drop out). The torque's
// centre in time must be the acceleration's. A ringing fixture moves that centre by
// its delay for slow changes, 2ζ/ω_f, and by nothing else, whereas the best
// overlap of two curves is drawn towards the first swings of the ringing.
func (v *View) Moment(f Test, tau float64, l []float64) Moment {
	a, b := f.From, f.To
	wa, wb := v.MeanSpeed(a), v.MeanSpeed(b)
	dw, ref := wb-wa, (wb+wa)/2
	e := v.Integrate(f, tau, 0, l)
	if e.Zero == 0 || dw == 0 {
		return Moment{}
	}
	mid := e.Drift / e.Zero
	at, bt := (a.From+a.To)/2, (b.From+b.To)/2
	x := (mid - at) / (bt - at)
	za, zb := v.MeanTorque(a, tau)-v.mean(a, l), v.MeanTorque(b, tau)-v.mean(b, l)
	// A plateau that still creeps shows J·ω′ besides its zero; ∫ u dt being 0, only the line's value at t̄ enters J.
	sa, sb := v.slope(a), v.slope(b)
	j := (e.Y - e.Load - e.Zero*((1-x)*za+x*zb)) / (dw - e.Zero*((1-x)*sa+x*sb))
	za, zb = za-j*sa, zb-j*sb
	zero := func(t float64) float64 { return za + (zb-za)*(t-at)/(bt-at) }
	var m Moment
	from, to := f.Ends()
	lo, hi := span(v.TimeS, from+tau, to+tau)
	for i := lo; i < hi; i++ {
		t := v.TimeS[i] - tau
		w, x := f.At(t), v.TorqueNm[i]-zero(t)
		u := w * (t - mid)
		m.Miss += float64(u * x * v.DtS[i])
		m.Square += float64(u * u * v.DtS[i])
		m.Slope -= float64((w + f.turn(t)*(t-mid)) * x * v.DtS[i])
	}
	turn := 0.0
	lo, hi = span(v.SpeedTimeS, from, to)
	for i := lo; i < hi; i++ {
		t := v.SpeedTimeS[i]
		w := f.At(t)
		m.Miss -= float64(w * v.SpeedDtS[i] * (t - mid) * l[i])
		// The mean speed is taken out: ∫ u′ dt is zero, but its sum only nearly so.
		turn += float64((w + f.turn(t)*(t-mid)) * (v.SpeedRadPerS[i] - ref) * v.SpeedDtS[i])
	}
	m.Miss += float64(j * turn)
	return m
}

// turn is w′ of a passage.
func (f Test) turn(t float64) float64 { return f.From.Density(t) - f.To.Density(t) }

// mean is the window's mean of a column on the speed's clock.
func (v *View) mean(w Window, x []float64) float64 { return weighted(v.SpeedTimeS, v.SpeedDtS, x, w) }

// Centre finds the lag at which the moments of all passages vanish, weighted by
// what each says of it, starting from tau. noise is the torque's noise density
// in (N·m)²·s, from which u is found. ok is false where it does not settle within
// reach of the start: with no torque to speak of in any passage, say.
func (v *View) Centre(passages []Test, tau, reach, noise float64, l []float64) (lag, u float64, ok bool) {
	lag = tau
	for range 8 {
		num, den := 0.0, 0.0
		for _, f := range passages {
			m := v.Moment(f, lag, l)
			if m.Square == 0 {
				continue
			}
			num += m.Slope * m.Miss / m.Square
			den += m.Slope * m.Slope / m.Square
		}
		if !(den > 0) || math.IsNaN(num) {
			return 0, 0, false
		}
		step := -num / den
		lag += step
		u = math.Sqrt(noise / den)
		if math.Abs(lag-tau) > reach {
			return 0, 0, false
		}
		if math.Abs(step) < 1e-7 {
			return lag, u, true
		}
	}
	return 0, 0, false
}

// TorqueNoise is the larger low-frequency noise density of the torque in the
// windows, (N·m)²·s: variance of the mean times its length, by batch means.
func (v *View) TorqueNoise(windows ...Window) float64 {
	worst := 0.0
	for _, w := range windows {
		lo, hi := span(v.TimeS, w.From, w.To)
		if hi-lo < 8 {
			continue
		}
		if se, dof := numeric.BatchSE(v.TorqueNm[lo:hi]); dof > 0 {
			worst = math.Max(worst, float64(se*se*(w.To-w.From)))
		}
	}
	return worst
}
