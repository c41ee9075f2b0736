package fit

import (
	"fmt"
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// fromCurve is the balance of a run with torque read from a curve over speed.
// It starts in a window between 15 % and 35 % of the rise, where the duty has
// reached its value, and ends in one between 78 % and 92 %: nearer to B the torque
// left over is a small difference of curve and load, and a plateau many rise
// times long would multiply its error. Extrapolating the curve by more than 3 % is refused.
func fromCurve(f *spin.RunFit, in Input, run spin.Run, v *balance.View, s spin.TorqueSource, opt Options) error {
	p := &stepProblem{in: in, run: run, opt: opt, v: v.Keep(), load: balance.Loads(v, in.Curve)}
	seg := in.Recording.Segments
	p.a, p.b = clampWindow(seg[run.A], opt.PlateauS, true), clampWindow(seg[run.B], opt.PlateauS, false)
	from := balance.Window{From: p.crossing(0.15), To: p.crossing(0.35)}
	if from.To-from.From < 3*in.Recording.StepS {
		from.To = from.From + 3*in.Recording.StepS
	}
	to := balance.Window{From: p.crossing(0.78), To: p.crossing(0.92)}
	if to.To-to.From < 3*in.Recording.StepS {
		to.To = to.From + 3*in.Recording.StepS
	}
	if from.To > to.From {
		return fmt.Errorf("the rise is too short for a window at either end")
	}
	lowest, highest := v.MeanSpeed(from), v.MeanSpeed(to)
	slack := 0.03 * (s.HighRadPerS - s.LowRadPerS)
	if math.IsNaN(lowest) || lowest < s.LowRadPerS-slack-0.1*lowest || highest > s.HighRadPerS+slack+0.03*highest {
		return fmt.Errorf("the run goes from %.4g to %.4g rad/s, the %s curve from %.4g to %.4g", lowest, highest, s.Kind, s.LowRadPerS, s.HighRadPerS)
	}
	net, impulse := 0.0, 0.0
	t := balance.Test{From: from, To: to, Passage: true}
	for i, at := range v.SpeedTimeS {
		w := t.At(at) * v.SpeedDtS[i]
		if w == 0 {
			continue
		}
		torque := s.At(v.SpeedRadPerS[i])
		net += float64(w * (torque - p.load[i]))
		impulse += float64(w * torque)
	}
	dw := highest - lowest
	if !(dw > 0) {
		return fmt.Errorf("the speed does not rise between the windows")
	}
	j := net / dw
	f.IdleRadPerS, f.SettledRadPerS = lowest, highest
	f.Plateaus = 2
	f.LoadFactor = 1
	// A curve wrong by RelU of its torque everywhere moves J by that share of the torque's impulse; so does the
	// current's lag, which slower rises have hardly shown, by its share of this one's time constant.
	late := spin.InductanceU * math.Log(9) / math.Max(run.RiseS, in.Recording.StepS)
	// And the time between the windows is known to how the speed's readings are dated at either end.
	between := (to.From + to.To - from.From - from.To) / 2
	dates := datedU(&in.Recording, lowest) * math.Sqrt2 / between
	u := math.Hypot(opt.CurveDoubtRel*math.Abs(j), math.Hypot(math.Hypot(s.RelU, late), dates)*math.Abs(impulse)/dw)
	f.RandomU = math.Abs(j) * 0.002
	f.JKgM2 = uncertain.New(j, u, 0, sourceName(*f, s)).Add(s.Scale.Sub(uncertain.Exact(s.Scale.Mean)).Scale(j))
	return nil
}

// datedU is the standard uncertainty of a speed reading's date, s: anywhere within a sample, and where it is the last whole
// period, within half a period about its middle as the speed changes.
func datedU(r *spin.Recording, speed float64) float64 {
	width := r.StepS
	if r.SpeedTiming == "period" && r.EdgesPerTurn > 0 && speed > 0 {
		width += math.Pi / (r.EdgesPerTurn * speed)
	}
	return width / math.Sqrt(12)
}

// coast is the balance of a run-down: zero from the rest after it.
func (o *Output) coast(in Input, run spin.Run, opt Options) {
	r := &in.Recording
	if r.Samples.TorqueNm == nil || !r.Declared.TorqueUsable {
		o.refuse(r, run.ID, "no-source", "a run-down needs its own recorded torque", 0, 0)
		return
	}
	if run.C < 0 {
		return // ingest has said why
	}
	v := balance.OfRun(r, run)
	f := describe(in, run, spin.Recorded, opt)
	f.Chosen = true
	down := r.Segments[run.B]
	rest := balance.Window{From: r.Segments[run.C].FromS, To: r.Segments[run.C].ToS}
	span := down.ToS - down.FromS
	// Without a plateau the first tenth of the fall starts the passage.
	start := balance.Window{From: down.FromS, To: down.FromS + 0.1*span}
	if run.A >= 0 {
		start = clampWindow(r.Segments[run.A], opt.PlateauS, true)
	}
	end := balance.Window{From: down.ToS - 0.08*span, To: down.ToS}
	load := balance.Loads(v, in.Curve)
	balanced := func(v *balance.View, tau float64, load []float64) (j, zero float64) {
		zero = v.MeanTorque(rest, tau)
		e := v.Integrate(balance.Test{From: start, To: end, Passage: true}, tau, rest.From, load)
		return (e.Y - e.Load - zero*e.Zero) / e.Momentum, zero
	}
	solve := func(tau float64, load []float64) (j, zero float64) { return balanced(v, tau, load) }
	j, zero := solve(in.Lag.TauS.Mean, load)
	if !(j > 0) {
		text := fmt.Sprintf("the run-down gives an inertia of %.4g kg·m²", j)
		if run.A >= 0 {
			tau := in.Lag.TauS.Mean
			text += fmt.Sprintf("; the zero that its plateau shows stands %.3g mN·m off that of the rest after it: a zero that drifts, or friction between motor and ground",
				1e3*(v.MeanTorque(start, tau)-in.Curve.At(v.MeanSpeed(start))-zero))
		}
		o.refuse(r, run.ID, "no-fit", text, 0, 0)
		return
	}
	f.ZeroNm, f.LoadFactor, f.Plateaus, f.LagS = zero, 1, 2, in.Lag.TauS.Mean
	f.IdleRadPerS, f.SettledRadPerS = v.MeanSpeed(end), v.MeanSpeed(start)
	f.LoadCoefNmS2 = in.Curve.At(f.SettledRadPerS) / (f.SettledRadPerS * f.SettledRadPerS)
	f.RandomU = coastNoise(v, rest, start, end, f)
	if run.A >= 0 {
		// A zero that moved between the plateau and the rest acts over the whole
		// fall; the gap bounds it, rectangular, load curve taken as given.
		gap := v.MeanTorque(start, f.LagS) - in.Curve.At(f.SettledRadPerS) - zero
		fall := (end.From+end.To)/2 - (start.From+start.To)/2
		f.ZeroGapNm = gap
		f.RandomU = math.Hypot(f.RandomU, math.Abs(gap)/math.Sqrt(3)*fall/math.Abs(f.SettledRadPerS-f.IdleRadPerS))
	}
	f.JKgM2 = coastParts(in, f, j, load, v, solve, opt)
	if skew := skewed(r, v, rest, start, f.LagS); skew != nil {
		slope, _ := balanced(skew, f.LagS, make([]float64, v.Len()))
		f.JKgM2 = crosstalk(f.JKgM2, r, slope)
	}
	f.JKgM2 = clocked(f.JKgM2, r)
	o.Fits = append(o.Fits, f)
}

// coastNoise is u(J) from the noise of the zero, which acts over the whole fall.
func coastNoise(v *balance.View, rest, start, end balance.Window, f spin.RunFit) float64 {
	lo, hi := indexOf(v.TimeS, rest.From), indexOf(v.TimeS, rest.To)
	if hi-lo < 8 {
		return 0
	}
	se, _ := numeric.BatchSE(v.TorqueNm[lo:hi])
	fall := (end.From+end.To)/2 - (start.From+start.To)/2
	dw := math.Abs(f.SettledRadPerS - f.IdleRadPerS)
	density := noiseDensity(v.TorqueNm[lo:hi], rest.To-rest.From)
	return math.Hypot(se*fall, math.Sqrt(density*fall)) / dw
}

// coastParts are the shared causes: lag, load shape and factor, torque scale.
func coastParts(in Input, f spin.RunFit, j float64, load []float64, v *balance.View, solve func(float64, []float64) (float64, float64), opt Options) uncertain.Value {
	out := uncertain.Exact(j)
	for _, part := range in.Lag.TauS.Parts {
		up, _ := solve(in.Lag.TauS.Mean+1e-4, load)
		down, _ := solve(in.Lag.TauS.Mean-1e-4, load)
		part.Contribution *= (up - down) / 2e-4
		out = out.With(part)
	}
	for _, source := range loadSources(in.Curve) {
		curve := in.Curve.Moved(source, 1)
		moved, _ := solve(in.Lag.TauS.Mean, balance.Loads(v, &curve))
		out = out.With(uncertain.Part{Source: source, Contribution: moved - j, DoF: dofOf(in.Curve, source)})
	}
	scaled := make([]float64, len(load))
	for i, l := range load {
		scaled[i] = 1.01 * l
	}
	more, _ := solve(in.Lag.TauS.Mean, scaled)
	out = out.With(uncertain.Part{
		Source: f.Job + "/rotor:" + f.Rotor + "/load-factor", Contribution: (more - j) / 0.01 * opt.LoadPriorRel,
	})
	s := in.Recording.TorqueScale
	return out.Add(s.Sub(uncertain.Exact(s.Mean)).Scale(j))
}
