package drag

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Method changes whenever this stage's numbers can.
const Method = "drag/6"

// Set is the settled plateaus of one recording of the rotor.
type Set struct {
	Recording string         `json:"recording"`
	Kind      spin.Kind      `json:"kind"`
	Plateaus  []spin.Plateau `json:"plateaus"`
	// DensityKgM3 of the air in that session, 0 when unknown.
	DensityKgM3 float64 `json:"density_kgm3,omitempty"`
}

// Input is all that is known of one rotor's settled speeds.
type Input struct {
	Job   string `json:"job"`
	Rotor string `json:"rotor"`
	Sets  []Set  `json:"sets"`
}

// Options of the stage.
type Options struct {
	// Form is "auto" or one of spin's load forms.
	Form string `json:"form"`
	// DryFriction adds a constant for friction between rotor and ground. It
	// needs steady recordings with a stretch of rest: while the rotor turns it is
	// nothing but another torque zero.
	DryFriction bool `json:"dry_friction,omitempty"`
	// FloorRel is added to each level's standard error, relative to the
	// largest torque: what repeats of a level show beyond its own noise.
	FloorRel float64 `json:"floor_rel"`
	// RicherBy is how far AICc must fall for a richer form.
	RicherBy float64 `json:"richer_by"`
}

// DefaultOptions are the documented defaults.
func DefaultOptions() Options { return Options{Form: "auto", FloorRel: 2e-4, RicherBy: 6} }

// Output is a load curve, or the reason why there is none.
type Output struct {
	Curve    *spin.LoadCurve `json:"curve,omitempty"`
	Refusals []spin.Refusal  `json:"refusals,omitempty"`
	Warnings []spin.Warning  `json:"warnings,omitempty"`
}

// minLevels is the number of distinct turning speeds from which a form with
// two coefficients, a zero and a drift still leaves degrees of freedom.
const minLevels = 3

// freeLevels is the number of distinct speeds from which the form is chosen by evidence.
const freeLevels = 5

// formDoubt is the relative standard uncertainty of a load whose form had to
// be taken on trust: an exponent of 1.86 or 2.17 in place of 2 moves the load
// at 70 % of the top speed by 5 to 6 %, rectangular (exponents of 239
// propeller groups; see testdata/reference).
const formDoubt = 0.03

// Run fits the load curve of one rotor.
//
// Steady recordings are used when there are any. Without them the plateaus of
// the rotor's own steps are used, but only with a declared form; with neither,
// or with "auto" and no steady recording, the curve is refused: a load is
// never borrowed from another rotor.
func Run(in Input, opt Options) (Output, error) {
	if opt.Form == spin.FormNone {
		return none(in), nil
	}
	steady, own := pick(in.Sets)
	sets, basis := steady, "steady"
	if len(sets) == 0 {
		if opt.Form == "auto" {
			return refused(in, "no-steady", "no steady recording of this rotor, and no form declared under options.drag.form: its load cannot be told"), nil
		}
		sets, basis = own, "plateaus"
	}
	p := problem(sets)
	if p.dry = opt.DryFriction; p.dry && !p.rests() {
		return refused(in, "dry-no-rest", "dry friction is declared (options.drag.dry_friction), but no steady recording of this rotor has a stretch of rest, which alone tells it from the torque zero"), nil
	}
	if p.levels < minLevels && !(basis == "plateaus" && opt.Form == spin.FormSquare && p.levels >= 2) {
		return refused(in, "few-levels", fmt.Sprintf("%d distinct settled speeds; at least %d are needed", p.levels, minLevels)), nil
	}
	p.weigh(opt.FloorRel)
	return choose(in, p, basis, opt)
}

func refused(in Input, code, text string) Output {
	return Output{Refusals: []spin.Refusal{{
		Stage: "drag", Code: code, Subject: in.Job + "/rotor:" + in.Rotor, Text: text, Waivable: false,
	}}}
}

func none(in Input) Output {
	return Output{Curve: &spin.LoadCurve{
		Rotor: in.Rotor, Form: spin.FormNone, RefRadPerS: 1, HighRadPerS: math.MaxFloat64, Basis: "declared", LackOfFitP: 1, ChiSquaredRel: 1,
	}}
}

