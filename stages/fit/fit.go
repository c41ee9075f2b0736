package fit

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/ringing"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Method changes whenever this stage's numbers can.
const Method = "fit/16"

// Input is one recording with what other stages know of it.
type Input struct {
	Recording spin.Recording `json:"recording"`
	// Curve is nil when the rotor's load is unknown: its runs are refused.
	Curve *spin.LoadCurve `json:"curve,omitempty"`
	Lag   spin.Lag        `json:"lag"`
	// Choices are the sources of this recording's runs.
	Choices []spin.RunChoice `json:"choices"`
	// Propeller is true where the rotor carries one: its inflow lags the blades.
	Propeller bool `json:"propeller,omitempty"`

	// ringHz at which the fixture is seen to ring, 0 where it is not.
	ringHz float64
}

// Options of the stage.
type Options struct {
	// LoadPriorRel is how well a load curve holds in another recording:
	// air density 2 % from day to day, clearances, temperature.
	LoadPriorRel float64 `json:"load_prior_rel"`
	// DriftPriorRelPerS is the torque zero's drift in peak torques per second
	// that has to be expected where nothing in the run shows it.
	DriftPriorRelPerS float64 `json:"drift_prior_rel_per_s"`
	// MaxAliasing refuses a run whose even and odd samples disagree by more.
	MaxAliasing float64 `json:"max_aliasing"`
	// MinSamplesInRise refuses a point-sampled rise with fewer samples.
	MinSamplesInRise float64 `json:"min_samples_in_rise"`
	// MaxSpikes refuses a run in whose rise more torque spikes have to be expected.
	MaxSpikes float64 `json:"max_spikes"`
	// PlateauS bounds the stretch of a plateau that is used, nearest the transient.
	PlateauS float64 `json:"plateau_s"`
	// CurveDoubtRel is the relative standard uncertainty of an inertia from a
	// torque curve besides its scatter: what heating inside a step and
	// commutation and few samples in the rise leave (0.5 to 5 % on simulated benches).
	CurveDoubtRel float64 `json:"curve_doubt_rel"`
	// Inflow of propellers.
	Inflow spin.Inflow `json:"inflow"`
}

// DefaultOptions are the documented defaults. The aliasing limit and the
// five samples a rise are measured: 100 Hz point sampling of a 12 ms rise is
// 20 to 100 % off while nothing else looks wrong.
func DefaultOptions() Options {
	return Options{
		LoadPriorRel: 0.03, DriftPriorRelPerS: 0.01,
		MaxAliasing: 0.04, MinSamplesInRise: 5, MaxSpikes: 0.05, PlateauS: 0.8, CurveDoubtRel: 0.02,
		Inflow: spin.UsualInflow(),
	}
}

// Output of one recording.
type Output struct {
	Fits     []spin.RunFit  `json:"fits,omitempty"`
	Refusals []spin.Refusal `json:"refusals,omitempty"`
	Warnings []spin.Warning `json:"warnings,omitempty"`
}

// Run fits every run of one recording with every usable source, and with the
// demanded one even where it is not usable. Recording.Samples must be set.
func Run(in Input, opt Options) (Output, error) {
	r := &in.Recording
	if r.Samples == nil {
		return Output{}, fmt.Errorf("fit: recording %s has no samples", r.Declared.ID())
	}
	var out Output
	if in.Curve == nil {
		if len(r.Runs) > 0 {
			out.refuse(r, r.Runs[0].ID, "no-load-curve", "the load of rotor "+r.Declared.Rotor.ID+" is not known: record it steady, or declare a form", 0, 0)
		}
		return out, nil
	}
	// Of a converter that is slower than the logger it is the steps of its values that would ring.
	if r.Samples.TorqueNm != nil && r.TorqueRenewedS == 0 {
		in.ringHz, _ = ringing.Find(r)
	}
	for _, run := range r.Runs {
		if run.B < 0 {
			continue
		}
		switch run.Kind {
		case spin.Step:
			out.step(in, run, opt)
		case spin.Coast:
			out.coast(in, run, opt)
		}
	}
	for i := range out.Fits {
		out.Fits[i].RingHz = in.ringHz
	}
	return out, nil
}

func (o *Output) refuse(r *spin.Recording, run, code, text string, value, limit float64) {
	o.Refusals = append(o.Refusals, spin.Refusal{
		Stage: "fit", Code: code, Subject: r.Declared.Job + "/" + run, Text: text, Rotor: r.Declared.Rotor.ID, Value: value, Limit: limit,
	})
}

