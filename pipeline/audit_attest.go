package pipeline

import (
	"bytes"
	"io/fs"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/attest"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
)

// AttestationFile is the unsigned statement of a run, below the output folder; EnvelopeFile the
// same, signed.
const (
	AttestationFile = "attestation.json"
	EnvelopeFile    = "attestation.dsse.json"
)

// machineFile describes the machine and the build; no hash covers it.
const machineFile = "machine.json"

// enter adds to a statement what a job's log says was read, and by which program.
func enter(r *attest.Run, file string, log *provenance.Log) {
	r.Jobs = append(r.Jobs, file)
	for _, s := range log.Steps {
		if s.Program != nil {
			enterProgram(r, *s.Program)
		}
		for _, f := range s.Inputs {
			r.Inputs = append(r.Inputs, attest.File{Name: f.Name, SHA256: f.SHA256})
		}
	}
}

func enterProgram(r *attest.Run, p provenance.Program) {
	r.Version, r.Modules = p.Version, nil
	for _, m := range p.Modules {
		r.Modules = append(r.Modules, attest.Module{Path: m.Path, Version: m.Version, Sum: m.Sum})
	}
}

// writeAttestation states which files were written and which were read.
func writeAttestation(k *kept, run attest.Run) error {
	for _, f := range k.files() {
		if attestable(f.name) {
			run.Outputs = append(run.Outputs, attest.File{Name: f.name, SHA256: f.digest.SHA256})
		}
	}
	data, err := attest.New(run).Bytes()
	if err != nil {
		return err
	}
	return writeBytes(k, AttestationFile, data)
}

// Attestation is the statement that the logs and files of these jobs give, with what
// stands beside them: what AttestationFile must hold, byte for byte. Outputs are
// read, inputs are taken from the logs.
func (e Evidence) Attestation(jobs []string) ([]byte, error) {
	var run attest.Run
	for _, id := range jobs {
		l, err := e.read(id)
		if err != nil {
			return nil, err
		}
		enter(&run, l.said.File, l.log)
	}
	err := fs.WalkDir(e.Out, ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && p != "." && !strings.Contains(p, "/") && !slices.Contains(jobs, p):
			return fs.SkipDir
		case d.IsDir() || !attestable(p):
			return nil
		}
		h, err := store.Hash(e.Out, p)
		run.Outputs = append(run.Outputs, attest.File{Name: p, SHA256: h.SHA256})
		return err
	})
	if err != nil {
		return nil, err
	}
	return attest.New(run).Bytes()
}

// attestable is false for what describes a run rather than its results (machine.json, hidden
// files) and for attestations themselves.
func attestable(name string) bool {
	return name != machineFile && name != AttestationFile && name != EnvelopeFile && !strings.HasPrefix(path.Base(name), ".")
}

// Attested compares the files of an output folder with a statement, AttestationFile's
// or one out of a verified envelope: every file that has other bytes or is missing is a
// fault, and so is everything in the statement that the logs do not say.
func (e Evidence) Attested(statement []byte) error {
	s, err := attest.Read(AttestationFile, statement)
	if err != nil {
		return err
	}
	var faults positioned.List
	var jobs []string
	for _, r := range s.Subject {
		if id, ok := strings.CutSuffix(r.Name, "/"+provenance.StepsFile); ok {
			jobs = append(jobs, id)
		}
		d, err := store.Hash(e.Out, r.Name)
		switch {
		case err != nil:
			for _, p := range positioned.All(err) {
				faults.Add(p)
			}
		case d.SHA256 != r.SHA256():
			faults.Add(&positioned.Error{File: r.Name, Got: "SHA-256 " + d.SHA256, Want: r.SHA256() + ", as is attested"})
		}
	}
	if faults.Len() > 0 {
		return faults.Err()
	}
	now, err := e.Attestation(jobs)
	if err != nil {
		return err
	}
	if !bytes.Equal(now, statement) {
		a, b := bytes.Split(statement, []byte{'\n'}), bytes.Split(now, []byte{'\n'})
		n := 0
		for n < min(len(a), len(b)) && bytes.Equal(a[n], b[n]) {
			n++
		}
		faults.Add(&positioned.Error{File: AttestationFile, Line: n + 1, Got: nth(a, n), Want: nth(b, n) + ", as logs and files give"})
	}
	return faults.Err()
}

func nth(lines [][]byte, n int) string {
	if n >= len(lines) {
		return "nothing more"
	}
	return string(bytes.TrimSpace(lines[n]))
}
