package ledger

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"spinledger/pipeline/job"
)

// Act is who does what on which day, and why.
type Act struct {
	By, Day, Because string
}

// Addition is a line to be added, and what is to be kept of the number.
type Addition struct {
	Number string
	Line   string
	// KeptName and Kept are the file below released/; empty for a withdrawal.
	KeptName string
	Kept     []byte
}

// Left is a number for which no line is proposed, and why.
type Left struct {
	Number string
	Why    string
	Kind   LeftKind
}

// LeftKind is why a number is left out.
type LeftKind int

// Done: nothing to do. Unfit: it may not be released. Unsaid: the call does not give the reason that a line needs.
const (
	Done LeftKind = iota
	Unfit
	Unsaid
)

// Propose gives the lines that would release the results: one for each that is fit for
// release and not released as it is, in the order of ids.
func (l *Ledger) Propose(results []Result, act Act) ([]Addition, []Left, error) {
	states := l.States()
	var out []Addition
	var left []Left
	for _, r := range results {
		id, s := r.Number.ID, states[r.Number.ID]
		sum := r.Digest()
		switch why := fit(r.Number, r.Against); {
		case len(why) > 0:
			left = append(left, Left{id, "not fit for release: " + strings.Join(why, "; "), Unfit})
			continue
		case s.Released() && s.Line.Result == sum:
			left = append(left, Left{id, fmt.Sprintf("released as edition %d", s.Edition), Done})
			continue
		case s.Released() && act.Because == "":
			left = append(left, Left{id, fmt.Sprintf("edition %d would be replaced, and no reason is given", s.Edition), Unsaid})
			continue
		}
		basis, err := json.Marshal(r.Basis)
		if err != nil {
			return nil, nil, err
		}
		line := fmt.Sprintf("{number: %s, edition: %d, value: %s, result: %s, basis: %s", id, s.Edition+1, strconv.Quote(Quantity(r.Number)), sum, digest(basis))
		if len(r.Number.Waived) > 0 {
			line += ", waived: " + strconv.Quote(strings.Join(r.Number.Waived, "; "))
		}
		if s.Released() {
			line += fmt.Sprintf(", replaces: %d, because: %s", s.Edition, strconv.Quote(act.Because))
		}
		out = append(out, Addition{
			Number: id, Line: line + act.end(), KeptName: l.keptName(sum), Kept: slices.Concat(r.JSON, []byte{'\n'}, basis, []byte{'\n'}),
		})
	}
	return out, left, nil
}

// Withdraw gives the lines that withdraw the released editions of numbers.
func (l *Ledger) Withdraw(numbers []string, act Act) ([]Addition, []Left) {
	states := l.States()
	var out []Addition
	var left []Left
	for _, id := range numbers {
		s := states[id]
		if !s.Released() {
			why := "never released"
			if s.Withdrawn {
				why = "withdrawn already: " + s.Because
			}
			left = append(left, Left{id, why, Unfit})
			continue
		}
		out = append(out, Addition{Number: id, Line: fmt.Sprintf("{number: %s, withdraws: %d, because: %s", id, s.Edition, strconv.Quote(act.Because)) + act.end()})
	}
	return out, left
}

func (a Act) end() string { return ", day: " + a.Day + ", by: " + strconv.Quote(a.By) + "}" }

// header of a new ledger.
const header = `# Released numbers. Lines are added at the end, by release and withdraw, and never changed.
format: 1
lines:
`

// Check reports lines that could not stand in the ledger, such as a day before the last.
func (l *Ledger) Check(add []Addition) error {
	_, err := l.extended(add)
	return err
}

// extended is the file with the additions behind what it holds. It is read back: the old
// lines must stand as they stood, and the new ones must be good.
func (l *Ledger) extended(add []Addition) ([]byte, error) {
	if len(add) == 0 {
		return l.data, nil
	}
	data := slices.Clone(l.data)
	if len(data) == 0 {
		data = []byte(header)
	} else if data[len(data)-1] != '\n' {
		data = append(data, '\n')
	}
	if len(l.data) > 0 && len(l.Lines) == 0 {
		data = append(data, "lines:\n"...)
	}
	for _, a := range add {
		data = append(append(data, "  - "+a.Line...), '\n')
	}
	lines, err := job.ParseLedger(l.Name, data)
	if err != nil {
		return nil, err
	}
	same := func(a, b job.LedgerLine) bool { return a.Line == b.Line && a.Number == b.Number }
	if len(lines) != len(l.Lines)+len(add) || !slices.EqualFunc(lines[:len(l.Lines)], l.Lines, same) {
		return nil, fmt.Errorf("%s: lines added at its end would not stand behind the others: its lines must be the last key, one below the other", l.Name)
	}
	return data, nil
}

// fixed writes U to four digits and the value to the same place.
func fixed(mean, u float64) (string, string) {
	decimals := max(0, 3-int(math.Floor(math.Log10(u))))
	return digits(mean, decimals), digits(u, decimals)
}

func digits(x float64, decimals int) string { return strconv.FormatFloat(x, 'f', decimals, 64) }

// Select picks results by number id or job id, each once, in the order of ids; names that
// mean nothing come back as unknown.
func (o *Output) Select(names []string) (picked []Result, unknown []string) {
	take := map[string]bool{}
	for _, name := range names {
		found := false
		for _, r := range o.Results {
			if r.Number.ID == name || r.Basis.Job == name {
				take[r.Number.ID], found = true, true
			}
		}
		if !found {
			unknown = append(unknown, name)
		}
	}
	for _, r := range o.Results {
		if take[r.Number.ID] {
			picked = append(picked, r)
		}
	}
	slices.SortStableFunc(picked, func(a, b Result) int { return cmp.Compare(a.Number.ID, b.Number.ID) })
	return picked, unknown
}
