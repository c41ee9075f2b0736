package crosscheck

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Method changes whenever this stage's numbers or verdicts can.
const Method = "crosscheck/12"

// Scale is a reference disk against the weights.
type Scale struct {
	Disk  string          `json:"disk"`
	Role  string          `json:"role"`
	Ratio uncertain.Value `json:"ratio"`
}

// Waiver covers one check of one subject up to a size and a day.
type Waiver struct {
	Check   string  `json:"check"`
	Subject string  `json:"subject"`
	UpTo    float64 `json:"up_to"`
	Because string  `json:"because"`
	By      string  `json:"by"`
	// Until is the last day it holds, YYYY-MM-DD.
	Until string `json:"until"`
	// Method of the check when it was waived; another one may see other things.
	Method string `json:"method"`
	// Kind of quantity that UpTo is, "" where it is not known.
	Kind quantity.Dimension `json:"kind,omitempty"`
}

// Input is all results of one job.
type Input struct {
	Job      string               `json:"job"`
	Choice   spin.Choice          `json:"choice"`
	Fits     []spin.RunFit        `json:"fits"`
	Curves   []spin.LoadCurve     `json:"curves"`
	Rotors   []spin.RotorInertia  `json:"rotors"`
	Bodies   []spin.Rotor         `json:"bodies"`
	Numbers  []spin.Number        `json:"numbers"`
	Scales   []Scale              `json:"scales,omitempty"`
	Parts    []spin.Part          `json:"parts"`
	Classes  []spin.Repeatability `json:"classes,omitempty"`
	Refusals []spin.Refusal       `json:"refusals,omitempty"`
	Waivers  []Waiver             `json:"waivers,omitempty"`
	// Unscaled recordings have neither calibration nor declared scale.
	Unscaled []string `json:"unscaled,omitempty"`
	// Weighed are sessions with weights before and after.
	Weighed []Weighed `json:"weighed,omitempty"`
	// Unsettled declarations of the job and of its benches.
	Unsettled []spin.Unsettled `json:"unsettled,omitempty"`
	// Day of judgement for waivers, YYYY-MM-DD: the latest session's day, so
	// that equal inputs give equal verdicts.
	Day string `json:"day"`
}

// Weighed is a session's two calibrations: by how much the later one reads more, relative, in one sense.
type Weighed struct {
	Session string          `json:"session"`
	Sense   spin.Sense      `json:"sense"`
	Before  string          `json:"before"`
	After   string          `json:"after"`
	Moved   uncertain.Value `json:"moved"`
}

// Options of the stage: caps and floors of limits, relative.
type Options struct {
	Floor     float64 `json:"floor"`
	Cap       float64 `json:"cap"`
	Energy    float64 `json:"energy"`
	Spread    float64 `json:"spread"`
	Current   float64 `json:"current"`
	Constants float64 `json:"constants"`
	Sweep     float64 `json:"sweep"`
	Mass      float64 `json:"mass"`
	P         float64 `json:"p"`
}

// DefaultOptions are the documented defaults: 0.3 % for comparisons within a
// run, 2 % for measured disk against geometry (common practice, no source), 1.5 %
// for current against torque, 10 % for Kt against Ke, p < 0.01 for F tests.
func DefaultOptions() Options {
	return Options{Floor: 0.003, Cap: 0.02, Energy: 0.003, Spread: 0.003, Current: 0.015, Constants: 0.10, Sweep: 0.01, Mass: 0.005, P: 0.01}
}

// Output is every check, and the numbers with their release state.
type Output struct {
	Checks   []spin.Check   `json:"checks"`
	Numbers  []spin.Number  `json:"numbers"`
	Warnings []spin.Warning `json:"warnings,omitempty"`
}

// Run makes all comparisons of one job and publishes its numbers.
func Run(in Input, opt Options) (Output, error) {
	c := &checker{in: in, opt: opt}
	c.electrical()
	c.constants()
	for _, r := range in.Rotors {
		c.secondOpinions(r)
		c.repeats(r)
		c.sources(r)
		c.coast(r)
		c.locked(r)
		c.plausible(r)
	}
	c.settled()
	c.levelled()
	c.disks()
	c.added()
	c.propellers()
	c.sweeps()
	c.lags()
	c.refused()
	c.unscaled()
	c.weighed()
	c.unsettled()
	slices.SortStableFunc(c.checks, func(a, b spin.Check) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Subject, b.Subject))
	})
	c.waive()
	return Output{Checks: c.checks, Numbers: c.publish(), Warnings: c.warnings}, nil
}

