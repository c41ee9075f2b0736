package job

import (
	"slices"
	"strings"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

func (r *reader) readRecordings(root *value) {
	all := root.get("recordings")
	exclude := r.exclusions(root)
	if all == nil {
		return
	}
	for _, v := range all.fields {
		rec := Recording{Declared: spin.Declared{
			Job: r.job.ID, Name: v.name, Kind: spin.Kind(v.get("kind").str("")), Turns: spin.CCW, PolePairs: r.job.Motor.PolePairs,
			SupplyV: v.get("supply").num(), TorqueUsable: v.get("torque").str("use") == "use", Source: v.get("source").str(""), Exclude: exclude[v.name],
		}}
		if c := v.get("command"); c.usable() {
			for _, q := range c.sequence {
				rec.Command = append(rec.Command, q.Value)
			}
		}
		if c := v.get("torque"); c.usable() && c.text == "ignore" && rec.Source == "recorded" {
			v.get("source").fault(`"recorded" beside torque: ignore`, "another source, or torque: use", "")
		}
		m := r.mountingOf(v)
		if m != nil {
			rec.Mounting, rec.Session, rec.Turns, rec.Rotor = m.Name, m.Session, m.Turns, m.Rotor
		}
		rec.Files = r.files(v, m)
		r.job.Recordings = append(r.job.Recordings, rec)
	}
}

func (r *reader) mountingOf(v *value) *mounting {
	named := v.get("mounting")
	if !named.usable() {
		return nil
	}
	m := r.mountings[named.text]
	if m == nil {
		if names := keys(r.mountings); len(names) > 0 {
			named.fault(quote(named.text), among("one of the mountings", names), did(named.text, names))
		}
	}
	return m
}

// files of a recording, either of its two forms.
func (r *reader) files(v *value, m *mounting) []RecFile {
	var out []RecFile
	if v.get("file") != nil {
		if f, ok := r.file(v, v, m); ok {
			out = append(out, f)
		}
	}
	if list := v.get("files"); list != nil {
		for _, name := range []string{"logger", "sha256"} {
			if k := v.get(name); k != nil && v.get("file") == nil {
				k.faultAtKey(name+" beside files", name+" within each of the files", "")
			}
		}
		var loggers []string
		for _, item := range list.items {
			f, ok := r.file(item, v, m)
			if !ok {
				continue
			}
			if slices.Contains(loggers, f.Logger) && f.Logger != "" {
				item.get("logger").fault(quote(f.Logger)+" a second time", "one file of each logger", "files recorded one after the other are recordings of their own")
			}
			loggers = append(loggers, f.Logger)
			out = append(out, f)
		}
	}
	if m != nil && m.session != nil && m.session.bench != nil {
		r.needs(v, m.session.bench, out)
	}
	return out
}

// file reads one file of a recording from the map that names it.
func (r *reader) file(v, rec *value, m *mounting) (RecFile, bool) {
	name := v.get("file")
	if !name.usable() {
		return RecFile{}, false
	}
	p, ok := name.rooted()
	if !ok {
		return RecFile{}, false
	}
	// One recording counted as two would make its scatter look small.
	if other, twice := r.recorded[p]; twice {
		name.fault(quote(name.text)+", a file of recording "+other, "each file in one recording", "")
	} else {
		r.recorded[p] = rec.name
	}
	f := RecFile{Path: p, Key: name.path, PinKey: join(v.path, "sha256"), SHA256: v.get("sha256").str("")}
	if o := v.get("offset"); o.usable() {
		f.OffsetS = r.uncertain(o, r.job.ID+"/"+rec.name+"/files."+v.name+".offset")
	} else {
		f.OffsetS = uncertain.Exact(0)
	}
	f.Logger = r.loggerOf(v, m)
	return f, true
}

// loggerOf is the logger that wrote a file: named, or the bench's only one.
func (r *reader) loggerOf(v *value, m *mounting) string {
	named := v.get("logger")
	if m == nil || m.session == nil || m.session.bench == nil || (named != nil && named.bad) {
		return ""
	}
	var names []string
	for _, l := range m.session.bench.spin.Loggers {
		names = append(names, l.Name)
	}
	slices.Sort(names)
	switch {
	case named == nil && len(names) == 1:
		return names[0]
	case named == nil && len(names) > 1:
		v.fault("no logger", among("one of the loggers of bench "+m.session.bench.spin.Name, names), "")
	case named == nil || len(names) == 0:
	case !slices.Contains(names, named.text):
		named.fault(quote(named.text), among("a logger of bench "+m.session.bench.spin.Name, names), did(named.text, names))
	default:
		return named.text
	}
	return ""
}

// needs checks what a recording's loggers ask of the job: a speed, and the pole
// pairs where that is electrical.
func (r *reader) needs(v *value, b *bench, files []RecFile) {
	speed, known := false, true
	for _, f := range files {
		l, ok := find(b.spin.Loggers, f.Logger, func(l spin.Logger) string { return l.Name })
		known = known && ok
		for _, c := range l.Channels {
			if c.Name != "speed" {
				continue
			}
			speed = true
			if c.Reading == "electrical" && r.job.Motor.PolePairs == 0 {
				r.needsPoles(v)
			}
		}
	}
	if !speed && known && len(files) > 0 && !b.root.bad && !v.bad {
		v.fault("loggers without a speed channel", "a logger whose channels have a speed", "")
	}
}

func (r *reader) needsPoles(rec *value) {
	f := rec.file
	p := r.job.placeOf("motor")
	if r.noMotor {
		return
	}
	if p.line == 0 {
		p = r.job.placeOf("job")
	}
	f.add(p.line, p.col, "motor.pole_pairs", "nothing", "the pole pairs: the speed channel is electrical", "")
}

// exclusions by recording, each of a run of a recording that there is.
func (r *reader) exclusions(root *value) map[string][]spin.Exclusion {
	out := map[string][]spin.Exclusion{}
	list := root.get("exclude")
	if list == nil {
		return out
	}
	var names []string
	if all := root.get("recordings"); all != nil {
		for _, v := range all.fields {
			names = append(names, v.name)
		}
	}
	slices.Sort(names)
	for _, v := range list.fields {
		rec, number, ok := strings.Cut(v.name, "#")
		if !ok || v.bad {
			continue
		}
		if !slices.Contains(names, rec) {
			hint := did(rec, names)
			if hint != "" {
				hint = strings.Replace(hint, `"?`, "#"+number+`"?`, 1)
			}
			v.faultAtKey("a run of recording "+quote(rec), among("a run of one of the recordings", names), hint)
			continue
		}
		out[rec] = append(out[rec], spin.Exclusion{Run: v.name, Reason: v.text})
	}
	for _, rec := range keys(out) {
		slices.SortFunc(out[rec], func(a, b spin.Exclusion) int { return strings.Compare(a.Run, b.Run) })
	}
	return out
}
