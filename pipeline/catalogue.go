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
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/reports"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// LedgerName is the usual name of the ledger file, which may lie among job files.
const LedgerName = "ledger.yaml"

// FindJobs lists the job files that a path of the tree means: the file itself,
// or the .yaml files directly in a folder but for its ledger, sorted. Sub-folders are
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
			out = append(out, path.Join(name, e.Name()))
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
	var faults positioned.List
	var out []*job.Job
	ids := map[string]string{}
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
				rpm(top), 100*top/p.BurstRadPerS, rpm(p.BurstRadPerS))})
		}
	}
	return out
}

func rpm(w float64) float64 { return w * 30 / math.Pi }

func place(file string, line, col int) string {
	e := positioned.Error{File: file, Line: line, Col: col}
	return e.Where()
}

// RunOptions of a catalogue run.
type RunOptions struct {
	Workers int
	// Progress is told how many recordings of how many are done; nil: nobody is.
	Progress func(done, total int)
}

// RunJobs computes all jobs and writes their tables and logs, then the
// catalogue's table. A write error stops the run; what was written stays whole.
func RunJobs(fsys fs.FS, jobs []*job.Job, out *store.Output, opt RunOptions) ([]*Findings, error) {
	total, done := 0, 0
	for _, j := range jobs {
		total += len(j.Recordings)
	}
	results := make([]*Findings, len(jobs))
	for i, j := range jobs {
		sink := func(name string, fill func(io.Writer) error) (provenance.Output, error) {
			d, err := out.Write(j.ID+"/"+name, fill)
			return provenance.Output{Name: name, SHA256: d.SHA256, Size: d.Size}, err
		}
		f, log, err := Compute(fsys, Plan(j), opt.Workers, sink)
		if err != nil {
			return nil, err
		}
		locate(j, f.Checks)
		f.Warnings = append(f.Warnings, SpinCheck(j)...)
		if err := writeJob(out, f, log); err != nil {
			return nil, err
		}
		if err := writePage(out, j, f, log); err != nil {
			return nil, err
		}
		results[i] = f
		done += len(j.Recordings)
		if opt.Progress != nil {
			opt.Progress(done, total)
		}
	}
	return results, writeCatalogue(out, results)
}

func writeJob(out *store.Output, f *Findings, log *provenance.Log) error {
	made := f.Tables()
	var written []provenance.Output
	for _, t := range made {
		name := t.Name + ".parquet"
		d, err := out.Write(f.Job+"/"+name, func(w io.Writer) error { return tables.Write(w, t) })
		if err != nil {
			return err
		}
		written = append(written, provenance.Output{Name: name, SHA256: d.SHA256, Size: d.Size})
	}
	if err := publish(log, f.Job, made, written); err != nil {
		return err
	}
	steps, results, err := log.Lines()
	if err != nil {
		return err
	}
	for _, x := range []struct {
		name string
		data []byte
	}{{provenance.ResultsFile, results}, {provenance.StepsFile, steps}} {
		if err := writeBytes(out, f.Job+"/"+x.name, x.data); err != nil {
			return err
		}
	}
	return nil
}

func writeBytes(out *store.Output, name string, data []byte) error {
	_, err := out.Write(name, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
	return err
}

func writeCatalogue(out *store.Output, all []*Findings) error {
	var numbers []spin.Number
	for _, f := range all {
		numbers = append(numbers, f.Numbers...)
	}
	for _, t := range []tables.Table{Inertias(numbers), Budget(numbers)} {
		if _, err := out.Write("catalogue-"+t.Name+".parquet", func(w io.Writer) error { return tables.Write(w, t) }); err != nil {
			return err
		}
	}
	if _, err := out.Write("catalogue.csv", func(w io.Writer) error { return catalogueCSV(w, numbers) }); err != nil {
		return err
	}
	machine, err := json.MarshalIndent(map[string]string{
		"go": runtime.Version(), "os": runtime.GOOS, "arch": runtime.GOARCH, "program": version(),
	}, "", "  ")
	if err != nil {
		return err
	}
	return writeBytes(out, "machine.json", append(machine, '\n'))
}

func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unknown"
}

func catalogueCSV(w io.Writer, numbers []spin.Number) error {
	c := csv.NewWriter(w)
	c.Write([]string{"number", "inertia_kgm2", "u_kgm2", "expanded_kgm2", "k", "dof", "scale", "fit_for_release", "blocked_by"})
	g := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	for _, n := range numbers {
		e := n.Value.Expanded()
		c.Write([]string{n.ID, g(n.Value.Mean), g(n.Value.Std()), g(e.U), g(e.K), g(math.Min(e.DoF, 1e6)), n.Scale, strconv.FormatBool(n.Release), strings.Join(n.Blocked, "; ")})
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

// Summaries are what reports show of findings.
func Summaries(all []*Findings) []reports.Job {
	var out []reports.Job
	for _, f := range all {
		runs := 0
		for _, r := range f.Recordings {
			runs += len(r.Runs)
		}
		out = append(out, reports.Job{Name: f.Job, Recordings: len(f.Recordings), Runs: runs, Numbers: f.Numbers, Checks: f.Checks, Warnings: f.Warnings})
	}
	return out
}

// IsUserError is true for faults of files and calls, which exit with 2.
func IsUserError(err error) bool {
	return len(positioned.All(err)) > 0 || errors.Is(err, store.ErrLocked)
}