type checker struct {
	in       Input
	opt      Options
	checks   []spin.Check
	warnings []spin.Warning
}

// Verdict is the decision rule.
func Verdict(d, u, g float64) string {
	switch {
	case math.Abs(d) <= g && u <= g:
		return spin.Pass
	case math.Abs(d) > g && math.Abs(d) > u:
		return spin.Fail
	default:
		return spin.CannotTell
	}
}

// limit is min(cap, max(floor, claimed)).
func (c *checker) limit(floor, claimed float64) float64 {
	return math.Min(c.opt.Cap, math.Max(floor, claimed))
}

// doubtful is the limit of a comparison whose uncertainty is all declared: what
// exceeds it is a disagreement and not one of the one in twenty that lie outside any 95 % interval.
func (c *checker) doubtful(floor float64, d uncertain.Value) float64 {
	return math.Min(c.opt.Cap, math.Max(floor, spin.Disagreement*d.Expanded().U))
}

// add decides and files a check.
func (c *checker) add(k spin.Check) {
	k.Job = c.in.Job
	if k.Verdict == "" {
		k.Verdict = Verdict(k.Value, k.U, k.Limit)
	}
	slices.Sort(k.Numbers)
	k.Numbers = slices.Compact(k.Numbers)
	c.checks = append(c.checks, k)
}

// numbersOf are the ids of the numbers that rest on a rotor.
func (c *checker) numbersOf(rotor string) []string {
	var out []string
	for _, n := range c.in.Numbers {
		if slices.Contains(n.Rotors, rotor) {
			out = append(out, n.ID)
		}
	}
	return out
}

func (c *checker) allNumbers() []string {
	out := make([]string, len(c.in.Numbers))
	for i, n := range c.in.Numbers {
		out[i] = n.ID
	}
	return out
}

// suspects ranks the causes of a value: how many of its own standard
// deviations each alone would have to be off to bring the value to zero.
func suspects(v uncertain.Value) []spin.Suspect {
	var out []spin.Suspect
	for _, p := range v.Parts {
		// What would have to be off by a hundred thousand standard deviations
		// does not enter; much of it is rounding of what cancels (a weighed disk's thickness).
		if sigmas := math.Abs(v.Mean / p.Contribution); sigmas < 1e5 {
			out = append(out, spin.Suspect{Source: p.Source, Sigmas: sigmas})
		}
	}
	slices.SortStableFunc(out, func(a, b spin.Suspect) int {
		return cmp.Or(cmp.Compare(a.Sigmas, b.Sigmas), cmp.Compare(a.Source, b.Source))
	})
	return out
}

// fitsOf are a rotor's chosen, not excluded runs of one kind.
func (c *checker) fitsOf(rotor string, kind spin.Kind) []spin.RunFit {
	var out []spin.RunFit
	for _, f := range c.in.Fits {
		if f.Rotor == rotor && f.Kind == kind && f.Chosen && f.Excluded == "" {
			out = append(out, f)
		}
	}
	return out
}

func (c *checker) subject(rotor string) string { return c.in.Job + "/rotor:" + rotor }

// meanOf is the mean of a relative difference over runs with its expanded
// uncertainty from their scatter; ok is false below two runs.
func meanOf(d []float64) (mean, u float64, ok bool) {
	if len(d) < 2 {
		return 0, 0, false
	}
	sum := 0.0
	for _, v := range d {
		sum += v
	}
	mean = sum / float64(len(d))
	ss := 0.0
	for _, v := range d {
		ss += (v - mean) * (v - mean)
	}
	n := float64(len(d))
	return mean, uncertain.CoverageFactor(n-1) * math.Sqrt(ss/(n-1)/n), true
}

