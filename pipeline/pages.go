package pipeline

import (
	"fmt"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/reports"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// jobPage gathers what a job's page shows.
func jobPage(j *job.Job, f *Findings, log *provenance.Log) reports.Page {
	p := reports.Page{
		Job: f.Job, File: j.File, Motor: j.Motor.Specimen, Poles: j.Motor.PolePairs, Numbers: f.Numbers, Checks: f.Checks, Warnings: f.Warnings,
		Rotors: f.Rotors, Parts: j.Parts, Recordings: f.Recordings, Choice: f.Choice, Figures: f.Figures, Responses: f.Responses,
	}
	for _, s := range j.Sessions {
		p.Sessions = append(p.Sessions, reports.Session{Name: s.Name, Bench: s.Bench, Calibration: s.Calibration, WeighedAfter: s.WeighedAfter, Date: s.Date, By: s.By, Controller: s.Controller, Air: airWords(s.Air)})
	}
	for _, w := range j.Waivers {
		p.Waivers = append(p.Waivers, reports.Waiver{Check: w.Check, Subject: w.Subject, UpTo: w.UpTo.Text, Because: w.Because, By: w.By, Until: w.Until})
	}
	for _, d := range j.Files {
		p.Inputs = append(p.Inputs, reports.File{Name: d.File, SHA256: d.SHA256, Size: d.Size})
	}
	for _, d := range f.Inputs {
		p.Inputs = append(p.Inputs, reports.File(d))
	}
	for _, s := range log.Steps {
		p.Steps = append(p.Steps, reports.Step{N: s.N, Stage: s.Stage, Subject: s.Subject, Method: s.Method, Hash: s.Output, From: s.From})
	}
	return p
}

// airWords is the state of the air as far as it was recorded.
func airWords(a spin.Air) string {
	var out []string
	for _, x := range []struct {
		v    *uncertain.Value
		unit string
	}{{a.TemperatureK, "°C"}, {a.PressurePa, "hPa"}, {a.Humidity, "%"}} {
		if u, ok := quantity.Lookup(x.unit); ok && x.v != nil {
			out = append(out, quantity.Format(x.v.Mean, u))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return fmt.Sprintf("air %s", strings.Join(out, ", "))
}
