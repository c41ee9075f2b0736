package rig

import "fmt"

// Kind of a recording.
type Kind string

// The four kinds of recording.
const (
	Step   Kind = "step"
	Steady Kind = "steady"
	Sweep  Kind = "sweep"
	Coast  Kind = "coast"
)

// Role of a segment; it names what a tester would call that stretch.
type Role string

// Roles of segments.
const (
	Rest      Role = "rest"      // no drive, rotor stopped or stopping
	Idle      Role = "idle"      // low plateau
	Settled   Role = "settled"   // high plateau, with the rise at its start
	Level     Role = "level"     // one level of a staircase
	Unloaded  Role = "unloaded"  // sweep: brake off
	Loading   Role = "loading"   // sweep: brake coming on
	Unloading Role = "unloading" // sweep: brake going off again
	Coasting  Role = "coasting"  // current cut
)

// Segment is one stretch of the plan at one commanded duty.
type Segment struct {
	Role      Role
	DurationS float64
	ExtraS    float64 // a random time from 0 to ExtraS is added, so that steps fall anywhere between samples
	Duty      float64 // 0..1
	Cut       bool    // phases disconnected, whatever the controller
	UntilRest bool    // ends early once the rotor has stopped
	// BrakeFrom and BrakeTo: an eddy-current brake of torque B·ω, with
	// B = B0·(1/x − 1) and x going linearly from BrakeFrom to BrakeTo; with
	// B0 = Kt²/R the speed is about x times the unloaded speed. Zero means 1, no brake.
	BrakeFrom, BrakeTo float64
}

// Plan is one recording: what is commanded, from which supply, in which air.
type Plan struct {
	Kind       Kind
	Segments   []Segment
	Supply     Supply
	Controller Controller
	Air        Air
	Start      *Heat   // nil means everything at air temperature
	StepS      float64 // integration step; 0 means 25 µs, or 40 µs for steady and sweep
}

// Conditions are what all kinds of plan share.
type Conditions struct {
	Supply     Supply
	Controller Controller
	Air        Air
	Start      *Heat
}

func (c Conditions) plan(k Kind, s []Segment) Plan {
	return Plan{Kind: k, Segments: s, Supply: c.Supply, Controller: c.Controller, Air: c.Air, Start: c.Start}
}

// Steps describes a step recording: [idle, settled] × Repeats, then idle.
type Steps struct {
	IdleDuty, StepDuty float64
	Repeats            int
	IdleS, SettledS    float64 // each idle and settled stretch, rise and return included
	ExtraS             float64 // random part of each, see Segment.ExtraS
	RestS              float64 // rest at both ends; 0 starts and ends in idle
	FromRest           bool    // no idle before the first step: rest → settled
	NoReturn           bool    // stop after the last settled stretch: two plateaus only
}

// StepPlan lays out a step recording.
func StepPlan(c Conditions, s Steps) Plan {
	var seg []Segment
	if s.RestS > 0 || s.FromRest {
		seg = append(seg, Segment{Role: Rest, DurationS: max(s.RestS, 0.5)})
	}
	idle := Segment{Role: Idle, DurationS: s.IdleS, ExtraS: s.ExtraS, Duty: s.IdleDuty}
	for n := range s.Repeats {
		if n > 0 || !s.FromRest {
			seg = append(seg, idle)
		}
		seg = append(seg, Segment{Role: Settled, DurationS: s.SettledS, ExtraS: s.ExtraS, Duty: s.StepDuty})
	}
	if !s.NoReturn {
		seg = append(seg, idle)
	}
	if s.RestS > 0 {
		seg = append(seg, toRest(s.RestS)...)
	}
	return c.plan(Step, seg)
}

// longestStopS bounds a coast to rest; a 13-inch propeller needs about 10 s.
const longestStopS = 60

func toRest(s float64) []Segment {
	return []Segment{
		{Role: Coasting, DurationS: longestStopS, UntilRest: true},
		{Role: Rest, DurationS: s},
	}
}

