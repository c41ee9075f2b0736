package respond

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// cool finds how warm each run's windings were, and sets hot runs aside. Without a current
// channel only the first run of each recording counts as cold.
func (f *fitted) cool(m *model) {
	if m.warm == nil {
		w := m.warmth(f)
		m.warm = &w
	}
	w := m.warm
	f.warmth = w.perJoule
	kept := f.pieces[:0:0]
	perRun(f.pieces, func(run []piece) {
		name := run[0].run
		ohmic, known := w.ohmic[name]
		switch {
		case !known && !first(name):
			f.leave(name + ": no current channel tells how warm it was")
			return
		case known && ohmic > 1+warmest:
			f.leave(fmt.Sprintf("%s: apparent resistance %.1f %% above that of the coldest run", name, 100*(ohmic-1)))
			return
		case known:
			for i := range run {
				run[i].ohmic, run[i].heat = ohmic, w.heat[name]
			}
		}
		kept = append(kept, run...)
	})
	f.pieces = kept
}

const (
	// warmthSource is the relative rise of the resistance by a joule, after the job's name.
	warmthSource = "/motor/warmth"
	// slowRel is the least by which the starts of recordings are taken to differ in resistance: 0.4 K of copper.
	slowRel = 0.0015
	// likeRel is how far the bend of the resistance may differ between supplies.
	likeRel = 0.002
	// lossRel is how well losses, cooling, and the iron's share of both are known from exponentials.
	lossRel = 0.1
	// strange: a run whose resistance is this many standard errors and this share off what heat
	// explains is taken at its own.
	strangeU, strangeRel = 5, 0.03
	// brakedBy times the length of a rise is the longest fall that the motor's current brakes.
	brakedBy = 3
)

// coolings are the times, s, in which windings may lose their heat to the iron: each counts by how well it explains
// the resistances.
var coolings = []float64{1.5, 2.5, 4, 6, 10, 16, 30, 100}

// warm is what resistances and losses tell of the windings' warmth.
type warm struct {
	// ohmic is the resistance of each run over the cold one, heat the loss in J that is
	// still in the windings when it begins.
	ohmic, heat map[string]float64
	// perJoule is the relative rise of the resistance by a joule.
	perJoule uncertain.Value
	// startU is the relative standard uncertainty of the resistance at the start of a recording.
	startU map[string]float64
}

// ohm is a run's apparent resistance.
type ohm struct {
	run, recording string
	group, like    string  // rotor and duty; the same and the supply
	log, se        float64 // of the resistance; relative
	within         float64 // mean loss in J since the rise began, as the current squared weighs it
}

