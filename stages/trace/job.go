package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// JobInput is all results of one job.
type JobInput struct {
	Job      string              `json:"job"`
	Curves   []spin.LoadCurve    `json:"curves"`
	Evidence []spin.Evidence     `json:"evidence"`
	Choice   spin.Choice         `json:"choice"`
	Fits     []spin.RunFit       `json:"fits"`
	Rotors   []spin.RotorInertia `json:"rotors"`
	Bodies   []spin.Rotor        `json:"bodies"`
	Numbers  []spin.Number       `json:"numbers"`
	Parts    []spin.Part         `json:"parts"`
	Rises    []Rise              `json:"rises"`
	// Responses and Predictions of the job, answered and refused.
	Responses   []spin.Response   `json:"responses,omitempty"`
	Predictions []spin.Prediction `json:"predictions,omitempty"`
}

// Job gives the figures that rest on results alone.
func Job(in JobInput, opt Options) (Output, error) {
	var out Output
	for _, c := range in.Curves {
		if c.Form != spin.FormNone && len(c.Points) > 0 {
			out.Figures = append(out.Figures, load(c))
		}
	}
	out.Figures = append(out.Figures, planes(in)...)
	for _, r := range in.Rotors {
		out.Figures = append(out.Figures, runs(in, r))
	}
	out.Figures = append(out.Figures, spinUps(in.Rises)...)
	out.Figures = append(out.Figures, responses(in.Responses)...)
	if f, ok := predictions(in.Predictions); ok {
		out.Figures = append(out.Figures, f)
	}
	if f, ok := adjustment(in); ok {
		out.Figures = append(out.Figures, f)
	}
	for _, p := range in.Parts {
		if f, ok := disk(in, p); ok {
			out.Figures = append(out.Figures, f)
		}
	}
	for i := range out.Figures {
		out.Figures[i].Trim()
	}
	return out, nil
}

// curvePoints of a drawn curve: straight between them to a hair's breadth.
const curvePoints = 60

// at is a load curve's value with its uncertainty, by moving each source by one standard deviation.
func at(c spin.LoadCurve, w float64) uncertain.Value {
	v := uncertain.Exact(c.At(w))
	dof := map[string]float64{}
	for _, k := range c.Coef {
		for _, p := range k.Parts {
			dof[p.Source] = p.DoF
		}
	}
	var sources []string
	for s := range dof {
		sources = append(sources, s)
	}
	slices.Sort(sources)
	for _, s := range sources {
		v = v.With(uncertain.Part{Source: s, Contribution: c.Moved(s, 1).At(w) - v.Mean, DoF: dof[s]})
	}
	return v
}

