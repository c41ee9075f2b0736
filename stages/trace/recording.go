package trace

import (
	"fmt"
	"math"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
)

// Method changes whenever this stage's points can.
const Method = "trace/3"

// Input is one recording with what was found about it.
type Input struct {
	Recording spin.Recording  `json:"recording"`
	Curve     *spin.LoadCurve `json:"curve,omitempty"`
	Lag       spin.Lag        `json:"lag"`
	// Fits of the recording's runs, any source.
	Fits []spin.RunFit `json:"fits,omitempty"`
	// Rotor over all its runs; nil where it has no inertia.
	Rotor *spin.RotorInertia `json:"rotor,omitempty"`
}

// Options of the stage.
type Options struct {
	// Points a series, at most about twice as many where extremes are kept.
	Points int `json:"points"`
	// NoiseRel is the share of the largest acceleration below which apparent
	// inertia is marked as noise.
	NoiseRel float64 `json:"noise_rel"`
}

// DefaultOptions are the documented defaults.
func DefaultOptions() Options { return Options{Points: 180, NoiseRel: 0.1} }

// Output is figures, in the order in which a page shows them.
type Output struct {
	Figures []figure.Figure `json:"figures,omitempty"`
	// Rise is a recording's spin-up for laying over those of other rotors; nil without one.
	Rise *Rise `json:"rise,omitempty"`
}

// Recording gives the figures of one recording.
func Recording(in Input, opt Options) (Output, error) {
	var out Output
	if in.Recording.Samples == nil || in.Recording.Samples.Len() < 2 {
		return out, nil
	}
	out.Figures = append(out.Figures, overview(in, opt))
	if f, ok := apparent(in, opt); ok {
		out.Figures = append(out.Figures, f)
	}
	out.Rise = rise(in)
	for i := range out.Figures {
		out.Figures[i].Trim()
	}
	return out, nil
}

// overview is speed, torque and current over time with the segments found.
func overview(in Input, opt Options) figure.Figure {
	r := &in.Recording
	s := r.Samples
	id := r.Declared.ID()
	f := figure.Figure{ID: figure.Recording + "/" + r.Declared.Name, Kind: figure.Recording, Subject: id, See: seeRecording(r)}
	var spans []figure.Span
	for _, g := range r.Segments {
		spans = append(spans, figure.Span{Name: g.Kind, Kind: g.Kind, From: g.FromS, To: g.ToS})
	}
	for _, c := range []struct {
		name, unit, role string
		y                []float64
	}{
		{"speed", "rad/s", figure.Measured, s.SpeedRadPerS},
		{"torque", "N·m", figure.Second, s.TorqueNm},
		{"current", "A", figure.Third, s.CurrentA},
	} {
		if c.y == nil {
			continue
		}
		x, y := envelope(s.TimeS, c.y, opt.Points)
		f.Panels = append(f.Panels, figure.Panel{
			Name: c.name, X: figure.Axis{Name: "time", Unit: "s"}, Y: figure.Axis{Name: c.name, Unit: c.unit}, Zero: c.name == "speed", Spans: spans,
			Series: []figure.Series{{Name: c.name, Mark: figure.Line, Role: c.role, X: x, Y: y}},
		})
	}
	return f
}

func seeRecording(r *spin.Recording) string {
	span := r.Samples.TimeS[r.Samples.Len()-1] - r.Samples.TimeS[0]
	text := fmt.Sprintf("%d samples over %.3g s at %.4g Hz; ", r.Rows, span, 1/r.StepS)
	switch {
	case r.Declared.Kind == spin.Steady:
		text += fmt.Sprintf("%d settled speeds are used, each shaded stretch flat", len(r.Plateaus))
	case len(r.Runs) == 0:
		text += "no run with the plateaus that a balance needs"
	default:
		usable := 0
		for _, run := range r.Runs {
			if run.B >= 0 {
				usable++
			}
		}
		text += fmt.Sprintf("%d of %d runs usable: speed flat on every shaded plateau, and torque back to the same level after the transient", usable, len(r.Runs))
	}
	var out []string
	for _, run := range r.Runs {
		if run.Excluded != "" {
			out = append(out, run.ID+" set aside: "+run.Excluded)
		}
	}
	if len(out) > 0 {
		text += "; " + strings.Join(out, "; ")
	}
	return text + "."
}

// chosenFit is the fit that counts for a run, nil where none does.
func chosenFit(fits []spin.RunFit, run string) *spin.RunFit {
	for i := range fits {
		if fits[i].Run == run && fits[i].Chosen && fits[i].JKgM2.Mean > 0 {
			return &fits[i]
		}
	}
	return nil
}

// middle is the run of a recording whose inertia is the median: the one to look at.
func middle(in Input) (spin.Run, *spin.RunFit) {
	var best spin.Run
	var fit *spin.RunFit
	type candidate struct {
		run spin.Run
		fit *spin.RunFit
	}
	var all []candidate
	for _, run := range in.Recording.Runs {
		if f := chosenFit(in.Fits, run.ID); f != nil && run.Kind == spin.Step && run.A >= 0 && run.B >= 0 {
			all = append(all, candidate{run, f})
		}
	}
	least := math.Inf(1)
	for _, c := range all {
		// The median is the run with the smallest sum of distances to all.
		sum := 0.0
		for _, o := range all {
			sum += math.Abs(c.fit.JKgM2.Mean - o.fit.JKgM2.Mean)
		}
		if sum < least {
			least, best, fit = sum, c.run, c.fit
		}
	}
	return best, fit
}