// warmth explains the runs' apparent resistances Σi·u/Σi²:
//
//	ln r = of its rotor, duty and supply + of the start of its recording + h·(loss still in the windings, and that of the rise so far)
//
// The first term is not used: filters that delay voltage and current against the speed bend the
// resistance, equally in like rises, and nearly so at another supply. The second is drawn to 0 by how much
// recordings differ at all, the third is one h for all rotors: a heavy rotor's runs, whose
// resistance is well known, tell how much a light one's warm, of which each alone is noisy. h comes from runs of
// one rotor, duty and supply: those at another supply differ by losses and by more.
func (m *model) warmth(f *fitted) warm {
	w := warm{ohmic: map[string]float64{}, startU: map[string]float64{}}
	var all []ohm
	perRun(f.pieces, func(run []piece) {
		if x, ok := m.resistance(f, run); ok {
			all = append(all, x)
		}
	})
	if len(all) == 0 {
		return w
	}
	heats := make([]map[string]float64, len(coolings))
	fits := make([]warming, len(coolings))
	least := math.Inf(1)
	for i, s := range coolings {
		heats[i] = m.losses(f, s)
		x, ok := explain(all, heats[i], func(x ohm) string { return x.like })
		if !ok {
			return w
		}
		if fits[i] = x; x.rss < least {
			least = x.rss
		}
	}
	share, sum := make([]float64, len(coolings)), 0.0
	for i, x := range fits {
		share[i] = math.Exp((least - x.rss) / 2 / (x.chi * x.chi))
		sum += share[i]
	}
	h, square, starts := 0.0, 0.0, 0.0
	for i, x := range fits {
		share[i] /= sum
		h += share[i] * x.perJoule
		square += share[i] * x.perJoule * x.perJoule
		starts += share[i] * x.starts
	}
	// The heats at one h that warm as those at each one's own do.
	w.heat = map[string]float64{}
	for i, x := range fits {
		for run, q := range heats[i] {
			if h != 0 {
				w.heat[run] += share[i] * q * x.perJoule / h
			}
		}
	}
	spread := math.Max(starts, slowRel)
	best, ok := explain(all, w.heat, func(x ohm) string { return x.group },
		effect{func(x ohm) string { return x.like }, likeRel}, effect{func(x ohm) string { return x.recording }, spread})
	if !ok {
		return w
	}
	low := 0.0
	for recording, x := range best.effects[1] {
		low = math.Min(low, x.log+2*x.se)
		w.startU[recording] = math.Min(x.se, spread)
	}
	for i, x := range all {
		own := best.effects[1][x.recording].log + h*w.heat[x.run]
		if e := best.residual[i]; math.Abs(e) > math.Max(strangeU*x.se*best.chi, strangeRel) {
			own += e
		}
		w.ohmic[x.run] = math.Exp(own - low)
	}
	w.perJoule = uncertain.New(h, best.perJouleU, 0, m.in.Job+warmthSource)
	apart := math.Max(0, square-h*h) + float64(lossRel*h*lossRel*h)
	w.perJoule = w.perJoule.With(uncertain.Part{Source: m.in.Job + "/motor/cooling", Contribution: math.Sqrt(apart)})
	return w
}

// effect is a term of each key's own, drawn to 0 by its standard deviation.
type effect struct {
	key    func(x ohm) string
	spread float64
}

// warming is the least squares of warmth.
type warming struct {
	perJoule, perJouleU float64
	effects             []map[string]ohm // by key
	residual            []float64
	rss, chi            float64
	starts              float64 // standard deviation of starts beyond noise
}

// explain fits a term for each key of base, effects, and warming.
func explain(all []ohm, heat map[string]float64, base func(x ohm) string, effects ...effect) (warming, bool) {
	keys := make([][]string, 1+len(effects))
	of := append([]effect{{base, math.Inf(1)}}, effects...)
	top := 0.0
	for _, x := range all {
		for e := range of {
			if k := of[e].key(x); !slices.Contains(keys[e], k) {
				keys[e] = append(keys[e], k)
			}
		}
		top = math.Max(top, heat[x.run]+x.within)
	}
	columns := make([]int, len(of)) // where each effect's begin
	k := 0
	for e := range of {
		columns[e] = k
		k += len(keys[e])
	}
	n := len(all) + k - len(keys[0])
	if top > 0 {
		k++
	}
	a := numeric.NewMatrix(n, k)
	y, w := make([]float64, n), make([]float64, n)
	for i, x := range all {
		for e := range of {
			a.Set(i, columns[e]+slices.Index(keys[e], of[e].key(x)), 1)
		}
		if top > 0 {
			a.Set(i, k-1, (heat[x.run]+x.within)/top)
		}
		y[i], w[i] = x.log, 1/(x.se*x.se)
	}
	row := len(all)
	for e := 1; e < len(of); e++ {
		for c := range keys[e] {
			a.Set(row, columns[e]+c, 1)
			w[row] = 1 / (of[e].spread * of[e].spread)
			row++
		}
	}
	s, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		return warming{}, false
	}
	out := warming{rss: s.RSS, chi: 1, residual: s.Residual}
	if s.DoF > 0 {
		out.chi = math.Sqrt(math.Max(1, s.RSS/float64(s.DoF)))
	}
	if top > 0 {
		out.perJoule, out.perJouleU = s.Coef[k-1]/top, out.chi*math.Sqrt(s.Cov.At(k-1, k-1))/top
	}
	out.effects = make([]map[string]ohm, len(effects))
	for e := range effects {
		out.effects[e] = map[string]ohm{}
		for c, name := range keys[e+1] {
			at := columns[e+1] + c
			out.effects[e][name] = ohm{log: s.Coef[at], se: out.chi * math.Sqrt(s.Cov.At(at, at))}
		}
	}
	out.starts = out.apart(all, heat)
	return out, true
}