// load is a load curve with its points above, residuals below.
func load(c spin.LoadCurve) figure.Figure {
	f := figure.Figure{ID: figure.Load + "/" + c.Rotor, Kind: figure.Load, Subject: c.Rotor}
	speed := figure.Axis{Name: "speed", Unit: "rad/s"}
	line := figure.Series{Name: "curve, U", Mark: figure.Band, Role: figure.Fitted}
	for _, w := range linspace(c.LowRadPerS, c.HighRadPerS, curvePoints) {
		v := at(c, w)
		u := v.Expanded().U
		line.X, line.Y = append(line.X, w), append(line.Y, v.Mean)
		line.Low, line.High = append(line.Low, v.Mean-u), append(line.High, v.Mean+u)
	}
	below := figure.Series{Name: "below the measured range", Mark: figure.Line, Role: figure.Faint}
	for _, w := range linspace(0, c.LowRadPerS, curvePoints/4) {
		below.X, below.Y = append(below.X, w), append(below.Y, c.At(w))
	}
	points := figure.Series{Name: "settled speeds", Mark: figure.Dots, Role: figure.Measured}
	rest := figure.Series{Name: "residual, 2 u", Mark: figure.Dots, Role: figure.Measured}
	worst := 0.0
	for _, p := range c.Points {
		points.X, points.Y, points.Labels = append(points.X, p.SpeedRadPerS), append(points.Y, p.TorqueNm), append(points.Labels, p.Recording)
		rest.X, rest.Y, rest.Labels = append(rest.X, p.SpeedRadPerS), append(rest.Y, p.ResidualNm), append(rest.Labels, p.Recording)
		rest.Low, rest.High = append(rest.Low, p.ResidualNm-2*p.SE), append(rest.High, p.ResidualNm+2*p.SE)
		worst = math.Max(worst, math.Abs(p.ResidualNm))
	}
	valid := []figure.Span{{Name: "measured range", Kind: "valid", From: c.LowRadPerS, To: c.HighRadPerS}}
	f.Panels = []figure.Panel{
		{Name: "load", X: speed, Y: figure.Axis{Name: "load", Unit: "N·m"}, Zero: true, Spans: valid, Series: []figure.Series{below, line, points}},
		{Name: "residuals", X: speed, Y: figure.Axis{Name: "load less curve", Unit: "N·m"}, Zero: true, Spans: valid, Series: []figure.Series{rest}},
	}
	top := c.At(c.HighRadPerS)
	rel := 0.0
	if top > 0 {
		rel = 100 * worst / top
	}
	f.See = fmt.Sprintf("%s over %d speeds (%s): residuals should scatter about zero without a bend; the largest is %.2g %% of the load at top speed (lack of fit p = %.2g).",
		formName(c.Form), c.Levels, basisName(c.Basis), rel, c.LackOfFitP)
	return f
}

func formName(form string) string {
	return map[string]string{
		spin.FormSquare: "L = c·ω²", spin.FormLinearSquare: "L = c₀·ω + c₁·ω²",
		spin.FormPower: "L = c·ω^p", spin.FormCubic: "L = c₀·ω + c₁·ω² + c₂·ω³",
	}[form]
}

func basisName(basis string) string {
	if basis == "plateaus" {
		return "from the runs' own plateaus"
	}
	return "from " + basis + " recordings"
}

// roles in the order in which rotors of one plane get them.
var roles = []string{figure.Measured, figure.Second, figure.Third, figure.Fourth, figure.Fifth, figure.Sixth}

// planes are torque over speed at each sweep's duty and supply; where no step
// has a sweep's condition, at that of the first step too.
func planes(in JobInput) []figure.Figure {
	var out []figure.Figure
	steps := false
	for i := range in.Choice.Sweeps {
		s := &in.Choice.Sweeps[i]
		out = append(out, plane(in, s.Evidence.Duty, s.Evidence.SupplyV, s))
		steps = steps || s.Cold.Usable
	}
	if steps {
		return out
	}
	for _, e := range in.Evidence {
		for _, r := range e.Runs {
			if len(r.Bins) > 0 {
				return append(out, plane(in, r.Duty, r.SupplyV, nil))
			}
		}
	}
	return out
}

// sameDuty and sameSupplyRel: what the torque stage calls one condition.
const (
	sameDuty      = 0.005
	sameSupplyRel = 0.01
)

func same(d1, v1, d2, v2 float64) bool {
	return spin.SameSetting(d1, v1, d2, v2, sameDuty, sameSupplyRel)
}

