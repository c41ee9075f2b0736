package crosscheck

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Faults that checks can see, by the names used in Check.Sees.
const (
	faultPoles    = "pole pairs or speed unit"
	faultSign     = "sign of torque"
	faultLag      = "lag"
	faultLoad     = "load curve"
	faultDrift    = "zero drift"
	faultAlias    = "aliasing"
	faultFixture  = "soft fixture"
	faultMounting = "loose mounting"
	faultScale    = "torque scale"
	faultDrawing  = "drawing of the disk"
	faultHeat     = "warm winding"
	faultCurrent  = "saturation"
	faultParts    = "parts list"
)

// electrical compares mechanical with electrical power: more comes out than
// goes in only when speed or torque is wrong. The limit leaves 5 % for the
// power channels' own scale (common practice, no source).
func (c *checker) electrical() {
	for _, r := range c.in.Rotors {
		worst := 0.0
		for _, f := range c.fitsOf(r.Rotor, spin.Step) {
			worst = math.Max(worst, f.ElectricalRatio)
		}
		if worst == 0 {
			continue
		}
		c.add(spin.Check{
			Name: "power-balance", Subject: c.subject(r.Rotor), Value: math.Max(0, worst-1), U: 0.05, Limit: 0.05, Unit: "1",
			Gates: true, Sees: []string{faultPoles, faultSign}, Numbers: c.numbersOf(r.Rotor),
			Text: fmt.Sprintf("mechanical power is %.3g of the electrical power drawn; it cannot exceed 1: look at pole pairs, speed unit and torque sign", worst),
		})
	}
}

// constants compares torque per ampere with volts per rad/s: equal in SI (from
// power balance; iron loss apart). It sees pole pairs and unit slips of any
// direction, and the torque scale only to some percent.
func (c *checker) constants() {
	l := c.in.Choice.Law
	if l == nil {
		return
	}
	v := l.KtNmPerA.Div(l.KeVs)
	v.Mean--
	c.add(spin.Check{
		Name: "motor-constants", Subject: c.in.Job, Value: v.Mean, U: math.Min(v.Expanded().U, c.opt.Constants), Limit: c.opt.Constants, Unit: "1",
		Gates: true, Sees: []string{faultPoles, faultSign}, Numbers: c.allNumbers(),
		Text: fmt.Sprintf("torque constant %.4g N·m/A against back-emf constant %.4g V·s: %+.2g %%; pole pairs, speed unit or duty would show here",
			l.KtNmPerA.Mean, l.KeVs.Mean, 100*v.Mean),
	})
}

