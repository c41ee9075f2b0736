package reports

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// jobView is a page arranged for its template.
type jobView struct {
	Page
	jobWords
	Style    template.CSS
	Script   template.JS
	Verdict  string
	Fit      int
	Against  []spin.Check
	More     int
	Subjects []subject
	Glance   []glance
	Count    map[string]int
	Sections []section
	Budget   budgetView
	Sources  []sourceView
	Disks    []diskView
}

type section struct{ ID, Title string }

// subject is a part with its numbers, the headline first.
type subject struct {
	Name    string
	Numbers []spin.Number
}

// glance is one comparison with all its subjects.
type glance struct {
	Name   string
	Checks []spin.Check
}

// group is a rotor's recordings with their figures.
type group struct {
	Rotor   string
	Figures []figure.Figure
	Caption []string
}

func newJobView(p Page) jobView {
	v := jobView{Page: p, Style: style(), Script: script("script.js"), Count: map[string]int{}}
	for _, k := range p.Checks {
		if k.Verdict != spin.Pass && !k.Gates {
			v.Count["informs"]++
		} else {
			v.Count[state(k)]++
		}
		if k.Gates && state(k) == spin.Fail {
			v.Against = append(v.Against, k)
		}
	}
	// What blocks most comes first: a wrong scale before the scatter it explains.
	slices.SortStableFunc(v.Against, func(a, b spin.Check) int {
		return cmp.Or(len(b.Numbers)-len(a.Numbers), cmp.Compare(severity(b), severity(a)))
	})
	if n := len(v.Against) - mostAgainst; n > 0 {
		v.Against, v.More = v.Against[:mostAgainst], n
	}
	all := 0
	for _, n := range p.Numbers {
		k := slices.IndexFunc(v.Subjects, func(s subject) bool { return s.Name == n.Subject })
		if k < 0 {
			k = len(v.Subjects)
			v.Subjects = append(v.Subjects, subject{Name: n.Subject})
		}
		v.Subjects[k].Numbers = append(v.Subjects[k].Numbers, n)
		all++
		if n.Release {
			v.Fit++
		}
	}
	for _, s := range v.Subjects {
		slices.SortStableFunc(s.Numbers, func(a, b spin.Number) int { return cmp.Compare(rank(a.Quantity), rank(b.Quantity)) })
	}
	v.Verdict = verdict(v.Fit, all, len(v.Against)+v.More)
	v.Glance = glances(p.Checks)
	v.Budget = budgets(p.Numbers)
	v.Sources = sources(p.Choice)
	v.Disks = disks(p)
	v.Sections = []section{
		{"numbers", "Numbers"}, {"recordings", "Recordings"}, {"load", "Load curves"}, {"torque", "Torque"}, {"apparent", "Apparent inertia"},
		{"runs", "Runs"}, {"spinup", "Spin-up"}, {"parts", "Parts"}, {"disks", "Disks"}, {"budget", "Budget"}, {"checks", "Checks"}, {"notes", "Notes"}, {"cautions", "Cautions"}, {"origin", "Origin"},
	}
	return v
}

// mostAgainst findings stand at the head of the page; all are among the checks.
const mostAgainst = 6

func verdict(fit, all, against int) string {
	switch {
	case all == 0:
		return "No number could be derived."
	case fit == all && against == 0:
		return fmt.Sprintf("All %d numbers are fit for release.", all)
	case fit == all:
		return fmt.Sprintf("All %d numbers are fit for release; %d gating checks on other subjects failed.", all, against)
	case fit == 0:
		return fmt.Sprintf("None of %d numbers is fit for release.", all)
	}
	return fmt.Sprintf("%d of %d numbers are fit for release.", fit, all)
}

// state is the verdict as shown: a waived finding is neither.
func state(k spin.Check) string {
	if k.WaivedBecause != "" {
		return "waived"
	}
	return k.Verdict
}

// severity orders findings: how far beyond the limit; refusals, which have no
// size, come first.
func severity(k spin.Check) float64 {
	if k.Limit == 0 {
		return math.MaxFloat64
	}
	return math.Abs(k.Value) / k.Limit
}

func rank(quantity string) int {
	return slices.Index([]string{spin.Inertia, spin.InertiaInAir, spin.InertiaDirect}, quantity)
}