func (o *Output) step(in Input, run spin.Run, opt Options) {
	r := &in.Recording
	c := choiceOf(in.Choices, run.ID)
	if c == nil || c.Chosen < 0 {
		o.refuse(r, run.ID, "no-source", "no usable torque source: "+reasons(c), 0, 0)
		return
	}
	if why := tooCoarse(r, run, opt); why != "" {
		o.refuse(r, run.ID, "aliasing", why, 0, 0)
		return
	}
	if n := spikesInRise(r, run); n > opt.MaxSpikes && c.Sources[c.Chosen].Kind == spin.Recorded {
		o.refuse(r, run.ID, "torque-spikes", fmt.Sprintf(
			"by the share of spikes on its plateaus %.2g of them have to be expected in the rise, where they cannot be told from a ringing fixture and each adds its height times a sampling interval to the momentum; at most %.2g: look for a loose contact, or a cable beside the motor's",
			n, opt.MaxSpikes), n, opt.MaxSpikes)
		return
	}
	for i, s := range c.Sources {
		if !s.Usable && i != c.Chosen {
			continue
		}
		f, err := fromSource(in, run, s, opt)
		if err != nil {
			if i == c.Chosen {
				o.refuse(r, run.ID, "no-fit", err.Error(), 0, 0)
			}
			continue
		}
		f.Chosen = i == c.Chosen
		if s.Kind == spin.Recorded && r.Converter != "mean" && f.Aliasing > opt.MaxAliasing {
			o.refuse(r, run.ID, "aliasing", fmt.Sprintf(
				"even and odd samples give inertias %.2g %% apart (half the difference); more than %.2g %% means that the transient falls between the samples; log faster, or use a slower throttle ramp",
				100*f.Aliasing, 100*opt.MaxAliasing), f.Aliasing, opt.MaxAliasing)
			continue
		}
		o.coarse(r, f)
		o.otherLoad(r, f)
		o.Fits = append(o.Fits, f)
	}
}

// warnOnce files a warning of a recording unless one of the same code stands there.
func (o *Output) warnOnce(r *spin.Recording, code, format string, args ...any) {
	if slices.ContainsFunc(o.Warnings, func(w spin.Warning) bool { return w.Code == code }) {
		return
	}
	o.Warnings = append(o.Warnings, spin.Warning{Stage: "fit", Code: code, Subject: r.Declared.ID(), Text: fmt.Sprintf(format, args...)})
}

// otherLoadDoubts of a load curve's own doubt is where the load of the steps is another than that of the steady recording.
const otherLoadDoubts = 3

// otherLoad warns where the plateaus of steps show another load than the steady recording.
func (o *Output) otherLoad(r *spin.Recording, f spin.RunFit) {
	off := f.LoadFactor - 1
	if f.Source != spin.Recorded || f.Plateaus < 3 || math.Abs(off) < otherLoadDoubts*math.Max(f.LoadPriorRel, f.LoadFactorU) {
		return
	}
	o.warnOnce(r, "other-load", "the load that its plateaus show is %+.2g %% of the steady recording's off it: other air, another propeller or clearance; the steps' own load is used; record the rotor steady on the same day",
		100*off)
}

func choiceOf(all []spin.RunChoice, run string) *spin.RunChoice {
	for i := range all {
		if all[i].Run == run {
			return &all[i]
		}
	}
	return nil
}

func reasons(c *spin.RunChoice) string {
	if c == nil {
		return "the torque stage saw no evidence of this run"
	}
	text := ""
	for _, s := range c.Sources {
		for _, b := range s.But {
			if text != "" {
				text += "; "
			}
			text += s.Kind + ": " + b
		}
	}
	return text
}

// tooCoarse refuses a point-sampled rise with too few samples before anything is computed.
func tooCoarse(r *spin.Recording, run spin.Run, opt Options) string {
	if r.Converter == "mean" || run.SamplesInRise >= opt.MinSamplesInRise {
		return ""
	}
	return fmt.Sprintf("%.1f samples in the rise of %.3g ms at %.4g Hz; a %s-sampled torque needs at least %.0f: log faster, or use a throttle ramp of 50 to 100 ms",
		run.SamplesInRise, 1e3*run.RiseS, 1/math.Max(r.StepS, r.TorqueRenewedS), pointWord(r.Converter), opt.MinSamplesInRise)
}