// covers tells whether a waiver covers a finding on a day.
func (w Waiver) covers(k spin.Check, day string) bool {
	return k.Name == w.Check && k.Subject == w.Subject && w.lapsed(k, day) == ""
}

// lapsed says why a waiver does not cover the finding that it names; empty where it does.
func (w Waiver) lapsed(k spin.Check, day string) string {
	method := Method
	if k.Name == PartBetweenJobs {
		method = CatalogueMethod
	}
	unit, known := quantity.Lookup(k.Unit)
	switch {
	case !k.Waivable:
		return "it cannot be waived"
	case k.Verdict == spin.Pass:
		return "it passes"
	case w.Until < day:
		return fmt.Sprintf("the waiver ended on %s, before %s", w.Until, day)
	case w.Method != method:
		return fmt.Sprintf("it was waived under method %s and is now found by %s", w.Method, method)
	case known && w.Kind != "" && w.Kind != unit.Dim:
		return fmt.Sprintf("up_to is a %s and the check's value a %s", w.Kind, unit.Dim)
	case math.Abs(k.Value) > w.UpTo:
		if k.Unit == "1" {
			return fmt.Sprintf("its value is %.3g %%, above the %.3g %% waived", 100*math.Abs(k.Value), 100*w.UpTo)
		}
		return fmt.Sprintf("its value is %.3g %s, above the %.3g %s waived", math.Abs(k.Value), k.Unit, w.UpTo, k.Unit)
	}
	return ""
}

func (w Waiver) reason() string { return fmt.Sprintf("%s (%s, until %s)", w.Because, w.By, w.Until) }

// waive applies the declared waivers. A waiver that covers nothing is an
// error of the job: it has outlived its reason. Those of checks that need other jobs
// are left to the catalogue step.
func (c *checker) waive() {
	for _, w := range c.in.Waivers {
		if w.Check == PartBetweenJobs {
			continue
		}
		why := "no such finding"
		for i := range c.checks {
			k := &c.checks[i]
			if k.Name != w.Check || k.Subject != w.Subject {
				continue
			}
			if why = w.lapsed(*k, c.in.Day); why == "" {
				k.WaivedBecause = w.reason()
			}
		}
		if why != "" {
			c.add(spin.Check{
				Name: "waiver-unused", Subject: w.Subject, Verdict: spin.Fail, Gates: true, Unit: "1", Limit: w.UpTo,
				Text: fmt.Sprintf("the waiver of %s for %s covers nothing: %s", w.Check, w.Subject, why),
			})
		}
	}
}

// waivedInto puts a waived relative deviation into the budget as a standard uncertainty.
// Where the check cannot tell, what it cannot tell (U/2 at 95 %) is part of the doubt.
func waivedInto(v uncertain.Value, k spin.Check) uncertain.Value {
	if k.Unit != "1" {
		return v
	}
	d := k.Value
	if k.Verdict == spin.CannotTell {
		d = math.Hypot(d, k.U/2)
	}
	return v.With(uncertain.Part{Source: "waived/" + k.Name + " " + k.Subject, Contribution: d * v.Mean})
}

// publish marks every number: fit for release when every gating check on it
// passes or is waived.
func (c *checker) publish() []spin.Number {
	out := slices.Clone(c.in.Numbers)
	for i := range out {
		n := &out[i]
		n.Blocked, n.Waived = nil, nil
		seen := map[string]bool{}
		for _, k := range c.checks {
			if k.Gates && k.Verdict == spin.Pass && slices.Contains(k.Numbers, n.ID) {
				for _, f := range k.Sees {
					seen[f] = true
				}
			}
		}
		for _, k := range c.checks {
			if !k.Gates || k.Verdict == spin.Pass || !slices.Contains(k.Numbers, n.ID) {
				continue
			}
			if k.Verdict == spin.CannotTell && !slices.ContainsFunc(k.Sees, func(f string) bool { return !seen[f] }) {
				continue
			}
			name := k.Name + " " + k.Subject
			if k.WaivedBecause != "" {
				n.Waived = append(n.Waived, name)
				n.Value = waivedInto(n.Value, k)
			} else {
				n.Blocked = append(n.Blocked, name)
			}
		}
		n.Release = len(n.Blocked) == 0
	}
	return out
}
