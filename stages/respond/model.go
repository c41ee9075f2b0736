package respond

import (
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// body is what is known of a rotor: inertia in air and load, on one torque
// scale. The curve's coefficients carry the scale's source as the inertia does.
type body struct {
	rotor string
	j     uncertain.Value
	// curve is the load when the rises were recorded, steady when the curve itself was.
	curve, steady spin.LoadCurve
	// riseAir is the density of the air of the rises, kg/m³, 0 not known; elsewhere is then what the steady load may differ by on
	// any other day, 1 ± u.
	riseAir   float64
	elsewhere uncertain.Value
	// virtual is ∫L/ω² dω/Δω, the mean of the rises that j was found from: f·c times it is
	// what an inflow that settles takes from the inertia in air. 0 without a propeller.
	virtual float64
}

// meanLoad is the mean of L over a stretch.
func meanLoad(c *spin.LoadCurve, s spin.Stretch) float64 {
	w := s.SpeedRadPerS
	l := c.At(w)
	if s.SpeedVar > 0 {
		h := 0.02 * w
		l += s.SpeedVar / 2 * (c.At(w+h) - 2*l + c.At(w-h)) / (h * h)
	}
	return l
}

// model is a motor with its rotors.
type model struct {
	in     *Input
	bodies []body
	inflow spin.Inflow
	// voltage is true where every step run has a voltage channel; supply is then
	// its internal resistance, a voltage V0 − supply·I at the terminals.
	voltage   bool
	supplyOhm float64
	supply    uncertain.Value
	scale     uncertain.Value
	law       *law
	warm      *warm
	// cutS is the time after the idle plateau's end during which the throttle was still rising, 0: a
	// hard step; rampS is how long it rose.
	cutS, rampS float64
	surface     *fitted
	noSurface   string
	coast       *coastDrag
	noCoast     string
	thrusts     map[string]*thrustCurve
}

// law is phase current from torque: i = (T + c0 + c1·ω)/kt.
type law struct{ kt, c0, c1 uncertain.Value }

// newModel puts together what the recordings that keep lets in found. known tells how warm the runs were and how
// long the throttle rose; nil: they tell it themselves.
func newModel(in *Input, bodies []body, inflow spin.Inflow, known *model, keep func(e *spin.Evidence) bool) *model {
	m := &model{in: in, bodies: bodies, inflow: inflow, thrusts: map[string]*thrustCurve{}, scale: uncertain.Exact(1)}
	if len(in.Evidence) > 0 {
		m.scale = in.Evidence[0].Scale
	}
	m.supplies()
	if l := in.Law; l != nil && m.voltage {
		m.law = &law{
			kt: l.KtNmPerA.Mul(m.scale), c0: m.scale.Scale(l.Coef[1]), c1: m.scale.Scale(l.Coef[2] / l.RefRadPerS),
		}
	} else {
		// Without it the current of a torque is not known: the supply's resistance stays in the
		// torque's gain at the duties recorded.
		m.supply = uncertain.Value{}
	}
	var f *fitted
	var err error
	if known != nil {
		m.warm, m.cutS, m.rampS = known.warm, known.cutS, known.rampS
		f, err = m.fitSurface(m.collect(keep), m.settledLevels(keep))
	} else {
		f, err = m.throttled(keep)
	}
	if err != nil {
		m.noSurface = err.Error()
	} else {
		m.surface = f
		m.spread(f)
	}
	return m
}

// bodiesOf are the rotors with an inertia and a load, sorted as given.
func bodiesOf(in *Input) []body {
	var out []body
	for _, r := range in.Rotors {
		for _, c := range in.Curves {
			if c.Rotor != r.Rotor {
				continue
			}
			b := body{rotor: r.Rotor, j: r.JKgM2, curve: c, elsewhere: uncertain.Exact(1)}
			b.steady, b.curve.Coef = c, scaled(c, doubt(scaleOf(in, r.Rotor)))
			b.steady.Coef = b.curve.Coef
			if !lent(in, r.Rotor) {
				b.curve.Coef = scaled(b.steady, loadFactor(in, r.Rotor))
				b.elsewhere = uncertain.New(1, loadPrior(in, r.Rotor), 0, in.Job+"/rotor:"+r.Rotor+"/load-factor~asked")
			}
			for _, a := range in.RiseAir {
				if a.Rotor == r.Rotor {
					b.riseAir = a.DensityKgM3
				}
			}
			if slices.Contains(in.Propellers, r.Rotor) {
				b.virtual = virtual(in, &b)
			}
			for _, l := range in.Lent {
				if l.Rotor == r.Rotor {
					// Its load carries the doubt of the scales already.
					b.virtual, b.curve.Coef, b.steady.Coef, b.riseAir = l.Virtual, c.Coef, c.Coef, 0
				}
			}
			out = append(out, b)
		}
	}
	return out
}

// virtual is the mean over a rotor's recorded rises of ∫L/ω² dω/Δω, from idle to settled.
func virtual(in *Input, b *body) float64 {
	sum, n := 0.0, 0.0
	for _, e := range in.Evidence {
		if e.Rotor != b.rotor || e.Kind != spin.Step {
			continue
		}
		for _, r := range e.Runs {
			if len(r.Rise) == 0 {
				continue
			}
			from, to := r.Idle.SpeedRadPerS, r.Rise[len(r.Rise)-1].SpeedRadPerS
			if from <= 0 || to <= from {
				continue
			}
			const steps = 64
			mean := 0.0
			for i := range steps {
				w := from + (to-from)*(float64(i)+0.5)/steps
				mean += b.curve.At(w) / (w * w) / steps
			}
			sum, n = sum+mean, n+1
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// scaleOf is the torque scale of a rotor's recordings, 1 ± u.
func scaleOf(in *Input, rotor string) uncertain.Value {
	for _, e := range in.Evidence {
		if e.Rotor == rotor && e.Recorded {
			return e.Scale
		}
	}
	return uncertain.Exact(1)
}

// doubt is 1 with what a value's parts add.
func doubt(v uncertain.Value) uncertain.Value {
	return v.Sub(uncertain.Exact(v.Mean)).Add(uncertain.Exact(1))
}

// scaled are a curve's coefficients times a factor, a torque scale or a load factor: all but an exponent.
func scaled(c spin.LoadCurve, factor uncertain.Value) []uncertain.Value {
	out := slices.Clone(c.Coef)
	for i := range out {
		if c.Form != spin.FormPower || i != 1 {
			out[i] = out[i].Mul(factor)
		}
	}
	return out
}

func lent(in *Input, rotor string) bool {
	return slices.ContainsFunc(in.Lent, func(l Lent) bool { return l.Rotor == rotor })
}

// loadPrior is the standard uncertainty, relative, by which a rotor's load may differ from its steady recording's on another day.
func loadPrior(in *Input, rotor string) float64 {
	prior := 0.0
	for _, f := range in.Fits {
		if f.Rotor == rotor && f.Kind == spin.Step && f.Chosen && f.Excluded == "" {
			prior = math.Max(prior, f.LoadPriorRel)
		}
	}
	return prior
}

// loadFactor is the load of a rotor when its rises were recorded over that of its steady recordings: air, bearings and
// clearances differ from day to day. Every run's balance tells it from its own plateaus together with one and
// the same expectation, 1 ± LoadPriorRel, which counts once here:
//
//	1/u² = 1/p² + Σ(1/uᵢ² − 1/p²),   λ/u² = 1/p² + Σ(λᵢ/uᵢ² − 1/p²)
//
// What is left of the expectation has the name under which it stands in the inertia. Runs that differ by more than
// they state widen their part (Birge ratio). 1 exactly where no run has an expectation.
func loadFactor(in *Input, rotor string) uncertain.Value {
	prior, told, sum, n := loadPrior(in, rotor), 0.0, 0.0, 0.0
	runs := func(do func(weight, own float64)) {
		for _, f := range in.Fits {
			if f.Rotor != rotor || f.Kind != spin.Step || f.Source != spin.Recorded || !f.Chosen || f.Excluded != "" || !(f.LoadPriorRel > 0) || !(f.LoadFactorU > 0) {
				continue
			}
			p := 1 / (f.LoadPriorRel * f.LoadPriorRel)
			w := 1/(f.LoadFactorU*f.LoadFactorU) - p
			if w > 0 {
				do(w, (f.LoadFactor/(f.LoadFactorU*f.LoadFactorU)-p)/w)
			}
		}
	}
	if prior == 0 {
		return uncertain.Exact(1)
	}
	runs(func(w, own float64) { told, sum, n = told+w, sum+float64(w*own), n+1 })
	expected := 1 / (prior * prior)
	total := expected + told
	chi := 0.0
	runs(func(w, own float64) {
		e := own - sum/told
		chi += float64(w * e * e)
	})
	birge := 1.0
	if n > 1 {
		birge = math.Max(1, math.Sqrt(chi/(n-1)))
	}
	source := in.Job + "/rotor:" + rotor + "/load-factor"
	out := uncertain.Exact((expected + sum) / total).With(uncertain.Part{Source: source, Contribution: expected / total * prior})
	if told > 0 {
		out = out.With(uncertain.Part{Source: source + "~runs", Contribution: birge * math.Sqrt(told) / total, DoF: n - 1})
	}
	return out
}

// sagging is true where the voltage at the terminals can be told from that of the supply at any torque.
func (m *model) sagging() bool { return m.voltage && m.law != nil }

func (m *model) bodyOf(rotor string) int {
	return slices.IndexFunc(m.bodies, func(b body) bool { return b.rotor == rotor })
}

// excluded is true for runs that the job sets aside.
func (m *model) excluded(run string) bool {
	for _, f := range m.in.Fits {
		if f.Run == run && f.Excluded != "" {
			return true
		}
	}
	return false
}

// supplies finds the supply's internal resistance: terminal voltage against
// current within each recording, one slope for all.
func (m *model) supplies() {
	type point struct{ v, i float64 }
	sxx, sxy, n, sets := 0.0, 0.0, 0, 0
	var all [][]point
	for _, e := range m.in.Evidence {
		if e.Kind != spin.Step {
			continue
		}
		var pts []point
		mv, mi := 0.0, 0.0
		for _, r := range e.Runs {
			for _, s := range r.Rise {
				if s.VoltageV <= 0 {
					return
				}
				pts = append(pts, point{s.VoltageV, s.CurrentA})
				mv, mi = mv+s.VoltageV, mi+s.CurrentA
			}
		}
		if len(pts) < 3 {
			continue
		}
		mv, mi = mv/float64(len(pts)), mi/float64(len(pts))
		for k := range pts {
			pts[k].v, pts[k].i = pts[k].v-mv, pts[k].i-mi
			sxx += float64(pts[k].i * pts[k].i)
			sxy += float64(pts[k].i * pts[k].v)
		}
		all, n, sets = append(all, pts), n+len(pts), sets+1
	}
	m.voltage = n > 0
	if sxx <= 0 || n-sets < 4 {
		return
	}
	m.supplyOhm = math.Max(0, -sxy/sxx)
	rss := 0.0
	for _, pts := range all {
		for _, p := range pts {
			e := p.v + float64(m.supplyOhm*p.i)
			rss += float64(e * e)
		}
	}
	dof := float64(n - sets - 1)
	m.supply = uncertain.New(m.supplyOhm, math.Sqrt(rss/dof/sxx), dof, m.in.Job+"/supply/ohm")
}

// spread turns the surface's coefficients into values that carry what J and L
// of all rotors carry, through the least squares, and their own scatter.
func (m *model) spread(f *fitted) {
	k := len(f.own)
	var cells [terms][]uncertain.Term
	for b := range m.bodies {
		body := &m.bodies[b]
		// ∂coef/∂J is Σ gain·ω over the body's pieces, ∂coef/∂c of a load coefficient Σ gain·∫∂L/∂c.
		dj, dc, ds := make([]float64, k), numeric.NewMatrix(len(body.curve.Coef), k), numeric.NewMatrix(len(body.curve.Coef), k)
		used := false
		for i := range len(f.pieces) + len(f.levels) {
			p := f.at(i)
			if p.body != b {
				continue
			}
			used = true
			for a := range k {
				g := f.gainMat.At(a, i) * (1 + f.coef[gain]/p.ohmic*p.soft)
				dj[a] += float64(g * p.speed)
				of := &dc
				if p.steady {
					of = &ds
				}
				for c, x := range p.loads {
					of.Set(c, a, of.At(c, a)+float64(g*x))
				}
			}
		}
		if !used {
			continue
		}
		for a := range k {
			cells[a] = append(cells[a], uncertain.Term{Sensitivity: dj[a], Value: body.j})
			for c, v := range body.curve.Coef {
				cells[a] = append(cells[a], uncertain.Term{Sensitivity: dc.At(c, a), Value: v}, uncertain.Term{Sensitivity: ds.At(c, a), Value: body.steady.Coef[c]})
			}
		}
	}
	if m.law != nil {
		m.spreadLaw(f, &cells)
	}
	m.spreadWarmth(f, &cells)
	for a := range terms {
		f.out.Coef[a] = uncertain.Exact(f.coef[a])
		if a >= k {
			continue
		}
		own := f.own[a]
		for i := range own.Parts {
			own.Parts[i].Source = m.in.Job + "/motor/torque" + strings.TrimPrefix(own.Parts[i].Source, "surface")
		}
		f.out.Coef[a] = uncertain.Combine(f.coef[a], append(cells[a], uncertain.Term{Sensitivity: 1, Value: own})...)
	}
	f.out.SupplyOhm = m.supply
}

// spreadWarmth adds what the heat of earlier runs and of each rise itself moves: torque is divided by the resistance.
func (m *model) spreadWarmth(f *fitted, cells *[terms][]uncertain.Term) {
	if len(f.warmth.Parts) == 0 {
		return
	}
	grad := make([]float64, terms)
	if !f.bent {
		grad = grad[:bend]
	}
	// How quickly the windings cool says what a joule does, but hardly what earlier runs did.
	own := uncertain.Exact(f.warmth.Mean)
	for _, p := range f.warmth.Parts {
		if p.Source == m.in.Job+warmthSource {
			own = own.With(p)
		}
	}
	for a := range f.own {
		before, within := 0.0, 0.0
		for i := range f.pieces {
			p := &f.pieces[i]
			driven := f.row(p, f.coef[:len(grad)], grad) - float64(f.coef[offset]*p.time)
			before += float64(f.gainMat.At(a, i) * driven * p.heat / p.ohmic)
			within += float64(f.gainMat.At(a, i) * p.hot / p.ohmic)
		}
		cells[a] = append(cells[a], uncertain.Term{Sensitivity: before, Value: own}, uncertain.Term{Sensitivity: within, Value: f.warmth})
	}
}

// spreadLaw adds what the current law and the supply's resistance move: drive
// falls by soft·flow, which they scale or feed.
func (m *model) spreadLaw(f *fitted, cells *[terms][]uncertain.Term) {
	for a := range f.own {
		var kt, c0, c1, ohm float64
		for i := range f.pieces {
			p := &f.pieces[i]
			g := f.gainMat.At(a, i) * f.coef[gain] / p.ohmic
			kt -= float64(g * p.soft * p.flow / m.law.kt.Mean)
			c0 += float64(g * p.soft * p.time)
			c1 += float64(g * p.soft * p.angle)
			ohm += float64(g * p.duty * p.duty / m.law.kt.Mean * p.flow)
		}
		cells[a] = append(cells[a],
			uncertain.Term{Sensitivity: kt, Value: m.law.kt}, uncertain.Term{Sensitivity: c0, Value: m.law.c0},
			uncertain.Term{Sensitivity: c1, Value: m.law.c1}, uncertain.Term{Sensitivity: ohm, Value: m.supply})
	}
}

// loadGradient is ∂L̄/∂coef over a stretch.
func loadGradient(c *spin.LoadCurve, s spin.Stretch) []float64 {
	out := make([]float64, len(c.Coef))
	for i, v := range c.Coef {
		h := 1e-4 * math.Abs(v.Mean)
		if h == 0 {
			h = 1e-9
		}
		up, down := *c, *c
		up.Coef, down.Coef = slices.Clone(c.Coef), slices.Clone(c.Coef)
		up.Coef[i].Mean, down.Coef[i].Mean = v.Mean+h, v.Mean-h
		out[i] = (meanLoad(&up, s) - meanLoad(&down, s)) / (2 * h)
	}
	return out
}