// apart is the standard deviation of the starts of recordings of one rotor and duty, beyond what
// noise and another supply account for.
func (w *warming) apart(all []ohm, heat map[string]float64) float64 {
	type start struct {
		group       string
		sum, weight float64
	}
	var starts []start
	var names []string
	for _, x := range all {
		k := slices.Index(names, x.recording)
		if k < 0 {
			k = len(names)
			names, starts = append(names, x.recording), append(starts, start{group: x.group})
		}
		v := 1 / (x.se * x.se)
		starts[k].sum += v * (x.log - w.perJoule*(heat[x.run]+x.within))
		starts[k].weight += v
	}
	sum, dof, noise := 0.0, 0.0, 0.0
	for i := range starts {
		a := &starts[i]
		for _, b := range starts[i+1:] {
			if b.group == a.group {
				d := a.sum/a.weight - b.sum/b.weight
				sum += d * d / 2
				noise += w.chi * w.chi * (1/a.weight + 1/b.weight) / 2
				dof++
			}
		}
	}
	if dof == 0 {
		return 0
	}
	return math.Sqrt(math.Max(0, (sum-noise)/dof-likeRel*likeRel))
}

// losses are, for each step run, the joules lost in the windings since the recording's start that
// are still in them when it begins, if they leave with a time constant of coolingS.
func (m *model) losses(f *fitted, coolingS float64) map[string]float64 {
	type lost struct{ at, joule float64 }
	out := map[string]float64{}
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		k := m.bodyOf(e.Rotor)
		if e.Kind != spin.Step || k < 0 || m.law == nil {
			continue
		}
		b := &m.bodies[k]
		var before []lost
		for n := range e.Runs {
			r := &e.Runs[n]
			for _, x := range before {
				out[r.Run] += x.joule * math.Exp((x.at-r.BeginS)/coolingS)
			}
			if len(r.Rise) == 0 {
				continue
			}
			top := settledSpeed(r.Idle.SpeedRadPerS, r.Rise[len(r.Rise)-1].SpeedRadPerS)
			up := m.exponential(f, b, r.Duty, m.openSupply(r), r.Idle.SpeedRadPerS, top)
			before = append(before, lost{(r.BeginS + r.SettledS) / 2, up.total()}, lost{(r.BeginS + r.EndS) / 2, up.end * up.end * up.ohm * (r.EndS - r.BeginS)})
			if r.BackS > 0 && r.BackS-r.EndS < brakedBy*(r.SettledS-r.BeginS) {
				down := m.exponential(f, b, r.Idle.Duty, m.openSupply(r), top, r.Idle.SpeedRadPerS)
				before = append(before, lost{(r.EndS + r.BackS) / 2, down.total()})
			}
		}
	}
	return out
}

// settledSpeed is that towards which a rise goes of which 97 % are recorded.
func settledSpeed(idle, last float64) float64 { return idle + (last-idle)/0.97 }

// exponential is a change of speed from one settled level to another, the motor and its load taken as linear:
// the current goes from begin to end as exp(−t/tau), and so does the speed.
type exponential struct {
	ohm, begin, end, tau float64
	from, to             float64
	rampS                float64 // in which the duty changes
}

