package inspect

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// What a rotor needs before it may come off: six runs over three conditions
// (voltage × throttle) give a scatter that can be trusted; a steady
// recording gives its load.
const (
	WantRuns       = 6
	WantConditions = 3
)

// RotorInput is what is known of one rotor of a session so far.
type RotorInput struct {
	Rotor spin.Rotor `json:"rotor"`
	// Recordings of this rotor that were read, and names declared but not there yet.
	Recordings []spin.Recording `json:"recordings"`
	Missing    []string         `json:"missing,omitempty"`
	Fits       []spin.RunFit    `json:"fits"`
	// Inertia is nil while no run can be used.
	Inertia *spin.RotorInertia `json:"inertia,omitempty"`
	// Verdicts of the rotor's recordings, in their order.
	Verdicts []string `json:"verdicts"`
	// Checks whose subject is this rotor.
	Checks []spin.Check `json:"checks,omitempty"`
}

// Rotor judges one rotor.
func Rotor(in RotorInput) spin.RotorJudgement {
	o := spin.RotorJudgement{Rotor: in.Rotor.ID}
	runs := 0
	for _, f := range in.Fits {
		if !f.Chosen || f.Kind != spin.Step || f.Excluded != "" {
			continue
		}
		runs++
		count(&o, f)
	}
	open := func(format string, args ...any) { o.Open = append(o.Open, fmt.Sprintf(format, args...)) }
	for _, m := range in.Missing {
		open("%s is declared and not recorded", m)
	}
	if runs < WantRuns {
		open("%d usable step runs; at least %d", runs, WantRuns)
	}
	if n := len(o.Conditions); n < WantConditions {
		open("%d conditions of supply and throttle; at least %d", n, WantConditions)
	}
	if !slices.ContainsFunc(in.Recordings, func(r spin.Recording) bool { return r.Declared.Kind == spin.Steady && len(r.Plateaus) > 0 }) {
		open("no steady recording: its load is not known")
	}
	for i, r := range in.Recordings {
		// A hot sweep or a failed run-down is only a second opinion.
		needed := r.Declared.Kind == spin.Step || r.Declared.Kind == spin.Steady
		if needed && in.Verdicts[i] == spin.RecordAgain {
			open("%s: record again", r.Declared.Name)
		}
	}
	for _, c := range in.Checks {
		if c.Verdict == spin.Fail && c.Gates && c.WaivedBecause == "" {
			open("check %s fails: %s", c.Name, c.Text)
		}
	}
	if r := in.Inertia; r != nil && r.JKgM2.Mean > 0 {
		o.InertiaKgM2 = r.JKgM2.Mean
		o.Rel = r.JKgM2.Expanded().U / r.JKgM2.Mean
		for _, more := range []int{3, 6, 12} {
			o.Then = append(o.Then, spin.Projection{More: more, Rel: after(*r, more)})
		}
	}
	o.MayComeOff = len(o.Open) == 0
	return o
}

// count adds a run to its condition.
func count(o *spin.RotorJudgement, f spin.RunFit) {
	for i := range o.Conditions {
		c := &o.Conditions[i]
		if spin.SameCondition(spin.RunFit{Duty: c.Duty, SupplyV: c.SupplyV}, f) {
			c.Runs++
			return
		}
	}
	o.Conditions = append(o.Conditions, spin.ConditionRuns{SupplyV: f.SupplyV, Duty: f.Duty, Runs: 1})
}

// after is the relative expanded uncertainty when more runs scatter as those
// before: the scatter of the mean falls with √n and its degrees of freedom
// grow by one a run; everything that runs share stays.
func after(r spin.RotorInertia, more int) float64 {
	v := uncertain.Value{Mean: r.JKgM2.Mean}
	for _, p := range r.JKgM2.Parts {
		if strings.HasSuffix(p.Source, "/scatter") {
			p.Contribution *= math.Sqrt(float64(r.Runs) / float64(r.Runs+more))
			if p.DoF > 0 {
				p.DoF += float64(more)
			}
		}
		v = v.With(p)
	}
	return v.Expanded().U / v.Mean
}
