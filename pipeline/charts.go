package pipeline

import (
	"fmt"
	"time"

	"spinledger/stages/crosscheck"
	"spinledger/stages/kit/figure"
)

// chartFigures draws the control charts of all benches: a figure for each bench and
// chart, its sessions over days, limits as a band where they rest on something. A lone
// session without limits is nothing to look at; the table has it.
func chartFigures(all []crosscheck.ChartPoint) []figure.Figure {
	var out []figure.Figure
	for from := 0; from < len(all); {
		to := from
		for to < len(all) && all[to].Bench == all[from].Bench && all[to].Chart == all[from].Chart {
			to++
		}
		if to-from > 1 || all[from].Limits != crosscheck.LimitsNone {
			out = append(out, chartFigure(all[from:to]))
		}
		from = to
	}
	return out
}

// chartFigure is one chart; its points are sorted by date.
func chartFigure(points []crosscheck.ChartPoint) figure.Figure {
	first := points[0]
	band := figure.Series{Name: "limits", Mark: figure.Band, Role: figure.Fitted}
	centre := figure.Series{Name: "centre", Mark: figure.Line, Role: figure.Fitted}
	inside := figure.Series{Name: "session ± 2 u", Mark: figure.Dots, Role: figure.Measured}
	outside := figure.Series{Name: "outside the limits", Mark: figure.Dots, Role: figure.Deficit}
	for _, p := range points {
		x := days(first.Date, p.Date)
		if p.Limits != crosscheck.LimitsNone {
			band.X, band.Y = append(band.X, x), append(band.Y, p.Centre)
			band.Low, band.High = append(band.Low, p.Low), append(band.High, p.High)
			centre.X, centre.Y = append(centre.X, x), append(centre.Y, p.Centre)
		}
		s := &inside
		if p.Outside {
			s = &outside
		}
		s.X, s.Y = append(s.X, x), append(s.Y, p.Value)
		s.Low, s.High = append(s.Low, p.Value-2*p.U), append(s.High, p.Value+2*p.U)
		label := p.Date + " " + p.Job + "/" + p.Session
		if p.Subject != "" {
			label += " " + p.Subject
		}
		s.Labels = append(s.Labels, label)
	}
	if n := len(band.X); n > 0 {
		// Half a day to either side, so that one session's limits are seen.
		if n == 1 {
			band, centre = twice(band), twice(centre)
		}
		for _, s := range []*figure.Series{&band, &centre} {
			s.X[0] -= 0.5
			s.X[len(s.X)-1] += 0.5
		}
	}
	panel := figure.Panel{
		Name: first.Chart, X: figure.Axis{Name: "days since " + first.Date, Unit: "d"}, Y: figure.Axis{Name: first.Chart, Unit: first.Unit}, Zero: true,
	}
	for _, s := range []figure.Series{band, centre, inside, outside} {
		if len(s.X) > 0 {
			panel.Series = append(panel.Series, s)
		}
	}
	f := figure.Figure{
		ID: figure.Chart + "/" + first.Bench + "/" + first.Chart, Kind: figure.Chart, Subject: "bench " + first.Bench + ": " + first.Chart,
		See: chartSays(points, len(outside.X)), Panels: []figure.Panel{panel},
	}
	f.Trim()
	return f
}

// twice is a series of one point with that point again.
func twice(s figure.Series) figure.Series {
	again := func(v []float64) []float64 { return append(v, v...) }
	s.X, s.Y, s.Low, s.High = again(s.X), again(s.Y), again(s.Low), again(s.High)
	return s
}

func chartSays(points []crosscheck.ChartPoint, outside int) string {
	first, last := points[0], points[len(points)-1]
	text := "1 point, " + first.Date
	switch {
	case len(points) > 1 && first.Date != last.Date:
		text = fmt.Sprintf("%d points, %s to %s", len(points), first.Date, last.Date)
	case len(points) > 1:
		text = fmt.Sprintf("%d points, %s", len(points), first.Date)
	}
	if last.Limits == crosscheck.LimitsNone {
		return text + "; too few for limits."
	}
	if outside == 0 {
		return text + "; none outside the limits by " + last.Limits + "."
	}
	return fmt.Sprintf("%s; %d outside the limits by %s: the bench, or the disk, is no longer what it was.", text, outside, last.Limits)
}

// days from one YYYY-MM-DD to another; 0 where one is none.
func days(from, to string) float64 {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	if err1 != nil || err2 != nil {
		return 0
	}
	return b.Sub(a).Hours() / 24
}