func plane(in JobInput, duty, supply float64, sweep *spin.SweepResult) figure.Figure {
	id := fmt.Sprintf("%.4g-v-%.3g", supply, 100*duty)
	p := figure.Panel{Name: fmt.Sprintf("%.4g V, %.3g %% duty", supply, 100*duty), X: figure.Axis{Name: "speed", Unit: "rad/s"}, Y: figure.Axis{Name: "torque", Unit: "N·m"}, Zero: true}
	n := 0
	for _, b := range in.Bodies {
		for _, e := range in.Evidence {
			if e.Rotor != b.ID {
				continue
			}
			for _, r := range e.Runs {
				if !same(r.Duty, r.SupplyV, duty, supply) || len(r.Bins) == 0 {
					continue
				}
				p.Series = append(p.Series, bins("step, "+short(b.ID), figure.Dots, roles[n%len(roles)], r.Bins))
			}
		}
		if len(p.Series) > 0 && p.Series[len(p.Series)-1].Name == "step, "+short(b.ID) {
			n++
		}
	}
	f := figure.Figure{Kind: figure.Plane, Subject: in.Job}
	f.See = "Steps of light and heavy rotors should lie on one cold curve: torque at a speed, throttle and supply does not depend on what turns."
	if sweep != nil {
		_, name, _ := strings.Cut(sweep.Recording, "/")
		id = name
		f.Subject = sweep.Recording
		sweepSeries(&p, sweep)
		f.See = seeSweep(sweep)
	}
	f.ID = figure.Plane + "/" + id
	f.Panels = []figure.Panel{p}
	return f
}

// short is a rotor without its leading "bare+".
func short(rotor string) string { return strings.TrimPrefix(rotor, spin.Bare+"+") }

func bins(name, mark, role string, all []spin.Bin) figure.Series {
	s := figure.Series{Name: name, Mark: mark, Role: role}
	for _, b := range all {
		s.X, s.Y = append(s.X, b.SpeedRadPerS), append(s.Y, b.TorqueNm)
	}
	return s
}

// sweepSeries adds the sweep both ways, the cold curve, and what lies between
// it and the loading: the heat deficit.
func sweepSeries(p *figure.Panel, s *spin.SweepResult) {
	var first []figure.Series
	if c := s.Cold; c.Usable {
		curve := figure.Series{Name: "cold curve of the steps", Mark: figure.Line, Role: figure.Fitted}
		for _, w := range linspace(c.LowRadPerS, c.HighRadPerS, curvePoints) {
			curve.X, curve.Y = append(curve.X, w), append(curve.Y, c.At(w))
		}
		gap := figure.Series{Name: "deficit of the sweep", Mark: figure.Band, Role: figure.Deficit}
		for _, b := range s.Evidence.Loading {
			if b.SpeedRadPerS >= c.LowRadPerS && b.SpeedRadPerS <= c.HighRadPerS {
				cold := c.At(b.SpeedRadPerS)
				gap.X, gap.Y = append(gap.X, b.SpeedRadPerS), append(gap.Y, b.TorqueNm)
				gap.Low, gap.High = append(gap.Low, math.Min(b.TorqueNm, cold)), append(gap.High, math.Max(b.TorqueNm, cold))
			}
		}
		if len(gap.X) > 1 {
			first = append(first, gap)
		}
		first = append(first, curve)
	}
	p.Series = append(first, p.Series...)
	p.Series = append(p.Series, bins("sweep, loading", figure.Dots, figure.Doubt, s.Evidence.Loading))
	if len(s.Evidence.Unloading) > 0 {
		p.Series = append(p.Series, bins("sweep, unloading", figure.Dots, figure.Declared, s.Evidence.Unloading))
	}
}

func seeSweep(s *spin.SweepResult) string {
	var said []string
	if s.ColdBins > 0 {
		said = append(said, fmt.Sprintf("loading lies %+.2g %% from the cold curve", 100*s.ColdRel))
	}
	if s.Evidence.ReturnBins > 0 {
		said = append(said, fmt.Sprintf("unloading lies %+.2g %% from loading", 100*s.Evidence.ReturnRel))
	}
	if s.Evidence.OhmicBins > 0 {
		said = append(said, fmt.Sprintf("apparent resistance rises by %+.2g %%", 100*s.Evidence.OhmicRel))
	}
	if len(said) == 0 {
		return "Nothing tells whether the winding stayed cold in this sweep."
	}
	return "A cold winding gives one curve whichever way it is gone through. Here " + strings.Join(said, ", ") + "."
}

