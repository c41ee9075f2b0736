package respond

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Indices of the surface's coefficients.
const (
	gain = iota
	slope
	offset
	lag
	bend
	terms
)

// The motor's electrical time constant, before any run has told: small motors
// have 0.05 to 0.3 ms (common practice, no source).
const (
	lagPriorS = 1e-4
	lagPriorU = 1.5e-4
)

const (
	// floorRel of a rise's momentum is added to each stretch's own error: what
	// a straight torque line leaves of a good bench's rises.
	floorRel = 5e-4
	// bendBy is how far AICc must fall for the curved surface.
	bendBy = 6
	// warmest is the apparent resistance, over that of the coldest run, beyond
	// which a run is set aside: copper 26 K warmer.
	warmest = 0.10
	// fewest stretches that give a surface of four terms.
	fewest = 12
	// rampRel: an acceleration that still grows by this much shows a duty that has not arrived.
	rampRel = 0.15
)

// piece is one stretch of one run as the surface's least squares takes it. The
// momentum P = J·ω + ∫L dt of a run grows by ∫T dt; averaged over a stretch,
//
//	P = K + Gain·X + Slope·W + Offset·t + Bend·Q − Lag·(Gain·x + Slope·ω)
//
// with X, W, Q the integrals of x, ω and u², and K the run's own. All are kept
// less their weighted mean over the run, which takes K out.
type piece struct {
	run, recording, mounting, rotor string
	s                               spin.Stretch
	duty, free                      float64 // free: the supply's voltage at no current
	body                            int     // index into the model's bodies
	// ohmic is the run's apparent resistance over that of the coldest run, 1 when not known.
	ohmic float64
	sigma float64 // of the momentum, N·m·s
	// Less their mean over the run:
	momentum, drive, angle, time, bow, volts, speed float64
	// flow is ∫(T + c0 + c1·ω) dt, the charge times the torque constant, and soft
	// what the supply's resistance makes of it in drive: ohm·duty²/kt.
	flow, soft float64
	reach      float64 // momentum of the whole rise
	loads      []float64
}

// fitted is a surface with what its uncertainty is made of.
type fitted struct {
	coef    [terms]float64
	emf     float64
	pieces  []piece
	bent    bool
	gainMat numeric.Matrix // ∂coef/∂momentum of each piece
	own     []uncertain.Value
	out     spin.TorqueSurface
}

// collect makes pieces of all runs that keep lets in.
func (m *model) collect(keep func(e *spin.Evidence, r *spin.RunEvidence) bool) []piece {
	var out []piece
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		k := m.bodyOf(e.Rotor)
		if k < 0 || e.Kind != spin.Step {
			continue
		}
		for n := range e.Runs {
			r := &e.Runs[n]
			rise := constant(r.Rise)
			free := m.openSupply(r)
			if m.excluded(r.Run) || !keep(e, r) || !(r.Duty > 0) || !(free > 0) || len(rise) < 4 {
				continue
			}
			for _, s := range rise {
				out = append(out, piece{run: r.Run, recording: e.Recording, mounting: e.Mounting, rotor: e.Rotor, s: s, duty: r.Duty, free: free, body: k, ohmic: 1})
			}
		}
	}
	return out
}

// constant is the part of a rise in which the duty has reached its value: all
// of it after a hard step, and what follows the fastest stretches where the
// acceleration still grew.
func constant(rise []spin.Stretch) []spin.Stretch {
	const over = 3 // stretches of one acceleration
	if len(rise) <= over {
		return rise
	}
	accel := func(i int) float64 {
		return (rise[i+over].SpeedRadPerS - rise[i].SpeedRadPerS) / (rise[i+over].TimeS - rise[i].TimeS)
	}
	top := 0
	for i := 0; i+over < len(rise); i++ {
		if accel(i) > accel(top) {
			top = i
		}
	}
	if accel(top) > (1+rampRel)*accel(0) {
		return rise[min(top+over, len(rise)):]
	}
	return rise
}

// fitSurface fits the pieces. Errors are reasons that a person is told.
func (m *model) fitSurface(pieces []piece) (*fitted, error) {
	f := &fitted{pieces: pieces}
	if err := f.enough("step runs with inertia and load known"); err != nil {
		return nil, err
	}
	m.integrate(f)
	if err := f.solve(false); err != nil {
		return nil, err
	}
	f.emf = -f.coef[slope] / f.coef[gain]
	if !(f.coef[gain] > 0) || !(f.emf > 0) {
		return nil, fmt.Errorf("torque does not rise with voltage and fall with speed over the step runs: look at duty, voltage and pole pairs")
	}
	f.cool(m)
	if err := f.enough("cold step runs"); err != nil {
		return nil, err
	}
	m.integrate(f)
	if err := f.solve(false); err != nil {
		return nil, err
	}
	straight := *f
	if err := f.solve(true); err != nil || f.aicc() > straight.aicc()-bendBy {
		*f = straight
	}
	f.describe(m)
	return f, nil
}

