// Package reports lays out results for people: it computes nothing.
package reports

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Job is what a summary shows of one job.
type Job struct {
	Name       string          `json:"job"`
	Recordings int             `json:"recordings"`
	Runs       int             `json:"runs"`
	Numbers    []spin.Number   `json:"numbers"`
	Responses  []spin.Response `json:"responses,omitempty"`
	Checks     []spin.Check    `json:"checks"`
	Warnings   []spin.Warning  `json:"warnings"`
	// Curves of spin-up, for laying over those of other jobs.
	Curves []Curve `json:"curves,omitempty"`
	// Together is true of what all jobs say together, which has no recordings of its own.
	Together bool `json:"together,omitempty"`
}

// interval is a 95 % interval as machines read it: half its width in the value's own unit, its coverage factor, and its
// degrees of freedom, left out where there is no end of them.
type interval struct {
	HalfWidth float64 `json:"half_width"`
	K         float64 `json:"k"`
	DoF       float64 `json:"dof,omitempty"`
}

func intervalOf(v uncertain.Value) interval {
	e := v.Expanded()
	if math.IsInf(e.DoF, 1) {
		e.DoF = 0
	}
	return interval{e.U, e.K, e.DoF}
}

// MarshalJSON writes numbers and responses with their intervals, which follow from their parts.
func (j Job) MarshalJSON() ([]byte, error) {
	type job Job
	type number struct {
		spin.Number
		Interval interval `json:"interval"`
	}
	type response struct {
		spin.Response
		Interval interval `json:"interval"`
	}
	out := struct {
		job
		Numbers   []number   `json:"numbers"`
		Responses []response `json:"responses,omitempty"`
	}{job: job(j), Numbers: make([]number, 0, len(j.Numbers))}
	for _, n := range j.Numbers {
		out.Numbers = append(out.Numbers, number{n, intervalOf(n.Value)})
	}
	for _, r := range j.Responses {
		out.Responses = append(out.Responses, response{r, intervalOf(r.TimeS)})
	}
	return json.Marshal(out)
}

// gcm2 is one g·cm² in kg·m².
const gcm2 = quantity.GCm2

// Inertia writes a value in g·cm² with its expanded uncertainty:
// "(12.34 ± 0.15) g·cm², k = 2.13, ν = 15".
func Inertia(v uncertain.Value) string {
	e := v.Expanded()
	m, u := uncertain.Round(v.Mean/gcm2, e.U/gcm2)
	dof := "∞"
	if !math.IsInf(e.DoF, 1) && e.DoF < 1000 {
		dof = fmt.Sprintf("%.0f", math.Floor(e.DoF))
	}
	return fmt.Sprintf("(%s ± %s) g·cm², k = %.2f, ν = %s", m, u, e.K, dof)
}

