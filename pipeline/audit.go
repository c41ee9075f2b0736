package pipeline

import (
	"cmp"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"spinledger/pipeline/attest"
	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/reports"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// Audit follows one number down to the bytes it came from, and compares all that
// lies on the way with what the log says of it. A number or job that is not there
// is an error; what does not match is in Faults.
func (e Evidence) Audit(number string) (reports.Audit, error) {
	l, n, err := e.find(number)
	if err != nil {
		return reports.Audit{}, err
	}
	a := reports.Audit{Number: n, Result: l.textDigest(number)}
	if p := l.log.Steps[0].Program; p != nil {
		a.Program = p.Version
		for _, m := range p.Modules {
			a.Modules = append(a.Modules, m.Path+" "+m.Version+" "+m.Sum)
		}
		a.Notes = differences(*p, provenance.Running())
	}
	a.Causes = l.said.causes(n)
	for _, k := range l.checks {
		if slices.Contains(k.Numbers, n.ID) {
			a.Checks = append(a.Checks, k)
		}
	}
	a.Waivers = l.said.waiversOf(a.Checks)
	a.Editions = e.editions(n.ID, a.Result)
	a.Steps = l.steps(n)
	f := &finder{Evidence: e, seen: map[string]string{}}
	for i := range a.Steps {
		f.check("input", e.Tree, a.Steps[i].Files)
	}
	f.declared(l, a.Causes)
	a.Tables = l.tables()
	f.check("output", e.Out, a.Tables)
	a.Faults = append(f.faults, e.against(l.job)...)
	return a, nil
}

// editions are what the ledger says of a number; result is the one that is audited.
func (e Evidence) editions(number, result string) []reports.AuditEdition {
	if e.Ledger == nil {
		return nil
	}
	var out []reports.AuditEdition
	for _, l := range e.Ledger.Of(number) {
		out = append(out, reports.AuditEdition{Edition: l.Edition, Withdraws: l.Withdraws, Stated: l.Value.Text, Waived: l.Waived,
			Day: l.Day, By: l.By, Because: l.Because, Place: e.Ledger.Where(l), Same: l.Result == result})
	}
	return out
}

// against says whether a job's log is the one that was attested: what no digest within
// the log covers (a step's key, options and inputs) shows here.
func (e Evidence) against(jobID string) []string {
	data, _, err := store.ReadFile(e.Out, AttestationFile, maxLogBytes)
	if err != nil {
		return []string{err.Error()}
	}
	s, err := attest.Read(AttestationFile, data)
	if err != nil {
		return []string{err.Error()}
	}
	var out []string
	for _, name := range []string{jobID + "/" + provenance.StepsFile, jobID + "/" + provenance.ResultsFile} {
		k := slices.IndexFunc(s.Subject, func(r attest.Resource) bool { return r.Name == name })
		d, err := store.Hash(e.Out, name)
		switch {
		case err != nil:
			out = append(out, err.Error())
		case k < 0:
			out = append(out, AttestationFile+" does not speak of "+name)
		case s.Subject[k].SHA256() != d.SHA256:
			out = append(out, fmt.Sprintf("%s has SHA-256 %s, and %s states %s: one of the two was altered (regenerate tells which)", name, d.SHA256, AttestationFile, s.Subject[k].SHA256()))
		}
	}
	return out
}

// causes are a number's budget rows with where they are written, the largest first.
func (d *Declarations) causes(n spin.Number) []reports.AuditCause {
	var out []reports.AuditCause
	u := n.Value.Std()
	for _, p := range n.Value.Parts {
		c := reports.AuditCause{Source: p.Source, Contribution: p.Contribution, Share: p.Contribution * p.Contribution / (u * u), DoF: p.DoF}
		c.Places, c.Written = d.belongs(p.Source)
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(x, y reports.AuditCause) int { return cmp.Compare(y.Share, x.Share) })
	return out
}

// waiversOf are the waivers that cover any of the checks.
func (d *Declarations) waiversOf(checks []spin.Check) []reports.AuditWaiver {
	var out []reports.AuditWaiver
	for i, w := range d.Waivers {
		if slices.ContainsFunc(checks, func(k spin.Check) bool {
			return k.Name == w.Check && k.Subject == w.Subject && k.WaivedBecause != ""
		}) {
			out = append(out, reports.AuditWaiver{Check: w.Check, Subject: w.Subject, Because: w.Because, By: w.By, Until: w.Until, Place: d.place(fmt.Sprintf("waivers.%d", i))})
		}
	}
	return out
}

// steps are those behind a number, the last first.
func (l *logged) steps(n spin.Number) []reports.AuditStep {
	var out []reports.AuditStep
	for _, k := range l.log.Behind(l.at[n.ID]) {
		s := l.log.Steps[k-1]
		a := reports.AuditStep{N: s.N, Stage: s.Stage, Subject: s.Subject, Method: s.Method, Key: s.Key, Output: s.Output, From: s.From, Own: l.own(s, n)}
		if name, ok := strings.CutPrefix(s.Subject, l.job+"/"); ok {
			if p := l.said.place("recordings." + name); p != "" && s.Stage == "ingest" {
				a.Places = append(a.Places, p)
			}
		}
		for _, f := range s.Inputs {
			a.Files = append(a.Files, reports.AuditFile{Name: f.Name, SHA256: f.SHA256, Size: f.Size})
		}
		out = append(out, a)
	}
	slices.Reverse(out)
	return out
}

// own is true for a step about a rotor that the number is made of, and for
// those about the whole job.
func (l *logged) own(s provenance.Step, n spin.Number) bool {
	about, ok := strings.CutPrefix(s.Subject, l.job+"/")
	if !ok {
		return true
	}
	rotor, ok := strings.CutPrefix(about, "rotor:")
	if !ok {
		rotor = l.said.rotorOf(about).ID
	}
	return slices.Contains(n.Rotors, rotor)
}

// rotorOf is the rotor of a recording.
func (d *Declarations) rotorOf(recording string) spin.Rotor {
	for _, r := range d.Recordings {
		if r.Name == recording {
			for _, m := range d.Mountings {
				if m.Name == r.Mounting {
					return m.Rotor
				}
			}
		}
	}
	return spin.Rotor{}
}

// tables are the files written of the job's results.
func (l *logged) tables() []reports.AuditFile {
	var out []reports.AuditFile
	for _, s := range l.log.Steps {
		if s.Stage == "publish" {
			for _, f := range s.Outputs {
				out = append(out, reports.AuditFile{Name: l.job + "/" + f.Name, SHA256: f.SHA256, Size: f.Size})
			}
		}
	}
	return out
}

// differences between the program that computed and the one that asks.
func differences(was, is provenance.Program) []string {
	var out []string
	if was.Version != is.Version {
		out = append(out, fmt.Sprintf("computed by version %s of the program; this is %s", was.Version, is.Version))
	}
	now := map[string]provenance.Module{}
	for _, m := range is.Modules {
		now[m.Path] = m
	}
	for _, m := range was.Modules {
		if got, ok := now[m.Path]; len(now) > 0 && (!ok || got != m) {
			out = append(out, fmt.Sprintf("computed with %s %s; this program has %s", m.Path, m.Version, cmp.Or(got.Version, "none")))
		}
	}
	return out
}

// finder compares files with what is logged of them and collects what does not match.
type finder struct {
	Evidence
	faults []string
	// seen is the state of each file that was looked at.
	seen map[string]string
}

// check hashes files of fsys, each once; kind is "input" or "output".
func (f *finder) check(kind string, fsys fs.FS, files []reports.AuditFile) {
	for i := range files {
		at := &files[i]
		id := kind + " " + at.Name
		if at.State = f.seen[id]; at.State != "" {
			continue
		}
		d, err := store.Hash(fsys, at.Name)
		switch {
		case err != nil:
			at.State = "missing"
			f.faults = append(f.faults, err.Error())
		case d.SHA256 != at.SHA256:
			at.State = "changed"
			f.faults = append(f.faults, fmt.Sprintf("%s changed: it was %d bytes with SHA-256 %s, it is %d bytes with %s", at.Name, at.Size, at.SHA256, d.Size, d.SHA256))
		default:
			at.State = "same"
		}
		f.seen[id] = at.State
	}
}

// declared says, where a job, bench or parts file changed, which declarations on the
// number's path read otherwise now.
func (f *finder) declared(l *logged, causes []reports.AuditCause) {
	changed := false
	for _, in := range l.log.Steps[0].Inputs {
		changed = changed || f.seen["input "+in.Name] == "changed"
	}
	if !changed {
		return
	}
	j, err := job.Read(f.Tree, l.said.File)
	if err != nil {
		if all := positioned.All(err); len(all) > 0 {
			err = all[0]
		}
		f.faults = append(f.faults, fmt.Sprintf("the job cannot be read any more: %v", err))
		return
	}
	now := declarations(j)
	same := true
	for _, c := range causes {
		if c.Written == "" {
			continue
		}
		places, written := now.belongs(c.Source)
		if written != c.Written {
			same = false
			f.faults = append(f.faults, fmt.Sprintf("%s was %s at %s and is %s at %s", c.Source, c.Written, strings.Join(c.Places, ", "), cmp.Or(written, "not written"), strings.Join(places, ", ")))
		}
	}
	if same {
		f.faults = append(f.faults, "the declarations in the number's budget read as before; what changed is something else in these files (run the job and compare)")
	}
}
