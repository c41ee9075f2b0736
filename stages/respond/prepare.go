package respond

import (
	"fmt"
	"math"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// How far a duty or a supply may lie from those recorded and still be one of them.
const (
	sameDuty      = 0.01
	sameSupplyRel = 0.02
	// endRel: stretches end a little before the speeds that the runs reached.
	endRel = 0.05
)

// prepare turns a request into a setting, or says why it cannot be answered.
func (m *model) prepare(q spin.ResponseRequest) (s *setting, outside []string, refused string) {
	k := m.bodyOf(q.Rotor)
	if k < 0 {
		return nil, nil, m.missing(q)
	}
	s = &setting{from: q.From, to: q.To, inThrust: q.Thrust, finalShare: q.FinalShare, coast: q.Coast}
	s.p.ratio = 1
	if why := m.mount(s, &m.bodies[k], q); why != "" {
		return nil, nil, why
	}
	if q.Thrust {
		t := m.thrustOf(q.Rotor)
		if t == nil {
			return nil, nil, fmt.Sprintf("a thrust is asked for, and no steady recording of %s has a thrust channel", q.Rotor)
		}
		s.ref, s.thrust = t.ref, make([]float64, len(t.coef))
		for i, v := range t.coef {
			s.lever(v, func(s *setting, x float64) { s.thrust[i] = x })
		}
		if top := math.Max(q.From, q.To); top > t.high*s.p.ratio*(1+endRel) {
			outside = append(outside, fmt.Sprintf("thrust %.4g N above the %.4g N recorded", top, t.high*s.p.ratio))
		}
	}
	if q.Coast {
		refused = m.coasting(s)
	} else {
		refused = m.driving(s, q)
	}
	if refused != "" {
		return nil, nil, refused
	}
	outside = append(outside, m.beyond(s, q, &m.bodies[k])...)
	if len(outside) > 0 && !q.Extrapolate {
		return nil, nil, "outside the recordings: " + join(outside) + "; extrapolate: yes allows it, marked"
	}
	return s, outside, ""
}

func join(list []string) string {
	out := ""
	for i, x := range list {
		if i > 0 {
			out += "; "
		}
		out += x
	}
	return out
}

// missing says what a rotor lacks.
func (m *model) missing(q spin.ResponseRequest) string {
	inertia, curve := false, false
	for _, r := range m.in.Rotors {
		inertia = inertia || r.Rotor == q.Rotor
	}
	for _, c := range m.in.Curves {
		curve = curve || c.Rotor == q.Rotor
	}
	switch {
	case q.Rotor == "":
		return fmt.Sprintf("no mounting of this job carries %s", q.Part)
	case !inertia && !curve:
		return fmt.Sprintf("neither inertia nor load curve of %s: no usable step and no steady recording of it", q.Rotor)
	case !inertia:
		return fmt.Sprintf("no inertia of %s: none of its step runs gave one", q.Rotor)
	default:
		return fmt.Sprintf("no load curve of %s: it needs a steady recording, or a form declared under options.drag.form", q.Rotor)
	}
}

// mount sets inertia, load, air and added load.
func (m *model) mount(s *setting, b *body, q spin.ResponseRequest) string {
	s.lever(b.j, func(s *setting, x float64) { s.p.j = x })
	s.p.form, s.p.ref = b.curve.Form, b.curve.RefRadPerS
	coef := b.curve.Coef
	switch {
	case !(q.DensityKgM3.Mean > 0):
	case b.riseAir > 0 && b.curve.DensityKgM3 > 0:
		// What the rises saw was in air of their own; the density below is over that of the steady recording.
		coef = scaled(b.curve, uncertain.Exact(b.curve.DensityKgM3/b.riseAir))
	case b.elsewhere.Std() > 0:
		coef = scaled(b.steady, b.elsewhere)
	}
	for i, v := range coef {
		if b.curve.Dry && i == len(b.curve.Coef)-1 {
			s.lever(b.curve.Coef[i], func(s *setting, x float64) { s.p.dry = x })
			continue
		}
		s.lever(v, func(s *setting, x float64) { s.p.load[i] = x })
	}
	if q.DensityKgM3.Mean > 0 {
		if b.curve.DensityKgM3 <= 0 {
			return fmt.Sprintf("air is stated, but that in which the load of %s was recorded is not: give its session an air", q.Rotor)
		}
		ratio := q.DensityKgM3.Scale(1 / b.curve.DensityKgM3)
		s.lever(ratio, func(s *setting, x float64) { s.p.ratio = x })
	}
	if q.AddedNm.Mean != 0 || len(q.AddedNm.Parts) > 0 {
		s.lever(q.AddedNm, func(s *setting, x float64) { s.p.added = x })
	}
	s.p.curve = q.Added
	if b.virtual > 0 {
		s.p.virtual = b.virtual
		middle := func(low, high float64, what string) uncertain.Value {
			return uncertain.New((low+high)/2, (high-low)/2/math.Sqrt(3), 0, m.in.Job+"/rotor:"+b.rotor+"/"+what)
		}
		s.lever(middle(m.inflow.FLow, m.inflow.FHigh, "inflow-share"), func(s *setting, x float64) { s.p.share = min(max(x, 0), 1) })
		s.lever(middle(m.inflow.CLow, m.inflow.CHigh, "inflow-lag"), func(s *setting, x float64) { s.p.lagRad = math.Max(x, 0) })
	}
	return ""
}

// driving sets the surface, the supply and the current law.
func (m *model) driving(s *setting, q spin.ResponseRequest) string {
	f := m.surface
	if f == nil {
		return "no cold torque of the motor: " + m.noSurface
	}
	s.p.v0, s.p.duty, s.p.ramp, s.p.emf = q.SupplyV, q.Duty, q.RampS, f.emf
	for i, set := range []func(s *setting, x float64){
		func(s *setting, x float64) { s.p.a = x },
		func(s *setting, x float64) { s.p.b = x },
		func(s *setting, x float64) { s.p.c = x },
		func(s *setting, x float64) { s.p.tau = x },
		func(s *setting, x float64) { s.p.bend = x },
	} {
		s.lever(f.out.Coef[i], set)
	}
	s.lever(m.supply, func(s *setting, x float64) { s.p.ohm = math.Max(0, x) })
	s.lever(f.warmth, func(s *setting, x float64) { s.p.warmth = x })
	if l := m.law; l != nil {
		for _, x := range []struct {
			v   uncertain.Value
			set func(s *setting, x float64)
		}{
			{l.kt, func(s *setting, x float64) { s.p.kt = x }},
			{l.c0, func(s *setting, x float64) { s.p.k0 = x }},
			{l.c1, func(s *setting, x float64) { s.p.k1 = x }},
		} {
			s.lever(x.v, x.set)
		}
	}
	return ""
}

// coasting sets the drag of bearings and iron.
func (m *model) coasting(s *setting) string {
	if m.coast == nil {
		return m.noCoast
	}
	s.p.drag = make([]float64, len(m.coast.coef))
	for i, v := range m.coast.coef {
		s.lever(v, func(s *setting, x float64) { s.p.drag[i] = x })
	}
	return ""
}

// beyond lists what lies outside the recordings.
func (m *model) beyond(s *setting, q spin.ResponseRequest, b *body) []string {
	var out []string
	from, to := s.speeds()
	low, high := math.Min(from, to), math.Max(from, to)
	span := func(what string, lo, hi float64) {
		if low < lo*(1-endRel) {
			out = append(out, fmt.Sprintf("%.0f rpm below the %.0f rpm from which %s is known", quantity.Rpm(low), quantity.Rpm(lo), what))
		}
		if high > hi*(1+endRel) {
			out = append(out, fmt.Sprintf("%.0f rpm above the %.0f rpm up to which %s is known", quantity.Rpm(high), quantity.Rpm(hi), what))
		}
	}
	if b.curve.Form != spin.FormNone {
		span("the load", b.curve.LowRadPerS, b.curve.HighRadPerS)
	}
	if q.Coast {
		span("the coast torque", m.coast.low, m.coast.high)
		return out
	}
	f := &m.surface.out
	span("the cold torque", f.LowRadPerS, f.HighRadPerS)
	if !f.VoltageSeen && !m.recordedDuty(q.Duty) {
		out = append(out, fmt.Sprintf("duty %.4g %% is none of those recorded, and without a voltage channel none between them is known", 100*q.Duty))
	} else if q.Duty < f.LowDuty-sameDuty || q.Duty > f.HighDuty+sameDuty {
		out = append(out, fmt.Sprintf("duty %.4g %% outside the %.4g %% to %.4g %% of the step runs", 100*q.Duty, 100*f.LowDuty, 100*f.HighDuty))
	}
	if q.SupplyV < f.LowV*(1-sameSupplyRel) || q.SupplyV > f.HighV*(1+sameSupplyRel) {
		out = append(out, fmt.Sprintf("supply %.4g V outside the %.4g V to %.4g V of the step runs", q.SupplyV, f.LowV, f.HighV))
	}
	return out
}

func (m *model) recordedDuty(d float64) bool {
	for _, p := range m.surface.pieces {
		if math.Abs(p.duty-d) <= sameDuty {
			return true
		}
	}
	return false
}
