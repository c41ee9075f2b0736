package inspect

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/ringing"
	"spinledger/stages/kit/spin"
)

// Input is one recording with what the other stages found in it.
type Input struct {
	Recording spin.Recording `json:"recording"`
	Evidence  spin.Evidence  `json:"evidence"`
	Fits      []spin.RunFit  `json:"fits"`
	Refusals  []spin.Refusal `json:"refusals"`
}

// judge is the state of one Run.
type judge struct{ spin.Judgement }

// Run judges. Recording.Samples must be set.
func Run(in Input) (spin.Judgement, error) {
	r := &in.Recording
	if r.Samples == nil || r.Samples.Len() < 2 {
		return spin.Judgement{}, fmt.Errorf("inspect: recording %s has no samples", r.Declared.ID())
	}
	o := &judge{}
	o.sampling(r)
	o.speed(r)
	o.plateaus(in)
	o.converter(in)
	if r.Samples.TorqueNm != nil {
		o.noise(in)
		o.zero(in)
		o.lag(in)
	} else {
		o.add("torque", spin.Doubtful, "no torque channel: an inertia can only come from a cold curve, a sweep or the current", "")
	}
	o.heat(in)
	o.inertia(in)
	o.refusals(in)
	o.Verdict = verdict(o.Items)
	o.trace(r)
	return o.Judgement, nil
}

func (o *judge) add(name, state, text, advice string) {
	if state == spin.Good {
		advice = ""
	}
	o.Items = append(o.Items, spin.Judged{Name: name, State: state, Text: text, Advice: advice})
}

func verdict(items []spin.Judged) string {
	has := func(state string) bool {
		return slices.ContainsFunc(items, func(i spin.Judged) bool { return i.State == state })
	}
	switch {
	case has(spin.Bad):
		return spin.RecordAgain
	case has(spin.Doubtful):
		return spin.UseWider
	default:
		return spin.Use
	}
}

// grade is spin.Good up to the first limit, spin.Doubtful up to the second, else spin.Bad.
func grade(v, doubtful, bad float64) string {
	switch {
	case v <= doubtful:
		return spin.Good
	case v <= bad:
		return spin.Doubtful
	default:
		return spin.Bad
	}
}

func (o *judge) sampling(r *spin.Recording) {
	// 2 % missing is where the clock of a transient is no longer known (the
	// limit of ingest); a jitter of a tenth of the interval moves a rise of ten samples by 1 %.
	state := grade(math.Max(r.MissingRel/0.02, r.Jitter/0.10), 0.25, 1)
	advice := "look at the logger's load and cable: rows are lost"
	if r.Jitter/0.10 > r.MissingRel/0.02 {
		advice = "look at the logger's load: rows are late, or their stamps are; late rows that are stamped when they were read do little harm, late stamps do"
	}
	o.add("sampling", state, fmt.Sprintf("%d rows at %.4g Hz over %.3g s, interval jitter %s, %s of rows missing",
		r.Rows, 1/r.StepS, r.Samples.TimeS[r.Rows-1]-r.Samples.TimeS[0], share(r.Jitter), share(r.MissingRel)),
		advice)
}

// share is a ratio in per cent; rounding of stamps to floats is none.
func share(x float64) string {
	if x < 1e-6 {
		return "none"
	}
	return fmt.Sprintf("%.2g %%", 100*x)
}

func (o *judge) speed(r *spin.Recording) {
	spikes := warnings(r, "speed-spike")
	text := "fresh in every sample"
	state := spin.Good
	if r.HeldS > 0 {
		text = fmt.Sprintf("renewed every %.3g ms and held between", 1e3*r.HeldS)
		if slow := fastest(r); slow > 0 {
			// Ten fresh values a rise draw its course, five are the least a balance can live with.
			state = grade(r.HeldS, slow/10, slow/5)
		}
	}
	if len(spikes) > 0 {
		state = worse(state, spin.Doubtful)
		text += "; " + spikes[0]
	}
	o.add("speed channel", state, text, "read the speed from every electrical period or a faster telemetry")
}

