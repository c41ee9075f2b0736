package torque

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// ChooseInput is all evidence of one job.
type ChooseInput struct {
	Job      string          `json:"job"`
	Evidence []spin.Evidence `json:"evidence"`
}

// Choose pools the lag of each session and offers every run its torque
// sources. Recorded torque is chosen where it is usable, because it alone is
// seen by the sensor in the same instant; then the cold curve, the current
// law, and last a sweep that shows no heat. A source demanded by the job file is taken
// even when it is not usable, so that the fault shows where the demand was made.
func Choose(in ChooseInput, opt Options) (spin.Choice, error) {
	var out spin.Choice
	out.Lags = poolLags(in)
	out.Law = fitLaw(in)
	out.Sweeps = judgeSweeps(in, opt)
	out.Added = addedBodies(in, opt)
	for _, e := range in.Evidence {
		for _, r := range e.Runs {
			c := spin.RunChoice{Recording: e.Recording, Run: r.Run, Demanded: e.Demanded, Chosen: -1}
			c.Sources = []spin.TorqueSource{
				recorded(e), coldCurve(in, e, r, opt), sweepCurve(in, out.Sweeps, r, opt), currentLaw(out.Law, e),
			}
			c.Chosen = pickSource(c)
			out.Runs = append(out.Runs, c)
		}
	}
	return out, nil
}

// pickSource is the demanded source if any, else the first usable in the order of trust.
func pickSource(c spin.RunChoice) int {
	order := []string{spin.Recorded, spin.ColdCurve, spin.FromCurrent, spin.SweepCurve}
	if c.Demanded != "" {
		order = []string{c.Demanded}
	}
	for _, kind := range order {
		for i, s := range c.Sources {
			if s.Kind == kind && (s.Usable || (c.Demanded == kind && (len(s.Coef) > 0 || kind == spin.Recorded))) {
				return i
			}
		}
	}
	return -1
}

// lagFloorS is what no spread of runs shows: the fixture's own delay is the
// same in all of them, and linear interpolation inside a sample (0.02 ms at 2 kHz with a
// tenth of a sample).
const lagFloorS = 2e-5

// A propeller's inflow lags the blades, which moves the torque's centre as a late
// channel would: by f·k·c/J·c/ω, up to 0.2 ms. Runs whose load rises by less than
// lightLoad of the mean torque show the channels' lag by itself; where there are none
// the others serve with loadedLagS besides.
const (
	lightLoad  = 0.05
	loadedLagS = 1e-4
)

// lagOfRun is one run's word on the lag.
type lagOfRun struct {
	rotor  string
	lag, u float64
}

// poolLags is the median lag of each session with the robust scatter of its
// runs, and no less than the scatter of the rotors' own medians.
func poolLags(in ChooseInput) []spin.Lag {
	light, loaded, sessions := map[string][]lagOfRun{}, map[string][]lagOfRun{}, map[string]bool{}
	for _, e := range in.Evidence {
		sessions[e.Session] = true
		for _, r := range e.Runs {
			switch {
			case !e.Recorded || !r.LagFound:
			case r.LoadRel < lightLoad:
				light[e.Session] = append(light[e.Session], lagOfRun{e.Rotor, r.LagS, r.LagU})
			default:
				loaded[e.Session] = append(loaded[e.Session], lagOfRun{e.Rotor, r.LagS, r.LagU})
			}
		}
	}
	var out []spin.Lag
	for _, name := range slices.Sorted(maps.Keys(sessions)) {
		runs, extra := light[name], 0.0
		if len(runs) == 0 {
			runs, extra = loaded[name], loadedLagS
		}
		out = append(out, poolLag(name, in.Job+"/session:"+name+"/lag", runs, extra))
	}
	return out
}