// secondOpinions compares the forms of each run's balance.
func (c *checker) secondOpinions(r spin.RotorInertia) {
	claimed := r.JKgM2.Expanded().U / r.JKgM2.Mean
	type form struct {
		name, what string
		gates      bool
		sees       []string
		d          func(f spin.RunFit) (float64, bool)
	}
	for _, k := range []form{
		{"energy-form", "energy form against momentum form", true, []string{faultLag, faultLoad, faultDrift}, func(f spin.RunFit) (float64, bool) {
			return f.JEnergy/f.JUp - 1, f.JEnergy > 0 && f.JUp > 0
		}},
		{"whole-transient", "whole-transient regression against plateaus", false, []string{faultLag, faultLoad, faultFixture}, func(f spin.RunFit) (float64, bool) {
			return f.JWhole/f.JKgM2.Mean - 1, f.JWhole > 0
		}},
		{"up-against-down", "spin-up against braked return", false, []string{faultDrift, faultLoad}, func(f spin.RunFit) (float64, bool) {
			return f.JUp/f.JDown - 1, f.JDown > 0
		}},
		{"speed-halves", "lower against upper half of the speed range", false, []string{faultDrift, faultFixture, faultLoad}, func(f spin.RunFit) (float64, bool) {
			return f.JLowerHalf/f.JUpperHalf - 1, f.JLowerHalf > 0 && f.JUpperHalf > 0
		}},
		{"zero-or-load", "load kept against load tied to the plateaus (half the gap)", true, []string{faultDrift, faultLoad}, func(f spin.RunFit) (float64, bool) {
			return (f.JKept - f.JRetied) / f.JKgM2.Mean / 2, f.Plateaus == 2 && f.JKept > 0 && f.JRetied > 0
		}},
	} {
		var d, doubt []float64
		for _, f := range c.fitsOf(r.Rotor, spin.Step) {
			if v, ok := k.d(f); ok && f.Source == spin.Recorded {
				d, doubt = append(d, v), append(doubt, loadDoubt(k.name, f))
			}
		}
		mean, u, ok := meanOf(d)
		if few, declared := spin.ClassOf(c.in.Classes, r.JKgM2.Mean); k.gates && len(d) > 0 && len(d) <= 2 && declared && few.RunRel > 0 {
			// Two forms of one run: each repeats as the bench is declared to, which one or two runs cannot tell.
			mean = numeric.Mean(d)
			u, ok = math.Hypot(uncertain.CoverageFactor(few.Freedom())*few.RunRel*math.Sqrt(2/float64(len(d))), mean-d[0]), true
		}
		if !ok {
			continue
		}
		// The load may differ from the steady recording's in all runs alike.
		load := uncertain.CoverageFactor(math.Inf(1)) * numeric.Mean(doubt)
		floor := math.Max(c.opt.Energy, c.resolution(r.Rotor, 1))
		if k.name == "energy-form" || k.name == "whole-transient" {
			floor += inflowShare * math.Abs(r.JBodyKgM2.Mean/r.JKgM2.Mean-1)
		}
		if k.name == "speed-halves" {
			floor = halvesFloor + c.resolution(r.Rotor, halvesRinging)
		}
		u = math.Hypot(u, load)
		loose := spin.Disagreement * load
		limit, verdict := math.Max(floor, math.Min(c.opt.Cap, math.Max(claimed, loose))), ""
		if loose > limit && math.Abs(mean) <= loose {
			// No larger limit than the cap; but what the load may be off by is no fault either.
			verdict = spin.CannotTell
		}
		c.add(spin.Check{
			Name: k.name, Verdict: verdict, Subject: c.subject(r.Rotor), Value: mean, U: u, Limit: limit, Unit: "1",
			Gates: k.gates, Sees: k.sees, Numbers: c.numbersOf(r.Rotor), Waivable: true,
			Text: fmt.Sprintf("%s over %d runs: %+.3g %% ± %.2g %%", k.what, len(d), 100*mean, 100*u),
		})
	}
}

// settled looks whether the torque of settled rotors under load moves: the cell creeps, and reads weights otherwise than rises, or the load
// does. The uncertainty is that of 99 %: it is asked of every rotor.
func (c *checker) settled() {
	var checks []spin.Check
	for _, r := range c.in.Rotors {
		var d []float64
		for _, f := range c.fitsOf(r.Rotor, spin.Step) {
			if f.HasSettledCreep && f.Source == spin.Recorded {
				d = append(d, f.SettledCreep)
			}
		}
		mean, u, ok := meanOf(d)
		if !ok {
			continue
		}
		// What a plateau shows is a tenth of the creep or more; what a number claims to be unsure by needs no second doubt.
		limit := math.Max(settledLimit, 0.1*r.JKgM2.Expanded().U/r.JKgM2.Mean)
		checks = append(checks, spin.Check{
			Name: "settled-load", Subject: c.subject(r.Rotor), Value: mean, U: u * spin.Disagreement, Limit: limit, Numbers: c.numbersOf(r.Rotor),
			Text: fmt.Sprintf("settled torque under load moves by %+.2g %% ± %.2g %% of the load over its plateau, over %d runs", 100*mean, 100*u*spin.Disagreement, len(d)),
		})
	}
	c.creeping(checks)
}