func worse(a, b string) string {
	order := []string{spin.Good, spin.Doubtful, spin.Bad}
	return order[max(slices.Index(order, a), slices.Index(order, b))]
}

// fastest is the shortest rise of a step, 0 without one.
func fastest(r *spin.Recording) float64 {
	best := 0.0
	for _, run := range r.Runs {
		if run.Kind == spin.Step && run.RiseS > 0 && (best == 0 || run.RiseS < best) {
			best = run.RiseS
		}
	}
	return best
}

func warnings(r *spin.Recording, code string) []string {
	var out []string
	for _, w := range r.Warnings {
		if w.Code == code {
			out = append(out, w.Text)
		}
	}
	return out
}

// Plateaus that serve well, after some 50 ms were trimmed from each: 0.2 s
// recorded; segment refuses below 0.12 s.
const (
	goodIdleS    = 0.15
	goodSettledS = 0.15
	goodLevels   = 8
)

func (o *judge) plateaus(in Input) {
	r := &in.Recording
	switch r.Declared.Kind {
	case spin.Step:
		o.steps(r)
	case spin.Steady:
		speeds := levelsUpDown(r)
		state := spin.Good
		if speeds < goodLevels {
			state = spin.Doubtful
		}
		if speeds < 3 {
			state = spin.Bad
		}
		o.add("levels", state, fmt.Sprintf("%d settled levels", speeds), "record at least eight levels, up and down again")
	default:
		var names []string
		for _, s := range r.Segments {
			names = append(names, fmt.Sprintf("%s %.3g s", s.Kind, s.ToS-s.FromS))
		}
		o.add("segments", spin.Good, strings.Join(names, ", "), "")
	}
}

func levelsUpDown(r *spin.Recording) int {
	n := 0
	for _, p := range r.Plateaus {
		if p.Kind == spin.Level {
			n++
		}
	}
	return n
}

func (o *judge) steps(r *spin.Recording) {
	if len(r.Runs) == 0 {
		return
	}
	length := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return r.Segments[i].ToS - r.Segments[i].FromS
	}
	idle, settled, back, usable := math.Inf(1), math.Inf(1), 0, 0
	rise, samples := math.Inf(1), math.Inf(1)
	for _, run := range r.Runs {
		if run.A < 0 || run.B < 0 {
			continue
		}
		usable++
		idle, settled = math.Min(idle, length(run.A)), math.Min(settled, length(run.B))
		rise, samples = math.Min(rise, run.RiseS), math.Min(samples, run.SamplesInRise)
		if run.C >= 0 {
			back++
		}
	}
	if usable == 0 {
		return
	}
	state := spin.Good
	if idle < goodIdleS || settled < goodSettledS {
		state = spin.Doubtful
	}
	o.add("plateaus", state, fmt.Sprintf("%d steps; shortest idle plateau %.3g s, settled %.3g s after trimming", usable, idle, settled),
		"idle at least half a second before the step, stay settled as long")
	state = spin.Good
	if back < usable {
		state = spin.Doubtful
	}
	o.add("return to idle", state, fmt.Sprintf("%d of %d steps return to a third plateau", back, usable),
		"return to idle after each step, with the controller's braking on: three plateaus give zero, drift and load at once")
	state = spin.Good
	if r.Converter != "mean" {
		// Ten samples a rise, five at least: see fit's options.
		state = grade(1/samples, 1/10., 1/5.)
	}
	o.add("rise", state, fmt.Sprintf("fastest 10 %% to 90 %% in %.3g ms, %.1f samples", 1e3*rise, samples), "log faster, or use a throttle ramp of 50 to 100 ms")
}

