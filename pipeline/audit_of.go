package pipeline

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/provenance"
	"spinledger/reports"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// Dependents are the numbers of all jobs that rest on an input: a file below the root, a
// line of one ("parts/disks.yaml:7"), a part, a bench, a calibration ("loft/2026-03-02"), a recording
// ("weir-2207/disk-a"), a session or mounting ("weir-2207/session:spring"), or the source of an uncertainty.
func (e Evidence) Dependents(input string) (reports.Dependents, error) {
	jobs, err := e.Jobs()
	if err != nil {
		return reports.Dependents{}, err
	}
	out := reports.Dependents{Input: input}
	var known []string
	for _, id := range jobs {
		l, err := e.read(id)
		if err != nil {
			return out, err
		}
		m := l.meaning(input)
		known = append(known, l.names()...)
		if m.what == "" {
			continue
		}
		out.What = m.what
		for _, n := range l.numbers {
			if d, ok := l.dependent(n, m); ok {
				d.Released = e.released(n.ID)
				out.Numbers = append(out.Numbers, d)
			}
		}
	}
	if out.What == "" {
		slices.Sort(known)
		known = slices.Compact(known)
		return out, &positioned.Error{File: e.Name, Got: "the input " + input, Want: "a file below the root, a line of one, a part, bench, calibration, recording, session, mounting or source of uncertainty that these jobs use", Hint: near(input, known)}
	}
	slices.SortStableFunc(out.Numbers, func(a, b reports.Dependent) int {
		return cmp.Or(cmp.Compare(a.How, b.How), cmp.Compare(b.Share, a.Share), cmp.Compare(a.ID, b.ID))
	})
	return out, nil
}

// released is the edition of a number that stands in the ledger, or empty.
func (e Evidence) released(number string) string {
	if e.Ledger == nil {
		return ""
	}
	s, ok := e.Ledger.States()[number]
	if !ok || !s.Released() {
		return ""
	}
	return fmt.Sprintf("edition %d", s.Edition)
}

// meaning is what an input is to one job; what is empty where the job knows nothing of it.
type meaning struct {
	what string
	// file whose bytes a step read.
	file string
	// sources are prefixes of the uncertainties that the input makes.
	sources []string
	// rotors that it belongs to; all where it belongs to every rotor of the job.
	rotors []string
	all    bool
}

// meaning of an input to this job.
func (l *logged) meaning(input string) meaning {
	d := &l.said
	if m := l.fileMeaning(input); m.what != "" {
		return m
	}
	bare := strings.TrimPrefix(input, "parts/")
	for _, m := range d.Mountings {
		for _, p := range m.Rotor.Parts {
			if p == bare || spin.DotID(p) == bare {
				return meaning{what: "a part", sources: []string{"parts/" + spin.DotID(p) + "/"}, rotors: d.rotorsWith(p)}
			}
		}
	}
	bench := strings.TrimPrefix(input, "bench/")
	for _, s := range d.Sessions {
		switch {
		case bench != "" && (bench == s.Calibration || bench == s.WeighedAfter):
			return meaning{what: "a calibration", sources: []string{"bench/" + bench + "/"}, rotors: d.rotorsIn(s.Name)}
		case bench == s.Bench:
			return meaning{what: "a bench", sources: []string{"bench/" + bench + "/"}, rotors: d.rotorsIn(s.Name)}
		case input == d.Job+"/session:"+s.Name:
			return meaning{what: "a session", sources: []string{input + "/"}, rotors: d.rotorsIn(s.Name)}
		}
	}
	own, _ := strings.CutPrefix(input, d.Job+"/")
	for _, m := range d.Mountings {
		if own == "mounting:"+m.Name {
			return meaning{what: "a mounting", sources: []string{input + "/"}, rotors: []string{m.Rotor.ID}}
		}
	}
	for _, r := range d.Recordings {
		if own == r.Name && own != input {
			return meaning{what: "a recording", sources: []string{input + "/", input + "#"}, rotors: []string{d.rotorOf(r.Name).ID}}
		}
	}
	for _, n := range l.numbers {
		for _, p := range n.Value.Parts {
			if p.Source == input {
				return meaning{what: "a cause of uncertainty", sources: []string{input}}
			}
		}
	}
	for _, q := range d.Quantities {
		if q.Source == input {
			return meaning{what: "a declaration, " + q.Text, sources: []string{input}}
		}
	}
	return meaning{}
}

