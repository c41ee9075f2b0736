package reports

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
)

// Catalogue is what the page over all jobs shows.
type Catalogue struct {
	Jobs []Job
	// Charts are control charts and drift plots, in the order in which to show them.
	Charts []figure.Figure
	// Released is nil where no ledger names any of the numbers.
	Released *Released
}

// WriteCatalogue writes the catalogue's page: one file, nothing fetched.
func WriteCatalogue(w io.Writer, c Catalogue) error {
	return pages.ExecuteTemplate(w, "index.html", newCatalogueView(c))
}

type catalogueView struct {
	Catalogue
	Style   template.CSS
	Script  template.JS
	Rows    []catalogueRow
	Curves  []Curve
	Summary string
	Lines   []jobLine
	// Editions and EditionsSay are the comparison with the ledger.
	Editions    []releasedRow
	EditionsSay string
}

// catalogueRow is one number with the keys it is sorted by.
type catalogueRow struct {
	spin.Number
	Link, State  string
	Mean, U, Rel float64
	// Edition that was released, 0: none.
	Edition int
}

// jobLine is one job in the list.
type jobLine struct {
	Name, Verdict string
	Good          bool
	Count         map[string]int
}

// Curve is speed over time of one rotor for laying over others: Rpm at equal
// steps of StepMs from the step on.
type Curve struct {
	// Of is job/subject of the number.
	Of        string  `json:"of"`
	Condition string  `json:"at"`
	Predicted bool    `json:"predicted,omitempty"`
	StepMs    float64 `json:"ms"`
	Rpm       []int   `json:"rpm"`
	// MN is thrust in mN at the same steps, where it is known.
	MN []int `json:"mn,omitempty"`
}

func newCatalogueView(c Catalogue) catalogueView {
	v := catalogueView{Catalogue: c, Style: style(), Script: script("script.js") + script("catalogue.js")}
	fit, links, edition := 0, map[string]string{}, map[string]int{}
	if c.Released != nil {
		for _, l := range c.Released.Lines {
			if l.Withdrawn == "" {
				edition[l.Number] = l.Edition
			}
		}
	}
	for _, j := range c.Jobs {
		p := newJobView(Page{Job: j.Name, Numbers: j.Numbers, Checks: j.Checks})
		v.Lines = append(v.Lines, jobLine{Name: j.Name, Verdict: p.Verdict, Good: len(p.Against) == 0, Count: p.Count})
		for _, n := range j.Numbers {
			row := catalogueRow{
				Number: n, State: release(n), Link: j.Name + "/report.html#" + Anchor("n", n.ID),
				Edition: edition[n.ID], Mean: n.Value.Mean, U: n.Value.Expanded().U, Rel: n.Value.Expanded().U / math.Abs(n.Value.Mean),
			}
			if n.Release {
				fit++
			}
			links[n.ID] = row.Link
			v.Rows = append(v.Rows, row)
		}
		v.Curves = append(v.Curves, j.Curves...)
	}
	if c.Released != nil {
		v.Editions, v.EditionsSay = c.Released.rows(links), c.Released.summary()
	}
	v.Summary = fmt.Sprintf("%d numbers of %d jobs, %d fit for release.", len(v.Rows), len(c.Jobs), fit)
	return v
}

// release is a number's state in a word or two.
func release(n spin.Number) string {
	switch {
	case !n.Release:
		return "not fit"
	case len(n.Waived) > 0:
		return "fit, waived"
	}
	return "fit"
}

// CurvesOf are the spin-ups, predicted and recorded, of the rotors that carry each number's part.
func CurvesOf(job string, numbers []spin.Number, figures []figure.Figure) []Curve {
	var out []Curve
	for _, f := range figures {
		if f.Kind != figure.SpinUp && f.Kind != figure.Response {
			continue
		}
		for i, s := range f.Panels[0].Series {
			of, ok := carried(numbers, s.Name)
			if !ok || len(s.X) < 2 {
				continue
			}
			c := Curve{
				Of: job + "/" + of, Condition: f.Panels[0].Name, Predicted: f.Kind == figure.Response,
				StepMs: 1e3 * (s.X[len(s.X)-1] - s.X[0]) / float64(len(s.X)-1), Rpm: whole(s.Y, 30/math.Pi),
			}
			if len(f.Panels) > 1 && i < len(f.Panels[1].Series) && f.Panels[1].Series[i].Name == s.Name {
				c.MN = whole(f.Panels[1].Series[i].Y, 1e3)
			}
			out = append(out, c)
		}
	}
	return out
}

// whole is k times y, rounded to whole numbers.
func whole(y []float64, k float64) []int {
	out := make([]int, len(y))
	for i, v := range y {
		out[i] = int(math.Round(k * v))
	}
	return out
}

// carried is the number's subject that a rotor, named by its parts joined by
// "+", was put together for: the body among them that is measured.
func carried(numbers []spin.Number, rotor string) (string, bool) {
	for _, n := range numbers {
		if n.Quantity == spin.Inertia && (n.Subject == rotor || slices.Contains(strings.Split(rotor, "+"), n.Subject)) {
			return n.Subject, true
		}
	}
	return "", false
}