// Summary writes a compact table of all jobs' numbers, then what failed and
// why, within 80 columns as far as names allow: a gating check that failed, or that
// cannot tell and so blocks a number. all also lists the others that did not
// pass, and warnings.
func Summary(w io.Writer, jobs []Job, all bool) error {
	b := &strings.Builder{}
	for i, j := range jobs {
		if i > 0 {
			b.WriteByte('\n')
		}
		job(b, j, all)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func job(b *strings.Builder, j Job, all bool) {
	if j.Together {
		fmt.Fprintf(b, "%s: all jobs together\n", j.Name)
	} else {
		fmt.Fprintf(b, "%s: %s, %s\n", j.Name, counted(j.Recordings, "recording"), counted(j.Runs, "run"))
	}
	blocks := map[string]bool{}
	for _, n := range j.Numbers {
		if n.Quantity == spin.InertiaDirect && !all {
			continue
		}
		for _, name := range n.Blocked {
			blocks[name] = true
		}
		state := "fit for release"
		switch {
		case !n.Release:
			state = "NOT FIT: " + strings.Join(checkNames(n.Blocked), ", ")
		case len(n.Waived) > 0:
			state = "fit, waived: " + strings.Join(checkNames(n.Waived), ", ")
		}
		name := strings.TrimPrefix(n.ID, j.Name+"/")
		fmt.Fprintf(b, "  %-28s %s\n", name, Inertia(n.Value))
		indent := strings.Repeat(" ", 31)
		paragraph(b, indent, indent, fmt.Sprintf("%s; scale: %s", state, n.Scale))
	}
	for _, r := range j.Responses {
		response(b, j.Name, r, all)
	}
	count := map[string]int{}
	for _, k := range j.Checks {
		if k.Verdict != spin.Pass && !k.Gates {
			count["informs"]++
			continue
		}
		count[k.Verdict]++
	}
	fmt.Fprintf(b, "  checks: %d pass, %d fail, %d cannot tell, %d more inform; %s\n",
		count[spin.Pass], count[spin.Fail], count[spin.CannotTell], count["informs"], counted(len(j.Warnings), "warning"))
	for _, k := range j.Checks {
		if k.Verdict == spin.Pass {
			continue
		}
		if all || k.Gates && (k.Verdict == spin.Fail || blocks[k.Name+" "+k.Subject]) {
			check(b, k)
		}
	}
	if all {
		for _, w := range j.Warnings {
			fmt.Fprintf(b, "  warning: %s: %s: %s\n", w.Subject, w.Code, w.Text)
		}
	}
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// checkNames drops subjects and repeats.
func checkNames(blocked []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, x := range blocked {
		name, _, _ := strings.Cut(x, " ")
		if !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	return out
}

// maxEffects is how many undeclared effects a failed comparison lists; the checks table holds all.
const maxEffects = 4

func check(b *strings.Builder, k spin.Check) {
	verdict := strings.ToUpper(k.Verdict)
	if k.WaivedBecause != "" {
		verdict = "waived"
	} else if !k.Gates {
		verdict = k.Verdict + " (informs)"
	}
	const indent = "      "
	paragraph(b, "  ", indent, fmt.Sprintf("%s %s of %s", verdict, k.Name, k.Subject))
	paragraph(b, indent, indent, k.Text)
	if k.Limit != 0 {
		fmt.Fprintf(b, "      value %s, U %s, limit %s\n", amount(k.Value, k.Unit), amount(k.U, k.Unit), amount(k.Limit, k.Unit))
	}
	if len(k.Places) > 0 {
		paragraph(b, indent, indent, "see "+strings.Join(k.Places, ", "))
	}
	if k.WaivedBecause != "" {
		paragraph(b, indent, indent, "because "+k.WaivedBecause)
	}
	suspects(b, k.Suspects)
}

// suspects lists every declaration that enters, nearest first, then the
// nearest effects that nobody declared.
func suspects(b *strings.Builder, all []spin.Suspect) {
	effects := 0
	for _, declared := range []bool{true, false} {
		for _, s := range all {
			if (s.Place != "") != declared {
				continue
			}
			if !declared {
				if effects++; effects > maxEffects {
					continue
				}
			}
			line := s.Source
			if s.Place != "" {
				line += fmt.Sprintf(" at %s: %s", s.Place, short(s.Written))
			}
			paragraph(b, fmt.Sprintf("      %7.1f u  ", s.Sigmas), strings.Repeat(" ", 18), line)
		}
	}
	if effects > maxEffects {
		fmt.Fprintf(b, "      and %s, see the checks table\n", counted(effects-maxEffects, "more effect"))
	}
}

// short keeps a long declaration (a calibration's masses) to one line's worth.
func short(text string) string {
	r := []rune(text)
	if len(r) <= 40 {
		return text
	}
	return string(r[:37]) + "…"
}

func amount(v float64, unit string) string {
	if unit == "1" {
		return fmt.Sprintf("%.3g %%", 100*v)
	}
	return fmt.Sprintf("%.3g %s", v, unit)
}