func (o *judge) converter(in Input) {
	r := &in.Recording
	if r.Samples.TorqueNm == nil {
		return
	}
	state, text := spin.Good, "declared "+r.Converter
	if r.TorqueRenewedS > 0 {
		state = spin.Doubtful
		text += fmt.Sprintf("; it takes a new value every %.3g ms only: the converter is slower than the logger", 1e3*r.TorqueRenewedS)
	} else if held := repeats(r.Samples.TorqueNm); held >= 2 {
		state = spin.Doubtful
		text += fmt.Sprintf("; each torque value stands for %d rows: the converter is slower than the logger", held)
	}
	f, found := ringing.Find(r)
	switch {
	case found && r.Converter != "mean" && 1/r.StepS < 5*f:
		// Advised against; it is the even and odd samples that tell whether it hurts.
		if alternate(in) > goodAlternate {
			state = worse(state, spin.Doubtful)
		}
		text += fmt.Sprintf("; the fixture rings at %.0f Hz, sampled at less than five times that", f)
	case found:
		text += fmt.Sprintf("; the fixture rings at %.0f Hz", f)
	}
	o.add("torque channel", state, text, "log faster than five times the fixture's frequency, or stiffen it")
}

// repeats is the typical number of rows that one torque value stands for.
func repeats(x []float64) int {
	changes := 1
	for i := 1; i < len(x); i++ {
		if x[i] != x[i-1] {
			changes++
		}
	}
	return int(math.Round(float64(len(x)) / float64(changes)))
}

func (o *judge) noise(in Input) {
	r := &in.Recording
	var sd []float64
	for _, p := range r.Plateaus {
		if p.TorqueSD > 0 {
			sd = append(sd, p.TorqueSD)
		}
	}
	if len(sd) == 0 {
		return
	}
	peak := 0.0
	for _, f := range in.Fits {
		peak = math.Max(peak, f.PeakNm)
	}
	text, state := fmt.Sprintf("%s standard deviation of single samples on plateaus", torqueText(numeric.Median(sd))), spin.Good
	if peak > 0 {
		// At 10 % of the peak a run of some thousand samples still repeats to a few tenths of a per cent.
		rel := numeric.Median(sd) / peak
		state = grade(rel, 0.10, 0.5)
		text += fmt.Sprintf(", %.2g %% of the peak torque %s", 100*rel, torqueText(peak))
	}
	o.add("torque noise", state, text, "look for loose screws, imbalance and cables that pull")
}

func torqueText(t float64) string {
	switch a := math.Abs(t); {
	case a >= 1:
		return fmt.Sprintf("%.3g N·m", t)
	case a >= 1e-3:
		return fmt.Sprintf("%.3g mN·m", 1e3*t)
	default:
		return fmt.Sprintf("%.3g µN·m", 1e6*t)
	}
}

func (o *judge) zero(in Input) {
	worst, peak, drift := 0.0, 0.0, 0.0
	for _, f := range in.Fits {
		if f.Source != spin.Recorded || f.Kind != spin.Step {
			continue
		}
		if d := math.Abs(f.DriftNmPerS); d > drift {
			drift = d
		}
		if g := math.Abs(f.ZeroGapNm) - 2*f.ZeroGapU; g > worst {
			worst = g
		}
		peak = math.Max(peak, f.PeakNm)
	}
	if peak == 0 {
		return
	}
	// 0.3 % of the peak between idle and settled is where a release check looks; 1 % moves an inertia by as much.
	o.add("torque zero", grade(worst/peak, 0.003, 0.01), fmt.Sprintf("drifts by %s a second; idle and settled differ by %.2g %% of the peak beyond noise", torqueText(drift), 100*worst/peak),
		"let the bench warm up, keep draughts and cables away, return to idle after each step")
}

func (o *judge) lag(in Input) {
	var lags []float64
	for _, r := range in.Evidence.Runs {
		if r.LagFound {
			lags = append(lags, r.LagS)
		}
	}
	if len(lags) == 0 {
		if len(in.Evidence.Runs) > 0 {
			o.add("lag", spin.Doubtful, "no lag between torque and speed could be found", "log both channels on one clock")
		}
		return
	}
	spread := 0.0
	if len(lags) > 1 {
		spread = numeric.MAD(lags)
	}
	// Healthy sessions spread by 0.2 to 0.4 ms between supplies.
	o.add("lag", grade(spread, 5e-4, 3e-3), fmt.Sprintf("torque %.2f ms after speed, spread %.2f ms over %d runs", 1e3*numeric.Median(lags), 1e3*spread, len(lags)),
		"log torque and speed on one clock, with fixed filters")
}

