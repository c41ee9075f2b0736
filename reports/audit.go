package reports

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"spinledger/stages/kit/spin"
)

// Audit is all that is known about where one number comes from.
type Audit struct {
	Number spin.Number `json:"number"`
	// Result is the SHA-256 of the number's text in results.jsonl.
	Result string `json:"result"`
	// Program that computed it: version, and modules with the hashes of their sources.
	Program string   `json:"program"`
	Modules []string `json:"modules,omitempty"`
	// Causes are the rows of its budget, the largest first.
	Causes []AuditCause `json:"causes"`
	// Checks that stand behind it.
	Checks   []spin.Check   `json:"checks"`
	Waivers  []AuditWaiver  `json:"waivers,omitempty"`
	Editions []AuditEdition `json:"editions,omitempty"`
	// Tables that hold it, below the output folder.
	Tables []AuditFile `json:"tables"`
	// Steps from the number down to the files, the last step first.
	Steps []AuditStep `json:"steps"`
	// Faults say what on the path no longer matches; none is a clean audit.
	Faults []string `json:"faults,omitempty"`
	// Notes say what differs without being wrong: another program than the one that asks.
	Notes []string `json:"notes,omitempty"`
}

// AuditCause is one row of a budget with where it is written.
type AuditCause struct {
	Source string `json:"source"`
	// Contribution is signed, in the number's unit; Share of the variance is from 0 to 1.
	Contribution float64 `json:"contribution"`
	Share        float64 `json:"share"`
	DoF          float64 `json:"dof,omitempty"`
	// Places are file:line:column; Written is what stands there, empty for an effect that
	// nobody wrote (noise, lag, scatter): its places are what it belongs to.
	Places  []string `json:"places,omitempty"`
	Written string   `json:"written,omitempty"`
}

// AuditWaiver is a waiver that covers a check of the number.
type AuditWaiver struct {
	Check   string `json:"check"`
	Subject string `json:"subject"`
	Because string `json:"because"`
	By      string `json:"by"`
	Until   string `json:"until"`
	Place   string `json:"place"`
}

// AuditEdition is a line of the ledger about the number.
type AuditEdition struct {
	Edition   int    `json:"edition,omitempty"`
	Withdraws int    `json:"withdraws,omitempty"`
	Stated    string `json:"stated,omitempty"`
	Waived    string `json:"waived,omitempty"`
	Day       string `json:"day"`
	By        string `json:"by"`
	Because   string `json:"because,omitempty"`
	Place     string `json:"place"`
	// Same is true where its result is the one that is audited.
	Same bool `json:"same"`
}

// AuditStep is one step of the log.
type AuditStep struct {
	N       int    `json:"n"`
	Stage   string `json:"stage"`
	Subject string `json:"subject"`
	Method  string `json:"method"`
	Key     string `json:"key"`
	// Output is the SHA-256 of line N of results.jsonl.
	Output string `json:"output"`
	From   []int  `json:"from,omitempty"`
	// Own is false for a step about another rotor than the number's: it enters through
	// what a job's rotors share, the choice of lag and sources and the adjustment.
	Own    bool        `json:"own"`
	Places []string    `json:"places,omitempty"`
	Files  []AuditFile `json:"files,omitempty"`
}

// AuditFile is a file as logged and as found.
type AuditFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
	// State is "same", "changed" or "missing".
	State string `json:"state"`
}

// Dependents are the numbers that rest on an input.
type Dependents struct {
	// Input as asked for, and what it was found to be.
	Input string `json:"input"`
	What  string `json:"what"`
	// Numbers, those that rest on it most first.
	Numbers []Dependent `json:"numbers"`
	Faults  []string    `json:"faults,omitempty"`
}

// Dependent is a number and how it rests on an input.
type Dependent struct {
	ID string `json:"id"`
	// Share of its variance that the input's uncertainty makes.
	Share float64 `json:"share"`
	// How is "own" for an input of the number's own rotors or budget, "shared" for one
	// that enters through the job's choice of lag and sources or its adjustment.
	How      string `json:"how"`
	Release  bool   `json:"release"`
	Released string `json:"released,omitempty"`
}

