package pipeline

import (
	"slices"
	"strings"

	"spinledger/pipeline/tables"
	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/trace"
)

// trace takes the points that pages draw: of each recording while its samples
// are at hand, then of the job's results.
func (c *computation) trace() error {
	opt := c.w.Options.Trace
	all := make([]done[trace.Output], len(c.loaded))
	err := each(len(c.loaded), c.res.gate, func(i int) (err error) {
		rec := c.loaded[i].rec
		in := trace.Input{Recording: rec, Curve: c.curves[rec.Declared.Rotor.ID], Fits: c.fitsOf(rec.Declared.ID())}
		in.Lag, _ = c.out.Choice.LagOf(rec.Declared.Session)
		if k := slices.IndexFunc(c.out.Rotors, func(r spin.RotorInertia) bool { return r.Rotor == rec.Declared.Rotor.ID }); k >= 0 {
			in.Rotor = &c.out.Rotors[k]
		}
		all[i], err = do(c.around.past, "trace", rec.Declared.ID(), trace.Method, opt, in, func() (trace.Output, error) {
			if in.Recording.Samples, err = c.samples(&c.loaded[i]); err != nil {
				return trace.Output{}, err
			}
			return trace.Recording(in, opt)
		})
		return err
	})
	if err != nil {
		return err
	}
	var rises []trace.Rise
	for i := range all {
		all[i].add(c.log, append(c.stepsOf(&c.loaded[i].rec), c.subStep), nil)
		c.out.Figures = append(c.out.Figures, all[i].out.Figures...)
		if r := all[i].out.Rise; r != nil {
			rises = append(rises, *r)
		}
	}
	in := trace.JobInput{
		Job: c.w.Job, Curves: c.out.Curves, Evidence: c.out.Evidence, Choice: c.out.Choice, Fits: c.out.Fits,
		Rotors: c.out.Rotors, Bodies: c.w.Rotors, Numbers: c.out.Numbers, Parts: c.w.Parts, Rises: rises,
		Responses: c.out.Responses, Predictions: c.out.Predictions,
	}
	d, err := do(c.around.past, "trace", c.w.Job, trace.Method, opt, in, func() (trace.Output, error) { return trace.Job(in, opt) })
	if err != nil {
		return err
	}
	d.add(c.log, append([]int{c.choiceStep, c.subStep}, c.fitSteps...), nil)
	c.out.Figures = append(c.out.Figures, d.out.Figures...)
	return nil
}

func (c *computation) fitsOf(recording string) []spin.RunFit {
	var out []spin.RunFit
	for _, f := range c.out.Fits {
		if f.Recording == recording {
			out = append(out, f)
		}
	}
	return out
}

// traceRow is one drawn point, or one shaded span.
type traceRow struct {
	figure, panel, series, mark, role, xUnit, yUnit, label string
	i                                                      int
	x, y, low, high                                        float64
	bar                                                    bool
}

// traces is every point that the page draws, in the data's units. It is made while it is
// written: of a job with hundreds of recordings it is the largest thing there is.
func (f *Findings) traces() tables.Table {
	n := 0
	for _, g := range f.Figures {
		for _, p := range g.Panels {
			n += panelLen(p)
		}
	}
	t := traceTable(nil)
	t.Length, t.Later = n, func(from, to int) []tables.Column {
		rows := make([]traceRow, 0, to-from)
		at := 0
		for _, g := range f.Figures {
			for _, p := range g.Panels {
				next := at + panelLen(p)
				if at < to && next > from {
					rows = append(rows, panelRows(g.ID, p)[max(from-at, 0):min(to, next)-at]...)
				}
				at = next
			}
		}
		return traceTable(rows).Columns
	}
	return t
}

func traceTable(rows []traceRow) tables.Table {
	t := newTable("traces", "the points that report.html draws; spans are stretches of x from low to high", rows).
		text("figure", "kind/subject", func(r traceRow) string { return r.figure }).
		text("panel", "", func(r traceRow) string { return r.panel }).
		text("series", "name in the legend, or of the span", func(r traceRow) string { return r.series }).
		text("mark", "line, dots, band, bars or span", func(r traceRow) string { return r.mark }).
		text("role", "what it means; of a span its kind", func(r traceRow) string { return r.role }).
		int("i", "index in its series, from 0", func(r traceRow) int { return r.i }).
		float("x", "as x_unit says", "0 for spans", func(r traceRow) float64 { return r.x }).
		float("y", "as y_unit says", "0 for spans", func(r traceRow) float64 { return r.y }).
		text("x_unit", "", func(r traceRow) string { return r.xUnit }).
		text("y_unit", "", func(r traceRow) string { return r.yUnit }).
		text("label", "of the point, or empty", func(r traceRow) string { return r.label }).out
	for _, c := range []struct {
		name string
		of   func(traceRow) float64
	}{{"low", func(r traceRow) float64 { return r.low }}, {"high", func(r traceRow) float64 { return r.high }}} {
		col := tables.Column{Name: c.name, Unit: "as y_unit says", Doc: "end of the bar or band; for spans and where y has rows of x", Type: tables.Float64, Nullable: true,
			Floats: make([]float64, len(rows)), Valid: make([]bool, len(rows))}
		for i, r := range rows {
			col.Floats[i], col.Valid[i] = c.of(r), r.bar
		}
		t.Columns = append(t.Columns, col)
	}
	return t
}

// panelLen is the number of rows that panelRows gives.
func panelLen(p figure.Panel) int {
	n := len(p.Spans)
	for _, s := range p.Series {
		n += len(s.X)
	}
	return n
}

func panelRows(id string, p figure.Panel) []traceRow {
	var rows []traceRow
	base := traceRow{figure: id, panel: p.Name, xUnit: unitOf(p.X), yUnit: unitOf(p.Y)}
	for i, s := range p.Spans {
		r := base
		r.series, r.mark, r.role, r.i, r.low, r.high, r.bar = s.Name, "span", s.Kind, i, s.From, s.To, true
		rows = append(rows, r)
	}
	for _, s := range p.Series {
		for i := range s.X {
			r := base
			r.series, r.mark, r.role, r.i, r.x, r.y = s.Name, s.Mark, s.Role, i, s.X[i], s.Y[i]
			if s.Low != nil {
				r.low, r.high, r.bar = s.Low[i], s.High[i], true
			}
			if s.Labels != nil {
				r.label = s.Labels[i]
			}
			rows = append(rows, r)
		}
	}
	return rows
}

// unitOf an axis: of one with rows, their names in order.
func unitOf(a figure.Axis) string {
	if a.Rows != nil {
		return "rows: " + strings.Join(a.Rows, ", ")
	}
	return a.Unit
}
