package crosscheck

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// CatalogueMethod changes whenever numbers or verdicts of the catalogue step can.
const CatalogueMethod = "catalogue/1"

// PartBetweenJobs is the check of the catalogue step that gates. A job's waivers of it are
// left to this step.
const PartBetweenJobs = "part-between-jobs"

// SessionOutside is the check that flags the jobs of a session outside a bench's chart.
const SessionOutside = "session-outside"

// CatalogueJob is what the catalogue step needs of one job.
type CatalogueJob struct {
	Job string `json:"job"`
	// Numbers with their release state; Parts that the job's rotors carry.
	Numbers  []spin.Number    `json:"numbers"`
	Parts    []spin.Part      `json:"parts"`
	Sessions []SessionSummary `json:"sessions"`
	Waivers  []Waiver         `json:"waivers,omitempty"`
	// Day of judgement for waivers: the job's latest session.
	Day string `json:"day"`
}

// CatalogueInput is all jobs of a run, by id.
type CatalogueInput struct {
	Jobs []CatalogueJob `json:"jobs"`
}

// ModelMean is the mean of a model over its specimens, and what the next one will be.
type ModelMean struct {
	Model    string `json:"model"`
	Quantity string `json:"quantity"`
	Unit     string `json:"unit"`
	// Specimens are the ids of the numbers that entered, one a specimen; Batches counts the batches named.
	Specimens []string `json:"specimens"`
	Batches   int      `json:"batches"`
	// Mean with the specimens' scatter and what their measurements share.
	Mean uncertain.Value `json:"mean"`
	// ScatterRel is the relative standard deviation of specimens.
	ScatterRel float64 `json:"scatter_rel"`
	// Next is the prediction for one more specimen measured alike.
	Next uncertain.Value `json:"next"`
}

// CatalogueOutput is what all jobs together say.
type CatalogueOutput struct {
	Checks []spin.Check `json:"checks"`
	Models []ModelMean  `json:"models"`
	Charts []ChartPoint `json:"charts"`
	// Numbers are the consensus values of parts that several jobs measured.
	Numbers []spin.Number `json:"numbers"`
}

// Catalogue compares and combines numbers of several jobs.
//
// A part measured by several jobs: each measurement x_i against the mean of the others,
// causes that they share (the same weights, the same disk, the same propeller's inflow)
// cancelled by name. The weights of the mean are the inverse variances of what each
// measurement does not share with all others; its uncertainty carries all causes
// (JCGM 100:2008, 5.2.2), so that weights that are not the best cost sharpness, never honesty.
// Where they agree their mean is a number of its own, parts/PART/QUANTITY; where they
// do not nothing is combined.
//
// A model measured on n ≥ 2 specimens: their plain mean, with scatter s/√n on n − 1
// degrees of freedom and what the measurements share; what a specimen's measurement does
// not share is in the scatter already and is not counted twice. The next specimen,
// measured alike, lies within t·s·√(1 + 1/n) of the mean with 95 % probability, shared
// causes apart (Hahn and Meeker, Statistical Intervals, 1991, section 4.7; mark: memory).
func Catalogue(in CatalogueInput, opt Options) (CatalogueOutput, error) {
	c := &catalogue{in: in, opt: opt}
	c.parts()
	c.models()
	c.charts()
	slices.SortStableFunc(c.out.Checks, func(a, b spin.Check) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Subject, b.Subject))
	})
	return c.out, nil
}

type catalogue struct {
	in  CatalogueInput
	opt Options
	out CatalogueOutput
}

// measured is one part as one job measured it.
type measured struct {
	job  *CatalogueJob
	part spin.Part
	n    spin.Number
	// v is the value with the causes that belong to the part named after it.
	v uncertain.Value
}

// group are the measurements of one part and quantity.
type group struct {
	part, quantity string
	all            []measured
}

// groups collects the numbers of parts, by part and quantity. Of a reference the direct number
// is compared, since its headline rests on its own declaration. Only numbers fit for release enter.
func (c *catalogue) groups() []group {
	byKey := map[string]int{}
	var out []group
	for i := range c.in.Jobs {
		j := &c.in.Jobs[i]
		for _, n := range j.Numbers {
			k := slices.IndexFunc(j.Parts, func(p spin.Part) bool { return spin.DotID(p.ID) == n.Subject })
			if k < 0 || !n.Release || n.Value.Mean == 0 {
				continue
			}
			p := j.Parts[k]
			if (p.Role != "") != (n.Quantity == spin.InertiaDirect) {
				continue
			}
			key := p.ID + " " + n.Quantity
			at, ok := byKey[key]
			if !ok {
				at = len(out)
				byKey[key] = at
				out = append(out, group{part: p.ID, quantity: n.Quantity})
			}
			out[at].all = append(out[at].all, measured{j, p, n, ofPart(n, p.Model)})
		}
	}
	slices.SortStableFunc(out, func(a, b group) int {
		return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.quantity, b.quantity))
	})
	return out
}