// levelled looks whether the levels of a loaded rotor's steady recordings come late: see spin.Creep. The uncertainty is that of 99 % for all time
// constants that are tried together.
func (c *checker) levelled() {
	var checks []spin.Check
	for i := range c.in.Curves {
		l := &c.in.Curves[i]
		if l.Creep == nil || !slices.ContainsFunc(c.fitsOf(l.Rotor, spin.Step), func(f spin.RunFit) bool { return l.At(f.SettledRadPerS) > creepLoad*f.PeakNm }) {
			continue
		}
		u := l.Creep.SE * uncertain.StudentQuantile(1-0.01/2/spin.CreepTaus, float64(l.Creep.DoF))
		checks = append(checks, spin.Check{
			Name: "late-levels", Subject: c.subject(l.Rotor), Value: l.Creep.Rel, U: u, Limit: lateLimit, Numbers: c.numbersOf(l.Rotor),
			Text: fmt.Sprintf("levels of its steady recordings come late by %+.2g %% ± %.2g %% of the load, with a time constant of about %.2g s", 100*l.Creep.Rel, 100*u, l.Creep.TauS),
		})
	}
	c.creeping(checks)
}

// creeping files checks of a cell's creep. One cell serves all rotors, so that all numbers wait where one fails, unless another
// rotor's load is seen to stand still: then it is not the cell. Where it cannot tell none waits.
func (c *checker) creeping(checks []spin.Check) {
	still := false
	for i := range checks {
		k := &checks[i]
		k.Verdict = Verdict(k.Value, k.U, k.Limit)
		still = still || k.Verdict == spin.Pass
	}
	for _, k := range checks {
		k.Gates, k.Unit, k.Sees, k.Waivable = k.Verdict == spin.Fail, "1", []string{faultLoad}, true
		why := ": the load creeps; another rotor's does not, so that it is not the cell"
		if !still {
			why = ": the cell creeps, or the load does"
			k.Numbers = c.allNumbers()
		}
		if k.Gates {
			k.Text += why
		}
		c.add(k)
	}
}

const (
	// lateLimit of the load: what a creeping cell moves an inertia by is one to one and a half of it.
	lateLimit = 2e-3
	// creepLoad of a run's peak torque is the least load whose levels say something of a cell: below, it remembers the torque of
	// speeding up from level to level.
	creepLoad = 0.015
)

// settledLimit of the load is half of what a cell that creeps by half a per cent within a second moves on a plateau of 0.4 s; sound
// sessions stay below with what their runs scatter by (1 of 80 did not, of either the 11 or the 40 mm motor, none of the 22 mm motor).
const settledLimit = 3e-4

// loadDoubt is what the load factor's prior leaves in a comparison of forms that see the load in
// other proportions.
func loadDoubt(check string, f spin.RunFit) float64 {
	switch check {
	case "energy-form":
		return f.EnergyLoadU
	case "speed-halves":
		return f.HalvesLoadU
	}
	return 0
}

// inflowShare of what inflow takes from a propeller's inertia may differ between
// forms: the load that is missing during the rise comes late, and the energy form weighs it
// with the speed of another instant. Half of it for a lag as long as the rise.
const inflowShare = 0.5

// The two halves of a rise part where the fixture rings, so that they differ on a sound bench too: by up to halvesRinging times
// the square of the ringing over the rise (simulation, 200 Hz fixture: 29 % at 12 ms, 8 % at 20 ms, 4 % at 34 ms, 0.2 % at
// 158 ms), besides half a sample. The comparison says something on slow rotors only.
const (
	halvesFloor   = 0.01
	halvesRinging = 16
)

// resolution is half a sampling interval over the rise and some times the share of ringing: the square of spin.RingingS, or of
// ln 9/ω_f where the fixture was seen to ring, over the rise's. No form that pairs torque with the speed of the same instant can
// agree better than one share: over an exponential rise of time constant τ, whose torque a fixture passes on, the energy is
// too large by 1/(ω_f·τ)², and the rise from 10 to 90 % is τ·ln 9.
func (c *checker) resolution(rotor string, shares float64) float64 {
	worst := 0.0
	for _, f := range c.fitsOf(rotor, spin.Step) {
		if f.SamplesInRise > 0 && f.RiseS > 0 {
			ringing := spin.RingingS
			if f.RingHz > 0 {
				ringing = math.Max(ringing, math.Log(9)/(2*math.Pi*math.Max(f.RingHz, spin.SlowestHz)))
			}
			worst = math.Max(worst, 0.5/f.SamplesInRise+shares*ringing*ringing/(f.RiseS*f.RiseS))
		}
	}
	return worst
}

