package trace

import (
	"fmt"
	"math"
	"sort"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
)

// quotient is the apparent inertia at one instant.
type quotient struct {
	t, w, j float64 // s from the step, rad/s, kg·m²
	noise   bool
}

// apparent is the apparent inertia of a recording's middle run over time, and
// of all its runs over speed, against the rotor's inertia. ok is false for
// recordings without a fitted step.
func apparent(in Input, opt Options) (figure.Figure, bool) {
	run, fit := middle(in)
	if fit == nil || in.Rotor == nil || in.Curve == nil || in.Recording.Samples.TorqueNm == nil {
		return figure.Figure{}, false
	}
	r := &in.Recording
	f := figure.Figure{ID: figure.Apparent + "/" + r.Declared.Name, Kind: figure.Apparent, Subject: r.Declared.ID()}
	one, window := quotients(in, run, fit, opt)
	var all []quotient
	for _, o := range r.Runs {
		of := chosenFit(in.Fits, o.ID)
		switch {
		case of == nil || o.Kind != spin.Step || o.A < 0 || o.B < 0:
		case of == fit:
			all = append(all, one...)
		default:
			q, _ := quotients(in, o, of, opt)
			all = append(all, q...)
		}
	}
	e := in.Rotor.JKgM2.Expanded()
	j := in.Rotor.JKgM2.Mean
	// Far outliers are noise by construction; they would hide what there is to see.
	low, high := 0.5*j, 1.5*j
	begin := r.Segments[run.A].ToS
	spans := []figure.Span{{Name: "between plateaus", Kind: "used", From: 0, To: r.Segments[run.B].FromS - begin}}
	f.Panels = []figure.Panel{
		quotientPanel("over time, "+run.ID, figure.Axis{Name: "time from the step", Unit: "s"}, one, func(q quotient) float64 { return q.t }, low, high, j, e.U, opt),
		quotientPanel("over speed, all runs", figure.Axis{Name: "speed", Unit: "rad/s"}, all, func(q quotient) float64 { return q.w }, low, high, j, e.U, opt),
	}
	f.Panels[0].Spans = spans
	inside, shown := 0, 0
	for _, q := range all {
		if !q.noise {
			shown++
			if math.Abs(q.j-j) <= 0.1*j {
				inside++
			}
		}
	}
	f.See = fmt.Sprintf("Inertia is a constant: full dots should lie flat on the fitted value. Here %d %% of those of all runs are within 10 %% of it (means over %.3g ms). Pale dots: acceleration below %.0f %% of its peak, where the quotient is noise; dots off by more than half are not drawn. A wave about the line is the fixture ringing.",
		percent(inside, shown), 1e3*window, 100*opt.NoiseRel)
	return f, true
}

func percent(n, of int) int {
	if of == 0 {
		return 0
	}
	return int(math.Round(100 * float64(n) / float64(of)))
}

// quotientPanel keeps points within the limits, thinned evenly, with the
// rotor's value and its expanded uncertainty as a band.
func quotientPanel(name string, x axis, all []quotient, at func(quotient) float64, low, high, j, u float64, opt Options) figure.Panel {
	p := figure.Panel{Name: name, X: x, Y: figure.Axis{Name: "apparent inertia", Unit: "kg·m²"}}
	sort.SliceStable(all, func(i, k int) bool { return at(all[i]) < at(all[k]) })
	var from, to float64
	if len(all) > 0 {
		from, to = at(all[0]), at(all[len(all)-1])
	}
	p.Series = append(p.Series, figure.Series{
		Name: "fitted, U", Mark: figure.Band, Role: figure.Fitted, X: []float64{from, to}, Y: []float64{j, j},
		Low: []float64{j - u, j - u}, High: []float64{j + u, j + u},
	})
	for _, noisy := range []bool{true, false} {
		s := figure.Series{Name: "moment by moment", Mark: figure.Dots, Role: figure.Measured}
		if noisy {
			s.Name, s.Role = "noise: little acceleration", figure.Faint
		}
		var kept []quotient
		for _, q := range all {
			if q.noise == noisy && q.j >= low && q.j <= high {
				kept = append(kept, q)
			}
		}
		step := max(1, len(kept)/opt.Points)
		for i := 0; i < len(kept); i += step {
			s.X, s.Y = append(s.X, at(kept[i])), append(s.Y, kept[i].j)
		}
		if len(s.X) > 0 {
			p.Series = append(p.Series, s)
		}
	}
	return p
}

type axis = figure.Axis

// The window in which torque, load and acceleration are averaged alike: a share
// of the rise, but no less than the period of a soft fixture (200 Hz) and a few samples.
const (
	windowShare = 0.1
	leastWindow = 0.005 // s
	leastRows   = 7
)

// quotients is the balance of one short tapered window after another along a
// run's rise and the first stretch of plateau after it: mean torque less zero,
// drift and load, over mean acceleration, zero and load factor those of the
// run's fit. The window's length is given in s.
func quotients(in Input, run spin.Run, fit *spin.RunFit, opt Options) (out []quotient, window float64) {
	r := &in.Recording
	v := balance.OfRun(r, run)
	load := balance.Loads(v, in.Curve)
	a, b := r.Segments[run.A], r.Segments[run.B]
	window = math.Max(windowShare*run.RiseS, math.Max(leastWindow, leastRows*r.StepS))
	rise := b.FromS - a.ToS
	var slopes []float64
	peak := 0.0
	for _, mid := range linspace(a.ToS, math.Min(b.FromS+0.3*rise, b.ToS-window), 2*opt.Points) {
		w := balance.Window{From: mid - window/2, To: mid + window/2}
		e := v.Integrate(balance.Test{From: w}, fit.LagS, b.FromS, load)
		speed := v.MeanSpeed(w)
		j := (e.Y - fit.ZeroNm - fit.DriftNmPerS*e.Drift - fit.LoadFactor*e.Load) / e.Momentum
		if math.IsNaN(j) || math.IsInf(j, 0) || math.IsNaN(speed) {
			continue
		}
		out = append(out, quotient{t: mid - a.ToS, w: speed, j: j})
		slopes = append(slopes, math.Abs(e.Momentum))
		peak = math.Max(peak, math.Abs(e.Momentum))
	}
	for i := range out {
		out[i].noise = slopes[i] < opt.NoiseRel*peak
	}
	return out, window
}