// spikesInRise is the number of torque spikes of spin.SpikeRel of the run's range of torque to be expected in its rise, by their
// share on its plateaus.
func spikesInRise(r *spin.Recording, run spin.Run) float64 {
	t := r.Samples.TorqueNm
	if t == nil {
		return 0
	}
	spikes, n := 0, 0
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range t[r.Segments[run.A].From:r.Segments[run.B].To] {
		low, high = math.Min(low, x), math.Max(high, x)
	}
	for _, i := range []int{run.A, run.B, run.C} {
		if i < 0 {
			continue
		}
		_, x := r.TorqueValues(r.Segments[i])
		spikes += len(numeric.Spikes(x, spin.SpikeRel*(high-low)))
		n += len(x)
	}
	if n == 0 {
		return 0
	}
	return float64(spikes) / float64(n) * run.SamplesInRise
}

func pointWord(converter string) string {
	if converter == "unknown" {
		return "possibly point"
	}
	return converter
}

// fromSource fits one run with one source.
func fromSource(in Input, run spin.Run, s spin.TorqueSource, opt Options) (spin.RunFit, error) {
	r := &in.Recording
	v := balance.OfRun(r, run)
	f := describe(in, run, s.Kind, opt)
	switch s.Kind {
	case spin.Recorded:
		p := newStep(in, run, v, in.Lag.TauS.Mean, opt)
		if err := p.solve(); err != nil {
			return f, err
		}
		p.fill(&f)
		p.opinions(&f)
		f.ResolutionU, f.SpeedResolutionU = p.resolution(), p.speedResolution()
		share(&f, in, p, r.TorqueScale)
	case spin.FromCurrent:
		t, err := currentTorque(v, s)
		if err != nil {
			return f, err
		}
		v.TorqueNm = t
		p := newStep(in, run, v, 0, opt)
		if err := p.solve(); err != nil {
			return f, err
		}
		p.fill(&f)
		f.JKgM2 = uncertain.New(p.j, math.Abs(p.j)*math.Hypot(opt.CurveDoubtRel, s.RelU), 0, sourceName(f, s)).
			Add(s.Scale.Sub(uncertain.Exact(s.Scale.Mean)).Scale(p.j))
	default:
		if err := fromCurve(&f, in, run, v, s, opt); err != nil {
			return f, err
		}
	}
	f.JKgM2 = clocked(f.JKgM2, r)
	if !(f.JKgM2.Mean > 0) || math.IsInf(f.JKgM2.Mean, 0) {
		return f, fmt.Errorf("the balance gives an inertia of %.4g kg·m²: torque or speed has the wrong sign, or the load curve does not belong to this rotor", f.JKgM2.Mean)
	}
	return f, nil
}

func sourceName(f spin.RunFit, s spin.TorqueSource) string {
	return f.Job + "/source:" + s.Kind
}

// describe fills what does not depend on the fit.
func describe(in Input, run spin.Run, source string, opt Options) spin.RunFit {
	d := in.Recording.Declared
	return spin.RunFit{
		Job: d.Job, Recording: d.ID(), Run: run.ID, Kind: run.Kind, Rotor: d.Rotor.ID, Mounting: d.Mounting, Session: d.Session,
		Source: source, Excluded: run.Excluded, Duty: run.Duty, SupplyV: run.SupplyV,
		RiseS: run.RiseS, SamplesInRise: run.SamplesInRise, LoadPriorRel: opt.LoadPriorRel,
	}
}

// share turns the solution's sensitivities into named parts: lag (pooled over
// the session), shape and factor of the load, torque scale.
func share(f *spin.RunFit, in Input, p *stepProblem, scale uncertain.Value) {
	j := uncertain.Exact(p.j)
	for _, part := range in.Lag.TauS.Parts {
		// Central difference over one standard deviation, no less than 0.1 ms.
		h := math.Max(math.Abs(part.Contribution), 1e-4)
		up, err1 := p.moved(p.tau+h, p.load)
		down, err2 := p.moved(p.tau-h, p.load)
		if err1 == nil && err2 == nil {
			part.Contribution *= (up - down) / (2 * h)
			j = j.With(part)
		}
	}
	for _, source := range loadSources(in.Curve) {
		curve := in.Curve.Moved(source, 1)
		if moved, err := p.moved(p.tau, balance.Loads(p.v.View, &curve)); err == nil {
			j = j.With(uncertain.Part{Source: source, Contribution: moved - p.j, DoF: dofOf(in.Curve, source)})
		}
	}
	rotor := f.Job + "/rotor:" + f.Rotor
	j = j.With(uncertain.Part{Source: rotor + "/load-factor", Contribution: p.byPrior[0] * p.priorLambda})
	j = p.settled(f, j)
	j = crosstalk(j, &in.Recording, p.crosstalkSlope())
	if bent, ok := p.bent(); ok {
		j = j.With(bent)
	}
	f.JKgM2 = j.Add(scale.Sub(uncertain.Exact(scale.Mean)).Scale(p.j))
}