// glances groups checks by name; names with a gating fail first, then what cannot be told.
func glances(checks []spin.Check) []glance {
	var out []glance
	for _, k := range checks {
		i := slices.IndexFunc(out, func(g glance) bool { return g.Name == k.Name })
		if i < 0 {
			i = len(out)
			out = append(out, glance{Name: k.Name})
		}
		out[i].Checks = append(out[i].Checks, k)
	}
	worst := func(g glance) int {
		w := 0
		for _, k := range g.Checks {
			switch {
			case state(k) == spin.Fail && k.Gates:
				return 3
			case state(k) == spin.Fail:
				w = max(w, 2)
			case state(k) == spin.CannotTell:
				w = max(w, 1)
			}
		}
		return w
	}
	slices.SortStableFunc(out, func(a, b glance) int { return worst(b) - worst(a) })
	return out
}

// Figures of one kind, in order.
func (v jobView) Of(kind string) []figure.Figure {
	var out []figure.Figure
	for _, f := range v.Figures {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

func caption(r spin.Recording) string {
	text := r.Declared.Name + ", " + string(r.Declared.Kind)
	if r.Declared.SupplyV > 0 {
		text += fmt.Sprintf(", %.4g V", r.Declared.SupplyV)
	}
	var duty []string
	for _, c := range r.Declared.Command {
		duty = append(duty, fmt.Sprintf("%.3g %%", 100*c))
	}
	if len(duty) > 0 {
		text += ", " + strings.Join(duty, " → ")
	}
	return text
}

// sourceView is one kind of torque source with one verdict, and the runs it was offered to.
type sourceView struct {
	Kind, State string
	Runs        string
	runs        []string
	For, But    []string
	From        []string
}

// sources folds equal verdicts on equal sources into one row.
func sources(c spin.Choice) []sourceView {
	var out []sourceView
	for _, r := range c.Runs {
		for i, s := range r.Sources {
			v := sourceView{Kind: s.Kind, State: "refused", For: s.For, But: s.But, From: s.From}
			switch {
			case i == r.Chosen && !s.Usable:
				v.State = "demanded, though refused"
			case i == r.Chosen:
				v.State = "chosen"
			case s.Usable:
				v.State = "usable"
			}
			if s.Kind == spin.Recorded {
				v.From = nil // each run its own
			}
			k := slices.IndexFunc(out, func(o sourceView) bool {
				return o.Kind == v.Kind && o.State == v.State && slices.Equal(o.For, v.For) && slices.Equal(o.But, v.But) && slices.Equal(o.From, v.From)
			})
			if k < 0 {
				k = len(out)
				out = append(out, v)
			}
			out[k].runs = append(out[k].runs, r.Run)
		}
	}
	for i := range out {
		out[i].Runs = ranges(out[i].runs)
	}
	order := []string{"demanded, though refused", "chosen", "usable", "refused"}
	slices.SortStableFunc(out, func(a, b sourceView) int {
		return slices.Index(order, a.State) - slices.Index(order, b.State)
	})
	return out
}

type diskView struct {
	Part   spin.Part
	Figure *figure.Figure
}

// disks are the reference disks with their comparison, where there is one.
func disks(p Page) []diskView {
	var out []diskView
	for _, part := range p.Parts {
		if part.Shape != "disk" || len(part.Layers) == 0 {
			continue
		}
		d := diskView{Part: part}
		for i := range p.Figures {
			if p.Figures[i].Kind == figure.Disk && p.Figures[i].Subject == part.ID {
				d.Figure = &p.Figures[i]
			}
		}
		out = append(out, d)
	}
	return out
}

// number is a value and its U in g·cm², rounded alike.
func number(v uncertain.Value) string {
	m, u := uncertain.Round(v.Mean/gcm2, v.Expanded().U/gcm2)
	return m + " ± " + u
}

// relative is U over the value in percent, two digits.
func relative(v uncertain.Value) string {
	return fmt.Sprintf("%.2g %%", 100*v.Expanded().U/math.Abs(v.Mean))
}

// The rest are words for the template.

// jobWords are words that pages of jobs and of numbers share.
type jobWords struct{}

// Verdict1 is a check's state in words.
func (jobWords) Verdict1(k spin.Check) string { return state(k) }

// Factor is k and ν.
func (v jobView) Factor(n spin.Number) string {
	_, after, _ := strings.Cut(Inertia(n.Value), "k = ")
	return strings.Replace(after, ", ν = ", ", ", 1)
}

// Scales in use.
func (v jobView) Scales() []string {
	var out []string
	for _, n := range v.Numbers {
		if n.Quantity == spin.Inertia && !slices.Contains(out, n.Scale) {
			out = append(out, n.Scale)
		}
	}
	return out
}

// Short drops the job's name, which the page has at its head.
func (v jobView) Short(id string) string { return strings.TrimPrefix(id, v.Job+"/") }

// U is a number's standard uncertainty in g·cm², two digits.
func (v jobView) U(n spin.Number) string { return fmt.Sprintf("%.2g", n.Value.Std()/gcm2) }

// Gram is a mass with its U in g.
func (v jobView) Gram(m *uncertain.Value) string {
	a, u := uncertain.Round(1e3*m.Mean, 1e3*m.Expanded().U)
	return a + " ± " + u
}

// Heat is how dark a share of the variance is shown: 0 to 3.
func (v jobView) Heat(x float64) int {
	switch {
	case x >= 0.4:
		return 3
	case x >= 0.15:
		return 2
	case x >= 0.05:
		return 1
	}
	return 0
}

// dict is a map for templates that take several values.
func dict(pairs ...any) map[string]any {
	out := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		out[pairs[i].(string)] = pairs[i+1]
	}
	return out
}

// ranges writes runs of a recording together: "disk-a#1–3, disk-b#2".
func ranges(runs []string) string {
	var out []string
	for i := 0; i < len(runs); {
		name, first, _ := strings.Cut(runs[i], "#")
		last := first
		for i++; i < len(runs); i++ {
			n, next, _ := strings.Cut(runs[i], "#")
			if n != name {
				break
			}
			last = next
		}
		text := name + "#" + first
		if last != first {
			text += "–" + last
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// Blocks says how many numbers a check stands against.
func (v jobView) Blocks(k spin.Check) string {
	switch n := len(k.Numbers); n {
	case 0:
		return "gives no number"
	case 1:
		return "blocks 1 number"
	default:
		return fmt.Sprintf("blocks %d numbers", n)
	}
}

// Declared are the nearest declarations that enter a check, at most two.
func (v jobView) Declared(k spin.Check) []spin.Suspect {
	var out []spin.Suspect
	for _, s := range k.Suspects {
		if s.Place != "" && len(out) < 2 {
			out = append(out, s)
		}
	}
	return out
}

// ByRotor gathers figures of recordings by the rotor that was recorded.
func (v jobView) ByRotor(kind string) []group {
	var out []group
	for _, r := range v.Recordings {
		for _, f := range v.Of(kind) {
			if f.Subject != r.Declared.ID() {
				continue
			}
			i := slices.IndexFunc(out, func(g group) bool { return g.Rotor == r.Declared.Rotor.ID })
			if i < 0 {
				i = len(out)
				out = append(out, group{Rotor: r.Declared.Rotor.ID})
			}
			out[i].Figures = append(out[i].Figures, f)
			out[i].Caption = append(out[i].Caption, caption(r))
		}
	}
	return out
}

// SourceWords says which sources the runs take, and which were demanded though refused.
func (v jobView) SourceWords() string {
	count := map[string]int{}
	var order []string
	for _, s := range v.Sources {
		if s.State == "usable" || s.State == "refused" {
			continue
		}
		what := s.Kind + " " + s.State
		if count[what] == 0 {
			order = append(order, what)
		}
		count[what] += len(s.runs)
	}
	var out []string
	for _, what := range order {
		out = append(out, fmt.Sprintf("%s for %d runs", what, count[what]))
	}
	return strings.Join(out, "; ")
}

// Key is the end of a source's name: what was declared of the part or bench.
func (v jobView) Key(source string) string { return source[strings.LastIndexAny(source, "/.")+1:] }

// Time of an answer with its U, or why there is none.
func (v jobView) Time(r spin.Response) string {
	switch {
	case r.Refused != "":
		return "no answer: " + r.Refused
	case r.Stalled:
		return fmt.Sprintf("never: it stays at %.0f rpm", quantity.Rpm(r.StallRadPerS))
	}
	return Time(r.TimeS)
}

// Way is between what, and what drives it.
func (v jobView) Way(r spin.Response) string { return strings.ReplaceAll(way(r), "->", "→") }

// Energy drawn with its U, empty where it is not known.
func (v jobView) Energy(r spin.Response) string {
	if r.Refused != "" || r.Stalled || !r.Powered {
		return ""
	}
	return amountWith(r.EnergyJ, "J")
}

// word is a name as one word of a shell's command line: a name in a file that
// somebody else wrote must not become a command when it is copied.
func word(name string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("./_-+", r)
	}
	if name != "" && name[0] != '-' && strings.IndexFunc(name, func(r rune) bool { return !plain(r) }) < 0 {
		return name
	}
	return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
}