func (f *fitted) enough(of string) error {
	if len(f.pieces) < fewest {
		return fmt.Errorf("%d stretches of %s; at least %d are needed for the cold torque", len(f.pieces), of, fewest)
	}
	return nil
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
		volts := integrals(run, func(s spin.Stretch) float64 { return s.VoltageV })
		var grads [][]float64
		for c := range b.curve.Coef {
			grads = append(grads, integrals(run, func(s spin.Stretch) float64 { return loadGradient(&b.curve, s)[c] }))
		}
		last := len(run) - 1
		for i := range run {
			p := &run[i]
			p.momentum = b.j.Mean*p.s.SpeedRadPerS + load[i]
			p.reach = b.j.Mean*(run[last].s.SpeedRadPerS-run[0].s.SpeedRadPerS) + load[last]
			p.sigma = math.Hypot(b.j.Mean*p.s.SpeedSE, floorRel*p.reach)
			p.angle, p.time, p.bow, p.speed = p.s.AngleRad, p.s.TimeS, bow[i], p.s.SpeedRadPerS
			p.volts = p.duty * m.terminal(p, p.s)
			p.soft, p.flow = 0, 0
			switch {
			case m.law != nil:
				p.soft = m.supplyOhm * p.duty * p.duty / m.law.kt.Mean
				p.flow = p.momentum + float64(m.law.c0.Mean*p.time) + float64(m.law.c1.Mean*p.angle)
				p.drive = p.duty*p.free*p.time - float64(p.soft*p.flow)
			case m.voltage:
				p.drive = p.duty * volts[i]
			default:
				p.drive = p.duty * p.free * p.time
			}
			p.loads = p.loads[:0:0]
			for c := range grads {
				p.loads = append(p.loads, grads[c][i])
			}
		}
		centre(run)
	})
}

// terminal is the voltage at the supply's terminals in a stretch.
func (m *model) terminal(p *piece, s spin.Stretch) float64 {
	if m.voltage {
		return s.VoltageV
	}
	return p.free
}

// integrals are the means over each stretch of ∫ of dt since the first one's
// middle: trapezia with the derivatives at their ends (Euler–Maclaurin, order
// 4), and half the derivative times the variance of the readings' times.
func integrals(run []piece, of func(s spin.Stretch) float64) []float64 {
	n := len(run)
	out, v, rate := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range run {
		v[i] = of(run[i].s)
	}
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
		out[i] = sum + float64(rate[i]*spread/2)
	}
	return out
}

