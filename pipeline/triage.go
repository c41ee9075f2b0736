package pipeline

import (
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/reports"
	"spinledger/stages/inspect"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// TriageFiles judges recordings that no job file declares: layout, kind and conditions are
// guessed, and said. With rotors, it is judged too whether each rotor may come off.
func TriageFiles(fsys fs.FS, files []string, rotors bool, opt DraftOptions) (*reports.Triage, error) {
	opt.Name = "triage"
	d, err := DraftJob(fsys, files, opt)
	if err != nil {
		return nil, err
	}
	if len(d.Faults) > 0 {
		var list positioned.List
		for _, e := range d.Faults {
			list.Add(e)
		}
		return nil, list.Err()
	}
	tree := overlaid(fsys, d.Files)
	j, err := job.Read(tree, d.JobFile)
	if err != nil {
		return nil, err
	}
	t, err := triage(tree, j, nil, rotors)
	if err != nil {
		return nil, err
	}
	t.Left = d.Left
	for _, n := range d.Notes {
		t.Guesses = append(t.Guesses, n.Text)
	}
	for i := range t.Recordings {
		for _, k := range d.Kinds {
			if k.Recording == t.Recordings[i].Name {
				t.Recordings[i].Note = k.Note.Text
			}
		}
	}
	if opt.PolePairs == 0 && slices.ContainsFunc(j.Benches, electricalSpeed) {
		t.Guesses = append(t.Guesses, fmt.Sprintf("%d pole pairs, since nobody said: speeds and inertias hang on it (--pole-pairs)", j.Motor.PolePairs))
	}
	return t, nil
}

func electricalSpeed(b spin.Bench) bool {
	for _, l := range b.Loggers {
		for _, c := range l.Channels {
			if c.Name == "speed" && c.Reading == "electrical" {
				return true
			}
		}
	}
	return false
}

// TriageJob judges what is there of a job whose recordings are still being made.
func TriageJob(fsys fs.FS, name string) (*reports.Triage, error) {
	j, err := job.Read(fsys, name)
	if err != nil {
		return nil, err
	}
	missing := map[string][]string{}
	j.Recordings = slices.DeleteFunc(j.Recordings, func(r job.Recording) bool {
		for _, f := range r.Files {
			if _, err := fs.Stat(fsys, f.Path); err != nil {
				missing[r.Rotor.ID] = append(missing[r.Rotor.ID], r.Name)
				return true
			}
		}
		return false
	})
	if len(j.Recordings) == 0 {
		return nil, &positioned.Error{File: name, Got: "a job none of whose recordings is there yet", Want: "at least one"}
	}
	return triage(fsys, j, missing, true)
}

// triage computes what there is and judges it.
func triage(fsys fs.FS, j *job.Job, missing map[string][]string, rotors bool) (*reports.Triage, error) {
	w := Plan(j)
	found, _, err := Compute(fsys, w, 2, nil)
	if err != nil {
		return nil, err
	}
	t := &reports.Triage{}
	for _, r := range j.Recordings {
		i := slices.IndexFunc(found.Recordings, func(x spin.Recording) bool { return x.Declared.Name == r.Name })
		one := reports.TriagedRecording{Name: r.Name, File: r.Files[0].Path, Rotor: r.Rotor.ID, Kind: r.Kind}
		if i < 0 {
			for _, f := range found.Refusals {
				if f.Subject == r.ID() {
					one.Judgement.Items = append(one.Judgement.Items, spin.Judged{Name: "refused: " + f.Code, State: spin.Bad, Text: f.Text})
				}
			}
			one.Judgement.Verdict = spin.RecordAgain
			t.Recordings = append(t.Recordings, one)
			continue
		}
		in := inspectInput(found, i)
		again, err := readAlone(fsys, &w.Recordings[slices.IndexFunc(w.Recordings, func(x Recording) bool { return x.Declared.Name == r.Name })])
		if err != nil {
			return nil, err
		}
		in.Recording.Samples = again.Samples
		out, err := inspect.Run(in)
		if err != nil {
			return nil, err
		}
		one.Judgement, one.Warnings = out, found.Recordings[i].Warnings
		t.Recordings = append(t.Recordings, one)
	}
	if rotors {
		for _, r := range w.Rotors {
			t.Rotors = append(t.Rotors, inspect.Rotor(rotorInput(t, found, r, missing[r.ID])))
		}
		t.Session = session(j, found)
	}
	return t, nil
}

func inspectInput(f *Findings, i int) inspect.Input {
	rec := f.Recordings[i]
	id := rec.Declared.ID()
	in := inspect.Input{Recording: rec}
	for _, e := range f.Evidence {
		if e.Recording == id {
			in.Evidence = e
		}
	}
	for _, x := range f.Fits {
		if x.Recording == id {
			in.Fits = append(in.Fits, x)
		}
	}
	for _, x := range f.Refusals {
		// A refusal's subject is the recording, or one of its runs.
		if x.Subject == id || strings.HasPrefix(x.Subject, id+"#") {
			in.Refusals = append(in.Refusals, x)
		}
	}
	return in
}

func rotorInput(t *reports.Triage, f *Findings, r spin.Rotor, missing []string) inspect.RotorInput {
	in := inspect.RotorInput{Rotor: r, Missing: missing}
	for _, x := range t.Recordings {
		i := slices.IndexFunc(f.Recordings, func(rec spin.Recording) bool { return rec.Declared.Name == x.Name })
		if x.Rotor == r.ID && i >= 0 {
			in.Recordings = append(in.Recordings, f.Recordings[i])
			in.Verdicts = append(in.Verdicts, x.Judgement.Verdict)
		}
	}
	for _, x := range f.Fits {
		if x.Rotor == r.ID {
			in.Fits = append(in.Fits, x)
		}
	}
	for i := range f.Rotors {
		if f.Rotors[i].Rotor == r.ID {
			in.Inertia = &f.Rotors[i]
		}
	}
	for _, c := range f.Checks {
		// Repeats are counted above, and a rotor alone has no parts to compare.
		if path.Base(c.Subject) == "rotor:"+r.ID && c.Name != "repeats" {
			in.Checks = append(in.Checks, c)
		}
	}
	return in
}

// session says what must hold before the bench is put away: a disk of today,
// weights of today, a span and zero within their limits.
func session(j *job.Job, f *Findings) []spin.Judged {
	var out []spin.Judged
	disks := 0
	for _, p := range j.Parts {
		if p.Role == "" {
			continue
		}
		for _, r := range f.Recordings {
			if slices.Contains(r.Declared.Rotor.Parts, p.ID) {
				disks++
				break
			}
		}
	}
	if disks == 0 {
		out = append(out, spin.Judged{Name: "reference disk", State: spin.Doubtful, Text: "no reference disk recorded in these sessions", Advice: "record it on the same day: nothing else sees the torque scale"})
	} else {
		out = append(out, spin.Judged{Name: "reference disk", State: spin.Good, Text: fmt.Sprintf("%d recorded", disks)})
	}
	for _, s := range f.Scales {
		u := s.Ratio.Expanded().U
		item := spin.Judged{Name: "span", State: spin.Good, Text: fmt.Sprintf("%s reads %+.2g %% ± %.2g %% against the weights", s.Disk, 100*s.Ratio.Mean, 100*u)}
		if math.Abs(s.Ratio.Mean) > u {
			item.State, item.Advice = spin.Bad, "hang the weights again, and measure the disk: they disagree"
		}
		out = append(out, item)
	}
	for _, s := range j.Sessions {
		_, day, dated := strings.Cut(s.Calibration, "/")
		switch {
		case !dated:
			out = append(out, spin.Judged{Name: "weights", State: spin.Doubtful, Text: "session " + s.Name + " has no calibration by weights", Advice: "hang dead weights in both senses, before and after"})
		case len(day) >= 10 && day[:10] != s.Date:
			out = append(out, spin.Judged{Name: "weights", State: spin.Doubtful, Text: fmt.Sprintf("session %s of %s rests on weights of %s", s.Name, s.Date, day), Advice: "hang at least one weight today"})
		default:
			out = append(out, spin.Judged{Name: "weights", State: spin.Good, Text: "hung on the day of session " + s.Name})
		}
	}
	return out
}
