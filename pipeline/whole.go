package pipeline

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"time"

	"spinledger/pipeline/attest"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/reports"
	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/positioned"
)

// catalogue writes what stands on all jobs, unless they are those it was made of.
func (r *runner) catalogue() error {
	sum := sha256.New()
	for _, d := range r.done {
		fmt.Fprintf(sum, "%s\n", d.mark)
	}
	var released func() (*reports.Released, []figure.Figure, error)
	if l := r.ledger; l != nil && l.Digest() != "" {
		fmt.Fprintf(sum, "%q %s\n", l.Name, l.Digest())
		released = r.released
	}
	key := fmt.Sprintf("%x", sum.Sum(nil))
	old := r.had.catalogue
	if old != nil && old.program != r.me.digest.SHA256 {
		old = nil
	}
	k := newKept(r.out, r.opt.Rehash, old)
	if old != nil && old.result == key && r.allStand(k, old) {
		r.together = old
		return nil
	}
	jobs := make([]summary, len(r.done))
	err := each(len(jobs), newGate(r.opt.Workers), func(i int) (err error) {
		jobs[i], err = published(r.out, r.done[i])
		return err
	})
	if err != nil {
		return err
	}
	across, err := writeCatalogue(k, jobs, released)
	if err != nil {
		return err
	}
	if err := r.attest(k); err != nil {
		return err
	}
	rec := &receipt{program: r.me.digest.SHA256, clean: r.me.clean, result: key, outs: k.files(),
		recs: []seen{{name: "program", digest: r.me.digest, stamp: r.me.stamp}}}
	if j, ok := shown(across.CatalogueOutput); ok {
		var text strings.Builder
		// Its checks are few, and what informs is the point of the control charts.
		if err := reports.Summary(&text, []reports.Job{j}, true); err != nil {
			return err
		}
		rec.text, rec.failed = text.String(), Failed([]*Findings{{Checks: j.Checks}})
	}
	r.together = rec
	if len(r.jobs) == 0 {
		// A run that was killed after its jobs may not have come to it.
		if err := r.machine(); err != nil {
			return err
		}
	}
	return r.append(rec)
}

// released compares the jobs' numbers with the ledger, from the logs as they were written.
func (r *runner) released() (*reports.Released, []figure.Figure, error) {
	made, err := r.out.FS()
	if err != nil {
		return nil, nil, err
	}
	defer made.Close()
	var jobs []string
	for _, d := range r.done {
		jobs = append(jobs, d.job)
	}
	return editions(r.root, made, r.ledger, jobs)
}

// attest states which files the run's jobs rest on and which stand after it.
func (r *runner) attest(k *kept) error {
	var run attest.Run
	enterProgram(&run, provenance.Running())
	for _, d := range r.done {
		run.Jobs = append(run.Jobs, d.file)
		for _, f := range d.outs {
			run.Outputs = append(run.Outputs, attest.File{Name: f.name, SHA256: f.digest.SHA256})
		}
		read := slices.Concat(d.files, d.recs)
		if d.partial {
			// The receipt holds every file that was there, the log those that could be read.
			made, err := r.out.FS()
			if err != nil {
				return err
			}
			log, err := Evidence{Out: made}.Log(d.job)
			made.Close()
			if err != nil {
				return err
			}
			read = nil
			for _, s := range log.Steps {
				for _, f := range s.Inputs {
					read = append(read, seen{name: f.Name, digest: store.Digest{SHA256: f.SHA256, Size: f.Size}})
				}
			}
		}
		for _, f := range read {
			run.Inputs = append(run.Inputs, attest.File{Name: f.name, SHA256: f.digest.SHA256})
		}
	}
	return writeAttestation(k, run)
}

func (r *runner) allStand(k *kept, old *receipt) bool {
	for _, f := range old.outs {
		if !k.stands(f.name, f.digest) {
			return false
		}
	}
	return true
}

// published is what was found in a job.
func published(out *store.Output, rec *receipt) (summary, error) {
	var j summary
	name := rec.job + "/" + summaryFile
	data, d, err := out.Read(name, maxLog)
	if err != nil {
		return j, err
	}
	if d.SHA256 != rec.result {
		return j, &positioned.Error{File: name, Got: "other bytes than the run wrote", Want: "an output folder that nobody else writes to"}
	}
	return j, json.Unmarshal(data, &j)
}

// machine writes the side file, which no hash covers.
func (r *runner) machine() error {
	data, err := json.MarshalIndent(struct {
		Version  string `json:"version"`
		Build    string `json:"build"`
		SHA256   string `json:"program_sha256"`
		Go       string `json:"go"`
		OS       string `json:"os"`
		Arch     string `json:"arch"`
		Host     string `json:"host"`
		Time     string `json:"time"`
		Jobs     int    `json:"jobs_computed"`
		Read     int    `json:"recordings_read"`
		Remember int    `json:"recordings_hash_remembered"`
	}{provenance.Version, r.me.build, r.me.digest.SHA256, runtime.Version(), runtime.GOOS, runtime.GOARCH, store.Host(), r.opt.Now().UTC().Format(time.RFC3339), len(r.jobs), r.book.read, r.book.taken}, "", "  ")
	if err != nil {
		return err
	}
	return writeBytes(r.out, machineFile, append(data, '\n'))
}

// SideFile is true for files of an output folder that describe a run rather than
// its results: no hash covers them, and equal runs need not write them equal.
func SideFile(name string) bool {
	return name == machineFile || name == receiptsFile || name == store.Marker
}