// loadSources are the distinct sources of a curve's coefficients, in order.
func loadSources(c *spin.LoadCurve) []string {
	var out []string
	seen := uncertain.Value{}
	for _, v := range c.Coef {
		seen = seen.With(absolute(v.Parts)...)
	}
	for _, p := range seen.Parts {
		out = append(out, p.Source)
	}
	return out
}

// absolute drops signs, so that contributions of one source to several coefficients cannot cancel.
func absolute(parts []uncertain.Part) []uncertain.Part {
	out := make([]uncertain.Part, len(parts))
	for i, p := range parts {
		p.Contribution = math.Abs(p.Contribution)
		out[i] = p
	}
	return out
}

func dofOf(c *spin.LoadCurve, source string) float64 {
	for _, v := range c.Coef {
		for _, p := range v.Parts {
			if p.Source == source {
				return p.DoF
			}
		}
	}
	return 0
}

// currentTorque evaluates the current law on every sample; duty below 2 %
// gives no phase current and is refused.
func currentTorque(v *balance.View, s spin.TorqueSource) ([]float64, error) {
	if v.CurrentA == nil || v.Duty == nil {
		return nil, fmt.Errorf("no current or duty channel")
	}
	out := make([]float64, v.Len())
	for i := range out {
		if v.Duty[i] < 0.02 {
			return nil, fmt.Errorf("duty falls to %.2g: phase current cannot be told from supply current", v.Duty[i])
		}
		out[i] = s.Coef[0]*v.CurrentA[i]/v.Duty[i] - s.Coef[1] - s.Coef[2]*v.SpeedRadPerS[i]/s.RefRadPerS
	}
	return out, nil
}

// clampWindow is the stretch of a plateau nearest the transient, no longer than PlateauS.
func clampWindow(seg spin.Segment, longest float64, end bool) balance.Window {
	w := balance.Window{From: seg.FromS, To: seg.ToS}
	if w.To-w.From > longest {
		if end {
			w.From = w.To - longest
		} else {
			w.To = w.From + longest
		}
	}
	return w
}

// noiseDensity is the low-frequency power density of a channel on a plateau: the variance of the means of its pieces times their length.
//
// Pieces are a quarter of the plateau, overlap by half and are weighted by a window whose sidelobes lie 92 dB down, of which 2.0 per length is the
// equivalent noise bandwidth (minimum four-term window: Harris, Proc. IEEE 66 (1978) 51, tables I and II): a fixture that is still ringing, by ten
// thousand times the noise, has left them after four periods. In plain means it passes for noise, and a drift that it makes doubtful
// is held back by its prior. A straight line is taken out of them. Short plateaus have plain means.
func noiseDensity(x []float64, seconds float64) float64 {
	const pieces, least, bandwidth = 7, 64, 2.0
	if n := len(x) / 4; n >= least/4 {
		window := make([]float64, n)
		area := 0.0
		for i := range window {
			t := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
			window[i] = 0.35875 - 0.48829*math.Cos(t) + 0.14128*math.Cos(2*t) - 0.01168*math.Cos(3*t)
			area += window[i]
		}
		var means []float64
		for k := range pieces {
			from, sum := k*(len(x)-n)/(pieces-1), 0.0
			for i, h := range window {
				sum += float64(h * x[from+i])
			}
			means = append(means, sum/area)
		}
		// One degree of freedom more goes to the line.
		return numeric.Variance(numeric.Detrended(means)) * (pieces - 1) / (pieces - 2) * seconds / 4 / bandwidth
	}
	se, dof := numeric.BatchSE(x)
	if dof == 0 || math.IsNaN(se) {
		return 0
	}
	return se * se * seconds
}