// fileMeaning of a name or line of a file that the job read.
func (l *logged) fileMeaning(input string) meaning {
	for _, s := range l.log.Steps {
		for _, f := range s.Inputs {
			if f.Name != input {
				continue
			}
			m := meaning{what: "a job, bench or parts file", file: input, all: true}
			if name, ok := strings.CutPrefix(s.Subject, l.job+"/"); ok {
				m.what, m.all, m.rotors = "the file of recording "+s.Subject, false, []string{l.said.rotorOf(name).ID}
			}
			return m
		}
	}
	var m meaning
	for _, q := range l.said.Quantities {
		if at := fmt.Sprintf("%s:%d", q.File, q.Line); input == at || input == place(q.File, q.Line, q.Col) {
			m.sources = append(m.sources, q.Source)
			m.what = "the declarations of " + strings.Join(m.sources, ", ")
		}
	}
	return m
}

func (d *Declarations) rotorsWith(part string) []string {
	var out []string
	for _, m := range d.Mountings {
		if slices.Contains(m.Rotor.Parts, part) {
			out = append(out, m.Rotor.ID)
		}
	}
	return out
}

func (d *Declarations) rotorsIn(session string) []string {
	var out []string
	for _, m := range d.Mountings {
		if m.Session == session {
			out = append(out, m.Rotor.ID)
		}
	}
	return out
}

// names that an input may have, for a hint.
func (l *logged) names() []string {
	var out []string
	for _, s := range l.log.Steps {
		for _, f := range s.Inputs {
			out = append(out, f.Name, path.Base(f.Name))
		}
	}
	for _, m := range l.said.Mountings {
		out = append(out, m.Rotor.Parts...)
	}
	for _, s := range l.said.Sessions {
		out = append(out, s.Bench, s.Calibration, s.WeighedAfter, l.job+"/session:"+s.Name)
	}
	for _, r := range l.said.Recordings {
		out = append(out, l.job+"/"+r.Name)
	}
	for _, q := range l.said.Quantities {
		out = append(out, q.Source)
	}
	return out
}

// dependent says whether and how a number rests on an input. Every number of a
// job comes out of one adjustment and one choice of lags, so that what touches one
// rotor touches all numbers; "own" are those that it touches by itself.
func (l *logged) dependent(n spin.Number, m meaning) (reports.Dependent, bool) {
	d := reports.Dependent{ID: n.ID, How: "shared", Release: n.Release}
	v := 0.0
	for _, p := range n.Value.Parts {
		if slices.ContainsFunc(m.sources, func(s string) bool {
			return p.Source == s || strings.HasPrefix(p.Source, s) && (strings.HasSuffix(s, "/") || strings.HasSuffix(s, "#"))
		}) {
			v += p.Contribution * p.Contribution
		}
	}
	if u := n.Value.Std(); u > 0 {
		d.Share = v / (u * u)
	}
	touches := m.all || slices.ContainsFunc(m.rotors, func(r string) bool { return slices.Contains(n.Rotors, r) })
	if d.Share > 0 || touches {
		d.How = "own"
	}
	if m.file == "" && len(m.rotors) == 0 && d.Share == 0 {
		// A cause of uncertainty is in the budget or it is not.
		return d, false
	}
	if m.file != "" && !slices.ContainsFunc(l.log.Behind(l.at[n.ID]), func(k int) bool {
		return slices.ContainsFunc(l.log.Steps[k-1].Inputs, func(f provenance.Input) bool { return f.Name == m.file })
	}) {
		return d, false
	}
	return d, true
}
