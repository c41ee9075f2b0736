package job

import (
	"slices"
	"strings"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// session is a session with the bench it was on, nil where that could not be read.
type session struct {
	spin  spin.Session
	bench *bench
}

// mounting is a mounting with its session, nil where that is not known.
type mounting struct {
	Mounting
	session *session
}

func (r *reader) motor(root *value) {
	v := root.get("motor")
	// An unknown key may be the motor, misspelt.
	r.noMotor = v != nil && v.bad || v == nil && len(root.fields) < len(root.node.Content)/2
	r.job.Motor = Motor{Specimen: v.get("specimen").str(""), PolePairs: v.get("pole_pairs").int(0), TopRadPerS: v.get("top_speed").num()}
}

func (r *reader) readSessions(root *value) {
	if one := root.get("session"); one != nil {
		r.session(one, "session")
	}
	if some := root.get("sessions"); some != nil {
		for _, v := range some.fields {
			r.session(v, v.name)
		}
	}
}

func (r *reader) session(v *value, name string) {
	s := &session{spin: spin.Session{Name: name, Date: v.get("date").str(""), By: v.get("by").str(""), Controller: v.get("controller").str("")}}
	r.sessions[name] = s
	s.spin.Air = r.air(v.get("air"), r.job.ID+"/session:"+name+"/air.")
	if b := v.get("bench"); b.usable() {
		s.bench = r.readBench(b)
	}
	if s.bench != nil {
		s.spin.Bench = s.bench.spin.Name
		s.spin.Calibration = r.chooseCalibration(v, s.bench)
		s.spin.WeighedAfter = r.weighedAfter(v, s)
	}
	r.job.Sessions = append(r.job.Sessions, s.spin)
}

// chooseCalibration is the full id of the session's calibration, empty for none.
func (r *reader) chooseCalibration(v *value, b *bench) string {
	var dates []string
	for _, c := range b.spin.Calibrations {
		dates = append(dates, strings.TrimPrefix(c.ID, b.spin.Name+"/"))
	}
	slices.Sort(dates)
	asked := v.get("calibration")
	switch {
	case asked == nil && len(dates) == 0:
		return ""
	case asked == nil && len(dates) == 1:
		return b.spin.Name + "/" + dates[0]
	case asked == nil:
		v.fault("no calibration", among("a calibration of bench "+b.spin.Name+", or none", dates), "")
		return ""
	case asked.bad || asked.text == "none":
		return ""
	case !slices.Contains(dates, asked.text):
		asked.fault(quote(asked.text), among("a calibration of bench "+b.spin.Name, dates), did(asked.text, dates))
		return ""
	}
	return b.spin.Name + "/" + asked.text
}

// weighedAfter is the full id of the calibration after the session, empty for none.
func (r *reader) weighedAfter(v *value, s *session) string {
	asked := v.get("weighed_after")
	if !asked.usable() {
		return ""
	}
	b := s.bench.spin
	id := b.Name + "/" + asked.text
	find := func(id string) *spin.Calibration {
		for i := range b.Calibrations {
			if b.Calibrations[i].ID == id {
				return &b.Calibrations[i]
			}
		}
		return nil
	}
	before, after := find(s.spin.Calibration), find(id)
	var others []string
	for _, c := range b.Calibrations {
		if c.ID != s.spin.Calibration {
			others = append(others, strings.TrimPrefix(c.ID, b.Name+"/"))
		}
	}
	slices.Sort(others)
	want := among("a calibration of bench "+b.Name+" besides the session's", others)
	switch {
	case v.get("calibration").usable() && before == nil && v.get("calibration").text != "none":
		return "" // said already
	case s.spin.Calibration == "":
		asked.fault(quote(asked.text), "weighed_after beside a calibration before the session", "")
	case id == s.spin.Calibration:
		asked.fault(quote(asked.text)+", which the session's calibration is", want, "")
	case after == nil:
		asked.fault(quote(asked.text), want, did(asked.text, others))
	case before != nil && after.Logger != before.Logger:
		asked.fault(quote(asked.text)+" of logger "+quote(after.Logger), "a calibration of logger "+quote(before.Logger)+", like that before the session", "")
	default:
		return id
	}
	return ""
}

// air bounds are those of places where people work: a slip of the unit lies far outside.
func (r *reader) air(v *value, prefix string) spin.Air {
	var a spin.Air
	read := func(name string, low, high float64, want string) *uncertain.Value {
		q := v.get(name)
		if !q.usable() {
			return nil
		}
		if x := q.num(); x < low || x > high {
			q.fault(quote(q.text), want, "")
			return nil
		}
		return r.optional(q, prefix+name)
	}
	a.TemperatureK = read("temperature", 233.15, 333.15, "−40 °C to 60 °C")
	a.PressurePa = read("pressure", 30000, 120000, "300 hPa to 1200 hPa, as the barometer shows it")
	a.Humidity = read("humidity", 0, 1, "0 % to 100 %")
	return a
}

func (r *reader) readMountings(root *value) {
	all := root.get("mountings")
	if all == nil {
		return
	}
	for _, v := range all.fields {
		m := &mounting{Mounting: Mounting{Name: v.name, Turns: spin.Sense(v.get("turns").str("ccw"))}}
		r.mountings[v.name] = m
		m.session = r.sessionOf(v)
		if m.session != nil {
			m.Session = m.session.spin.Name
		}
		m.Rotor = spin.NewRotor(r.mounted(v.get("parts")))
		r.job.Mountings = append(r.job.Mountings, m.Mounting)
	}
}

// sessionOf is the session a mounting names, or the only one.
func (r *reader) sessionOf(v *value) *session {
	named := v.get("session")
	names := keys(r.sessions)
	switch {
	case named == nil && len(names) == 1:
		return r.sessions[names[0]]
	case named == nil && len(names) > 1:
		v.fault("no session", among("one of the sessions", names), "")
	case named == nil, named.bad:
	case r.sessions[named.text] == nil && len(names) > 0:
		named.fault(quote(named.text), among("one of the sessions", names), did(named.text, names))
	default:
		return r.sessions[named.text]
	}
	return nil
}

// mounted are the parts of a list, sorted, each known and named once.
func (r *reader) mounted(list *value) []string {
	var out []string
	for _, v := range list.each() {
		if v.bad {
			continue
		}
		if slices.Contains(out, v.text) {
			v.fault(quote(v.text)+" a second time", "each part once", "two like parts are one fastener with count: 2, or two specimens")
			continue
		}
		if r.parts[v.text] == nil {
			if !r.broken {
				v.fault(quote(v.text), among("a part of the parts files", keys(r.parts)), did(v.text, keys(r.parts)))
			}
			continue
		}
		r.used[v.text] = true
		out = append(out, v.text)
	}
	slices.Sort(out)
	return out
}
