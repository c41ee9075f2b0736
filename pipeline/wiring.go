package pipeline

import (
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/stages/crosscheck"
	"spinledger/stages/kit/air"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Plan turns a job as read into work for the stages.
func Plan(j *job.Job) Work {
	w := Work{Job: j.ID, Declared: declarations(j), Parts: j.Parts, Options: DefaultOptions()}
	for _, f := range j.Files {
		w.Files = append(w.Files, FileDigest{f.File, f.SHA256, f.Size})
	}
	w.Options.Drag.Form, w.Options.Drag.DryFriction = j.Options.DragForm, j.Options.DryFriction
	if v := j.Options.LoadPriorRel; v != nil {
		w.Options.Fit.LoadPriorRel = *v
	}
	if v := j.Options.PlateauS; v != nil {
		w.Options.Fit.PlateauS = *v
	}
	for _, s := range j.Sessions {
		w.Day = max(w.Day, s.Date)
	}
	for _, b := range j.Benches {
		w.Repeatability = append(w.Repeatability, b.Repeatability...)
	}
	for _, r := range j.Recordings {
		w.Recordings = append(w.Recordings, recording(j, r))
		if !slices.ContainsFunc(w.Rotors, func(o spin.Rotor) bool { return o.ID == r.Rotor.ID }) {
			w.Rotors = append(w.Rotors, r.Rotor)
		}
	}
	w.Options.Respond.Seed, w.Options.Respond.Draws = j.Options.Seed, j.Options.Draws
	slices.SortFunc(w.Rotors, func(a, b spin.Rotor) int { return strings.Compare(a.ID, b.ID) })
	for _, q := range j.Respond {
		w.Responses = append(w.Responses, requests(j.ID, q, w.Rotors)...)
	}
	w.Unsettled = j.Unsettled
	for _, v := range j.Waivers {
		w.Waivers = append(w.Waivers, crosscheck.Waiver{Check: v.Check, Subject: v.Subject, UpTo: v.UpTo.Value, Because: v.Because, By: v.By, Until: v.Until, Method: v.Method, Kind: v.UpTo.Unit.Dim})
	}
	return w
}

func recording(j *job.Job, r job.Recording) Recording {
	s, _ := j.Session(r.Session)
	b, _ := j.Bench(s.Bench)
	out := Recording{Declared: r.Declared, Bench: b, Calibration: s.Calibration, WeighedAfter: s.WeighedAfter, DensityKgM3: density(j.ID, s)}
	out.ScaleAt = position(j, "bench/"+b.Name+"/torque_scale")
	if s.Calibration != "" {
		out.ScaleAt = position(j, "bench/"+s.Calibration)
	}
	for _, f := range r.Files {
		file := File{Path: f.Path, OffsetS: f.OffsetS, Pin: f.SHA256, Where: position(j, f.Key)}
		if f.PinKey != "" {
			file.Where = position(j, f.PinKey)
		}
		for _, l := range b.Loggers {
			if l.Name == f.Logger {
				file.Logger = l
			}
		}
		out.Files = append(out.Files, file)
	}
	return out
}

func position(j *job.Job, key string) Position {
	p := Position{Key: key}
	p.File, p.Line, p.Col = j.Where(key)
	return p
}

// density of a session's air, 0 where its state was not recorded or lies
// outside the formula.
func density(id string, s spin.Session) float64 {
	return airDensity(s.Air, id+"/session:"+s.Name+"/humidity").Mean
}

// airDensity with its parts; humidity names the source of a humidity that was not stated.
func airDensity(a spin.Air, humidity string) uncertain.Value {
	if a.TemperatureK == nil || a.PressurePa == nil {
		return uncertain.Value{}
	}
	st := air.State{TemperatureK: *a.TemperatureK, PressurePa: *a.PressurePa}
	if a.Humidity != nil {
		st.Humidity = *a.Humidity
	} else {
		st.Humidity = air.UnstatedHumidity(humidity)
	}
	rho, err := air.Density(st)
	if err != nil {
		return uncertain.Value{}
	}
	return rho
}

// locate writes into every suspect where it is declared, and as what, and into
// every check that did not pass where its subject is.
func locate(j *job.Job, checks []spin.Check) {
	for i := range checks {
		if checks[i].Verdict != spin.Pass {
			checks[i].Places = places(j, &checks[i])
		}
		for k := range checks[i].Suspects {
			s := &checks[i].Suspects[k]
			if d, ok := j.Declaration(s.Source); ok {
				s.Place, s.Written = place(d.File, d.Line, d.Col), d.Text
			}
		}
	}
}

// places are those of a check's subject: the recording of a recording or run, the mountings of
// a rotor, the part. A sweep's check has those of the runs that demand it too.
func places(j *job.Job, k *spin.Check) []string {
	subject, ok := strings.CutPrefix(k.Subject, j.ID+"/")
	if !ok {
		return nil
	}
	var keys []string
	add := func(key string) {
		if !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	rotor, isRotor := strings.CutPrefix(subject, "rotor:")
	name, _, _ := strings.Cut(subject, "#")
	for _, r := range j.Recordings {
		switch {
		case isRotor && r.Rotor.ID == rotor:
			add("mountings." + r.Mounting)
		case !isRotor && r.Name == name:
			add("recordings." + r.Name)
		case strings.HasPrefix(k.Name, "sweep-") && r.Source == spin.SweepCurve:
			add("recordings." + r.Name + ".source")
		}
	}
	for _, p := range j.Parts {
		if spin.DotID(p.ID) == subject {
			add("parts/" + subject)
		}
	}
	var out []string
	for _, key := range keys {
		file, line, col := j.Where(key)
		out = append(out, place(file, line, col))
	}
	return out
}
