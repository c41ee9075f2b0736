package campaign

import (
	"fmt"
	"io"
	"math"

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
}

// Dials are one for each check that compares sizes.
func Dials() []Dial {
	scale := func(s *Scenario, x float64) { s.ScaleShift = x }
	walk := peaks(func(s *Scenario, nm float64) { s.Bench.Torque.WalkNmRtS = nm })
	hot := func(s *Scenario, x float64) {
		s.Sweeps, s.Rotors, s.Runs, s.Conditions = []SweepDesign{{6, 6}}, []string{"bare", "disk"}, 3, Usual()[:1]
		s.Bench.Power.Present = true
		t := &s.Class.Motor.Thermal
		t.WindingKPerW, t.StatorKPerW = x*t.WindingKPerW, x*t.StatorKPerW
		t.WindingJPerK, t.StatorJPerK = t.WindingJPerK/x, t.StatorJPerK/x
	}
	saturated := func(s *Scenario, x float64) { s.Class.Motor.SaturationA = s.Class.PeakNm / s.Class.Motor.KtNmPerA / x }
	return []Dial{
		{"disk-against-weights", "torque scale", "%", 100, 5e-4, scale},
		{"mass-against-drawing", "disk drawn wrong", "%", 100, 2e-4, func(s *Scenario, x float64) { s.DiskShift = x }},
		{"motor-constants", "torque scale", "%", 100, 0.01, scale},
		{"power-balance", "torque scale", "%", 100, 0.05, scale},
		{"added-body", "disk drawn wrong", "%", 100, 0.005, func(s *Scenario, x float64) { s.DiskShift = x }},
		{"scatter", "zero walk", "% of peak/√s", 100, 2e-4, walk},
		{"energy-form", "zero walk", "% of peak/√s", 100, 2e-4, walk},
		{"up-against-down", "zero walk", "% of peak/√s", 100, 2e-4, walk},
		{"between-conditions", "lag differs by recording", "ms", 1e3, 2e-5, func(s *Scenario, x float64) { s.LagWanderS = x }},
		{"speed-halves", "lag differs by recording", "ms", 1e3, 2e-5, func(s *Scenario, x float64) { s.LagWanderS = x }},
		{"whole-transient", "speed held", "ms", 1e3, 1e-3, func(s *Scenario, x float64) { s.Bench.Speed.HoldS = x }},
		{"source-current", "saturation", "of peak", 1, 0.02, saturated},
		{"source-cold", "speed held", "ms", 1e3, 1e-3, func(s *Scenario, x float64) { s.Bench.Speed.HoldS = x }},
		{"coast-against-step", "lag differs by recording", "ms", 1e3, 5e-5, func(s *Scenario, x float64) { s.LagWanderS, s.Coast = x, true }},
		{"sweep-against-steps", "heat of the sweep", "×", 1, 0.05, hot},
		{"sweep-return", "heat of the sweep", "×", 1, 0.05, hot},
		{"sweep-resistance", "heat of the sweep", "×", 1, 0.05, hot},
		{"aliasing", "torque averaged, declared point", "ms", 1e3, 1e-4, func(s *Scenario, x float64) { averaging(s, x, "point", 0) }},
		{"torque-spikes", "torque spikes", "%", 100, 1e-5, func(s *Scenario, x float64) {
			s.Bench.Faults.TorqueSpike, s.Bench.Faults.TorqueSpikeN = x, 3*s.Class.PeakNm
		}},
	}
}

// Power is how often a check fails with a disturbance that moves its median value to a number of limits.
type Power struct {
	Check string `json:"check"`
	Fault string `json:"fault"`
	Unit  string `json:"unit"`
	Class string `json:"class"`
	// FalseAlarm counts sessions without the disturbance in which it failed, CannotTell those in which it could not tell.
	Sessions, FalseAlarm, CannotTell int
	Levels                           []PowerLevel `json:"levels"`
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
	none := at(0, first, n)
	if d.Check == "sweep-against-steps" || d.Check == "sweep-return" || d.Check == "sweep-resistance" {
		none = at(1e-3, first, n) // a sweep as such, cold
	}
	for _, o := range none {
		switch o.Checks[d.Check] {
		case spin.Fail:
			p.FalseAlarm++
		case spin.CannotTell:
			p.CannotTell++
		}
	}
	lo, hi := 0.0, d.Start
	for _, want := range []float64{1, 2, 3} {
		for tries := 0; median(hi) < want; tries++ {
			if tries == 10 || hi > 1024*d.Start {
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

// Print writes a row of a Markdown table; Header its head.
func (p Power) Print(w io.Writer, show float64) {
	fmt.Fprintf(w, "| %s | %s | %s | %d, %d of %d |", p.Check, p.Fault, p.Class, p.FalseAlarm, p.CannotTell, p.Sessions)
	for i := range 3 {
		if i >= len(p.Levels) {
			fmt.Fprint(w, " not reached |")
			continue
		}
		l := p.Levels[i]
		fmt.Fprintf(w, " %.0f %% at %s %s |", 100*float64(l.Fail)/float64(l.Sessions), digits(l.Size*show), p.Unit)
	}
	fmt.Fprintln(w)
}

// PowerHead is the head of the table.
const PowerHead = "| check | disturbance | class | false alarms, cannot tell | 1 limit | 2 limits | 3 limits |\n|---|---|---|---|---|---|---|"

func digits(x float64) string {
	if x == 0 {
		return "0"
	}
	return fmt.Sprintf("%.*f", max(0, 1-int(math.Floor(math.Log10(math.Abs(x))))), x)
}