// ofPart names inflow and entrained air of the rotor that carries the part after the
// part's model, or the part where it has none: they are the propeller's, whichever motor
// drives it, and those of one shape are alike.
func ofPart(n spin.Number, model string) uncertain.Value {
	owner := "parts/" + n.Subject
	if model != "" {
		owner = "models/" + spin.DotID(model)
	}
	v := uncertain.Value{Mean: n.Value.Mean}
	for _, p := range n.Value.Parts {
		for _, effect := range []string{"/inflow", "/inflow-tail", "/entrained-air"} {
			rotor, ok := strings.CutSuffix(p.Source, effect)
			if ok && slices.Contains(strings.Split(rotor, "+"), n.Subject) {
				p.Source = owner + effect
			}
		}
		v = v.With(p)
	}
	return v
}

// parts compares and combines the parts that several jobs measured.
func (c *catalogue) parts() {
	for _, g := range c.groups() {
		if len(g.all) < 2 {
			continue
		}
		weights := g.weights()
		values := g.folded()
		terms := make([]uncertain.Term, len(values))
		mean := 0.0
		for i, v := range values {
			terms[i] = uncertain.Term{Sensitivity: weights[i], Value: v}
			mean += float64(weights[i] * v.Mean)
		}
		m := uncertain.Combine(mean, terms...)
		failed := c.against(g, values, weights, m)
		if g.all[0].part.Role == "" && !failed {
			c.consensus(g, m)
		}
	}
}

// keptApart is how many measurements of a part keep every cause; beyond it causes of one
// measurement alone are one, since the work grows with their product.
const keptApart = 8

// folded are the values, with what each does not share with any other folded where there are many.
func (g group) folded() []uncertain.Value {
	count := g.count()
	out := make([]uncertain.Value, len(g.all))
	for i, m := range g.all {
		out[i] = m.v
		if len(g.all) > keptApart {
			out[i] = m.v.Fold(m.job.Job+"/alone", func(s string) bool { return count[s] > 1 })
		}
	}
	return out
}

// count tells how many measurements have a cause.
func (g group) count() map[string]int {
	out := map[string]int{}
	for _, m := range g.all {
		for _, p := range m.v.Parts {
			out[p.Source]++
		}
	}
	return out
}

// weights are inverse variances of what a measurement does not share with all others.
func (g group) weights() []float64 {
	count := g.count()
	w := make([]float64, len(g.all))
	for i, m := range g.all {
		variance := 0.0
		for _, p := range m.v.Parts {
			if count[p.Source] < len(g.all) {
				variance += float64(p.Contribution * p.Contribution)
			}
		}
		if variance == 0 {
			// All of it is shared: equal weights.
			for k := range w {
				w[k] = 1 / float64(len(w))
			}
			return w
		}
		w[i] = 1 / variance
	}
	sum := numeric.Sum(w)
	for i := range w {
		w[i] /= sum
	}
	return w
}

// against compares each measurement with the mean of the others: (x − m)/(1 − w). Of two
// one comparison says all. It is true where one fails unwaived.
func (c *catalogue) against(g group, values []uncertain.Value, weights []float64, m uncertain.Value) bool {
	failed := false
	for i := range g.all {
		if len(g.all) == 2 && i == 0 {
			continue
		}
		d := values[i].Sub(m).Scale(1 / ((1 - weights[i]) * m.Mean))
		claimed := 0.0
		numbers := []string{g.all[i].n.ID}
		others := make([]string, 0, len(g.all)-1)
		for k, o := range g.all {
			claimed = math.Max(claimed, o.v.Expanded().U/math.Abs(o.v.Mean))
			if k != i {
				others = append(others, o.job.Job)
			}
		}
		if len(g.all) == 2 {
			numbers = append(numbers, g.all[0].n.ID)
		}
		slices.Sort(numbers)
		e := d.Expanded()
		limit := math.Min(c.opt.Cap, math.Max(c.opt.Floor, claimed))
		k := spin.Check{
			Name: PartBetweenJobs, Job: g.all[i].job.Job, Subject: g.all[i].n.ID, Value: d.Mean, U: e.U, Limit: limit, Unit: "1", Verdict: Verdict(d.Mean, e.U, limit),
			Gates: true, Sees: []string{faultScale, faultMounting, faultParts}, Numbers: numbers, Waivable: true, Suspects: suspects(d),
			Text: fmt.Sprintf("%s of %s by %s against %s: %+.3g %% ± %.2g %%, shared causes cancelled", g.quantity, g.part, g.all[i].job.Job, list(others), 100*d.Mean, 100*e.U),
		}
		c.waive(&k, g)
		failed = failed || k.Verdict == spin.Fail && k.WaivedBecause == ""
		c.out.Checks = append(c.out.Checks, k)
	}
	return failed
}

// list names a few jobs and counts the rest.
func list(jobs []string) string {
	const shown = 3
	if len(jobs) > shown {
		return strings.Join(jobs[:shown], ", ") + fmt.Sprintf(" and %d more", len(jobs)-shown)
	}
	return strings.Join(jobs, ", ")
}