func poolLag(session, source string, runs []lagOfRun, extra float64) spin.Lag {
	if len(runs) == 0 {
		// Nothing was found: filters of bench loggers delay by up to some milliseconds (common practice, no source).
		return spin.Lag{Session: session, TauS: uncertain.New(0, 0.001, 0, source)}
	}
	// A rotor that places the lag three times worse than the best only adds noise.
	us := map[string][]float64{}
	for _, f := range runs {
		us[f.rotor] = append(us[f.rotor], f.u)
	}
	sharpest := math.Inf(1)
	for _, rotor := range slices.Sorted(maps.Keys(us)) {
		sharpest = math.Min(sharpest, numeric.Median(us[rotor]))
	}
	var all []float64
	own := map[string][]float64{}
	for _, f := range runs {
		if numeric.Median(us[f.rotor]) <= 3*sharpest {
			all, own[f.rotor] = append(all, f.lag), append(own[f.rotor], f.lag)
		}
	}
	var medians []float64
	for _, rotor := range slices.Sorted(maps.Keys(own)) {
		medians = append(medians, numeric.Median(own[rotor]))
	}
	l := spin.Lag{Session: session, Runs: len(all), SpreadS: numeric.MAD(all)}
	u := 1.2533 * l.SpreadS / math.Sqrt(float64(len(all)))
	if len(all) == 1 {
		u = 2e-4
	}
	if len(medians) > 1 {
		u = math.Max(u, math.Sqrt(numeric.Variance(medians)/float64(len(medians))))
	}
	l.TauS = uncertain.New(numeric.Median(all), math.Sqrt(u*u+lagFloorS*lagFloorS+extra*extra), 0, source)
	return l
}

func recorded(e spin.Evidence) spin.TorqueSource {
	s := spin.TorqueSource{Kind: spin.Recorded, From: []string{e.Recording}, Scale: e.Scale, Usable: e.Recorded}
	if e.Recorded {
		s.For = []string{"torque recorded in the run itself"}
	} else {
		s.But = []string{"the recording has no torque channel, or the job file sets it aside"}
	}
	return s
}

// coldCurve fits torque over speed, a quadratic in ω, to the bins of steps at
// the run's duty and supply that belong to other mountings.
func coldCurve(in ChooseInput, own spin.Evidence, run spin.RunEvidence, opt Options) spin.TorqueSource {
	s := spin.TorqueSource{Kind: spin.ColdCurve, Scale: own.Scale}
	var bins []spin.Bin
	for _, e := range in.Evidence {
		if !e.Recorded || e.Mounting == own.Mounting {
			continue
		}
		used := false
		for _, r := range e.Runs {
			if same(r.Duty, r.SupplyV, run.Duty, run.SupplyV, opt) {
				bins = append(bins, r.Bins...)
				used = used || len(r.Bins) > 0
			}
		}
		if used {
			s.From = append(s.From, e.Recording)
			s.Scale = e.Scale
		}
	}
	if len(s.From) == 0 {
		s.But = []string{fmt.Sprintf("no step of another mounting at duty %.3g and %.4g V", run.Duty, run.SupplyV)}
		return s
	}
	s = fitCurve(s, bins)
	if s.Usable && s.RelU > curveLimitRel {
		s.Usable = false
		s.But = append(s.But, fmt.Sprintf("the curve is known to %.2g %% only, at most %.2g %%: the rises that it comes from are too short beside fixture and inductance; a step of a slower rotor would do", 100*s.RelU, 100*curveLimitRel))
	}
	return s
}

// curveLimitRel of the largest torque is how well a cold curve must be known to serve as
// a source: an inertia from it is off by as much.
const curveLimitRel = 0.02

func same(d1, v1, d2, v2 float64, opt Options) bool {
	return spin.SameSetting(d1, v1, d2, v2, opt.SameDuty, opt.SameSupplyRel)
}

// binFloorRel of the largest torque is added to each bin's own standard error:
// what a quadratic leaves of a torque curve.
const binFloorRel = 0.003

// fitCurve fits T = Σ cᵢ·(ω/ω₀)^i, i ≤ 2, by least squares weighted with the
// bins' own scatter, so that a fast rotor whose fixture rings through its rise says little.
func fitCurve(s spin.TorqueSource, bins []spin.Bin) spin.TorqueSource {
	if len(bins) < 6 {
		s.But = append(s.But, fmt.Sprintf("%d bins of torque over speed; six are needed", len(bins)))
		return s
	}
	s.LowRadPerS = math.Inf(1)
	top := 0.0
	for _, b := range bins {
		s.LowRadPerS, s.HighRadPerS = math.Min(s.LowRadPerS, b.SpeedRadPerS), math.Max(s.HighRadPerS, b.SpeedRadPerS)
		top = math.Max(top, b.TorqueNm)
	}
	if top <= 0 {
		s.But = append(s.But, "the torque is nowhere positive: look at its sign")
		return s
	}
	s.RefRadPerS = s.HighRadPerS
	a := numeric.NewMatrix(len(bins), 3)
	y, w := make([]float64, len(bins)), make([]float64, len(bins))
	for i, b := range bins {
		x := b.SpeedRadPerS / s.RefRadPerS
		copy(a.Row(i), []float64{1, x, x * x})
		y[i], w[i] = b.TorqueNm, 1/(b.SE*b.SE+binFloorRel*binFloorRel*top*top)
	}
	sol, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		s.But = append(s.But, "the bins lie at too few speeds for a curve")
		return s
	}
	s.Coef = sol.Coef
	// What the bins of one run share does not show as misfit: their own uncertainty, by weight.
	own := 0.0
	for i, b := range bins {
		own += float64(w[i] * b.SE * b.SE)
	}
	s.RelU = math.Sqrt((sol.RSS+own)/numeric.Sum(w)) / top
	s.For = append(s.For, fmt.Sprintf("%d bins, %.4g to %.4g rad/s, known to %.2g %% of the largest torque", len(bins), s.LowRadPerS, s.HighRadPerS, 100*s.RelU))
	s.Usable = true
	return s
}

