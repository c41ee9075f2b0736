package pipeline

import (
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/reports"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// DriftOptions of a comparison.
type DriftOptions struct {
	// Limit of numbers recomputed from the same recordings: shift, and change of U, over the U before.
	Limit float64
	// LimitRemeasured: difference over its expanded uncertainty (the normalised error of
	// ISO 13528:2022, 9.6, which should not exceed 1).
	LimitRemeasured float64
	Moves           []job.Move
}

// DefaultDrift are the documented defaults: a tenth of U is below what anybody would
// publish anew (common practice, no source).
func DefaultDrift() DriftOptions { return DriftOptions{Limit: 0.1, LimitRemeasured: 1} }

// Earlier is one number as it was: what is known of it depends on where it comes from.
type Earlier struct {
	Number  string
	Edition int
	Stated  reports.Stated
	Unit    string
	// Result with budget and basis, where Known.
	Result ledger.Result
	Known  bool
}

// FromLedger are the released numbers of a ledger, by id. Withdrawn ones are left out.
func FromLedger(fsys fs.FS, l *ledger.Ledger) ([]Earlier, error) {
	states := l.States()
	var out []Earlier
	for _, id := range l.Numbers() {
		s := states[id]
		if !s.Released() {
			continue
		}
		v := s.Line.Value
		e := Earlier{Number: id, Edition: s.Edition, Unit: v.Unit.Name, Stated: reports.Stated{Value: v.Value, U: v.U * v.K, K: v.K}}
		var err error
		if e.Result, e.Known, err = l.Kept(fsys, s.Line); err != nil {
			return nil, err
		}
		if e.Known {
			e.fill()
		}
		out = append(out, e)
	}
	return out, nil
}

// FromOutput are the numbers of an output, by id.
func FromOutput(o *ledger.Output) []Earlier {
	out := make([]Earlier, len(o.Results))
	for i, r := range o.Results {
		out[i] = Earlier{Number: r.Number.ID, Result: r, Known: true}
		out[i].fill()
	}
	return out
}

// fill takes value and unit from the result, which has every digit.
func (e *Earlier) fill() {
	e.Stated, e.Unit = statedOf(e.Result.Number), e.Result.Number.Unit
}

func statedOf(n spin.Number) reports.Stated {
	i := n.Value.Expanded()
	return reports.Stated{Value: n.Value.Mean, U: i.U, K: i.K}
}

// Drift compares numbers as they were with those of an output, in the order of ids.
// Accepted moves that accept nothing are an error, as unused waivers are.
func Drift(before []Earlier, after *ledger.Output, opt DriftOptions) ([]reports.Moved, []string) {
	var out []reports.Moved
	seen := map[string]bool{}
	for _, e := range before {
		seen[e.Number] = true
		now, ok := after.Find(e.Number)
		if !ok {
			b := e.Stated
			out = append(out, reports.Moved{Number: e.Number, Unit: e.Unit, Kind: reports.Gone, Edition: e.Edition, Before: &b, Over: true})
			continue
		}
		out = append(out, compare(e, now, opt))
	}
	for _, r := range after.Results {
		if !seen[r.Number.ID] {
			a := statedOf(r.Number)
			out = append(out, reports.Moved{Number: r.Number.ID, Unit: r.Number.Unit, Kind: reports.Added, After: &a})
		}
	}
	slices.SortStableFunc(out, func(a, b reports.Moved) int { return strings.Compare(a.Number, b.Number) })
	return out, accept(out, opt.Moves)
}

// compare judges one number that is there before and after.
func compare(e Earlier, now ledger.Result, opt DriftOptions) reports.Moved {
	b, a := e.Stated, statedOf(now.Number)
	m := reports.Moved{Number: e.Number, Unit: now.Number.Unit, Edition: e.Edition, Before: &b, After: &a}
	m.ShiftRel, m.ShiftU, m.ChangeU = ratio(a.Value, b.Value)-1, (a.Value-b.Value)/b.U, ratio(a.U, b.U)-1
	if e.Edition > 0 {
		m.Unfit = slices.Concat(now.Number.Blocked, now.Against)
	}
	switch {
	case e.Known && (e.Result.Digest() == now.Digest() || a == b):
		m.Kind = reports.Same
		m.ShiftRel, m.ShiftU, m.ChangeU = 0, 0, 0
	case !e.Known:
		// Nothing is known to be shared; and a ledger's digits end at a thousandth of U.
		m.Kind, m.Limit = reports.Unknown, opt.LimitRemeasured
		m.DifferenceU = math.Hypot(b.U, a.U)
		m.Why = []string{"not known: the ledger keeps no result of this edition"}
	default:
		m.Why = Causes(e.Result.Basis, now.Basis)
		if sameRecordings(e.Result.Basis, now.Basis) {
			m.Kind, m.Limit = reports.Recomputed, opt.Limit
			break
		}
		m.Kind, m.Limit = reports.Remeasured, opt.LimitRemeasured
		d := now.Number.Value.Sub(own(e.Result.Number))
		m.DifferenceU = d.Expanded().U
	}
	if m.DifferenceU > 0 {
		m.Score = math.Abs(a.Value-b.Value) / m.DifferenceU
		m.Over = m.Score > m.Limit
	} else if m.Kind != reports.Same {
		m.Over = math.Abs(m.ShiftU) > m.Limit || math.Abs(m.ChangeU) > m.Limit
	}
	m.Over = m.Over || len(m.Unfit) > 0
	return m
}

// ratio is a/b, 1 where both are 0.
func ratio(a, b float64) float64 {
	if a == b {
		return 1
	}
	return a / b
}

// neverVaries are the effects of a rotor that measuring it again repeats.
var neverVaries = []string{"/inflow", "/entrained-air", "/floor"}

// declaredOnce begin the causes that belong to no recording: benches with their
// calibrations, parts, waived deviations.
var declaredOnce = []string{"bench/", "parts/", "waived/"}

// own renames the causes that other recordings draw anew (lag of a session, scatter,
// remounting, drag curve), so that they do not cancel against causes of the same name
// in numbers that rest on other recordings.
func own(n spin.Number) uncertain.Value {
	v := uncertain.Value{Mean: n.Value.Mean}
	for _, p := range n.Value.Parts {
		stays := slices.ContainsFunc(declaredOnce, func(s string) bool { return strings.HasPrefix(p.Source, s) }) ||
			slices.ContainsFunc(neverVaries, func(s string) bool { return strings.HasSuffix(p.Source, s) })
		if !stays {
			p.Source = "earlier/" + p.Source
		}
		v = v.With(p)
	}
	return v
}

// digests of files, sorted: names do not matter.
func digests(list []provenance.Input) []string {
	var out []string
	for _, in := range list {
		out = append(out, in.SHA256)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func sameRecordings(a, b ledger.Basis) bool {
	return slices.Equal(digests(a.Recordings), digests(b.Recordings))
}

// Causes of a move: what differs in what two results were computed from.
func Causes(a, b ledger.Basis) []string {
	var out []string
	if !sameRecordings(a, b) {
		out = append(out, "recording: "+strings.Join(changes(a.Recordings, b.Recordings), ", "))
	}
	if list := changes(a.Files, b.Files); len(list) > 0 {
		out = append(out, "job file: "+strings.Join(list, ", "))
	}
	methods := methodChanges(a.Methods, b.Methods)
	if len(methods) > 0 {
		out = append(out, "method version: "+strings.Join(methods, ", "))
	} else if a.Program != b.Program {
		// A new method is a new program; the program alone is a cause only where no
		// method says that its numbers may differ.
		out = append(out, fmt.Sprintf("program: %s, now %s", orUnknown(a.Program), orUnknown(b.Program)))
	}
	switch len(out) {
	case 0:
		out = append(out, "nothing that is logged differs: compare the platforms in machine.json; else it is a fault of the program")
	case 1:
	default:
		out = append(out, notSeparable)
	}
	return out
}

const notSeparable = "several at once: not separable without the inputs of both sides"

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// shownChanges of files are named; the rest is counted.
const shownChanges = 3

// changes of files by name, then by content alone.
func changes(a, b []provenance.Input) []string {
	was := map[string]string{}
	for _, in := range a {
		was[in.Name] = in.SHA256
	}
	old := digests(a)
	var out []string
	is := map[string]bool{}
	now := digests(b)
	for _, in := range b {
		is[in.Name] = true
		sum, known := was[in.Name]
		_, elsewhere := slices.BinarySearch(old, in.SHA256)
		switch {
		case known && sum != in.SHA256:
			out = append(out, in.Name+" changed")
		case !known && !elsewhere:
			out = append(out, in.Name+" added")
		}
	}
	for _, in := range a {
		if _, elsewhere := slices.BinarySearch(now, in.SHA256); !is[in.Name] && !elsewhere {
			out = append(out, in.Name+" gone")
		}
	}
	if n := len(out) - shownChanges; n > 0 {
		out = append(out[:shownChanges], fmt.Sprintf("and %d more", n))
	}
	return out
}

// methodChanges pairs versions of one stage: "fit/3, now fit/4".
func methodChanges(a, b []string) []string {
	var out []string
	for _, m := range b {
		if slices.Contains(a, m) {
			continue
		}
		stage, _, _ := strings.Cut(m, "/")
		before := "none"
		for _, o := range a {
			if s, _, _ := strings.Cut(o, "/"); s == stage && !slices.Contains(b, o) {
				before = o
			}
		}
		out = append(out, before+", now "+m)
	}
	for _, o := range a {
		stage, _, _ := strings.Cut(o, "/")
		if !slices.ContainsFunc(b, func(m string) bool { return strings.HasPrefix(m, stage+"/") }) {
			out = append(out, o+", now none")
		}
	}
	return out
}

// accept marks what a person accepts; it gives the faults of moves that accept nothing.
func accept(all []reports.Moved, moves []job.Move) []string {
	var unused []string
	for _, a := range moves {
		used := false
		for i := range all {
			m := &all[i]
			if m.Number != a.Number || !m.Over || len(m.Unfit) > 0 || a.Edition != 0 && a.Edition != m.Edition {
				continue
			}
			if gone := m.Kind == reports.Gone; gone != a.Gone || !gone && math.Abs(m.ShiftRel) > a.UpToRel {
				continue
			}
			m.Accepted = fmt.Sprintf("%s (%s)", a.Because, a.By)
			used = true
		}
		if !used {
			unused = append(unused, fmt.Sprintf("%s: the move of %s accepts nothing: no such number above the limit, another edition, or further than accepted", a.Where, a.Number))
		}
	}
	return unused
}

// Drifted is true where a number is above its limit and nobody accepted it.
func Drifted(all []reports.Moved) bool {
	return slices.ContainsFunc(all, func(m reports.Moved) bool { return m.Over && m.Accepted == "" })
}
