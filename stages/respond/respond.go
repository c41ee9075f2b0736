package respond

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Method changes whenever this stage's numbers can.
const Method = "respond/8"

// Input is what a job found, and what is asked of it.
type Input struct {
	Job      string              `json:"job"`
	Evidence []spin.Evidence     `json:"evidence"`
	Law      *spin.CurrentLaw    `json:"law,omitempty"`
	Curves   []spin.LoadCurve    `json:"curves"`
	Rotors   []spin.RotorInertia `json:"rotors"`
	// Fits tell which runs are excluded, and each run's inertia.
	Fits     []spin.RunFit          `json:"fits"`
	Requests []spin.ResponseRequest `json:"requests"`
	// Fit lists the rotors whose inertia in air is fit for release.
	Fit []string `json:"fit"`
	// Propellers lists the rotors whose load has an inflow that lags.
	Propellers []string `json:"propellers,omitempty"`
	// RiseAir is the air in which step recordings were made, of the rotors whose sessions state it.
	RiseAir []RotorAir `json:"rise_air,omitempty"`
	// Lent are rotors put together from what another job measured.
	Lent []Lent `json:"lent,omitempty"`
}

// RotorAir is the mean density of the air, kg/m³, in which a rotor's step recordings were made.
type RotorAir struct {
	Rotor       string  `json:"rotor"`
	DensityKgM3 float64 `json:"density_kgm3"`
}

// Options of the stage.
type Options struct {
	// Seed and Draws of the Monte Carlo; Draws 0: none.
	Seed  uint64 `json:"seed"`
	Draws int    `json:"draws"`
	// Inflow of propellers.
	Inflow spin.Inflow `json:"inflow"`
}

// DefaultOptions are the documented defaults. With 2000 draws the ends of a 95 %
// interval scatter by about 4 % of its half-width.
func DefaultOptions() Options { return Options{Seed: 1, Draws: 2000, Inflow: spin.UsualInflow()} }

// Output is the answers.
type Output struct {
	// Surface is nil where the step runs give none; NoSurface says why.
	Surface     *spin.TorqueSurface `json:"surface,omitempty"`
	NoSurface   string              `json:"no_surface,omitempty"`
	Responses   []spin.Response     `json:"responses,omitempty"`
	Predictions []spin.Prediction   `json:"predictions,omitempty"`
	Warnings    []spin.Warning      `json:"warnings,omitempty"`
}

// Run predicts what is asked for, and every recorded rise from the others. A
// request that cannot be answered is a response that says why.
func Run(in Input, opt Options) (Output, error) {
	var out Output
	if opt.Draws < 0 {
		return out, fmt.Errorf("respond: %d draws", opt.Draws)
	}
	m := everything(&in, opt)
	out.NoSurface = m.noSurface
	if m.surface != nil {
		out.Surface = &m.surface.out
		for _, why := range m.surface.out.Left {
			out.Warnings = append(out.Warnings, spin.Warning{Stage: "respond", Code: "left-out", Subject: in.Job + "/motor/torque", Text: "for the cold torque left out: " + why})
		}
	}
	for _, q := range in.Requests {
		out.Responses = append(out.Responses, m.answer(q, opt))
	}
	if m.surface != nil {
		out.Predictions = m.predictions()
	}
	return out, nil
}

// everything is the model of all that the job found.
func everything(in *Input, opt Options) *model {
	m := newModel(in, bodiesOf(in), opt.Inflow, nil, func(*spin.Evidence) bool { return true })
	m.fitCoast()
	return m
}

// setting is a plant with what its speeds are found from, and the uncertain
// values behind its numbers.
type setting struct {
	p          plant
	thrust     []float64
	ref        float64 // of the thrust curve
	from, to   float64 // speeds in rad/s, or thrusts in N
	inThrust   bool
	finalShare float64
	coast      bool
	levers     []lever
}

// lever is an uncertain value and the number that it sets.
type lever struct {
	value uncertain.Value
	set   func(s *setting, x float64)
}

func (s *setting) lever(v uncertain.Value, set func(s *setting, x float64)) {
	set(s, v.Mean)
	if len(v.Parts) > 0 {
		s.levers = append(s.levers, lever{v, set})
	}
}

// speeds are those between which the motion goes.
func (s *setting) speeds() (from, to float64) {
	from, to = s.from, s.to
	if s.inThrust {
		from, to = s.speedAt(s.from), s.speedAt(s.to)
	}
	if s.finalShare > 0 {
		to = s.finalShare * s.p.final(from)
	}
	return from, to
}

// speedAt is the speed at a thrust in the air asked for.
func (s *setting) speedAt(f float64) float64 { return s.ref * speedFor(s.thrust, f/s.p.ratio) }

func (s *setting) thrustAt(w float64) float64 {
	if len(s.thrust) == 0 {
		return 0
	}
	return s.p.ratio * thrustAt(s.thrust, w/s.ref)
}

// traceShares are the shares of the way, in speed or thrust, at which times are given.
const tracePoints = 20

// grid are the speeds at equal steps of what was asked for.
func (s *setting) grid(from, to float64) []float64 {
	out := make([]float64, tracePoints)
	for i := range out {
		f := float64(i+1) / tracePoints
		if s.inThrust {
			out[i] = s.speedAt(s.from + f*(s.to-s.from))
		} else {
			out[i] = from + f*(to-from)
		}
	}
	return out
}

