package respond

import (
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// predictions compares every recorded rise with what all others predict.
func (m *model) predictions() []spin.Prediction {
	var out []spin.Prediction
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		if e.Kind != spin.Step || m.bodyOf(e.Rotor) < 0 {
			continue
		}
		out = append(out, m.leaveOut(e)...)
	}
	return out
}

// leaveOut predicts the runs of one recording without its mounting, or, where
// its rotor was mounted once, without the recording itself.
func (m *model) leaveOut(e *spin.Evidence) []spin.Prediction {
	word := "recording"
	out := func(o *spin.Evidence) bool { return o.Recording == e.Recording }
	for _, o := range m.in.Evidence {
		if o.Rotor == e.Rotor && o.Mounting != e.Mounting && o.Kind == spin.Step {
			word = "mounting"
			out = func(o *spin.Evidence) bool { return o.Mounting == e.Mounting }
		}
	}
	j, ok := m.without(e.Rotor, out)
	var rest *model
	if ok {
		bodies := append([]body(nil), m.bodies...)
		bodies[m.bodyOf(e.Rotor)].j = j
		rest = newModel(m.in, bodies, m.inflow, func(o *spin.Evidence) bool { return !out(o) })
	}
	var all []spin.Prediction
	rel := uncertain.Value{}
	for n := range e.Runs {
		r := &e.Runs[n]
		if len(r.Passages) == 0 || m.excluded(r.Run) {
			continue
		}
		p := spin.Prediction{Run: r.Run, Recording: e.Recording, Rotor: e.Rotor, Mounting: e.Mounting, Duty: r.Duty, LeftOut: word, Ohmic: m.ohmicOf(r.Run)}
		first, last := r.Passages[0], r.Passages[len(r.Passages)-1]
		p.FromRadPerS, p.ToRadPerS, p.RecordedS = first.SpeedRadPerS, last.SpeedRadPerS, last.TimeS
		p.SupplyV = m.openSupply(r)
		switch {
		case !ok:
			p.Refused = "the rotor's inertia rests on this recording alone"
		case rest.surface == nil:
			p.Refused = rest.noSurface
		case p.Ohmic == 0:
			p.Refused = "set aside as too warm"
		default:
			rel = rest.foretell(&p, e, rel)
		}
		all = append(all, p)
	}
	return all
}

// without is a rotor's inertia from the runs that are left: the pooled one in
// the ratio of the means, its uncertainty as pooled.
func (m *model) without(rotor string, out func(*spin.Evidence) bool) (uncertain.Value, bool) {
	var all, left []float64
	for _, f := range m.in.Fits {
		if f.Rotor != rotor || !f.Chosen || f.Kind != spin.Step || f.Excluded != "" {
			continue
		}
		all = append(all, f.JKgM2.Mean)
		if !out(&spin.Evidence{Recording: f.Recording, Mounting: f.Mounting}) {
			left = append(left, f.JKgM2.Mean)
		}
	}
	if len(left) == 0 {
		return uncertain.Value{}, false
	}
	j := m.bodies[m.bodyOf(rotor)].j
	return j.Scale(numeric.Mean(left) / numeric.Mean(all)), true
}

func (m *model) ohmicOf(run string) float64 {
	for _, p := range m.surface.pieces {
		if p.run == run {
			return p.ohmic
		}
	}
	return 0
}

// openSupply is the supply's voltage at no current in a run: from the idle
// plateau before it, whose current is small and steady.
func (m *model) openSupply(r *spin.RunEvidence) float64 {
	if m.voltage && r.Idle.VoltageV > 0 {
		return r.Idle.VoltageV + m.supplyOhm*r.Idle.CurrentA
	}
	return r.SupplyV
}

// foretell fills the predicted time. rel is the relative uncertainty found for another run of
// the recording, empty for the first: conditions are the same.
func (m *model) foretell(p *spin.Prediction, e *spin.Evidence, rel uncertain.Value) uncertain.Value {
	// The idle speed, from the two levels at 10 % and 90 %.
	idle := p.FromRadPerS - (p.ToRadPerS-p.FromRadPerS)/8
	q := spin.ResponseRequest{Rotor: e.Rotor, SupplyV: p.SupplyV, Duty: p.Duty, From: idle, To: p.ToRadPerS, Extrapolate: true}
	s, _, refused := m.prepare(q)
	if refused != "" {
		p.Refused = refused
		return rel
	}
	if rel.Mean == 0 {
		cold := s.copied()
		cold.from = p.FromRadPerS
		mid := cold.run(true, false)
		var parts []uncertain.Part
		for _, src := range cold.sources() {
			up, down := cold.moved(src.Source, 1), cold.moved(src.Source, -1)
			if up.reached && down.reached && mid.time > 0 {
				parts = append(parts, uncertain.Part{Source: src.Source, Contribution: (up.time - down.time) / 2 / mid.time, DoF: src.DoF})
			}
		}
		rel = uncertain.Exact(1).With(parts...)
	}
	s.p.a, s.p.b = s.p.a/p.Ohmic, s.p.b/p.Ohmic
	base := s.p.up(idle, p.ToRadPerS, false, []float64{p.FromRadPerS})
	if !base.reached {
		p.Refused = "the speed recorded is not reached"
		return rel
	}
	t := base.time - base.grid[0]
	p.PredictedS = rel.Scale(t)
	return rel
}
