package pipeline

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/reports"
	"spinledger/stages/kit/figure"
)

// editions is what the catalogue's page is told of a ledger: how the numbers of the jobs
// of a run stand to the editions that were released of them. made is the output folder with the jobs'
// logs, root what the ledger is read below.
func editions(root, made fs.FS, l *ledger.Ledger, jobs []string) (*reports.Released, []figure.Figure, error) {
	mine := func(number string) bool {
		id, _, _ := strings.Cut(number, "/")
		return slices.Contains(jobs, id)
	}
	states := l.States()
	out := &reports.Released{Ledger: l.Name, SHA256: l.Digest()}
	var named []string
	for _, id := range l.Numbers() {
		if mine(id) {
			of, _, _ := strings.Cut(id, "/")
			named = append(named, of)
			if s := states[id]; s.Withdrawn {
				out.Lines = append(out.Lines, reports.ReleasedLine{Moved: reports.Moved{Number: id, Edition: s.Edition}, Day: s.Line.Day, Withdrawn: s.Because})
			}
		}
	}
	if len(named) == 0 {
		return nil, nil, nil
	}
	now, err := ledger.ReadJobs(made, slices.Compact(named))
	if err != nil {
		return nil, nil, err
	}
	all, err := FromLedger(root, l)
	if err != nil {
		return nil, nil, err
	}
	all = slices.DeleteFunc(all, func(e Earlier) bool { return !mine(e.Number) })
	moved, _ := Drift(all, now, DefaultDrift())
	for _, m := range moved {
		if m.Edition > 0 {
			out.Lines = append(out.Lines, reports.ReleasedLine{Moved: m, Day: states[m.Number].Line.Day})
		}
	}
	slices.SortFunc(out.Lines, func(a, b reports.ReleasedLine) int { return strings.Compare(a.Number, b.Number) })
	var figures []figure.Figure
	for _, line := range out.Lines {
		if f, ok := editionsFigure(l.Of(line.Number), line); ok {
			figures = append(figures, f)
		}
	}
	return out, figures, nil
}

// editionsFigure draws the editions of a number over the days of their release, and what is computed
// now; false where there is one edition, or none with a value to compare by.
func editionsFigure(lines []job.LedgerLine, now reports.ReleasedLine) (figure.Figure, bool) {
	lines = slices.DeleteFunc(slices.Clone(lines), func(l job.LedgerLine) bool { return l.Edition == 0 })
	if len(lines) < 2 {
		return figure.Figure{}, false
	}
	first, last := lines[0], lines[len(lines)-1]
	if last.Value.Value == 0 {
		return figure.Figure{}, false
	}
	// In per cent of the latest edition.
	percent := func(v float64) float64 { return 100 * (v/last.Value.Value - 1) }
	was := figure.Series{Name: "edition ± U", Mark: figure.Dots, Role: figure.Declared}
	end := 0.0
	for _, l := range lines {
		end = days(first.Day, l.Day)
		u := l.Value.U * l.Value.K
		was.X, was.Y = append(was.X, end), append(was.Y, percent(l.Value.Value))
		was.Low, was.High = append(was.Low, percent(l.Value.Value-u)), append(was.High, percent(l.Value.Value+u))
		was.Labels = append(was.Labels, fmt.Sprintf("edition %d, %s", l.Edition, l.Day))
	}
	panel := figure.Panel{
		Name: "editions", X: figure.Axis{Name: "days since " + first.Day, Unit: "d"},
		Y: figure.Axis{Name: fmt.Sprintf("against edition %d", last.Edition), Unit: "%"}, Zero: true, Series: []figure.Series{was},
	}
	see := fmt.Sprintf("%d editions, %s to %s", len(lines), first.Day, last.Day)
	if a := now.After; a != nil {
		// A little to the right of the last edition, where both are seen.
		panel.Series = append(panel.Series, figure.Series{
			Name: "computed now ± U", Mark: figure.Dots, Role: figure.Measured, X: []float64{end + max(1, end/30)}, Y: []float64{percent(a.Value)},
			Low: []float64{percent(a.Value - a.U)}, High: []float64{percent(a.Value + a.U)}, Labels: []string{"computed now"},
		})
		if now.Kind == reports.Same {
			see += "; what is computed now is the latest"
		} else {
			see += fmt.Sprintf("; what is computed now differs from the latest by %+.2g %%", 100*now.ShiftRel)
		}
	}
	f := figure.Figure{ID: figure.Chart + "/" + now.Number, Kind: figure.Chart, Subject: now.Number + " over its editions", See: see + ".", Panels: []figure.Panel{panel}}
	f.Trim()
	return f, true
}