func (o *judge) heat(in Input) {
	s := in.Evidence.Sweep
	if s == nil {
		return
	}
	if s.OhmicBins == 0 && s.ReturnBins == 0 {
		o.add("heat", spin.Doubtful, "nothing shows whether the motor warmed: no return sweep, and no current with voltage and duty",
			"sweep up and back down, and log current, voltage and throttle")
		return
	}
	text, rel := "", 0.0
	if s.OhmicBins > 0 {
		text = fmt.Sprintf("apparent resistance %+.2g %% over the loading", 100*s.OhmicRel)
		rel = s.OhmicRel
	}
	if s.ReturnBins > 0 {
		text = strings.TrimPrefix(text+fmt.Sprintf("; torque on the way back %+.2g %%", 100*s.ReturnRel), "; ")
		rel = math.Max(rel, -s.ReturnRel)
	}
	// 2 % of resistance is some 10 K of the winding, which costs a sweep a few tenths of a per cent; 5 % costs 1 %.
	o.add("heat", grade(rel, 0.02, 0.05), text, "sweep faster, or let the motor cool; take the torque from steps instead")
}

func (o *judge) inertia(in Input) {
	var j []float64
	for _, f := range in.Fits {
		if f.Chosen {
			j = append(j, f.JKgM2.Mean/quantity.GCm2)
		}
	}
	if len(j) == 0 {
		return
	}
	text := fmt.Sprintf("about %.4g g·cm² from %d runs", numeric.Median(j), len(j))
	state := spin.Good
	if len(j) > 1 {
		rel := math.Sqrt(numeric.Variance(j)) / numeric.Mean(j)
		text += fmt.Sprintf(", which scatter by %.2g %%", 100*rel)
		state = grade(rel, 0.01, 0.05)
	}
	o.add("inertia", state, text, "look at the mounting; repeat")
	if alias := alternate(in); alias > 0 {
		o.add("alternate rows", grade(alias, goodAlternate, 0.04), fmt.Sprintf("inertias from even and odd rows differ by up to %.2g %%", 100*alias), "log faster, or use a throttle ramp of 50 to 100 ms")
	}
}

// goodAlternate: below it aliasing adds nothing to what a run scatters by anyway;
// fit refuses above 4 %.
const goodAlternate = 0.01

// alternate is the worst disagreement of even and odd samples, 0 for an averaging converter.
func alternate(in Input) float64 {
	worst := 0.0
	for _, f := range in.Fits {
		if f.Chosen && in.Recording.Converter != "mean" {
			worst = math.Max(worst, f.Aliasing)
		}
	}
	return worst
}

func (o *judge) refusals(in Input) {
	for _, r := range in.Refusals {
		// One recording alone has no steady companion: that is not its fault.
		if r.Code == "no-steady" || r.Code == "no-load-curve" || r.Code == "few-levels" || r.Code == "unseparable" {
			continue
		}
		o.add("refused: "+r.Code, spin.Bad, r.Text, "")
	}
}

func (o *judge) trace(r *spin.Recording) {
	s := r.Samples
	n := s.Len()
	o.SpanS = s.TimeS[n-1] - s.TimeS[0]
	points := min(spin.TracePoints, n)
	for k := range points {
		a, b := k*n/points, (k+1)*n/points
		o.SpeedRadPerS = append(o.SpeedRadPerS, numeric.Mean(s.SpeedRadPerS[a:b]))
		if s.TorqueNm != nil {
			o.TorqueNm = append(o.TorqueNm, numeric.Mean(s.TorqueNm[a:b]))
		}
	}
}
