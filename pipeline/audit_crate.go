package pipeline

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/archive"
	"spinledger/pipeline/attest"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
)

// CrateOptions of an archive.
type CrateOptions struct {
	// Jobs to archive; none for the whole catalogue.
	Jobs []string
	// Date, an ISO 8601 day, empty for the latest session's; License a URL or a text.
	Date, License string
}

// Crate collects what an archive of jobs holds: all that their logs say was read, all
// that lies in their output folders, and for the whole catalogue what stands beside
// them. Every byte is read: an input or output that is not what the log says is a fault.
func (e Evidence) Crate(opt CrateOptions) (archive.Crate, error) {
	all, err := e.Jobs()
	if err != nil {
		return archive.Crate{}, err
	}
	jobs := opt.Jobs
	if len(jobs) == 0 {
		jobs = all
	}
	b := &crateBuilder{Evidence: e, seen: map[string]string{}}
	b.crate.Version = provenance.Version
	for _, id := range jobs {
		if !slices.Contains(all, id) {
			return archive.Crate{}, &positioned.Error{File: e.Name, Got: "the job " + id, Want: "one of " + strings.Join(all, ", "), Hint: near(id, all)}
		}
		if err := b.job(id); err != nil {
			return archive.Crate{}, err
		}
	}
	b.ledger(jobs)
	b.beside(len(jobs) == len(all))
	if len(jobs) < len(all) {
		b.attest()
	}
	b.crate.Name = "Moments of inertia: " + strings.Join(jobs, ", ")
	b.crate.Description = fmt.Sprintf("Recordings, job, bench and parts files of %d jobs, the tables, logs and pages computed from them, and what is needed to compute them again and compare.", len(jobs))
	b.crate.Date = cmp.Or(opt.Date, b.crate.Date)
	b.crate.License = cmp.Or(opt.License, "no licence is stated; ask the people who recorded")
	slices.Sort(b.crate.People)
	b.crate.People = slices.Compact(b.crate.People)
	return b.crate, mismatch(b.faults.Err())
}

type crateBuilder struct {
	Evidence
	crate  archive.Crate
	run    attest.Run
	seen   map[string]string
	faults positioned.List
}

// job adds a job's inputs and outputs.
func (b *crateBuilder) job(id string) error {
	l, err := b.read(id)
	if err != nil {
		return err
	}
	for _, s := range l.said.Sessions {
		b.crate.Date = max(b.crate.Date, s.Date)
		if s.By != "" {
			b.crate.People = append(b.crate.People, s.By)
		}
	}
	stated := map[string]string{}
	a := archive.Action{Job: id}
	enter(&b.run, l.said.File, l.log)
	b.crate.Version = cmp.Or(b.run.Version, b.crate.Version)
	for _, s := range l.log.Steps {
		for _, f := range s.Inputs {
			role := "job, bench or parts file"
			if s.Stage == "ingest" {
				role = "recording " + s.Subject
			}
			b.add(archive.InputsFolder, b.Tree, f.Name, f.SHA256, role)
			a.Objects = append(a.Objects, archive.InputsFolder+"/"+f.Name)
		}
		for _, f := range s.Outputs {
			stated[f.Name] = f.SHA256
		}
	}
	err = fs.WalkDir(b.Out, id, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || hidden(p) {
			return err
		}
		b.add(archive.OutputsFolder, b.Out, p, stated[strings.TrimPrefix(p, id+"/")], "output of job "+id)
		a.Results = append(a.Results, archive.OutputsFolder+"/"+p)
		b.run.Outputs = append(b.run.Outputs, attest.File{Name: p, SHA256: b.seen[archive.OutputsFolder+"/"+p]})
		return nil
	})
	for name := range stated {
		if _, ok := b.seen[archive.OutputsFolder+"/"+id+"/"+name]; !ok {
			b.faults.Add(&positioned.Error{File: id + "/" + name, Got: "no such file", Want: "the table that the log of " + id + " says was written"})
		}
	}
	slices.Sort(a.Objects)
	a.Objects = slices.Compact(a.Objects)
	b.crate.Actions = append(b.crate.Actions, a)
	return err
}

// hidden are files that are no result: markers, what a killed run left.
func hidden(p string) bool { return strings.HasPrefix(path.Base(p), ".") }

// add reads a file and adds it, once; want is its SHA-256 where that is known.
func (b *crateBuilder) add(folder string, fsys fs.FS, name, want, role string) {
	within := folder + "/" + name
	if _, ok := b.seen[within]; ok {
		return
	}
	d, err := store.Hash(fsys, name)
	b.seen[within] = d.SHA256
	switch {
	case err != nil:
		for _, p := range positioned.All(err) {
			b.faults.Add(p)
		}
	case want != "" && want != d.SHA256:
		b.faults.Add(&positioned.Error{File: name, Got: "SHA-256 " + d.SHA256, Want: want + ", as the log says", Hint: "run the job again, or take back the change"})
	default:
		b.crate.Entries = append(b.crate.Entries, archive.Entry{Name: within, From: fsys, Path: name, SHA256: d.SHA256, Size: d.Size, Role: role})
	}
}

// ledger adds the ledger, and what is kept beside it of released numbers of the archived jobs.
func (b *crateBuilder) ledger(jobs []string) {
	stands := func(name string) bool {
		_, err := fs.Stat(b.Tree, name)
		return !errors.Is(err, fs.ErrNotExist)
	}
	// An archive without a ledger is audited with one from elsewhere, which is no part of its tree.
	if b.Ledger == nil || len(b.Ledger.Lines) == 0 || !stands(b.Ledger.Name) {
		return
	}
	b.add(archive.InputsFolder, b.Tree, b.Ledger.Name, "", "ledger of released numbers")
	for _, line := range b.Ledger.Lines {
		job, _, _ := strings.Cut(line.Number, "/")
		// Where nothing is kept the line still counts.
		if name := b.Ledger.KeptFile(line); name != "" && slices.Contains(jobs, job) && stands(name) {
			b.add(archive.InputsFolder, b.Tree, name, "", "released number "+line.Number+", as computed then")
		}
	}
}

// beside adds what stands beside the jobs' folders: for a part of the catalogue only the
// description of the machine, since the rest speaks of all jobs.
func (b *crateBuilder) beside(all bool) {
	entries, err := fs.ReadDir(b.Out, ".")
	if err != nil {
		return
	}
	for _, d := range entries {
		if d.Type().IsRegular() && !hidden(d.Name()) && (all || d.Name() == machineFile) {
			b.add(archive.OutputsFolder, b.Out, d.Name(), "", "output of the catalogue")
		}
	}
}

// attest adds a statement about the jobs that are archived, since the catalogue's
// speaks of others too.
func (b *crateBuilder) attest() {
	data, err := attest.New(b.run).Bytes()
	if err != nil {
		return
	}
	b.crate.Entries = append(b.crate.Entries, archive.Entry{Name: archive.OutputsFolder + "/" + AttestationFile, Data: data,
		SHA256: hashOf(data), Size: int64(len(data)), Role: "in-toto statement of what was written from what"})
}
