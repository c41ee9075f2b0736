package pipeline

import (
	"io"
	"math"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/tables"
	"spinledger/reports"
	"spinledger/stages/crosscheck"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// Across is what the jobs of a run say together: comparisons of a part between jobs,
// models over specimens, control charts of benches.
type Across struct {
	crosscheck.CatalogueOutput
	Log *provenance.Log
}

// forCatalogue is what the catalogue step needs of one job besides its numbers.
func forCatalogue(j *job.Job, f *Findings) crosscheck.CatalogueJob {
	w := Plan(j)
	out := crosscheck.CatalogueJob{Job: f.Job, Day: w.Day}
	for _, v := range w.Waivers {
		if v.Check == crosscheck.PartBetweenJobs {
			out.Waivers = append(out.Waivers, v)
		}
	}
	for _, p := range j.Parts {
		if slices.ContainsFunc(f.Numbers, func(n spin.Number) bool { return n.Subject == spin.DotID(p.ID) }) {
			out.Parts = append(out.Parts, p)
		}
	}
	for _, s := range j.Sessions {
		out.Sessions = append(out.Sessions, benchSession(j, f, s))
	}
	return out
}

// benchSession gathers what one session says of its bench.
func benchSession(j *job.Job, f *Findings, s spin.Session) crosscheck.SessionSummary {
	out := crosscheck.SessionSummary{Session: s.Name, Bench: s.Bench, Date: s.Date}
	if l, ok := f.Choice.LagOf(s.Name); ok && l.Runs > 0 {
		out.LagS = &l.TauS
	}
	var drift []float64
	// The session of a rotor is that of its last run; recordings are sorted by name, so it is the same in every run.
	of := map[string]string{}
	for _, r := range f.Fits {
		if !r.Chosen || r.Excluded != "" || r.Kind != spin.Step {
			continue
		}
		of[r.Rotor] = r.Session
		if r.Session == s.Name && r.Plateaus == 3 {
			drift = append(drift, r.DriftNmPerS)
		}
	}
	if n := len(drift); n > 1 {
		out.DriftRuns, out.DriftNmPerS = n, numeric.Mean(drift)
		out.DriftSE = math.Sqrt(numeric.Variance(drift) / float64(n))
	}
	bench, _ := j.Bench(s.Bench)
	for _, r := range f.Rotors {
		if of[r.Rotor] != s.Name {
			continue
		}
		if c, ok := spin.ClassOf(bench.Repeatability, r.JKgM2.Mean); ok && r.DeclaredRunRel == 0 {
			out.Repeat = append(out.Repeat, crosscheck.Repeat{Rotor: r.Rotor, ScatterRel: r.ScatterRel, DoF: r.ScatterDoF, DeclaredRel: c.RunRel, DeclaredDoF: c.DoF})
		}
		for _, d := range f.Scales {
			if slices.Contains(strings.Split(r.Rotor, "+"), spin.DotID(d.Disk)) {
				out.Scales = append(out.Scales, crosscheck.Scale{Disk: d.Disk, Role: d.Role, Ratio: d.Ratio})
			}
		}
	}
	return out
}

// acrossJobs runs the catalogue step over all jobs of a run.
func acrossJobs(all []summary) (*Across, error) {
	jobs := make([]crosscheck.CatalogueJob, len(all))
	for i, s := range all {
		jobs[i] = s.Across
		jobs[i].Numbers = s.Numbers
	}
	slices.SortFunc(jobs, func(a, b crosscheck.CatalogueJob) int { return strings.Compare(a.Job, b.Job) })
	in, opt := crosscheck.CatalogueInput{Jobs: jobs}, crosscheck.DefaultOptions()
	out, err := crosscheck.Catalogue(in, opt)
	if err != nil {
		return nil, err
	}
	a := &Across{CatalogueOutput: out, Log: &provenance.Log{}}
	_, err = a.Log.Add("catalogue", "catalogue", crosscheck.CatalogueMethod, opt, in, out, nil, nil, nil)
	return a, err
}

// shown is the step's part of a summary; false where it has nothing to say.
func shown(o crosscheck.CatalogueOutput) (reports.Job, bool) {
	return reports.Job{Name: "catalogue", Numbers: o.Numbers, Checks: o.Checks, Together: true}, len(o.Checks)+len(o.Numbers) > 0
}

// write writes the step's tables and log beside the folders of the jobs.
func (a *Across) write(out writer) error {
	checks := (&Findings{Checks: a.Checks}).checks()
	for _, t := range []tables.Table{checks, modelTable(a.Models), chartTable(a.Charts)} {
		if _, err := out.Write("catalogue-"+t.Name+".parquet", func(w io.Writer) error { return tables.Write(w, t) }); err != nil {
			return err
		}
	}
	steps, results, err := a.Log.Lines()
	if err != nil {
		return err
	}
	if err := writeBytes(out, ledger.CatalogueResults, results); err != nil {
		return err
	}
	return writeBytes(out, ledger.CatalogueSteps, steps)
}

func modelTable(models []crosscheck.ModelMean) tables.Table {
	type row = crosscheck.ModelMean
	return newTable("models", "each model over its specimens, and what the next one will be", models).
		text("model", "", func(r row) string { return r.Model }).
		text("quantity", "", func(r row) string { return r.Quantity }).
		int("specimens", "how many", func(r row) int { return len(r.Specimens) }).
		int("batches", "batches named", func(r row) int { return r.Batches }).
		float("mean_kgm2", "kg·m²", "plain mean of the specimens", func(r row) float64 { return r.Mean.Mean }).
		float("u_kgm2", "kg·m²", "standard uncertainty of the mean", func(r row) float64 { return r.Mean.Std() }).
		float("expanded_kgm2", "kg·m²", "expanded uncertainty of the mean, 95 %", func(r row) float64 { return r.Mean.Expanded().U }).
		float("scatter_rel", "1", "relative standard deviation of specimens", func(r row) float64 { return r.ScatterRel }).
		float("next_low_kgm2", "kg·m²", "one more specimen, measured alike, lies above this and", func(r row) float64 { return r.Next.Mean - r.Next.Expanded().U }).
		float("next_high_kgm2", "kg·m²", "below this with 95 % probability", func(r row) float64 { return r.Next.Mean + r.Next.Expanded().U }).
		text("numbers", "ids of the numbers that entered", func(r row) string { return strings.Join(r.Specimens, " ") }).out
}

func chartTable(points []crosscheck.ChartPoint) tables.Table {
	type row = crosscheck.ChartPoint
	return newTable("charts", "each bench's sessions against their dates, with limits", points).
		text("bench", "", func(r row) string { return r.Bench }).
		text("chart", "disk-to-weights scale, lag, repeatability or zero drift", func(r row) string { return r.Chart }).
		text("date", "of the session", func(r row) string { return r.Date }).
		text("job", "", func(r row) string { return r.Job }).
		text("session", "", func(r row) string { return r.Session }).
		text("subject", "the disk, on the scale's chart", func(r row) string { return r.Subject }).
		text("unit", "of the numbers that follow", func(r row) string { return r.Unit }).
		float("value", "as unit says", "", func(r row) float64 { return r.Value }).
		float("u", "as unit says", "standard uncertainty of what the point does not share with all others", func(r row) float64 { return r.U }).
		float("centre", "as unit says", "", func(r row) float64 { return r.Centre }).
		float("low", "as unit says", "lower limit", func(r row) float64 { return r.Low }).
		float("high", "as unit says", "upper limit", func(r row) float64 { return r.High }).
		text("limits", "what centre and limits rest on; none: too few points", func(r row) string { return r.Limits }).
		flag("outside", "outside the limits: the session flags its job", func(r row) bool { return r.Outside }).out
}