// repeats judges conditions and scatter.
func (c *checker) repeats(r spin.RotorInertia) {
	numbers := c.numbersOf(r.Rotor)
	if r.ConditionF > 0 {
		verdict := spin.Pass
		if r.ConditionP < c.opt.P && r.ConditionSpreadRel > c.opt.Spread {
			verdict = spin.Fail
		}
		c.add(spin.Check{
			Name: "between-conditions", Subject: c.subject(r.Rotor), Value: r.ConditionSpreadRel, Limit: c.opt.Spread, Unit: "1", Verdict: verdict,
			Gates: true, Sees: []string{faultLag, faultLoad, faultFixture}, Numbers: numbers, Waivable: true,
			Text: fmt.Sprintf("inertia over %d conditions spreads by %.2g %% (F test p = %.2g): it must not depend on supply or throttle", r.Conditions, 100*r.ConditionSpreadRel, r.ConditionP),
		})
	}
	if d, ok := spin.ClassOf(c.in.Classes, r.JKgM2.Mean); ok && r.Runs > 2 && d.RunRel > 0 && r.ScatterDoF > 0 {
		c.scatter(r, d)
	}
	if r.ScatterDoF <= 1 && r.DeclaredRunRel == 0 {
		c.add(spin.Check{
			Name: "repeats", Subject: c.subject(r.Rotor), Value: float64(r.Runs), Limit: 3, Unit: "runs", Verdict: spin.Fail,
			Gates: true, Sees: []string{faultMounting, faultAlias}, Numbers: numbers,
			Text: fmt.Sprintf("%d run(s) and no repeatability declared for this size of rotor: nothing shows how runs scatter; record at least three, better six over three conditions", r.Runs),
		})
	}
}

// scatter judges how the runs scatter by how the bench is declared to repeat: more than chance
// gives, and more than the number claims. What makes runs scatter (lag, spikes, aliasing) shifts
// their mean by no more than about as much, so that below the claim it is in the uncertainty.
func (c *checker) scatter(r spin.RotorInertia, d spin.Repeatability) {
	p := d.Chance(r.ScatterRel, r.ScatterDoF)
	limit := math.Min(c.opt.Cap, math.Max(d.RunRel, r.JKgM2.Expanded().U/r.JKgM2.Mean))
	k := spin.Check{
		Name: "scatter", Subject: c.subject(r.Rotor), Value: r.ScatterRel, Limit: limit, Unit: "1", Verdict: spin.Pass,
		Gates: true, Sees: []string{faultLag, faultAlias, faultMounting}, Numbers: c.numbersOf(r.Rotor), Waivable: true,
		Text: fmt.Sprintf("runs scatter by %.2g %%, the bench repeats to %.2g %% (F test p = %.2g)", 100*r.ScatterRel, 100*d.RunRel, p),
	}
	switch {
	case p >= c.opt.P:
	case r.ScatterRel > limit:
		k.Verdict = spin.Fail
	default:
		k.Text += fmt.Sprintf(": more than usual, less than the %.2g %% that the inertia claims", 100*limit)
	}
	if d.Source != "" {
		// The relative standard uncertainty of a standard deviation is 1/√(2ν) (GUM E.4.3).
		k.Suspects = []spin.Suspect{{Source: d.Source, Sigmas: math.Abs(r.ScatterRel/d.RunRel-1) * math.Sqrt(2*d.Freedom())}}
	}
	c.add(k)
}

