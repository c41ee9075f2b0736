package job

import (
	"fmt"
	"io/fs"
	"strconv"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
)

// LedgerBytes bounds a ledger: a hundred thousand lines stay below it.
const LedgerBytes = 64 << 20

// LedgerLine is one line of a ledger: an edition of a number (Edition > 0) or the
// withdrawal of one (Withdraws > 0).
type LedgerLine struct {
	// Line of the file on which it stands.
	Line      int    `json:"line"`
	Number    string `json:"number"`
	Edition   int    `json:"edition,omitempty"`
	Withdraws int    `json:"withdraws,omitempty"`
	// Value as written, with U, k and degrees of freedom.
	Value quantity.Parsed `json:"-"`
	// Result and Basis are SHA-256 sums; empty for a number from before this
	// program, which has a Source instead.
	Result string `json:"result,omitempty"`
	Basis  string `json:"basis,omitempty"`
	Source string `json:"source,omitempty"`
	// Waived are the checks that a waiver covered when the number was released.
	Waived   string `json:"waived,omitempty"`
	Replaces int    `json:"replaces,omitempty"`
	Because  string `json:"because,omitempty"`
	Day      string `json:"day"`
	By       string `json:"by"`
}

// Move is a difference that a person accepts.
type Move struct {
	Number string
	// Edition of the ledger that it speaks of, 0: any.
	Edition int
	// UpToRel is the largest relative shift accepted; Gone is true where the number may be missing.
	UpToRel float64
	Gone    bool
	Because string
	By      string
	// Where it stands: file and line.
	Where string
}

// ReadLedger reads a ledger from fsys. All faults come back in one error,
// *positioned.Error each.
func ReadLedger(fsys fs.FS, name string) ([]LedgerLine, error) {
	data, err := alone(fsys, name, LedgerFile, LedgerBytes)
	if err != nil {
		return nil, err
	}
	return ParseLedger(name, data)
}

// ParseLedger is ReadLedger of bytes at hand.
func ParseLedger(name string, data []byte) ([]LedgerLine, error) {
	var errs positioned.List
	f := &file{name: name, kind: LedgerFile, errs: &errs}
	root := f.parse(data)
	var out []LedgerLine
	books := map[string]*book{}
	for _, v := range root.get("lines").each() {
		if v.bad {
			continue
		}
		l := ledgerLine(v)
		b := books[l.Number]
		if b == nil {
			b = &book{}
			books[l.Number] = b
		}
		b.enter(v, l)
		out = append(out, l)
	}
	return out, errs.Err()
}

func ledgerLine(v *value) LedgerLine {
	l := LedgerLine{
		Line: v.line, Number: v.get("number").str(""), Edition: v.get("edition").int(0), Withdraws: v.get("withdraws").int(0),
		Result: v.get("result").str(""), Basis: v.get("basis").str(""), Source: v.get("source").str(""),
		Waived: v.get("waived").str(""), Replaces: v.get("replaces").int(0), Because: v.get("because").str(""), Day: v.get("day").str(""), By: v.get("by").str(""),
	}
	if q := v.get("value"); q != nil {
		l.Value = q.quantity
	}
	return l
}

// book is what a ledger says of one number so far.
type book struct {
	edition   int
	withdrawn bool
	day       string
	unit      quantity.Dimension
}

// enter checks a line against those before it and takes it in.
func (b *book) enter(v *value, l LedgerLine) {
	if l.Day < b.day {
		v.get("day").fault(quote(l.Day), "a day not before "+b.day+", that of the line before", "")
	}
	b.day = max(b.day, l.Day)
	if l.Withdraws > 0 {
		b.withdrawal(v, l)
		return
	}
	b.release(v, l)
}

