package reports

import (
	"fmt"
	"math"
)

// Released compares a catalogue's numbers with what a ledger says was released of them.
type Released struct {
	// Ledger is the file's name, SHA256 that of the bytes that were compared with.
	Ledger, SHA256 string
	Lines          []ReleasedLine
}

// ReleasedLine is the latest edition of one number.
type ReleasedLine struct {
	Moved
	Day string
	// Withdrawn is the reason, of an edition that was withdrawn; nothing is then compared.
	Withdrawn string
}

// releasedRow is a line as the page shows it.
type releasedRow struct {
	ReleasedLine
	Link, Was, Now, Shift, Word string
	Good                        bool
}

// rows are the lines in words.
func (r *Released) rows(links map[string]string) []releasedRow {
	var out []releasedRow
	for _, l := range r.Lines {
		row := releasedRow{ReleasedLine: l, Link: links[l.Number], Good: !l.Over || l.Accepted != ""}
		if l.Before != nil {
			row.Was = stated(*l.Before, l.Unit)
		}
		if l.After != nil {
			row.Now = stated(*l.After, l.Unit)
		}
		if l.Before != nil && l.After != nil && l.Kind != Same {
			row.Shift = fmt.Sprintf("%+.2g %%, %+.2g U", 100*l.ShiftRel, l.ShiftU)
		}
		row.Word = l.word()
		out = append(out, row)
	}
	return out
}

// word says what became of a released number.
func (l ReleasedLine) word() string {
	switch {
	case l.Withdrawn != "":
		return "withdrawn: " + l.Withdrawn
	case l.Kind == Gone:
		return "no longer computed"
	case len(l.Unfit) > 0:
		return "not fit for release any more: " + l.Unfit[0]
	case l.Kind == Same:
		return "as released"
	case l.DifferenceU > 0:
		return fmt.Sprintf("%s: differs by %.2g of the U of the difference, limit %.3g", l.Kind, l.Score, l.Limit)
	}
	return fmt.Sprintf("%s: moved by %.1g U, limit %.3g U", l.Kind, math.Abs(l.ShiftU), l.Limit)
}

// summary is the section's sentence.
func (r *Released) summary() string {
	same, within, over := 0, 0, 0
	for _, l := range r.Lines {
		switch {
		case l.Withdrawn != "":
		case l.Over && l.Accepted == "":
			over++
		case l.Kind == Same:
			same++
		default:
			within++
		}
	}
	text := fmt.Sprintf("%d as released, %d moved within the limit, %d beyond it", same, within, over)
	if gone := len(r.Lines) - same - within - over; gone > 0 {
		text += fmt.Sprintf(", %d withdrawn", gone)
	}
	return text + "."
}