// pick separates steady recordings from the plateaus of other kinds.
func pick(sets []Set) (steady, own []Set) {
	for _, s := range sets {
		if len(s.Plateaus) == 0 {
			continue
		}
		switch s.Kind {
		case spin.Steady:
			steady = append(steady, s)
		case spin.Step:
			own = append(own, s)
		}
	}
	return steady, own
}

// best fits every allowed form and keeps the simplest that the evidence does not beat; ok is false where none can be fitted.
func (l *levels) best(opt Options) (best fitted, tried []spin.LoadCandidate, ok bool) {
	forms := []string{opt.Form}
	if opt.Form == "auto" {
		forms = []string{spin.FormSquare}
		if l.levels >= freeLevels {
			forms = []string{spin.FormSquare, spin.FormLinearSquare, spin.FormPower, spin.FormCubic}
		}
	}
	for _, form := range forms {
		f, err := l.fit(form)
		if err != nil {
			continue
		}
		if !math.IsInf(f.aicc, 0) {
			tried = append(tried, spin.LoadCandidate{Form: form, AICc: f.aicc, RSS: f.sol.RSS})
		}
		// A form of equal richness needs only to be better; a richer one by RicherBy.
		margin := 0.0
		if ok && f.terms > best.terms {
			margin = opt.RicherBy
		}
		if !ok || f.aicc < best.aicc-margin {
			best, ok = f, true
		}
	}
	return best, tried, ok
}

// restApart looks whether the levels, followed down to rest, end elsewhere than where rest stands, and by how much: dry friction between rotor and
// ground, or a zero that moves when the motor runs. A step does not notice either, unless the curve was bent to reach rest. with is the best form through both.
func (l *levels) restApart(with fitted, opt Options) (offNm float64, apart bool) {
	if l.dry || !l.rests() {
		return 0, false
	}
	q := *l
	q.dry = true
	without, _, ok := q.best(opt)
	if !ok || !(without.aicc < with.aicc-opt.RicherBy) {
		return 0, false
	}
	return without.sol.Coef[without.terms-1], true
}

// turning are the sets without their rests.
func turning(sets []Set) []Set {
	out := slices.Clone(sets)
	for i, s := range out {
		out[i].Plateaus = slices.DeleteFunc(slices.Clone(s.Plateaus), func(p spin.Plateau) bool { return p.Kind == spin.Rest })
	}
	return out
}

// choose takes the best form; with rests where they belong to the curve.
func choose(in Input, p *levels, basis string, opt Options) (Output, error) {
	sets := p.sets
	best, tried, ok := p.best(opt)
	off, apart := 0.0, false
	if ok {
		off, apart = p.restApart(best, opt)
	}
	if apart {
		p = problem(turning(p.sets))
		p.weigh(opt.FloorRel)
		best, tried, ok = p.best(opt)
	}
	if !ok {
		return refused(in, "no-fit", fmt.Sprintf("%d settled points do not determine the load form %s with a zero for each of %d recordings", len(p.points), opt.Form, len(p.sets))), nil
	}
	curve := p.curve(best, in, basis)
	curve.Candidates = tried
	if basis == "steady" {
		curve.Creep = p.creep(sets, best, &curve)
	}
	out := Output{Curve: &curve}
	if apart {
		out.Warnings = append(out.Warnings, spin.Warning{
			Stage: "drag", Code: "rest-apart", Subject: in.Job + "/rotor:" + in.Rotor,
			Text: fmt.Sprintf("its levels, followed down to rest, end %+.3g mN·m from the torque at rest: dry friction between rotor and ground, or a zero that moves when the motor runs; the load curve leaves the rest out, and steps do not notice; a run-down does: where it is friction, declare options.drag.dry_friction",
				1e3*off),
		})
	}
	if opt.Form == "auto" && p.levels < freeLevels {
		doubt(in, &curve)
	}
	if curve.LackOfFitP < 0.01 {
		covers := "its uncertainty covers as much"
		if widened := math.Sqrt(curve.ChiSquaredRel); widened > 1.05 {
			covers = fmt.Sprintf("its uncertainty is widened by %.2g", widened)
		}
		out.Warnings = append(out.Warnings, spin.Warning{
			Stage: "drag", Code: "lack-of-fit", Subject: in.Job + "/rotor:" + in.Rotor,
			Text: fmt.Sprintf("the %s form misses the levels by more than their repeats (p = %.2g); %s; more levels, or a settled zero, would tell why",
				curve.Form, curve.LackOfFitP, covers),
		})
	}
	return out, nil
}

