package respond

import (
	"math"

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
	differing(m.in.Job, out)
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
		rest = newModel(m.in, bodies, m.inflow, m, func(o *spin.Evidence) bool { return !out(o) })
	}
	var all []spin.Prediction
	rel := uncertain.Value{}
	for n := range e.Runs {
		r := &e.Runs[n]
		if len(r.Passages) == 0 || m.excluded(r.Run) {
			continue
		}
		p := spin.Prediction{Run: r.Run, Recording: e.Recording, Rotor: e.Rotor, Mounting: e.Mounting, Duty: r.Duty, LeftOut: word, Ohmic: m.ohmicOf(r.Run)}
		first, last, steady := m.steadyPassages(r)
		p.FromRadPerS, p.ToRadPerS, p.RecordedS = first.SpeedRadPerS, last.SpeedRadPerS, last.TimeS
		p.SupplyV = m.openSupply(r)
		switch {
		case !steady:
			p.Refused = "its throttle still rises at three quarters of the change"
		case !ok:
			p.Refused = "the rotor's inertia rests on this recording alone"
		case rest.surface == nil:
			p.Refused = rest.noSurface
		case p.Ohmic == 0:
			p.Refused = "set aside as too warm"
		default:
			rel = rest.foretell(&p, e, r.Idle.SpeedRadPerS, rel)
		}
		all = append(all, p)
	}
	return all
}

// steadyPassages are the first and the last passage at constant duty.
func (m *model) steadyPassages(r *spin.RunEvidence) (first, last spin.Passage, ok bool) {
	at := 0
	for m.cutS > 0 && at < len(r.Passages)-1 && r.PassageS+r.Passages[at].TimeS < r.BeginS+m.cutS {
		at++
	}
	last = r.Passages[len(r.Passages)-1]
	first = r.Passages[at]
	last.TimeS -= first.TimeS
	return first, last, at < len(r.Passages)-1
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

// foretell fills the predicted time of a rise from the idle speed. rel is the relative uncertainty found for another run of
// the recording, empty for the first: conditions are the same but for the windings' warmth.
func (m *model) foretell(p *spin.Prediction, e *spin.Evidence, idle float64, rel uncertain.Value) uncertain.Value {
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
	passes := func(warmer float64) (float64, bool) {
		s.p.warmer = warmer
		o := s.p.up(idle, p.ToRadPerS, false, []float64{p.FromRadPerS})
		if !o.reached {
			return 0, false
		}
		return o.time - o.grid[0], true
	}
	t, ok := passes(p.Ohmic - 1)
	later, okLater := passes(p.Ohmic - 1 + warmerBy)
	if !ok || !okLater {
		p.Refused = "the speed recorded is not reached"
		return rel
	}
	warm := m.warmerU(p)
	for i := range warm {
		warm[i].Contribution *= (later/t - 1) / warmerBy
	}
	p.PredictedS = rel.With(warm...).Scale(t)
	return rel
}

// warmerBy is the change of the windings' resistance over which a time's sensitivity to it is found.
const warmerBy = 0.01

// warmerU are the causes by which the resistance at the start of a run is unsure.
func (m *model) warmerU(p *spin.Prediction) []uncertain.Part {
	var out []uncertain.Part
	if u := m.warm.startU[p.Recording]; u > 0 {
		out = append(out, uncertain.Part{Source: m.in.Job + "/recording:" + p.Recording + "/warmth", Contribution: u})
	}
	for _, part := range m.warm.perJoule.Parts {
		if part.Source == m.in.Job+warmthSource {
			part.Contribution *= m.warm.heat[p.Run]
			out = append(out, part)
		}
	}
	return out
}

// differing adds what rises of one recording differ by among themselves, found from how their
// predictions miss: of the rotor where it has enough of them, else of all rotors. What all
// rises of a recording miss by is not in it, and shows.
func differing(job string, all []spin.Prediction) {
	type group struct{ rotor, recording string }
	misses := map[group][]float64{}
	var groups []group
	for _, p := range all {
		if p.Refused != "" {
			continue
		}
		g := group{p.Rotor, p.Recording}
		if misses[g] == nil {
			groups = append(groups, g)
		}
		misses[g] = append(misses[g], p.PredictedS.Mean/p.RecordedS-1)
	}
	type scatter struct{ rss, dof float64 }
	var every scatter
	of := map[string]scatter{}
	for _, g := range groups {
		mean, one := numeric.Mean(misses[g]), of[g.rotor]
		for _, x := range misses[g] {
			square := float64((x - mean) * (x - mean))
			one.rss, every.rss = one.rss+square, every.rss+square
		}
		more := float64(len(misses[g]) - 1)
		one.dof, every.dof = one.dof+more, every.dof+more
		of[g.rotor] = one
	}
	for i := range all {
		p := &all[i]
		s := of[p.Rotor]
		if s.dof < fewestDiffering {
			s = every
		}
		if p.Refused == "" && s.rss > 0 {
			u := math.Sqrt(s.rss/math.Max(1, s.dof)) * p.RecordedS
			p.PredictedS = p.PredictedS.With(uncertain.Part{Source: job + "/rise:" + p.Run, Contribution: u, DoF: s.dof})
		}
	}
}

// fewestDiffering degrees of freedom tell how much a rotor's rises differ.
const fewestDiffering = 3