func (b *book) withdrawal(v *value, l LedgerLine) {
	for _, key := range []string{"value", "basis", "waived", "replaces"} {
		if x := v.get(key); x != nil {
			x.faultAtKey(quote(key)+" beside withdraws", "number, withdraws, because, day and by", "")
		}
	}
	switch {
	case b.edition == 0 || b.withdrawn || l.Withdraws != b.edition:
		want := "an edition that is released"
		if b.edition > 0 && !b.withdrawn {
			want = strconv.Itoa(b.edition) + ", the edition that is released"
		}
		v.get("withdraws").fault(strconv.Itoa(l.Withdraws), want, "")
	case l.Because == "":
		v.fault("a withdrawal without because", "the reason", "")
	}
	b.withdrawn = true
}

func (b *book) release(v *value, l LedgerLine) {
	value := v.get("value")
	switch {
	case value == nil:
		v.fault("an edition without value", "the value with its expanded uncertainty and coverage factor", "")
	case l.Value.Kind != quantity.Expanded:
		value.fault(quote(l.Value.Text), "an expanded uncertainty with its coverage factor, such as 12.340 ± 0.150 g·cm² (k=2.13)", "")
	case b.unit != "" && b.unit != l.Value.Unit.Dim:
		value.fault(article(l.Value.Unit.Dim), article(b.unit)+", as in the edition before", "")
	}
	if b.unit == "" {
		b.unit = l.Value.Unit.Dim
	}
	if basis := v.get("basis"); basis != nil && l.Result == "" {
		basis.faultAtKey("basis without result", "both or neither", "")
	}
	if l.Edition != b.edition+1 {
		v.get("edition").fault(strconv.Itoa(l.Edition), fmt.Sprintf("%d, the next of this number", b.edition+1), "")
	}
	replaces := 0
	if !b.withdrawn {
		replaces = b.edition
	}
	switch at := v.get("replaces"); {
	case at == nil && replaces > 0:
		v.fault("an edition that does not say what it replaces", fmt.Sprintf("replaces: %d", replaces), "")
	case at != nil && replaces == 0:
		at.fault(strconv.Itoa(l.Replaces), "no replaces: no edition stands before this one", "")
	case l.Replaces != replaces:
		at.fault(strconv.Itoa(l.Replaces), fmt.Sprintf("%d, the edition before", replaces), "")
	case replaces > 0 && l.Because == "":
		v.fault("an edition that replaces another without because", "the reason", "")
	}
	b.edition, b.withdrawn = max(b.edition, l.Edition), false
}

// ReadMoves reads a file of accepted moves.
func ReadMoves(fsys fs.FS, name string) ([]Move, error) {
	data, err := alone(fsys, name, MovesFile, MaxBytes)
	if err != nil {
		return nil, err
	}
	var errs positioned.List
	f := &file{name: name, kind: MovesFile, errs: &errs}
	root := f.parse(data)
	var out []Move
	seen := map[string]int{}
	for _, v := range root.get("moves").each() {
		if v.bad {
			continue
		}
		m := Move{
			Number: v.get("number").str(""), Edition: v.get("edition").int(0), UpToRel: v.get("up_to").num(),
			Because: v.get("because").str(""), By: v.get("by").str(""), Where: fmt.Sprintf("%s:%d", name, v.line),
		}
		if gone := v.get("gone"); gone != nil {
			if m.Gone = gone.yes; !m.Gone {
				gone.fault(quote(gone.text), "yes, or no such key", "")
			}
		}
		if line, twice := seen[m.Number]; twice {
			v.get("number").fault(quote(m.Number)+" a second time", fmt.Sprintf("one move of each number (first on line %d)", line), "")
		}
		seen[m.Number] = v.line
		out = append(out, m)
	}
	return out, errs.Err()
}

// alone reads a file that names no other.
func alone(fsys fs.FS, name, kind string, most int64) ([]byte, error) {
	data, got, want := readFile(fsys, name, most)
	if got != "" {
		return nil, &positioned.Error{File: name, Got: got, Want: "a " + kind + ": " + want}
	}
	return data, nil
}
