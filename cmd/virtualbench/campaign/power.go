package campaign

import (
	"fmt"
	"io"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// Dial is a disturbance of any size that moves one check.
type Dial struct {
	Check, Fault, Unit string
	// Show turns a size into Unit; Start is a size at which the check hardly moves.
	Show, Start float64
	Apply       func(s *Scenario, x float64)
	// None is the size at which there is no disturbance but what the check needs, 0: nothing is applied.
	None float64
}

// Dials are one for each check that compares sizes.
func Dials() []Dial {
	hot := func(s *Scenario, x float64) {
		s.Sweeps, s.Rotors, s.Runs, s.Conditions = []SweepDesign{{6, 6}}, []string{"bare", "disk"}, 3, Usual()[:1]
		s.Bench.Power.Present = true
		t := &s.Class.Motor.Thermal
		t.WindingKPerW, t.StatorKPerW = x*t.WindingKPerW, x*t.StatorKPerW
		t.WindingJPerK, t.StatorJPerK = t.WindingJPerK/x, t.StatorJPerK/x
	}
	// Three plateaus make steps immune to a steady drift; a run-down has rest only. That of a propeller is its load's, which is
	// known to some percents: it cannot tell.
	drifting := func(s *Scenario, x float64) {
		s.Bench.Torque.DriftNmPs, s.Coast, s.Rotors = x*s.Class.PeakNm, true, []string{"bare", "disk"}
	}
	const cold = 1e-3 // a sweep as such
	const none = 1e-9
	return []Dial{
		{"disk-against-weights", "torque scale", "%", 100, 5e-4, scaleShift, 0},
		{"weighed-again", "scale drifts, weighed again", "%", 100, 2e-4, weighedAgain, 1e-12},
		{"mass-against-drawing", "disk drawn wrong", "%", 100, 2e-4, diskShift, 0},
		{"motor-constants", "torque scale", "%", 100, 0.01, scaleShift, 0},
		{"power-balance", "torque scale", "%", 100, 0.05, scaleShift, 0},
		{"added-body", "disk drawn wrong", "%", 100, 0.005, diskShift, 0},
		{"scatter", "zero walk", "% of peak/√s", 100, 2e-4, zeroWalk, 0},
		{"energy-form", "zero walk", "% of peak/√s", 100, 2e-4, zeroWalk, 0},
		{"up-against-down", "zero walk", "% of peak/√s", 100, 2e-4, zeroWalk, 0},
		{"between-conditions", "lag differs by recording", "ms", 1e3, 2e-5, lagWander, 0},
		{"speed-halves", "lag differs by recording", "ms", 1e3, 2e-5, lagWander, 0},
		{"whole-transient", "speed held", "ms", 1e3, 1e-3, heldSpeed, 0},
		{"source-current", "saturation", "of peak", 1, 0.02, saturation, 0},
		{"source-cold", "speed held", "ms", 1e3, 1e-3, heldSpeed, 0},
		{"coast-against-step", "zero drift", "% of peak/s", 100, 1e-4, drifting, none},
		{"sweep-against-steps", "heat of the sweep", "×", 1, 0.05, hot, cold},
		{"sweep-return", "heat of the sweep", "×", 1, 0.05, hot, cold},
		{"sweep-resistance", "heat of the sweep", "×", 1, 0.05, hot, cold},
		{"aliasing", "torque averaged, declared point", "ms", 1e3, 1e-4, denied, 0},
		{"settled-load", "creep", "%", 100, 1e-3, creeping, 0},
		{"late-levels", "creep", "%", 100, 1e-3, creeping, 0},
		{"torque-spikes", "torque spikes", "%", 100, 1e-5, torqueSpikes, 0},
	}
}

// Power is how often a check fails with a disturbance that moves its median value to a number of limits.
type Power struct {
	Check string `json:"check"`
	Fault string `json:"fault"`
	Unit  string `json:"unit"`
	Class string `json:"class"`
	// FalseAlarm counts sessions without the disturbance in which it failed, CannotTell those in which it could not tell.
	Sessions   int          `json:"sessions"`
	FalseAlarm int          `json:"false_alarm"`
	CannotTell int          `json:"cannot_tell"`
	Levels     []PowerLevel `json:"levels"`
}

// PowerLevel is one size.
type PowerLevel struct {
	// Limits is the median value in limits, Size the disturbance that makes it.
	Limits   float64 `json:"limits"`
	Size     float64 `json:"size"`
	Sessions int     `json:"sessions"`
	Fail     int     `json:"fail"`
}

// MeasurePower finds the sizes at which the check's median over some sessions, the scouts, is 1, 2 and 3 limits,
// and counts its failures there in n others. A size that is not found within 2¹⁰ times the first is left out.
func MeasurePower(class rig.Class, hz float64, d Dial, first uint64, n, scouts int) Power {
	p := Power{Check: d.Check, Fault: d.Fault, Unit: d.Unit, Class: class.Name, Sessions: n}
	at := func(x float64, seed uint64, n int) []Outcome {
		s := Nominal(class, hz)
		if x > 0 {
			d.Apply(&s, x)
		}
		return Measure(s, seed, n)
	}
	median := func(x float64) float64 {
		var v []float64
		for _, o := range at(x, first+1e6, scouts) {
			v = append(v, o.Limits[d.Check])
		}
		return numeric.Median(v)
	}
	for _, o := range at(d.None, first, n) {
		switch o.Checks[d.Check] {
		case spin.Fail:
			p.FalseAlarm++
		case spin.CannotTell:
			p.CannotTell++
		}
	}
	lo, hi := 0.0, d.Start
	for _, want := range []float64{1, 2, 3} {
		for median(hi) < want {
			if hi >= 1024*d.Start {
				return p
			}
			lo, hi = hi, 2*hi
		}
		a, b := lo, hi
		for range 3 {
			if mid := (a + b) / 2; median(mid) < want {
				a = mid
			} else {
				b = mid
			}
		}
		level := PowerLevel{Limits: want, Size: (a + b) / 2, Sessions: n}
		for _, o := range at(level.Size, first, n) {
			if o.Checks[d.Check] == spin.Fail {
				level.Fail++
			}
		}
		p.Levels = append(p.Levels, level)
		lo = a
	}
	return p
}

// Print writes a row of a Markdown table, sizes times show; PowerHead is its head.
func (p Power) Print(w io.Writer, show float64) {
	fmt.Fprintf(w, "| %s | %s | %s | %d, %d of %d |", p.Check, p.Fault, p.Class, p.FalseAlarm, p.CannotTell, p.Sessions)
	for i := range 3 {
		if i >= len(p.Levels) {
			fmt.Fprint(w, " not reached |")
			continue
		}
		l := p.Levels[i]
		fmt.Fprintf(w, " %.0f %% at %.2g %s |", 100*float64(l.Fail)/float64(l.Sessions), l.Size*show, p.Unit)
	}
	fmt.Fprintln(w)
}

// PowerHead is the head of the table that Print writes rows of.
const PowerHead = "| check | disturbance | class | false alarms, cannot tell | 1 limit | 2 limits | 3 limits |\n|---|---|---|---|---|---|---|"