// run makes the motion; slow and grid as for plant.up.
func (s *setting) run(slow, traced bool) outcome {
	from, to := s.speeds()
	var grid []float64
	if traced {
		grid = s.grid(from, to)
	}
	if s.coast {
		return s.p.down(from, to, grid)
	}
	return s.p.up(from, to, slow, grid)
}

// moved is the motion with every number moved by k standard deviations of one source.
func (s *setting) moved(source string, k float64) outcome {
	c := s.copied()
	for _, l := range s.levers {
		if part := l.value.Part(source); part != 0 {
			l.set(&c, l.value.Mean+float64(k*part))
		}
	}
	return c.run(true, true)
}

func (s *setting) copied() setting {
	c := *s
	c.p.drag = slices.Clone(s.p.drag)
	c.thrust = slices.Clone(s.thrust)
	return c
}

// sources of all levers, in order.
func (s *setting) sources() []uncertain.Part {
	var all uncertain.Value
	for _, l := range s.levers {
		parts := slices.Clone(l.value.Parts)
		for i := range parts {
			parts[i].Contribution = 1 // what matters is the name; signs must not cancel
		}
		all = all.With(parts...)
	}
	return all.Parts
}

// answer one request.
func (m *model) answer(q spin.ResponseRequest, opt Options) spin.Response {
	r := spin.Response{Request: q, Release: slices.Contains(m.in.Fit, q.Rotor)}
	s, outside, refused := m.prepare(q)
	if refused != "" {
		r.Refused = refused
		return r
	}
	r.Outside = outside
	r.FromRadPerS, r.ToRadPerS = s.speeds()
	base := s.run(false, true)
	if !base.reached {
		r.Stalled, r.StallRadPerS = true, base.stall
		return r
	}
	r.Powered = s.p.kt > 0 && !s.coast
	r.SolverS = base.stated
	s.propagate(&r, base)
	if opt.Draws > 0 {
		s.draw(&r, base, opt)
	}
	return r
}

// propagate fills the values with a part for every source. A source whose
// move keeps the target from being reached is taken from the other side alone.
func (s *setting) propagate(r *spin.Response, base outcome) {
	mid := s.run(true, true)
	var time, energy, charge, peak []uncertain.Part
	grid := make([][]uncertain.Part, len(base.grid))
	for _, src := range s.sources() {
		up, down := s.moved(src.Source, 1), s.moved(src.Source, -1)
		span := 2.0
		switch {
		case !up.reached && !down.reached:
			continue
		case !up.reached:
			up, span = mid, 1
		case !down.reached:
			down, span = mid, 1
		}
		add := func(to *[]uncertain.Part, a, b float64) {
			if c := (a - b) / span; c != 0 {
				*to = append(*to, uncertain.Part{Source: src.Source, Contribution: c, DoF: src.DoF})
			}
		}
		add(&time, up.time, down.time)
		add(&energy, up.energy, down.energy)
		add(&charge, up.charge, down.charge)
		add(&peak, up.peak, down.peak)
		for i := range grid {
			add(&grid[i], up.grid[i], down.grid[i])
		}
	}
	r.TimeS = uncertain.Exact(base.time).With(time...)
	r.EnergyJ = uncertain.Exact(base.energy).With(energy...)
	r.ChargeC = uncertain.Exact(base.charge).With(charge...)
	r.PeakRadPerS2 = uncertain.Exact(base.peak).With(peak...)
	for i, w := range s.grid(r.FromRadPerS, r.ToRadPerS) {
		r.Trace = append(r.Trace, spin.TracePoint{SpeedRadPerS: w, TimeS: uncertain.Exact(base.grid[i]).With(grid[i]...), ThrustN: s.thrustAt(w)})
	}
}

// bentBy is the difference of the two intervals, as a share of U, from which
// both are shown. 2000 draws leave 4 % unsure, and a sum of several t
// distributions has up to 20 % longer ends than the one t that stands for it.
const bentBy = 0.25

// draw fills the Monte Carlo interval (JCGM 101:2008, 7; shares of draws by order statistics, 7.7).
func (s *setting) draw(r *spin.Response, base outcome, opt Options) {
	times, reached := s.times(base, opt)
	r.Draws = opt.Draws
	r.Reached = float64(len(reached)) / float64(opt.Draws)
	slices.Sort(times)
	if lo := int(0.025 * float64(opt.Draws)); lo < len(times) {
		r.LowS = times[lo]
	}
	if hi := int(math.Ceil(0.975*float64(opt.Draws))) - 1; hi < len(times) {
		r.HighS = times[hi]
	}
	u := r.TimeS.Expanded().U
	r.Bent = r.HighS == 0 || math.Abs(r.TimeS.Mean-u-r.LowS) > bentBy*u || math.Abs(r.TimeS.Mean+u-r.HighS) > bentBy*u
}

// times are those of the draws that reach the target, and which these are.
func (s *setting) times(base outcome, opt Options) (times []float64, which []int) {
	values := make([]uncertain.Value, len(s.levers))
	for i, l := range s.levers {
		values[i] = l.value
	}
	x := uncertain.Draw(opt.Seed, opt.Draws, nil, values...)
	shift := base.time - s.run(true, false).time
	c := s.copied()
	for n := range opt.Draws {
		for i, l := range s.levers {
			l.set(&c, x[i][n])
		}
		if o := c.run(true, false); o.reached {
			times = append(times, o.time+shift)
			which = append(which, n)
		}
	}
	return times, which
}