// waive applies waivers of the jobs that measured the part.
func (c *catalogue) waive(k *spin.Check, g group) {
	for _, m := range g.all {
		for _, w := range m.job.Waivers {
			if w.covers(*k, m.job.Day) {
				k.WaivedBecause = w.reason()
			}
		}
	}
}

// consensus is the number of a part from all that measured it.
func (c *catalogue) consensus(g group, m uncertain.Value) {
	subject := spin.DotID(g.part)
	n := spin.Number{
		ID: "parts/" + subject + "/" + g.quantity, Job: "parts", Subject: subject, Quantity: g.quantity, Unit: g.all[0].n.Unit, Value: m,
		Scale: g.all[0].n.Scale, Release: true,
	}
	var jobs []string
	for _, x := range g.all {
		jobs = append(jobs, x.job.Job)
		n.Runs += x.n.Runs
		n.Mountings += x.n.Mountings
		n.Conditions += x.n.Conditions
		n.Waived = append(n.Waived, x.n.Waived...)
		if x.n.Scale != n.Scale {
			n.Scale = spin.ScaleBoth
		}
	}
	for _, k := range c.out.Checks {
		if k.Name != PartBetweenJobs || !slices.ContainsFunc(g.all, func(x measured) bool { return x.n.ID == k.Subject }) {
			continue
		}
		switch {
		case k.WaivedBecause != "":
			name := k.Name + " " + k.Subject
			n.Waived = append(n.Waived, name)
			n.Value = waivedInto(n.Value, k)
		case k.Verdict == spin.CannotTell:
			// Nothing else covers what this comparison sees.
			n.Blocked = append(n.Blocked, k.Name+" "+k.Subject)
		}
	}
	slices.Sort(n.Waived)
	n.Waived = slices.Compact(n.Waived)
	n.Release = len(n.Blocked) == 0
	n.Note = "mean of " + list(jobs)
	c.out.Numbers = append(c.out.Numbers, n)
}

// models forms means over specimens. A specimen's later states (prop-5x4/A.2, once
// trimmed) are other bodies than the model's and are left out.
func (c *catalogue) models() {
	type specimen struct {
		id, batch string
		v         uncertain.Value
	}
	found := map[string][]specimen{}
	unit := map[string]string{}
	for _, g := range c.groups() {
		p := g.all[0].part
		_, state, _ := strings.Cut(p.ID, "/")
		if p.Model == "" || p.Role != "" || strings.Contains(state, ".") {
			continue
		}
		s := specimen{g.all[0].n.ID, p.Batch, g.all[0].v}
		if len(g.all) > 1 {
			k := slices.IndexFunc(c.out.Numbers, func(n spin.Number) bool { return n.Subject == spin.DotID(p.ID) && n.Quantity == g.quantity })
			if k < 0 {
				continue // the jobs disagree: no value of it is known
			}
			s.id, s.v = c.out.Numbers[k].ID, c.out.Numbers[k].Value
		}
		key := p.Model + "\x00" + g.quantity
		found[key] = append(found[key], s)
		unit[key] = g.all[0].n.Unit
	}
	keys := make([]string, 0, len(found))
	for key := range found {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		all := found[key]
		if len(all) < 2 {
			continue
		}
		model, quantity, _ := strings.Cut(key, "\x00")
		m := ModelMean{Model: model, Quantity: quantity, Unit: unit[key]}
		values := make([]uncertain.Value, len(all))
		batches := map[string]bool{}
		for i, s := range all {
			values[i] = s.v
			m.Specimens = append(m.Specimens, s.id)
			if s.batch != "" {
				batches[s.batch] = true
			}
		}
		m.Batches = len(batches)
		m.Mean, m.Next, m.ScatterRel = overSpecimens(values, "models/"+spin.DotID(model))
		c.out.Models = append(c.out.Models, m)
	}
}

// overSpecimens is the plain mean, the prediction for the next, and the relative scatter.
func overSpecimens(values []uncertain.Value, prefix string) (mean, next uncertain.Value, scatterRel float64) {
	n := float64(len(values))
	count := map[string]int{}
	x := make([]float64, len(values))
	for i, v := range values {
		x[i] = v.Mean
		for _, p := range v.Parts {
			count[p.Source]++
		}
	}
	m := numeric.Mean(x)
	terms := make([]uncertain.Term, len(values))
	for i, v := range values {
		shared := uncertain.Value{Mean: v.Mean}
		for _, p := range v.Parts {
			if count[p.Source] > 1 {
				shared = shared.With(p)
			}
		}
		terms[i] = uncertain.Term{Sensitivity: 1 / n, Value: shared}
	}
	s := math.Sqrt(numeric.Variance(x))
	common := uncertain.Combine(m, terms...)
	mean = common.With(uncertain.Part{Source: prefix + "/scatter", Contribution: s / math.Sqrt(n), DoF: n - 1})
	next = common.With(uncertain.Part{Source: prefix + "/next", Contribution: s * math.Sqrt(1+1/n), DoF: n - 1})
	if m != 0 {
		scatterRel = s / math.Abs(m)
	}
	return mean, next, scatterRel
}
