package respond

import (
	"math"

	"spinledger/stages/kit/spin"
)

// piece is one stretch of one run as the surface's least squares takes it. The
// momentum P = J·ω + ∫L dt of a run grows by ∫T dt; averaged over a stretch,
//
//	P = K + Gain·X + Slope·W + Offset·t + Bend·Q − Lag·(Gain·x + Slope·ω) + Lag²·(Gain·dx/dt + Slope·dω/dt)
//
// with X, W, Q the integrals of x, ω and u², and K the run's own. The torque follows
// S = Gain·x + Slope·ω through a first-order lag; the last two terms are the beginning of its series. All are kept
// less their weighted mean over the run, which takes K out.
type piece struct {
	run, recording, mounting, rotor string
	s                               spin.Stretch
	duty, free                      float64 // free: the supply's voltage at no current
	declared                        float64 // the supply's voltage by the job file
	body                            int     // index into the model's bodies
	// ohmic is the run's apparent resistance over that of the coldest run, 1 when not known.
	// heat is the loss in J that is still in the windings when the run begins.
	ohmic, heat float64
	idle        float64 // rad/s, before the rise
	sigma       float64 // of the momentum, N·m·s
	// Less their mean over the run:
	momentum, drive, angle, time, bow, volts, speed float64
	voltsRate, accel                                float64
	// hot is ∫(T + c0 + c1·ω)·E dt with E the loss in J since the rise began: times the relative rise of the
	// resistance by a joule it is the momentum that the rise's own heat has cost.
	hot float64
	// flow is ∫(T + c0 + c1·ω) dt, the charge times the torque constant, and soft
	// what the supply's resistance makes of it in drive: ohm·duty²/kt.
	flow, soft float64
	reach      float64 // momentum of the whole rise
	loads      []float64
	steady     bool // a level of a steady recording, whose load is the body's steady one
}

// collect makes pieces of all runs that keep lets in.
func (m *model) collect(keep func(e *spin.Evidence) bool) []piece {
	var out []piece
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		k := m.bodyOf(e.Rotor)
		if k < 0 || e.Kind != spin.Step || !keep(e) {
			continue
		}
		for n := range e.Runs {
			r := &e.Runs[n]
			rise := m.constant(r)
			free := m.openSupply(r)
			if m.excluded(r.Run) || !(r.Duty > 0) || !(free > 0) || len(rise) < 4 {
				continue
			}
			for _, s := range rise {
				out = append(out, piece{run: r.Run, recording: e.Recording, mounting: e.Mounting, rotor: e.Rotor, s: s, duty: r.Duty, free: free, declared: r.SupplyV, body: k, ohmic: 1, idle: r.Idle.SpeedRadPerS})
			}
		}
	}
	return out
}

// constant is the part of a rise in which the duty has reached its value.
func (m *model) constant(r *spin.RunEvidence) []spin.Stretch {
	rise := r.Rise
	for m.cutS > 0 && len(rise) > 0 && r.RiseS+rise[0].TimeS < r.BeginS+m.cutS {
		rise = rise[1:]
	}
	return rise
}

// perRun calls do for each run's pieces, which stand together.
func perRun(pieces []piece, do func(run []piece)) {
	for i := 0; i < len(pieces); {
		j := i
		for j < len(pieces) && pieces[j].run == pieces[i].run {
			j++
		}
		do(pieces[i:j])
		i = j
	}
}

