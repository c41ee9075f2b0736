package pipeline

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"spinledger/pipeline/attest"
	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/reports"
	"spinledger/stages/crosscheck"
	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// LedgerName is the usual name of the ledger file, which may lie among job files.
const LedgerName = "ledger.yaml"

// FindJobs lists the job files that a path of the tree means: the file itself,
// or the .yaml files directly in a folder, sorted, but for its ledger and for what is plainly
// another file of the user (job.MayBe). Sub-folders are
// not entered, so that benches, parts and jobs set aside can lie below.
func FindJobs(fsys fs.FS, name string) ([]string, error) {
	name = path.Clean(strings.ReplaceAll(name, `\`, "/"))
	info, err := fs.Stat(fsys, name)
	if err != nil {
		return nil, &positioned.Error{File: name, Got: "nothing of that name below the root", Want: "a job file, or a folder of them"}
	}
	if !info.IsDir() {
		return []string{name}, nil
	}
	entries, err := fs.ReadDir(fsys, name)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		if ext := path.Ext(e.Name()); !e.IsDir() && (ext == ".yaml" || ext == ".yml") && e.Name() != LedgerName {
			if file := path.Join(name, e.Name()); job.MayBe(fsys, file) {
				out = append(out, file)
			}
		}
	}
	if len(out) == 0 {
		return nil, &positioned.Error{File: name, Got: "a folder without job files", Want: "files that end in .yaml"}
	}
	slices.Sort(out)
	return out, nil
}

// ReadJobs reads job files and looks whether their recordings are there. All
// faults of all files come back together.
func ReadJobs(fsys fs.FS, names []string) ([]*job.Job, error) {
	return readJobs(fsys, names, map[string]string{})
}

// readJobs is ReadJobs with the files of ids that are taken already.
func readJobs(fsys fs.FS, names []string, ids map[string]string) ([]*job.Job, error) {
	var faults positioned.List
	var out []*job.Job
	for _, name := range names {
		j, err := job.Read(fsys, name)
		if err != nil {
			all := positioned.All(err)
			if len(all) == 0 {
				return nil, err
			}
			for _, e := range all {
				faults.Add(e)
			}
			continue
		}
		if other, ok := ids[j.ID]; ok {
			faults.Add(j.Fault("job", strconv.Quote(j.ID)+", the id of "+other+" too", "an id of its own for each job", ""))
		}
		ids[j.ID] = name
		for _, r := range j.Recordings {
			for _, f := range r.Files {
				if info, err := fs.Stat(fsys, f.Path); err != nil {
					faults.Add(j.Fault(f.Key, strconv.Quote(f.Path), "a file that exists below the root", ""))
				} else if !info.Mode().IsRegular() {
					faults.Add(j.Fault(f.Key, strconv.Quote(f.Path)+", which is not a regular file", "a file", ""))
				}
			}
		}
		out = append(out, j)
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// SpinCheck compares a job's declared top speed with the speed at which its
// reference disks would yield. Nothing is computed from recordings.
func SpinCheck(j *job.Job) []spin.Warning {
	var out []spin.Warning
	for _, p := range j.Parts {
		top := math.Max(p.TopRadPerS, j.Motor.TopRadPerS)
		if p.BurstRadPerS == 0 || top == 0 {
			continue
		}
		// Stress goes as the square of speed: half the yield speed is a quarter of the stress.
		if top > p.BurstRadPerS/2 {
			out = append(out, spin.Warning{Stage: "check", Code: "disk-stress", Subject: j.ID + "/" + p.ID, Text: fmt.Sprintf(
				"the declared top speed %.0f rpm is %.0f %% of the %.0f rpm at which the bore stress reaches the yield strength; keep below half, use a guard, and let a qualified person decide",
				quantity.Rpm(top), 100*top/p.BurstRadPerS, quantity.Rpm(p.BurstRadPerS))})
		}
	}
	return out
}

func place(file string, line, col int) string {
	e := positioned.Error{File: file, Line: line, Col: col}
	return e.Where()
}

// summaryFile holds a summary.
const summaryFile = "summary.json"

// RunJobs computes jobs anew and writes all of them, and the catalogue, into a
// folder, remembering nothing. An error stops it; what was written stays whole.
func RunJobs(fsys fs.FS, jobs []*job.Job, out *store.Output, opt RunOptions) ([]*Findings, error) {
	res := opt.resources()
	all := make([]*Findings, len(jobs))
	summaries := make([]summary, len(jobs))
	logs := make([]*provenance.Log, len(jobs))
	k := newKept(out, false, nil)
	err := each(len(jobs), newGate(opt.Workers), func(i int) (err error) {
		all[i], logs[i], _, err = produce(fsys, jobs[i], res, surroundings{}, k)
		if err == nil {
			summaries[i] = summarise(jobs[i], all[i])
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if _, err := writeCatalogue(k, summaries, nil); err != nil {
		return nil, err
	}
	var run attest.Run
	for i, log := range logs {
		enter(&run, jobs[i].File, log)
	}
	return all, writeAttestation(k, run)
}

// produce computes and writes one job. It gives the digest of the job's summary.
func produce(fsys fs.FS, j *job.Job, res resources, s surroundings, k *kept) (*Findings, *provenance.Log, store.Digest, error) {
	s.sink = func(name string, fill func(io.Writer) error) (provenance.Output, error) {
		d, err := k.Stream(j.ID+"/"+name, fill)
		return provenance.Output{Name: name, SHA256: d.SHA256, Size: d.Size}, err
	}
	f, log, err := compute(fsys, Plan(j), res, s)
	if err != nil {
		return nil, nil, store.Digest{}, err
	}
	locate(j, f.Checks)
	f.Warnings = append(f.Warnings, SpinCheck(j)...)
	summary, err := writeJob(k, j, f, log)
	return f, log, summary, err
}

// writeJob writes a job's tables, page and summary, then the log. It gives the digest of the summary.
func writeJob(out writer, j *job.Job, f *Findings, log *provenance.Log) (summary store.Digest, err error) {
	var written []provenance.Output
	write := func(name string, fill func(io.Writer) error) error {
		d, err := out.Write(f.Job+"/"+name, fill)
		written = append(written, provenance.Output{Name: name, SHA256: d.SHA256, Size: d.Size})
		return err
	}
	made := f.Tables()
	for _, t := range made {
		if err := write(t.Name+".parquet", func(w io.Writer) error { return tables.Write(w, t) }); err != nil {
			return summary, err
		}
	}
	err = write("report.html", func(w io.Writer) error { return reports.WriteJob(w, jobPage(j, f, log)) })
	if err != nil {
		return summary, err
	}
	err = write(summaryFile, func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(summarise(j, f))
	})
	if err != nil {
		return summary, err
	}
	last := written[len(written)-1]
	summary = store.Digest{SHA256: last.SHA256, Size: last.Size}
	if err := publish(log, f.Job, made, written); err != nil {
		return summary, err
	}
	steps, results, err := log.Lines()
	if err != nil {
		return summary, err
	}
	for _, x := range []struct {
		name string
		data []byte
	}{{provenance.ResultsFile, results}, {provenance.StepsFile, steps}} {
		if err := writeBytes(out, f.Job+"/"+x.name, x.data); err != nil {
			return summary, err
		}
	}
	return summary, nil
}

func writeBytes(out writer, name string, data []byte) error {
	_, err := out.Write(name, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
	return err
}

// writeCatalogue writes what the jobs say together, the tables of all numbers, and the page. released
// compares with a ledger, after all that is written before the page; nil: there is none.
func writeCatalogue(out writer, all []summary, released func() (*reports.Released, []figure.Figure, error)) (*Across, error) {
	across, err := acrossJobs(all)
	if err != nil {
		return nil, err
	}
	if err := across.write(out); err != nil {
		return nil, err
	}
	var numbers []spin.Number
	for _, f := range all {
		numbers = append(numbers, f.Numbers...)
	}
	numbers = append(numbers, across.Numbers...)
	for _, t := range []tables.Table{Inertias(numbers), Budget(numbers)} {
		if _, err := out.Write("catalogue-"+t.Name+".parquet", func(w io.Writer) error { return tables.Write(w, t) }); err != nil {
			return nil, err
		}
	}
	if _, err := out.Write("catalogue.csv", func(w io.Writer) error { return catalogueCSV(w, numbers) }); err != nil {
		return nil, err
	}
	jobs := make([]reports.Job, len(all))
	for i, f := range all {
		jobs[i] = f.Job
	}
	page := reports.Catalogue{Jobs: jobs, Charts: chartFigures(across.Charts)}
	if released != nil {
		var drawn []figure.Figure
		if page.Released, drawn, err = released(); err != nil {
			return nil, err
		}
		page.Charts = append(drawn, page.Charts...)
	}
	_, err = out.Write("index.html", func(w io.Writer) error { return reports.WriteCatalogue(w, page) })
	return across, err
}

func catalogueCSV(w io.Writer, numbers []spin.Number) error {
	c := csv.NewWriter(w)
	c.Write([]string{"number", "inertia_kgm2", "u_kgm2", "expanded_kgm2", "k", "dof", "scale", "fit_for_release", "blocked_by", "waived"})
	g := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	for _, n := range numbers {
		e := n.Value.Expanded()
		c.Write([]string{n.ID, g(n.Value.Mean), g(n.Value.Std()), g(e.U), g(e.K), g(math.Min(e.DoF, 1e6)), n.Scale, strconv.FormatBool(n.Release), strings.Join(n.Blocked, "; "), strings.Join(n.Waived, "; ")})
	}
	c.Flush()
	return c.Error()
}

// Failed is true when a gating check failed without a waiver.
func Failed(all []*Findings) bool {
	for _, f := range all {
		for _, k := range f.Checks {
			if k.Gates && k.Verdict == spin.Fail && k.WaivedBecause == "" {
				return true
			}
		}
	}
	return false
}

// summary is the content of a job's summary file: what people and machines are shown, and
// what the catalogue step needs besides.
type summary struct {
	reports.Job
	Across crosscheck.CatalogueJob `json:"across"`
}

func summarise(j *job.Job, f *Findings) summary {
	return summary{summaryOf(f), forCatalogue(j, f)}
}

// summaryOf is what reports and machines are shown of a job's findings.
func summaryOf(f *Findings) reports.Job {
	runs := 0
	for _, r := range f.Recordings {
		runs += len(r.Runs)
	}
	return reports.Job{Name: f.Job, Recordings: len(f.Recordings), Runs: runs, Numbers: f.Numbers, Responses: f.Responses, Checks: f.Checks, Warnings: f.Warnings,
		Curves: reports.CurvesOf(f.Job, f.Numbers, f.Figures)}
}

// IsUserError is true for faults of files and calls, which exit with 2.
func IsUserError(err error) bool {
	return len(positioned.All(err)) > 0 || errors.Is(err, store.ErrLocked)
}