// runs is each run's inertia by condition: the chosen source close up, then
// every source against the rotor's value.
func runs(in JobInput, r spin.RotorInertia) figure.Figure {
	f := figure.Figure{ID: figure.Runs + "/" + r.Rotor, Kind: figure.Runs, Subject: r.Rotor}
	var rows []string
	condition := func(x spin.RunFit) int {
		name := fmt.Sprintf("%.3g V %.3g %%", x.SupplyV, 100*x.Duty)
		if x.Kind == spin.Coast {
			name = "run-down"
		}
		k := slices.Index(rows, name)
		if k < 0 {
			k = len(rows)
			rows = append(rows, name)
		}
		return k
	}
	var chosen, aside figure.Series
	chosen = figure.Series{Name: "chosen source, 2 u of one run", Mark: figure.Dots, Role: figure.Measured}
	aside = figure.Series{Name: "set aside", Mark: figure.Dots, Role: figure.Doubt}
	by := map[string]*figure.Series{}
	kinds := []struct{ kind, name, role string }{
		{spin.Recorded, "recorded", figure.Measured}, {spin.ColdCurve, "cold curve", figure.Second},
		{spin.SweepCurve, "sweep", figure.Doubt}, {spin.FromCurrent, "current", figure.Third},
	}
	for _, k := range kinds {
		by[k.kind] = &figure.Series{Name: k.name, Mark: figure.Dots, Role: k.role}
	}
	seen := map[[2]string]int{}
	u := r.JKgM2.Expanded().U
	for _, x := range in.Fits {
		if x.Rotor != r.Rotor || !(x.JKgM2.Mean > 0) {
			continue
		}
		k := condition(x)
		// Runs of one condition stand beside each other.
		slot := [2]string{rows[k], x.Source}
		at := float64(k) + 0.14*float64(seen[slot]%6) - 0.35
		seen[slot]++
		j := x.JKgM2.Mean
		if s := by[x.Source]; s != nil {
			s.X, s.Y, s.Labels = append(s.X, at), append(s.Y, j/r.JKgM2.Mean-1), append(s.Labels, x.Run)
		}
		s := &chosen
		if x.Excluded != "" {
			s = &aside
		}
		// A run-down is a second opinion; the mean rests on steps.
		if x.Chosen && x.Kind == spin.Step {
			s.X, s.Y, s.Labels = append(s.X, at), append(s.Y, j), append(s.Labels, x.Run)
			s.Low, s.High = append(s.Low, j-2*x.RandomU), append(s.High, j+2*x.RandomU)
		}
	}
	x := figure.Axis{Name: "condition", Rows: rows}
	ends := []float64{-0.5, float64(len(rows)) - 0.5}
	mean := r.JKgM2.Mean
	close := figure.Panel{Name: "chosen source", X: x, Y: figure.Axis{Name: "inertia", Unit: "kg·m²"}, Series: []figure.Series{
		{Name: "rotor, U", Mark: figure.Band, Role: figure.Fitted, X: ends, Y: []float64{mean, mean}, Low: []float64{mean - u, mean - u}, High: []float64{mean + u, mean + u}}, chosen,
	}}
	if len(aside.X) > 0 {
		close.Series = append(close.Series, aside)
	}
	wide := figure.Panel{Name: "every source, against the rotor's value", X: x, Zero: true, Y: figure.Axis{Name: "difference", Unit: "1"}}
	for _, k := range kinds {
		if len(by[k.kind].X) > 0 {
			wide.Series = append(wide.Series, *by[k.kind])
		}
	}
	f.Panels = []figure.Panel{close, wide}
	f.See = fmt.Sprintf("Inertia must not depend on supply or throttle: %d runs over %d conditions scatter by %.2g %% (conditions differ: F test p = %.2g).", r.Runs, r.Conditions, 100*r.ScatterRel, r.ConditionP)
	if len(r.Flagged) > 0 {
		f.See += " Far from the median and kept: " + strings.Join(r.Flagged, ", ") + "."
	}
	return f
}
