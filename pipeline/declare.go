package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/tables"
	"spinledger/stages/kit/spin"
)

// Methods of the first and last step of every log: they change when what they write does.
const (
	declareMethod = "declare/2"
	publishMethod = "publish/1"
)

// Declarations are what a job says and where: the result of the log's first step. An
// auditor finds the lines in it that a number rests on, also when the files
// have changed since.
type Declarations struct {
	Job        string              `json:"job"`
	File       string              `json:"file"`
	Sessions   []spin.Session      `json:"sessions"`
	Mountings  []DeclaredMounting  `json:"mountings"`
	Recordings []DeclaredRecording `json:"recordings"`
	Waivers    []DeclaredWaiver    `json:"waivers,omitempty"`
	// Quantities that were written with an uncertainty, by source.
	Quantities []job.Declaration `json:"quantities,omitempty"`
	// Places of everything with a name.
	Places []DeclaredPlace `json:"places"`
}

// DeclaredMounting is one act of putting a rotor together.
type DeclaredMounting struct {
	Name    string     `json:"name"`
	Session string     `json:"session"`
	Rotor   spin.Rotor `json:"rotor"`
}

// DeclaredRecording is a recording with its files below the root.
type DeclaredRecording struct {
	Name     string   `json:"name"`
	Mounting string   `json:"mounting"`
	Files    []string `json:"files"`
}

// DeclaredWaiver is a waiver as written; its limit in the unit of the check.
type DeclaredWaiver struct {
	Check   string  `json:"check"`
	Subject string  `json:"subject"`
	UpTo    float64 `json:"up_to"`
	Because string  `json:"because"`
	By      string  `json:"by"`
	Until   string  `json:"until"`
}

// DeclaredPlace is where something with a name is written. Key is
// "recordings.disk-a", "mountings.disk", "sessions.spring", "parts/disk-40",
// "bench/loft", "bench/loft/2026-03-02", "exclude.disk-a#3", "waivers.0", "motor" or "options".
type DeclaredPlace struct {
	Key  string `json:"key"`
	File string `json:"file"`
	Line int    `json:"line"`
	Col  int    `json:"col"`
}

// declarations of a job as read.
func declarations(j *job.Job) Declarations {
	d := Declarations{Job: j.ID, File: j.File, Sessions: j.Sessions}
	at := func(key, source string) {
		p := DeclaredPlace{Key: key}
		p.File, p.Line, p.Col = j.Where(source)
		d.Places = append(d.Places, p)
	}
	add := func(key string) { at(key, key) }
	add("motor")
	for _, s := range j.Sessions {
		at("sessions."+s.Name, j.ID+"/session:"+s.Name)
	}
	for _, m := range j.Mountings {
		d.Mountings = append(d.Mountings, DeclaredMounting{m.Name, m.Session, m.Rotor})
		add("mountings." + m.Name)
	}
	for _, r := range j.Recordings {
		rec := DeclaredRecording{Name: r.Name, Mounting: r.Mounting}
		for _, f := range r.Files {
			rec.Files = append(rec.Files, f.Path)
		}
		d.Recordings = append(d.Recordings, rec)
		add("recordings." + r.Name)
		for _, x := range r.Exclude {
			add("exclude." + x.Run)
		}
	}
	for _, q := range j.Declarations {
		// A parts file may hold parts that this job never mounts.
		id, isPart := strings.CutPrefix(q.Source, "parts/")
		id, _, _ = strings.Cut(id, "/")
		if !isPart || slices.ContainsFunc(j.Parts, func(p spin.Part) bool { return spin.DotID(p.ID) == id }) {
			d.Quantities = append(d.Quantities, q)
		}
	}
	for _, p := range j.Parts {
		add("parts/" + spin.DotID(p.ID))
	}
	for _, b := range j.Benches {
		add("bench/" + b.Name)
	}
	for _, s := range j.Sessions {
		if s.Calibration != "" {
			add("bench/" + s.Calibration)
		}
		if s.WeighedAfter != "" {
			add("bench/" + s.WeighedAfter)
		}
	}
	for i, w := range j.Waivers {
		d.Waivers = append(d.Waivers, DeclaredWaiver{w.Check, w.Subject, w.UpTo.Value, w.Because, w.By, w.Until})
		add(fmt.Sprintf("waivers.%d", i))
	}
	add("options")
	return d
}

// declare logs what the job says and the files it says it in.
func (c *computation) declare() error {
	var inputs []provenance.Input
	for _, f := range c.w.Files {
		inputs = append(inputs, provenance.Input(f))
	}
	n, err := c.log.Add("declare", c.w.Job, declareMethod, struct{}{}, inputs, c.w.Declared, nil, inputs, nil)
	if err != nil {
		return err
	}
	program := provenance.Running()
	c.log.Steps[n-1].Program = &program
	c.declared = n
	return nil
}

// publish logs the files written of a job's results, as the last step. Its result is the
// number of rows of each table.
func publish(log *provenance.Log, job string, made []tables.Table, written []provenance.Output) error {
	rows := map[string]int{}
	for _, t := range made {
		rows[t.Name] = t.Rows()
	}
	var from []int
	var rests []string
	for _, s := range log.Steps {
		from, rests = append(from, s.N), append(rests, s.Output)
	}
	n, err := log.Add("publish", job, publishMethod, struct{}{}, rests, rows, from, nil, nil)
	if err != nil {
		return err
	}
	log.Steps[n-1].Outputs = written
	return nil
}

// waived are the checks of a job that a waiver covers, for the log.
func waived(checks []spin.Check) []string {
	var out []string
	for _, k := range checks {
		if k.WaivedBecause != "" {
			out = append(out, k.Name+" of "+k.Subject)
		}
	}
	return out
}