// sources compares the other torque sources with the recorded one.
func (c *checker) sources(r spin.RotorInertia) {
	for _, k := range []struct {
		kind  string
		limit float64
		sees  []string
	}{
		{spin.ColdCurve, c.opt.Cap, []string{faultLag, faultFixture}},
		{spin.SweepCurve, c.opt.Cap, []string{faultHeat}},
		{spin.FromCurrent, c.opt.Current, []string{faultCurrent, faultDrift}},
	} {
		var d []float64
		u := 0.0
		for _, f := range c.in.Fits {
			if f.Rotor != r.Rotor || f.Source != k.kind || f.Kind != spin.Step || f.Excluded != "" {
				continue
			}
			for _, o := range c.in.Fits {
				if o.Run == f.Run && o.Recording == f.Recording && o.Source == spin.Recorded {
					diff := f.JKgM2.Sub(o.JKgM2)
					d = append(d, diff.Mean/o.JKgM2.Mean)
					u = math.Max(u, diff.Expanded().U/o.JKgM2.Mean)
				}
			}
		}
		mean, scatter, ok := meanOf(d)
		if !ok {
			continue
		}
		c.add(spin.Check{
			Name: "source-" + k.kind, Subject: c.subject(r.Rotor), Value: mean, U: math.Max(u, scatter), Limit: k.limit, Unit: "1",
			Sees: k.sees, Numbers: c.numbersOf(r.Rotor),
			Text: fmt.Sprintf("inertia with torque from %s against recorded torque over %d runs: %+.2g %%", k.kind, len(d), 100*mean),
		})
	}
}

// Steps that all fall at one phase of the sampling grid repeat one integration
// error: their scatter says nothing of it. It shows in the difference of even
// and odd samples, whose size then hardly varies; at random phase its
// coefficient of variation is about 0.6.
const (
	lockedShare = 0.003
	lockedCV    = 0.15
	lockedRuns  = 5
)

// locked looks for steps locked to the sampler. Each recording may be locked to a
// phase of its own, so the spread that counts is the one within recordings.
func (c *checker) locked(r spin.RotorInertia) {
	var all []float64
	byRecording := map[string][]float64{} // looked up in the order of names
	var names []string
	for _, f := range c.fitsOf(r.Rotor, spin.Step) {
		if f.Source != spin.Recorded {
			continue
		}
		if byRecording[f.Recording] == nil {
			names = append(names, f.Recording)
		}
		all = append(all, f.Aliasing)
		byRecording[f.Recording] = append(byRecording[f.Recording], f.Aliasing)
	}
	ss, dof := 0.0, 0.0
	for _, name := range names {
		if a := byRecording[name]; len(a) > 1 {
			ss += numeric.Variance(a) * float64(len(a)-1)
			dof += float64(len(a) - 1)
		}
	}
	if len(all) < lockedRuns || dof < lockedRuns-1 {
		return
	}
	mean, spread := numeric.Mean(all), math.Sqrt(ss/dof)
	verdict := spin.Pass
	if mean > lockedShare && spread < lockedCV*mean {
		verdict = spin.Fail
	}
	c.add(spin.Check{
		Name: "step-phase", Subject: c.subject(r.Rotor), Value: mean, Limit: lockedShare, Unit: "1", Verdict: verdict,
		Gates: true, Sees: []string{faultAlias}, Numbers: c.numbersOf(r.Rotor),
		Text: fmt.Sprintf("even and odd samples differ by %.2g %% (half of it), spread %.2g %% within recordings: where the spread is small all steps fall on one phase of the sampling grid, and repeats hide the error; start them at random", 100*mean, 100*spread),
	})
}

// coast compares the run-down with the spin-up.
func (c *checker) coast(r spin.RotorInertia) {
	fits := c.fitsOf(r.Rotor, spin.Coast)
	if len(fits) == 0 {
		return
	}
	sum := uncertain.Value{}
	for _, f := range fits {
		v := f.JKgM2.With(uncertain.Part{Source: f.Recording + "/" + f.Run + "/noise", Contribution: f.RandomU})
		sum = sum.Add(v.Scale(1 / float64(len(fits))))
	}
	d := sum.Sub(r.JKgM2).Scale(1 / r.JKgM2.Mean)
	claimed := r.JKgM2.Expanded().U / r.JKgM2.Mean
	c.add(spin.Check{
		Name: "coast-against-step", Subject: c.subject(r.Rotor), Value: d.Mean, U: d.Expanded().U, Limit: c.limit(c.opt.Floor*2, claimed), Unit: "1",
		Gates: true, Sees: []string{faultDrift}, Numbers: c.numbersOf(r.Rotor), Waivable: true, Suspects: suspects(d),
		Text: fmt.Sprintf("inertia from %d run-down(s) against steps: %+.3g %% ± %.2g %%", len(fits), 100*d.Mean, 100*d.Expanded().U),
	})
}