// exponential at a duty and an open supply's voltage.
func (m *model) exponential(f *fitted, b *body, duty, free, from, to float64) exponential {
	kt := m.law.kt.Mean
	x := exponential{ohm: kt / f.coef[gain], from: from, to: to, rampS: m.rampS}
	loop := x.ohm + float64(m.supplyOhm*duty*duty)
	x.begin = (duty*free - float64(f.emf*from)) / loop
	x.end = (b.curve.At(to) + m.law.c0.Mean + float64(m.law.c1.Mean*to)) / kt
	x.tau = b.j.Mean / (kt*f.emf/loop + (b.curve.At(to)-b.curve.At(from))/(to-from))
	return x
}

// saved is what a duty that changes slowly saves: a ramp of x time constants leaves 2·(x − 1 + e⁻ˣ)/x² of the loss ∫d²·R dt of
// the current that decays, and moves as much charge.
func (x *exponential) saved() float64 {
	if !(x.rampS > 0) || !(x.tau > 0) {
		return 0
	}
	r, d := x.rampS/x.tau, x.begin-x.end
	return x.ohm * x.tau * d * d / 2 * (1 - 2*(r-1+math.Exp(-r))/(r*r))
}

// loss is that in the windings, ∫i²·R dt, until a speed is reached, the duty having reached its value before.
func (x *exponential) loss(speed float64) float64 {
	left := math.Max(1e-3, math.Min(1, (x.to-speed)/(x.to-x.from)))
	d := x.begin - x.end
	return x.ohm*x.tau*(float64(d*d/2*(1-left*left))+float64(2*x.end*d*(1-left))-float64(x.end*x.end*math.Log(left))) - x.saved()
}

// total is the loss of the whole change besides that of the level to which it goes.
func (x *exponential) total() float64 {
	d := x.begin - x.end
	return x.ohm*x.tau*d*(d/2+2*x.end) - x.saved()
}

// resistance of one run, with its standard error.
func (m *model) resistance(f *fitted, run []piece) (ohm, bool) {
	p := &run[0]
	x := ohm{run: p.run, recording: p.recording, group: fmt.Sprintf("%s %.2f", p.rotor, p.duty)}
	x.like = fmt.Sprintf("%s %.4g", x.group, p.declared)
	if !m.voltage || m.law == nil {
		return x, false
	}
	rising := m.exponential(f, &m.bodies[p.body], p.duty, p.free, p.idle, settledSpeed(p.idle, run[len(run)-1].s.SpeedRadPerS))
	// The first part of a rise is left out: a filter of the current channel
	// has not caught up with the step there.
	const skip = 0.2
	for len(run) > 4 && run[0].s.TimeS < skip*run[len(run)-1].s.TimeS {
		run = run[1:]
	}
	num, den, lost := 0.0, 0.0, 0.0
	each := func(p *piece) (i, u float64) {
		return p.s.CurrentA / p.duty, p.duty*p.s.VoltageV - f.emf*p.s.SpeedRadPerS
	}
	for k := range run {
		i, u := each(&run[k])
		num, den, lost = num+float64(i*u), den+float64(i*i), lost+float64(i*i)*rising.loss(run[k].s.SpeedRadPerS)
	}
	if !(den > 0) || !(num > 0) || len(run) < 4 {
		return x, false
	}
	r := num / den
	// Delays of filters bend the resistance smoothly over the rise; second
	// differences leave the noise.
	rss := 0.0
	for k := 1; k+1 < len(run); k++ {
		d := 0.0
		for n, w := range []float64{1, -2, 1} {
			i, u := each(&run[k-1+n])
			d += w * (u - r*i)
		}
		rss += float64(d * d)
	}
	x.log, x.within = math.Log(r), lost/den
	x.se = math.Max(math.Sqrt(rss/6/float64(len(run)-2)/den)/r, 1e-4)
	return x, true
}

func (f *fitted) leave(why string) {
	if !slices.Contains(f.out.Left, why) {
		f.out.Left = append(f.out.Left, why)
	}
}

// first is true for the first run of a recording, "disk-a#1".
func first(run string) bool {
	return len(run) > 2 && run[len(run)-2:] == "#1"
}