// lineWidth of a terminal, in columns.
const lineWidth = 80

// AuditText writes an audit for a terminal of 80 columns.
func AuditText(w io.Writer, a Audit) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s\n  %s, 95 %%\n", a.Number.ID, Inertia(a.Number.Value))
	paragraph(b, "  ", "  ", releaseState(a.Number)+"; scale: "+a.Number.Scale+remark(a.Number))
	a.verdict(b)
	fmt.Fprintf(b, "\nbudget, share of the variance\n")
	for _, c := range a.Causes {
		c.write(b)
	}
	fmt.Fprintf(b, "\nchecks\n")
	for _, k := range a.Checks {
		line := fmt.Sprintf("%s %s of %s", k.Verdict, k.Name, k.Subject)
		if k.Verdict != spin.Pass {
			line += ": " + k.Text
		}
		if !k.Gates {
			line = "(informs) " + line
		}
		paragraph(b, "  ", "      ", line)
	}
	for _, v := range a.Waivers {
		paragraph(b, "  waived ", "      ", fmt.Sprintf("%s of %s until %s by %s (%s): %s", v.Check, v.Subject, v.Until, v.By, v.Place, v.Because))
	}
	fmt.Fprintf(b, "\neditions\n")
	if len(a.Editions) == 0 {
		fmt.Fprintf(b, "  none in the ledger\n")
	}
	for _, e := range a.Editions {
		paragraph(b, "  ", "      ", e.line())
	}
	fmt.Fprintf(b, "\ntables\n")
	for _, f := range a.Tables {
		f.write(b, "  ")
	}
	fmt.Fprintf(b, "\npath, from the number down to the files. n is the line of provenance.jsonl and\n"+
		"of results.jsonl; below it stands the SHA-256 of that line of results.jsonl\n")
	for _, own := range []bool{true, false} {
		steps := slices.DeleteFunc(slices.Clone(a.Steps), func(s AuditStep) bool { return s.Own != own })
		if !own && len(steps) > 0 {
			fmt.Fprintf(b, "\nand through what rotors of the job share (lag, sources, adjustment)\n")
		}
		for _, s := range steps {
			s.write(b)
		}
	}
	paragraph(b, "\nprogram ", "  ", a.Program)
	for _, n := range a.Notes {
		paragraph(b, "note: ", "  ", n)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func remark(n spin.Number) string {
	if n.Note == "" {
		return ""
	}
	return "; " + n.Note
}

func releaseState(n spin.Number) string {
	switch {
	case !n.Release:
		return "NOT FIT for release: " + strings.Join(n.Blocked, "; ")
	case len(n.Waived) > 0:
		return "fit for release, waived: " + strings.Join(n.Waived, "; ")
	default:
		return "fit for release"
	}
}

// verdict says at the top whether all matches.
func (a Audit) verdict(b *strings.Builder) {
	files := 0
	for _, s := range a.Steps {
		files += len(s.Files)
	}
	if len(a.Faults) == 0 {
		paragraph(b, "  ", "  ", fmt.Sprintf("everything on its path matches: %d results, %d files read, %d tables", len(a.Steps), files, len(a.Tables)))
		return
	}
	fmt.Fprintf(b, "  DOES NOT MATCH\n")
	for _, f := range a.Faults {
		paragraph(b, "    ", "      ", f)
	}
}

func (c AuditCause) write(b *strings.Builder) {
	dof := ""
	if c.DoF > 0 {
		dof = fmt.Sprintf(", ν = %.3g", c.DoF)
	}
	share := fmt.Sprintf("%.1f %%", 100*c.Share)
	if c.Share < 0.001 {
		share = "<0.1 %"
	}
	paragraph(b, fmt.Sprintf("  %7s  ", share), "           ", fmt.Sprintf("%s  %+.3g g·cm²%s", c.Source, c.Contribution/gcm2, dof))
	if c.Written != "" {
		paragraph(b, "           ", "             ", strings.Join(c.Places, ", ")+": "+short(c.Written))
	} else if len(c.Places) > 0 {
		paragraph(b, "           ", "             ", "belongs to "+strings.Join(c.Places, ", "))
	}
}

func (e AuditEdition) line() string {
	same := "another result than this one"
	if e.Same {
		same = "this result"
	}
	because := ""
	if e.Because != "" {
		because = ": " + e.Because
	}
	if e.Withdraws > 0 {
		return fmt.Sprintf("edition %d withdrawn %s by %s (%s)%s", e.Withdraws, e.Day, e.By, e.Place, because)
	}
	stated := e.Stated
	if e.Waived != "" {
		stated += ", waived: " + e.Waived
	}
	return fmt.Sprintf("edition %d, %s, %s by %s (%s), %s%s", e.Edition, stated, e.Day, e.By, e.Place, same, because)
}

func (s AuditStep) write(b *strings.Builder) {
	rests := ""
	if len(s.From) > 0 {
		rests = " rests on " + stepRanges(s.From)
	}
	paragraph(b, fmt.Sprintf("%4d ", s.N), "       ", fmt.Sprintf("%s %s (%s)%s", s.Stage, s.Subject, s.Method, rests))
	fmt.Fprintf(b, "     %s\n", s.Output)
	if len(s.Places) > 0 {
		paragraph(b, "     declared at ", "       ", strings.Join(s.Places, ", "))
	}
	for _, f := range s.Files {
		f.write(b, "     ")
	}
}

func (f AuditFile) write(b *strings.Builder, indent string) {
	state := ""
	if f.State != "same" {
		state = " " + strings.ToUpper(f.State)
	}
	fmt.Fprintf(b, "%s%s, %d bytes%s\n%s%s\n", indent, f.Name, f.Size, state, indent, f.SHA256)
}

// stepRanges writes numbers as "1 4-7 9", ascending.
func stepRanges(n []int) string {
	n = slices.Sorted(slices.Values(n))
	var out []string
	for i := 0; i < len(n); {
		k := i
		for k+1 < len(n) && n[k+1] == n[k]+1 {
			k++
		}
		switch k - i {
		case 0:
			out = append(out, fmt.Sprint(n[i]))
		case 1:
			out = append(out, fmt.Sprint(n[i]), fmt.Sprint(n[k]))
		default:
			out = append(out, fmt.Sprintf("%d-%d", n[i], n[k]))
		}
		i = k + 1
	}
	return strings.Join(out, " ")
}

// paragraph writes words within 80 columns; a word that is longer stands by itself.
func paragraph(b *strings.Builder, first, rest, text string) {
	line, empty := first, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > lineWidth {
			b.WriteString(line + "\n")
			line, empty = rest, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	b.WriteString(line + "\n")
}

// DependentsText writes what rests on an input.
func DependentsText(w io.Writer, d Dependents) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s: %s\n", d.Input, d.What)
	for _, f := range d.Faults {
		paragraph(b, "  DOES NOT MATCH ", "      ", f)
	}
	own, shared := 0, 0
	for _, n := range d.Numbers {
		line := n.ID
		if n.How == "own" {
			own++
			if n.Share > 0 {
				line += fmt.Sprintf(", %.*f %% of its variance", digits(100*n.Share), 100*n.Share)
			}
		} else {
			shared++
			line += ", through what rotors of the job share"
		}
		if n.Released != "" {
			line += "; released: " + n.Released
		} else if !n.Release {
			line += "; not fit for release"
		}
		paragraph(b, "  ", "      ", line)
	}
	fmt.Fprintf(b, "%d numbers rest on it by themselves, %d through their job\n", own, shared)
	_, err := io.WriteString(w, b.String())
	return err
}

// digits after the point so that a small share is not shown as nothing.
func digits(percent float64) int {
	if percent >= 0.1 || percent == 0 {
		return 1
	}
	return min(4, int(-math.Floor(math.Log10(percent))))
}
