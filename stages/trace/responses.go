package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
)

// responses are the predicted spin-ups of each request, a series a part: speed,
// and thrust where it is known, at equal steps of time from the command on.
func responses(all []spin.Response) []figure.Figure {
	var out []figure.Figure
	for _, r := range all {
		if r.Refused != "" || len(r.Trace) < 2 {
			continue
		}
		q := r.Request
		k := slices.IndexFunc(out, func(f figure.Figure) bool { return f.Subject == q.Name })
		if k < 0 {
			k = len(out)
			name := fmt.Sprintf("%s: %.3g V, %.3g %%", q.Name, q.SupplyV, 100*q.Duty)
			if q.Coast {
				name = q.Name + ": coasting"
			}
			out = append(out, figure.Figure{
				ID: figure.Response + "/" + q.Name, Kind: figure.Response, Subject: q.Name, See: "Predicted, with the band of U:",
				Panels: []figure.Panel{{Name: name, X: timeAxis, Y: figure.Axis{Name: "speed", Unit: "rad/s"}}},
			})
		}
		f := &out[k]
		e := r.TimeS.Expanded()
		f.See += fmt.Sprintf(" %s takes %.4g ± %.2g ms;", spin.DotID(q.Part), 1e3*r.TimeS.Mean, 1e3*e.U)
		speed, thrust := predicted(r, roles[len(f.Panels[0].Series)%len(roles)])
		f.Panels[0].Series = append(f.Panels[0].Series, speed)
		if thrust.X == nil {
			continue
		}
		if len(f.Panels) == 1 {
			f.Panels = append(f.Panels, figure.Panel{Name: "thrust", X: timeAxis, Y: figure.Axis{Name: "thrust", Unit: "N"}})
		}
		f.Panels[1].Series = append(f.Panels[1].Series, thrust)
	}
	for i := range out {
		out[i].See = strings.TrimSuffix(out[i].See, ";") + "."
	}
	return out
}

var timeAxis = figure.Axis{Name: "time from the step", Unit: "s"}

// predicted is speed and thrust over time. The uncertainty is one of the time at
// a speed; times the acceleration it is one of the speed at a time, to first order.
func predicted(r spin.Response, role string) (speed, thrust figure.Series) {
	p := r.Trace
	name := spin.DotID(r.Request.Part)
	speed = figure.Series{Name: name, Mark: figure.Band, Role: role}
	lifts := slices.ContainsFunc(p, func(t spin.TracePoint) bool { return t.ThrustN != 0 })
	if lifts {
		thrust = figure.Series{Name: name, Mark: figure.Line, Role: role}
	}
	k := 0
	for _, at := range linspace(p[0].TimeS.Mean, p[len(p)-1].TimeS.Mean, risePoints) {
		for k+2 < len(p) && p[k+1].TimeS.Mean <= at {
			k++
		}
		dt := p[k+1].TimeS.Mean - p[k].TimeS.Mean
		if !(dt > 0) {
			continue
		}
		share := (at - p[k].TimeS.Mean) / dt
		between := func(a, b float64) float64 { return a + share*(b-a) }
		w := between(p[k].SpeedRadPerS, p[k+1].SpeedRadPerS)
		u := between(p[k].TimeS.Expanded().U, p[k+1].TimeS.Expanded().U) * math.Abs(p[k+1].SpeedRadPerS-p[k].SpeedRadPerS) / dt
		speed.X, speed.Y = append(speed.X, at), append(speed.Y, w)
		speed.Low, speed.High = append(speed.Low, w-u), append(speed.High, w+u)
		if lifts {
			thrust.X, thrust.Y = append(thrust.X, at), append(thrust.Y, between(p[k].ThrustN, p[k+1].ThrustN))
		}
	}
	return speed, thrust
}

// predictions sets every recorded rise against what all other recordings say of it.
func predictions(all []spin.Prediction) (figure.Figure, bool) {
	f := figure.Figure{ID: figure.Prediction, Kind: figure.Prediction, Subject: "predictions"}
	s := figure.Series{Name: "predicted over recorded, less one; U", Mark: figure.Dots, Role: figure.Measured}
	var rows []string
	seen := map[string]int{}
	inside := 0
	for _, p := range all {
		if p.Refused != "" || !(p.RecordedS > 0) {
			continue
		}
		row := slices.Index(rows, short(p.Rotor))
		if row < 0 {
			row = len(rows)
			rows = append(rows, short(p.Rotor))
		}
		rel, u := p.PredictedS.Mean/p.RecordedS-1, p.PredictedS.Expanded().U/p.RecordedS
		if math.Abs(rel) <= u {
			inside++
		}
		s.X, s.Y = append(s.X, rel), append(s.Y, float64(row)+0.08*float64(seen[p.Rotor]%9)-0.32)
		s.Low, s.High, s.Labels = append(s.Low, rel-u), append(s.High, rel+u), append(s.Labels, p.Run)
		seen[p.Rotor]++
	}
	if len(rows) == 0 {
		return f, false
	}
	f.See = fmt.Sprintf("Each rise predicted from all recordings but its own mounting's: bars should reach zero, and %d of %d do.", inside, len(s.X))
	f.Panels = []figure.Panel{{Name: "predicted against recorded rises", X: figure.Axis{Name: "difference of times", Unit: "1"}, Y: figure.Axis{Name: "rotor", Rows: rows}, Zero: true, Series: []figure.Series{s}}}
	return f, true
}