// doubt widens a curve whose form was taken on trust.
func doubt(in Input, c *spin.LoadCurve) {
	source := in.Job + "/rotor:" + in.Rotor + "/drag/form"
	for i, v := range c.Coef {
		c.Coef[i] = v.With(uncertain.Part{Source: source, Contribution: formDoubt * v.Mean})
	}
}

// levels is the least-squares problem over all settled points.
type levels struct {
	sets   []Set
	points []point
	ref    float64 // fastest level, rad/s
	low    float64
	rho    float64 // reference density, 0 unknown
	levels int     // distinct turning speeds
	drifts []bool  // per set
	dry    bool    // a constant while the rotor turns
	w      []float64
	climb  float64 // largest difference of two levels' torques in a set, N·m
	// rounding is the mean share of rounding in the levels' variances.
	rounding float64
}

type point struct {
	set     int
	p       spin.Plateau
	density float64 // ratio to reference
	t       float64 // time from the set's middle, s
}

func problem(sets []Set) *levels {
	l := &levels{sets: sets, low: math.Inf(1)}
	var rhos []float64
	for _, s := range sets {
		if s.DensityKgM3 > 0 {
			rhos = append(rhos, s.DensityKgM3)
		}
	}
	if len(rhos) == len(sets) {
		l.rho = numeric.Mean(rhos)
	}
	for i, s := range sets {
		mid := 0.0
		for _, p := range s.Plateaus {
			mid += p.MidS / float64(len(s.Plateaus))
		}
		turning := 0
		for _, p := range s.Plateaus {
			ratio := 1.0
			if l.rho > 0 {
				ratio = s.DensityKgM3 / l.rho
			}
			l.points = append(l.points, point{i, p, ratio, p.MidS - mid})
			if p.Kind != spin.Rest {
				turning++
				l.ref, l.low = math.Max(l.ref, p.SpeedRadPerS), math.Min(l.low, p.SpeedRadPerS)
			}
		}
		// Eight turning levels leave a zero, a drift and two load terms well determined.
		l.drifts = append(l.drifts, turning >= 8)
	}
	l.levels = l.distinct()
	return l
}

// rests is true where a set has both rest and turning levels.
func (l *levels) rests() bool {
	return slices.ContainsFunc(l.points, func(p point) bool { return p.p.Kind == spin.Rest })
}

// distinct counts turning speeds that differ by more than 2 % of the fastest.
func (l *levels) distinct() int {
	var w []float64
	for _, p := range l.points {
		if p.p.Kind != spin.Rest {
			w = append(w, p.p.SpeedRadPerS)
		}
	}
	slices.Sort(w)
	n := 0
	for i, v := range w {
		if i == 0 || v-w[i-1] > 0.02*l.ref {
			n++
		}
	}
	return n
}

func (l *levels) weigh(floorRel float64) {
	top := 0.0
	for _, s := range l.sets {
		least, most := math.Inf(1), math.Inf(-1)
		for _, p := range s.Plateaus {
			least, most = math.Min(least, p.TorqueNm), math.Max(most, p.TorqueNm)
		}
		top = math.Max(top, most-least)
	}
	l.climb = top
	l.w = make([]float64, len(l.points))
	for i, p := range l.points {
		// The error of rounding is the same going up and coming down: two levels are worth one.
		rounding := 2 * float64(p.p.TorqueRoundingU*p.p.TorqueRoundingU)
		v := p.p.TorqueSE*p.p.TorqueSE + floorRel*floorRel*top*top + rounding
		if v == 0 {
			v = 1e-24 // noiseless data: equal weights far below any torque of interest
		}
		l.w[i] = 1 / v
		l.rounding += rounding / v / float64(len(l.points))
	}
}