// SteadyPlan holds each duty for holdS, up the list and down again, with rest
// of restS at both ends.
func SteadyPlan(c Conditions, duties []float64, holdS, restS float64) Plan {
	seg := []Segment{{Role: Rest, DurationS: restS}}
	for _, d := range duties {
		seg = append(seg, Segment{Role: Level, DurationS: holdS, Duty: d})
	}
	for i := len(duties) - 1; i >= 0; i-- {
		seg = append(seg, Segment{Role: Level, DurationS: holdS, Duty: duties[i]})
	}
	return c.plan(Steady, append(seg, toRest(restS)...))
}

// SweepPlan brakes the rotor at one duty from unloaded speed down to about
// fraction downTo of it in loadS seconds, and back in unloadS (0: brake off at
// once), with unloadedS without brake at both ends and rest of restS outside.
func SweepPlan(c Conditions, duty, downTo, loadS, unloadS, unloadedS, restS float64) Plan {
	var seg []Segment
	if restS > 0 {
		seg = append(seg, Segment{Role: Rest, DurationS: restS})
	}
	free := Segment{Role: Unloaded, DurationS: unloadedS, Duty: duty}
	seg = append(seg, free, Segment{Role: Loading, DurationS: loadS, Duty: duty, BrakeFrom: 1, BrakeTo: downTo})
	if unloadS > 0 {
		seg = append(seg, Segment{Role: Unloading, DurationS: unloadS, Duty: duty, BrakeFrom: downTo, BrakeTo: 1})
	}
	seg = append(seg, free)
	if restS > 0 {
		seg = append(seg, toRest(restS)...)
	}
	return c.plan(Sweep, seg)
}

// CoastPlan settles at duty for settledS, cuts the current, waits for rest and
// records restS more.
func CoastPlan(c Conditions, duty, settledS, restS float64) Plan {
	return c.plan(Coast, []Segment{
		{Role: Settled, DurationS: settledS, ExtraS: 0.02, Duty: duty},
		{Role: Coasting, DurationS: longestStopS, Cut: true, UntilRest: true},
		{Role: Rest, DurationS: restS, Cut: true},
	})
}

func (p Plan) stepS() float64 {
	switch {
	case p.StepS > 0:
		return p.StepS
	case p.Kind == Steady || p.Kind == Sweep:
		return 40e-6
	}
	return 25e-6
}

// longestPlanS bounds a recording, so that a slip of a unit in a plan does not
// fill the memory: an hour at 5 kHz is 1 GB of columns.
const longestPlanS = 3600

func (p Plan) check() error {
	if len(p.Segments) == 0 {
		return fmt.Errorf("plan: no segments; want at least one")
	}
	total := 0.0
	for i, s := range p.Segments {
		total += s.DurationS + s.ExtraS
		if !(s.DurationS > 0) || s.ExtraS < 0 {
			return fmt.Errorf("plan: segment %d: duration %g s, extra %g s; want > 0 and >= 0", i, s.DurationS, s.ExtraS)
		}
		if !(s.Duty >= 0 && s.Duty <= 1) {
			return fmt.Errorf("plan: segment %d: duty %g; want 0 to 1", i, s.Duty)
		}
		for _, x := range []float64{s.BrakeFrom, s.BrakeTo} {
			if x < 0 || x > 1 {
				return fmt.Errorf("plan: segment %d: brake position %g; want 0 (none) or up to 1", i, x)
			}
		}
	}
	if !(total <= longestPlanS) {
		return fmt.Errorf("plan: %g s in all; want at most %d", total, longestPlanS)
	}
	if h := p.stepS(); !(h >= 1e-7 && h <= 1e-4) {
		return fmt.Errorf("plan: integration step %g s; want 1e-7 to 1e-4", h)
	}
	if !(p.Supply.VoltageV > 0) || p.Supply.Ohm < 0 {
		return fmt.Errorf("plan: supply %g V behind %g ohm; want > 0 and >= 0", p.Supply.VoltageV, p.Supply.Ohm)
	}
	if !(p.Air.DensityKgM3 > 0) {
		return fmt.Errorf("plan: air density %g kg/m3; want > 0", p.Air.DensityKgM3)
	}
	return nil
}