// centre takes each column's weighted mean over the run away.
func centre(run []piece) {
	const columnsOf = 8
	var mean [columnsOf]float64
	loads := make([]float64, len(run[0].loads))
	total := 0.0
	columns := func(p *piece) [columnsOf]*float64 {
		return [columnsOf]*float64{&p.momentum, &p.drive, &p.angle, &p.time, &p.bow, &p.volts, &p.speed, &p.flow}
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

// row is the surface's momentum at a piece with its derivatives.
func (f *fitted) row(p *piece, c, grad []float64) float64 {
	cold := 1 / p.ohmic
	grad[gain] = cold * (p.drive - float64(c[lag]*p.volts))
	grad[slope] = cold * (p.angle - float64(c[lag]*p.speed))
	grad[offset] = p.time
	grad[lag] = -cold * (float64(c[gain]*p.volts) + float64(c[slope]*p.speed))
	v := float64(c[gain]*grad[gain]) + float64(c[slope]*grad[slope]) + float64(c[offset]*grad[offset])
	if len(grad) > bend {
		grad[bend] = cold * p.bow
		v += float64(c[bend] * grad[bend])
	}
	return v
}

// solve fits the surface to the pieces, and to the prior of the lag.
func (f *fitted) solve(bent bool) error {
	n, k := len(f.pieces), terms-1
	if bent {
		k = terms
	}
	y, w := make([]float64, n+1), make([]float64, n+1)
	for i, p := range f.pieces {
		y[i], w[i] = p.momentum, 1/(p.sigma*p.sigma)
	}
	y[n], w[n] = lagPriorS, 1/(lagPriorU*lagPriorU)
	start := f.start(k)
	s, err := numeric.Nonlinear(func(i int, c, grad []float64) float64 {
		if i == n {
			clear(grad)
			grad[lag] = 1
			return c[lag]
		}
		return f.row(&f.pieces[i], c, grad)
	}, y, w, start)
	if err != nil {
		return fmt.Errorf("the step runs do not determine the cold torque: %w", err)
	}
	f.coef = [terms]float64{}
	copy(f.coef[:], s.Coef)
	f.bent, f.gainMat = bent, s.Gain
	rel := make([]float64, n)
	for i, p := range f.pieces {
		rel[i] = float64(s.Residual[i] * s.Residual[i] / (p.reach * p.reach))
	}
	f.out.RMSRel = math.Sqrt(numeric.Mean(rel))
	f.own = f.scatter(s)
	return nil
}

// start is a surface from the run with the fastest stretch: enough for a
// problem that is linear but for the lag.
func (f *fitted) start(k int) []float64 {
	out := make([]float64, k)
	if f.coef[gain] != 0 {
		copy(out, f.coef[:])
		return out
	}
	fast := &f.pieces[0]
	for i := range f.pieces {
		if f.pieces[i].s.SpeedRadPerS > fast.s.SpeedRadPerS {
			fast = &f.pieces[i]
		}
	}
	x := fast.duty * fast.free
	out[gain] = fast.reach / (x * fast.s.TimeS)
	out[slope] = -out[gain] * x / fast.s.SpeedRadPerS
	out[lag] = lagPriorS
	return out
}

func (f *fitted) aicc() float64 {
	n := float64(len(f.pieces))
	k := float64(terms - 1)
	if f.bent {
		k++
	}
	rss := 0.0
	for i := range f.pieces {
		e := f.residual(i) / f.pieces[i].sigma
		rss += float64(e * e)
	}
	perRun(f.pieces, func([]piece) { k++ })
	return n*math.Log(rss/n) + 2*k + 2*k*(k+1)/math.Max(1, n-k-1)
}

func (f *fitted) residual(i int) float64 {
	grad := make([]float64, terms)
	if !f.bent {
		grad = grad[:bend]
	}
	return f.pieces[i].momentum - f.row(&f.pieces[i], f.coef[:len(grad)], grad)
}

// scatter is the coefficients' own uncertainty: how much they would move if
// each recording's residuals, which belong together, were drawn anew (sandwich
// with recordings as clusters; Liang and Zeger, Biometrika 73 (1986) 13, eq.
// 8, from memory), and no less than the weights say.
func (f *fitted) scatter(s numeric.Solution) []uncertain.Value {
	n, k := len(f.pieces), len(s.Coef)
	cov := make([]float64, k*k)
	add := func(v []float64, factor float64) {
		for a := range k {
			for b := range k {
				cov[a*k+b] += float64(factor * v[a] * v[b])
			}
		}
	}
	var clusters []string
	for _, p := range f.pieces {
		if !slices.Contains(clusters, p.recording) {
			clusters = append(clusters, p.recording)
		}
	}
	// Few clusters fitted by k coefficients leave residuals too small.
	c := float64(len(clusters))
	factor := c / math.Max(1, c-float64(min(k, len(clusters)-1)))
	for _, name := range clusters {
		v := make([]float64, k)
		for i, p := range f.pieces {
			if p.recording == name {
				for a := range k {
					v[a] += float64(s.Gain.At(a, i) * s.Residual[i])
				}
			}
		}
		add(v, factor)
	}
	prior := make([]float64, k)
	for a := range k {
		prior[a] = s.Gain.At(a, n) * lagPriorU
	}
	add(prior, 1)
	dof := math.Max(1, c-float64(k-1))
	return uncertain.FromCovariance(s.Coef, cov, dof, "surface")
}

// cool finds each run's apparent resistance, sets hot runs aside and notes how
// warm the others were. Without a current channel only the first run of each
// recording counts as cold.
func (f *fitted) cool(m *model) {
	r := m.resistances(f)
	kept := f.pieces[:0:0]
	perRun(f.pieces, func(run []piece) {
		name := run[0].run
		ohmic, known := r[name]
		switch {
		case !known && !first(name):
			f.leave(name + ": no current channel tells how warm it was")
			return
		case known && ohmic > 1+warmest:
			f.leave(fmt.Sprintf("%s: apparent resistance %.1f %% above that of the coldest run", name, 100*(ohmic-1)))
			return
		case known:
			for i := range run {
				run[i].ohmic = ohmic
			}
		}
		kept = append(kept, run...)
	})
	f.pieces = kept
}

// warmthRel is how much warmer runs are than the first, as a standard deviation: what a
// noisy resistance is held against.
const warmthRel = 0.02

// resistances are the runs' apparent resistances Σi·u/Σi² over the cold one of
// their rotor and duty: the mean of the first runs of its recordings that are
// within 1 % of the lowest. Only this ratio is used: filters that delay voltage
// and current against the speed bend the resistance, equally in like rises. One that
// a fast rise leaves noisy is drawn towards 1 by as much as its noise exceeds warmthRel.
func (m *model) resistances(f *fitted) map[string]float64 {
	type ohmic struct{ r, se float64 }
	all := map[string]ohmic{}
	groups := map[string][]string{}
	var names []string
	perRun(f.pieces, func(run []piece) {
		r, se, ok := m.resistance(run, f.emf)
		if !ok {
			return
		}
		all[run[0].run] = ohmic{r, se}
		g := fmt.Sprintf("%s %.2f", run[0].rotor, run[0].duty)
		if groups[g] == nil {
			names = append(names, g)
		}
		groups[g] = append(groups[g], run[0].run)
	})
	out := map[string]float64{}
	for _, g := range names {
		low := math.Inf(1)
		for _, run := range groups[g] {
			if first(run) {
				low = math.Min(low, all[run].r)
			}
		}
		sum, n := 0.0, 0.0
		for _, run := range groups[g] {
			if first(run) && all[run].r <= 1.01*low {
				sum, n = sum+all[run].r, n+1
			}
		}
		if n == 0 {
			continue
		}
		for _, run := range groups[g] {
			cold, x := sum/n, all[run]
			out[run] = 1 + (x.r/cold-1)*warmthRel*warmthRel/(warmthRel*warmthRel+x.se*x.se/(cold*cold))
		}
	}
	return out
}

// resistance of one run, with its standard error.
func (m *model) resistance(run []piece, emf float64) (r, se float64, ok bool) {
	if !m.voltage || m.law == nil {
		return 0, 0, false
	}
	// The first part of a rise is left out: a filter of the current channel
	// has not caught up with the step there.
	const skip = 0.2
	for len(run) > 4 && run[0].s.TimeS < skip*run[len(run)-1].s.TimeS {
		run = run[1:]
	}
	num, den := 0.0, 0.0
	each := func(p *piece) (i, u float64) {
		return p.s.CurrentA / p.duty, p.duty*p.s.VoltageV - emf*p.s.SpeedRadPerS
	}
	for k := range run {
		i, u := each(&run[k])
		num, den = num+float64(i*u), den+float64(i*i)
	}
	if !(den > 0) || !(num > 0) || len(run) < 4 {
		return 0, 0, false
	}
	r = num / den
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
	return r, math.Sqrt(rss / 6 / float64(len(run)-2) / den), true
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

// describe fills the account of the surface.
func (f *fitted) describe(m *model) {
	o := &f.out
	o.VoltageSeen, o.BackEMFVs = m.voltage, f.emf
	o.LowRadPerS, o.LowDuty, o.LowV = math.Inf(1), math.Inf(1), math.Inf(1)
	at := 0
	perRun(f.pieces, func(run []piece) {
		o.Runs++
		b := &m.bodies[run[0].body]
		for i, p := range run {
			if !slices.Contains(o.Recordings, p.recording) {
				o.Recordings = append(o.Recordings, p.recording)
			}
			o.LowRadPerS, o.HighRadPerS = math.Min(o.LowRadPerS, p.s.SpeedRadPerS), math.Max(o.HighRadPerS, p.s.SpeedRadPerS)
			o.LowDuty, o.HighDuty = math.Min(o.LowDuty, p.duty), math.Max(o.HighDuty, p.duty)
			o.LowV, o.HighV = math.Min(o.LowV, p.free), math.Max(o.HighV, p.free)
			if i == 0 || i == len(run)-1 {
				continue
			}
			before, after := run[i-1].s, run[i+1].s
			accel := (after.SpeedRadPerS - before.SpeedRadPerS) / (after.TimeS - before.TimeS)
			x := p.duty * m.terminal(&p, p.s)
			u := x - f.emf*p.s.SpeedRadPerS
			o.Points = append(o.Points, spin.SurfacePoint{
				Run: p.run, Rotor: p.rotor, Duty: p.duty, VoltageV: m.terminal(&p, p.s), SpeedRadPerS: p.s.SpeedRadPerS,
				TorqueNm:  b.j.Mean*accel + meanLoad(&b.curve, p.s),
				SurfaceNm: (float64(f.coef[gain]*x)+float64(f.coef[slope]*p.s.SpeedRadPerS)+float64(f.coef[bend]*u*u))/p.ohmic + f.coef[offset],
				Rel:       f.residual(at+i) / p.reach, Ohmic: p.ohmic,
			})
		}
		at += len(run)
	})
	o.Stretches = len(f.pieces)
}