// fitLaw ties torque to phase current, and drive voltage to speed, over all
// settled levels of a job. It needs levels that differ threefold in torque.
func fitLaw(in ChooseInput) *spin.CurrentLaw {
	var pts []spin.OperatingPoint
	for _, e := range in.Evidence {
		pts = append(pts, e.Levels...)
	}
	low, top, ref := math.Inf(1), 0.0, 0.0
	for _, p := range pts {
		low, top, ref = math.Min(low, p.PhaseA), math.Max(top, p.PhaseA), math.Max(ref, p.SpeedRadPerS)
	}
	if len(pts) < 6 || !(top > 3*low) || top <= 0 {
		return nil
	}
	n := len(pts)
	a, b := numeric.NewMatrix(n, 3), numeric.NewMatrix(n, 2)
	y, v := make([]float64, n), make([]float64, n)
	peak := 0.0
	for i, p := range pts {
		copy(a.Row(i), []float64{p.PhaseA, -1, -p.SpeedRadPerS / ref})
		copy(b.Row(i), []float64{p.SpeedRadPerS, p.PhaseA})
		y[i], v[i] = p.TorqueNm, p.DriveV
		peak = math.Max(peak, p.TorqueNm)
	}
	t, err1 := numeric.LeastSquares(a, y, nil)
	e, err2 := numeric.LeastSquares(b, v, nil)
	if err1 != nil || err2 != nil || t.Coef[0] <= 0 || e.Coef[0] <= 0 || peak <= 0 {
		return nil
	}
	rel := func(s numeric.Solution, j int) float64 {
		return math.Sqrt(s.Cov.At(j, j) * s.RSS / float64(s.DoF))
	}
	dof := func(s numeric.Solution) float64 { return float64(s.DoF) }
	return &spin.CurrentLaw{
		KtNmPerA: uncertain.New(t.Coef[0], rel(t, 0), dof(t), in.Job+"/law/kt"),
		KeVs:     uncertain.New(e.Coef[0], rel(e, 0), dof(e), in.Job+"/law/ke"),
		ROhm:     uncertain.New(e.Coef[1], rel(e, 1), dof(e), in.Job+"/law/r"),
		Coef:     t.Coef, RefRadPerS: ref, Levels: n,
		RelRMS: math.Sqrt(t.RSS/float64(n)) / peak,
	}
}

// lawLimitRel is the misfit, relative to the largest torque, beyond which the
// current law is no source: saturation or a wrong duty bends it.
const lawLimitRel = 0.02

func currentLaw(l *spin.CurrentLaw, e spin.Evidence) spin.TorqueSource {
	s := spin.TorqueSource{Kind: spin.FromCurrent, Scale: e.Scale}
	switch {
	case l == nil:
		s.But = []string{"no settled levels with current, duty and voltage that differ threefold in current"}
	case len(e.Levels) == 0:
		s.But = []string{"this recording has no current, duty or voltage channel"}
	default:
		s.Coef, s.RefRadPerS, s.RelU = l.Coef, l.RefRadPerS, l.RelRMS
		s.HighRadPerS = l.RefRadPerS
		s.For = []string{fmt.Sprintf("%d levels, misfit %.2g %% of the largest torque", l.Levels, 100*l.RelRMS)}
		s.Usable = l.RelRMS <= lawLimitRel
		if !s.Usable {
			s.But = []string{fmt.Sprintf("the levels miss the law by %.2g %%, more than %.2g %%", 100*l.RelRMS, 100*lawLimitRel)}
		}
	}
	return s
}
