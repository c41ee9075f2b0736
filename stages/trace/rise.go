package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/figure"
)

// risePoints of a spin-up at equal steps of time.
const risePoints = 49

// Rise is the speed of one run over time from the step on, at equal steps, so
// that spin-ups can be laid over each other.
type Rise struct {
	Rotor string `json:"rotor"`
	// Condition in words, "14.8 V, 30 → 70 %".
	Condition string    `json:"condition"`
	Run       string    `json:"run"`
	RiseS     float64   `json:"rise_s"`
	TimeS     []float64 `json:"time_s"`
	SpeedRadS []float64 `json:"speed_radps"`
}

// rise is that of a recording's middle run.
func rise(in Input) *Rise {
	run, fit := middle(in)
	if fit == nil {
		return nil
	}
	r := &in.Recording
	a, b := r.Segments[run.A], r.Segments[run.B]
	v := balance.OfRun(r, run)
	from := ""
	if len(r.Declared.Command) > 0 {
		from = fmt.Sprintf("%.3g → ", 100*r.Declared.Command[0])
	}
	out := &Rise{Rotor: r.Declared.Rotor.ID, Run: run.ID, RiseS: run.RiseS, Condition: fmt.Sprintf("%.3g V, %s%.3g %%", run.SupplyV, from, 100*run.Duty)}
	k := 0
	for _, at := range linspace(a.ToS, math.Min(b.FromS+0.3*(b.FromS-a.ToS), b.ToS), risePoints) {
		for k+2 < v.Len() && v.SpeedTimeS[k+1] <= at {
			k++
		}
		w := v.SpeedRadPerS[k]
		if dt := v.SpeedTimeS[k+1] - v.SpeedTimeS[k]; dt > 0 {
			w += (at - v.SpeedTimeS[k]) / dt * (v.SpeedRadPerS[k+1] - w)
		}
		out.TimeS, out.SpeedRadS = append(out.TimeS, at-a.ToS), append(out.SpeedRadS, w)
	}
	return out
}

// spinUps lays the rises of all rotors over each other, a figure a condition;
// of a rotor's recordings at one condition the first is shown.
func spinUps(all []Rise) []figure.Figure {
	var out []figure.Figure
	for _, r := range all {
		k := slices.IndexFunc(out, func(f figure.Figure) bool { return f.Panels[0].Name == r.Condition })
		if k < 0 {
			k = len(out)
			out = append(out, figure.Figure{
				ID: figure.SpinUp + "/" + r.Condition, Kind: figure.SpinUp, Subject: r.Condition, See: "As recorded, the middle run of each rotor; 10 to 90 % takes",
				Panels: []figure.Panel{{Name: r.Condition, X: figure.Axis{Name: "time from the step", Unit: "s"}, Y: figure.Axis{Name: "speed", Unit: "rad/s"}, Zero: true}},
			})
		}
		p := &out[k].Panels[0]
		if slices.ContainsFunc(p.Series, func(s figure.Series) bool { return s.Name == short(r.Rotor) }) {
			continue
		}
		out[k].See += fmt.Sprintf(" %.3g ms (%s),", 1e3*r.RiseS, short(r.Rotor))
		p.Series = append(p.Series, figure.Series{Name: short(r.Rotor), Mark: figure.Line, Role: roles[len(p.Series)%len(roles)], X: r.TimeS, Y: r.SpeedRadS})
	}
	for i := range out {
		out[i].See = strings.TrimSuffix(out[i].See, ",") + "."
	}
	return out
}
