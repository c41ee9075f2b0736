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

// lagPriorS is the motor's electrical time constant, before any run has told, to spin.InductanceU.
const lagPriorS = 1e-4

const (
	// floorRel of a rise's momentum is added to each stretch's own error: what
	// a straight torque line leaves of a good bench's rises.
	floorRel = 5e-4
	// inflowRel of its momentum is what a lagging inflow moves in a propeller's rise: other rotors,
	// where there are any, tell the torque.
	inflowRel = 0.01
	// bendBy is how far AICc must fall for the curved surface.
	bendBy = 6
	// bendU is how many of its standard uncertainties the bend must be away from 0: stretches of one
	// recording err together, which AICc does not see.
	bendU = 3
	// warmest is the apparent resistance, over that of the coldest run, beyond
	// which a run is set aside: copper 26 K warmer.
	warmest = 0.10
	// fewest stretches that give a surface of four terms.
	fewest = 12
)

// fitted is a surface with what its uncertainty is made of.
type fitted struct {
	coef   [terms]float64
	emf    float64
	pieces []piece
	// levels are settled points of operation, as pieces of one row each.
	levels  []piece
	bent    bool
	cut     bool           // the beginnings of rises are left out
	gainMat numeric.Matrix // ∂coef/∂momentum of each piece, then each level
	own     []uncertain.Value
	// warmth is how much a joule in the windings raises their resistance, relative.
	warmth uncertain.Value
	out    spin.TorqueSurface
}

// fitSurface fits the pieces. Errors are reasons that a person is told.
func (m *model) fitSurface(pieces []piece, levels []piece) (*fitted, error) {
	f := &fitted{pieces: pieces, levels: levels, cut: m.cutS > 0}
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
	if err := f.solve(true); err != nil || f.aicc() > straight.aicc()-bendBy || math.Abs(f.coef[bend]) < bendU*f.own[bend].Std() {
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

// row is the surface's momentum at a piece with its derivatives.
func (f *fitted) row(p *piece, c, grad []float64) float64 {
	cold := 1 / p.ohmic
	late := c[lag]
	grad[gain] = cold * (p.drive - float64(late*p.volts) + float64(late*late*p.voltsRate))
	grad[slope] = cold * (p.angle - float64(late*p.speed) + float64(late*late*p.accel))
	grad[offset] = p.time
	grad[lag] = -cold * (float64(c[gain]*(p.volts-2*late*p.voltsRate)) + float64(c[slope]*(p.speed-2*late*p.accel)))
	v := float64(c[gain]*grad[gain]) + float64(c[slope]*grad[slope]) + float64(c[offset]*grad[offset])
	if len(grad) > bend {
		grad[bend] = cold * p.bow
		v += float64(c[bend] * grad[bend])
	}
	return v
}

// solve fits the surface to the pieces, to the levels, and to the prior of the lag.
func (f *fitted) solve(bent bool) error {
	n, k := len(f.pieces)+len(f.levels), terms-1
	if bent {
		k = terms
	}
	y, w := make([]float64, n+1), make([]float64, n+1)
	for i := range n {
		p := f.at(i)
		y[i], w[i] = p.momentum, 1/(p.sigma*p.sigma)
	}
	y[n], w[n] = lagPriorS, 1/(spin.InductanceU*spin.InductanceU)
	if f.cut {
		// Only the beginning of a rise tells the lag; what follows would take other errors for it.
		w[n] *= 1e4
	}
	start := f.start(k)
	s, err := numeric.Nonlinear(func(i int, c, grad []float64) float64 {
		if i == n {
			clear(grad)
			grad[lag] = 1
			return c[lag]
		}
		return f.row(f.at(i), c, grad)
	}, y, w, start)
	if err != nil {
		return fmt.Errorf("the step runs do not determine the cold torque: %w", err)
	}
	f.coef = [terms]float64{}
	copy(f.coef[:], s.Coef)
	f.bent, f.gainMat = bent, s.Gain
	rel := make([]float64, len(f.pieces))
	for i, p := range f.pieces {
		rel[i] = float64(s.Residual[i] * s.Residual[i] / (p.reach * p.reach))
	}
	f.out.RMSRel = math.Sqrt(numeric.Mean(rel))
	f.own = f.scatter(s)
	return nil
}

// at is the i-th row: pieces first, then levels.
func (f *fitted) at(i int) *piece {
	if i < len(f.pieces) {
		return &f.pieces[i]
	}
	return &f.levels[i-len(f.pieces)]
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
	n := float64(len(f.pieces) + len(f.levels))
	k := float64(terms - 1)
	if f.bent {
		k++
	}
	rss := 0.0
	for i := range len(f.pieces) + len(f.levels) {
		e := f.residual(i) / f.at(i).sigma
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
	p := f.at(i)
	return p.momentum - f.row(p, f.coef[:len(grad)], grad)
}

// scatter is the coefficients' own uncertainty: how much they would move if
// each recording's residuals, which belong together, were drawn anew (sandwich
// with recordings as clusters; Liang and Zeger, Biometrika 73 (1986) 13, eq.
// 8, from memory), and no less than the weights say.
func (f *fitted) scatter(s numeric.Solution) []uncertain.Value {
	n, k := len(f.pieces)+len(f.levels), len(s.Coef)
	cov := make([]float64, k*k)
	add := func(v []float64, factor float64) {
		for a := range k {
			for b := range k {
				cov[a*k+b] += float64(factor * v[a] * v[b])
			}
		}
	}
	var clusters []string
	for i := range n {
		if c := f.at(i).recording; !slices.Contains(clusters, c) {
			clusters = append(clusters, c)
		}
	}
	// Few clusters leave residuals too small.
	c := float64(len(clusters))
	factor := c / math.Max(1, c-1)
	for _, name := range clusters {
		v := make([]float64, k)
		for i := range n {
			if f.at(i).recording == name {
				for a := range k {
					v[a] += float64(s.Gain.At(a, i) * s.Residual[i])
				}
			}
		}
		add(v, factor)
	}
	prior := make([]float64, k)
	for a := range k {
		prior[a] = s.Gain.At(a, n) * spin.InductanceU
	}
	add(prior, 1)
	dof := math.Max(1, c-float64(k-1))
	return uncertain.FromCovariance(s.Coef, cov, dof, "surface")
}

// describe fills the account of the surface.
func (f *fitted) describe(m *model) {
	o := &f.out
	o.VoltageSeen, o.BackEMFVs = m.sagging(), f.emf
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
	o.Stretches, o.Levels, o.WarmthPerJ = len(f.pieces), len(f.levels), f.warmth
}