// integrate fills momenta and integrals of every run.
func (m *model) integrate(f *fitted) {
	perRun(f.pieces, func(run []piece) {
		b := &m.bodies[run[0].body]
		load := integrals(run, func(s spin.Stretch) float64 { return meanLoad(&b.curve, s) })
		bow := integrals(run, func(s spin.Stretch) float64 {
			u := run[0].duty*m.terminal(&run[0], s) - f.emf*s.SpeedRadPerS
			return float64(u*u) + float64(f.emf*f.emf*s.SpeedVar)
		})
		speeds, terminals := make([]float64, len(run)), make([]float64, len(run))
		for i := range run {
			speeds[i], terminals[i] = run[i].s.SpeedRadPerS, run[i].s.VoltageV
		}
		accel, voltsRate := rates(run, speeds), rates(run, terminals)
		var grads [][]float64
		for c := range b.curve.Coef {
			grads = append(grads, integrals(run, func(s spin.Stretch) float64 { return loadGradient(&b.curve, s)[c] }))
		}
		last := len(run) - 1
		var rising exponential
		if f.warmth.Mean != 0 {
			rising = m.exponential(f, b, run[0].duty, run[0].free, run[0].idle, settledSpeed(run[0].idle, run[last].s.SpeedRadPerS))
		}
		for i := range run {
			p := &run[i]
			p.momentum = b.j.Mean*p.s.SpeedRadPerS + load[i]
			p.reach = b.j.Mean*(run[last].s.SpeedRadPerS-run[0].s.SpeedRadPerS) + load[last]
			p.sigma = math.Hypot(b.j.Mean*p.s.SpeedSE, floorRel*p.reach)
			if b.virtual > 0 {
				p.sigma = math.Hypot(p.sigma, inflowRel*p.reach)
			}
			p.angle, p.time, p.bow, p.speed = p.s.AngleRad, p.s.TimeS, bow[i], p.s.SpeedRadPerS
			p.volts = p.duty * m.terminal(p, p.s)
			p.voltsRate, p.accel = 0, accel[i]
			if m.sagging() {
				p.voltsRate = p.duty * voltsRate[i]
			}
			p.soft, p.flow = 0, 0
			switch {
			case m.law != nil:
				p.soft = m.supplyOhm * p.duty * p.duty / m.law.kt.Mean
				p.flow = p.momentum + float64(m.law.c0.Mean*p.time) + float64(m.law.c1.Mean*p.angle)
				p.drive = p.duty*p.free*p.time - float64(p.soft*p.flow)
			default:
				p.drive = p.duty * p.free * p.time
			}
			p.hot = 0
			if i > 0 && f.warmth.Mean != 0 {
				before := &run[i-1]
				p.hot = before.hot + (rising.loss(p.s.SpeedRadPerS)+rising.loss(before.s.SpeedRadPerS))/2*(p.flow-before.flow)
			}
			p.loads = p.loads[:0:0]
			for c := range grads {
				p.loads = append(p.loads, grads[c][i])
			}
		}
		for i := range run {
			run[i].momentum += f.warmth.Mean * run[i].hot / run[i].ohmic
		}
		centre(run)
	})
}

// terminal is the voltage at the supply's terminals in a stretch.
func (m *model) terminal(p *piece, s spin.Stretch) float64 {
	if m.sagging() {
		return s.VoltageV
	}
	return p.free
}

// integrals are the means over each stretch of ∫ of dt since the first one's
// middle: trapezia with the derivatives at their ends (Euler–Maclaurin, order
// 4), and half the derivative times the variance of the readings' times and of those within each.
func integrals(run []piece, of func(s spin.Stretch) float64) []float64 {
	n := len(run)
	out, v := make([]float64, n), make([]float64, n)
	for i := range run {
		v[i] = of(run[i].s)
	}
	rate := rates(run, v)
	at := func(i int) float64 { return run[i].s.TimeS }
	sum := 0.0
	for i := range run {
		if i > 0 {
			h := at(i) - at(i-1)
			sum += float64(h*(v[i-1]+v[i])/2) - float64(h*h/12*(rate[i]-rate[i-1]))
		}
		spread := 0.0
		if k := float64(run[i].s.N); k > 1 {
			spread = run[i].s.SpanS * run[i].s.SpanS / 12 * (k + 1) / (k - 1)
		}
		spread += run[i].s.MeanS * run[i].s.MeanS / 12
		out[i] = sum + float64(rate[i]*spread/2)
	}
	return out
}

// rates are the derivatives of v in time at the stretches, by parabolas through neighbours.
func rates(run []piece, v []float64) []float64 {
	n := len(run)
	rate := make([]float64, n)
	at := func(i int) float64 { return run[i].s.TimeS }
	between := func(i int) float64 { return (v[i+1] - v[i]) / (at(i+1) - at(i)) }
	for i := range run {
		switch {
		case n == 1:
		case i == 0:
			rate[i] = between(0)
		case i == n-1:
			rate[i] = between(n - 2)
		default:
			a, b := at(i)-at(i-1), at(i+1)-at(i)
			rate[i] = (b*between(i-1) + a*between(i)) / (a + b)
		}
	}
	return rate
}

// centre takes each column's weighted mean over the run away.
func centre(run []piece) {
	const columnsOf = 11
	var mean [columnsOf]float64
	loads := make([]float64, len(run[0].loads))
	total := 0.0
	columns := func(p *piece) [columnsOf]*float64 {
		return [columnsOf]*float64{&p.momentum, &p.drive, &p.angle, &p.time, &p.bow, &p.volts, &p.speed, &p.flow, &p.voltsRate, &p.accel, &p.hot}
	}
	for i := range run {
		w := 1 / (run[i].sigma * run[i].sigma)
		total += w
		for k, c := range columns(&run[i]) {
			mean[k] += float64(w * *c)
		}
		for k, x := range run[i].loads {
			loads[k] += float64(w * x)
		}
	}
	for i := range run {
		for k, c := range columns(&run[i]) {
			*c -= mean[k] / total
		}
		for k := range run[i].loads {
			run[i].loads[k] -= loads[k] / total
		}
	}
}
