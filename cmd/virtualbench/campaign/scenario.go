package campaign

import (
	"slices"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/stages/kit/spin"
)

// Scenario is the design of a virtual session: what is recorded on which
// bench, how it errs, and what the tester declares of it.
type Scenario struct {
	Class rig.Class
	// Bench before the session's own errors are drawn.
	Bench rig.Bench
	// Errors are the declared uncertainties from which each session draws its truth.
	Errors rig.Declared
	// MountRel is the change of the torque reading from one mounting to the next;
	// the tester declares it. ZeroNm is the wander of the zero between recordings.
	MountRel, ZeroNm float64
	// LoadWanderRel is the standard deviation, relative, by which the air's density differs between
	// a rotor's steady recording and its step recordings: another day, another hour.
	LoadWanderRel float64
	// LagWanderS is the rms by which the lag differs from one recording to the next.
	LagWanderS float64

	Conditions []Condition
	// Runs of each condition, in one recording.
	Runs int
	// TwoPlateaus: every run has a recording of its own that stops when settled.
	TwoPlateaus bool
	// Braking: without it the return to idle is a coast.
	Braking bool
	RampS   float64
	// IdleS and SettledS lengthen the stretches; 0 leaves the nominal ones.
	IdleS, SettledS float64
	// Locked: every step falls on the same phase of the sampling grid.
	Locked bool
	// Coast adds a run-down of each rotor, Sweeps loaded sweeps of the disk rotor.
	Coast  bool
	Sweeps []SweepDesign
	// WarmK is how warm the motor starts; it then carries its heat from recording to recording.
	WarmK float64

	// ScaleShift is a change of the torque scale after the calibration, relative:
	// nobody knows of it.
	ScaleShift float64
	// ScaleDrift is by how much the torque scale moves while the session's recordings are made, relative; WeighAgain hangs the
	// weights once more after them.
	ScaleDrift float64
	WeighAgain bool
	// DiskShift draws the disk's outer diameter wrong, its mass to match or not.
	DiskShift float64

	// What the tester says of the bench, right or wrong.
	Converter string
	MeanS     float64
	Timing    string
	PolePairs int
	Repeats   []spin.Repeatability
	// NoTorque: the steps' own torque channel is not to be used, of the rotors named.
	NoTorque []string
	// Rotors recorded: bare, disk, prop.
	Rotors []string
}

// Condition is a supply, relative to the class's, and a step duty.
type Condition struct{ SupplyRel, Duty float64 }

// SweepDesign is a loaded sweep: the time of loading, and of unloading (0: the brake let go at once).
type SweepDesign struct{ LoadS, UnloadS float64 }

// Usual conditions: two supplies, two throttles.
func Usual() []Condition { return []Condition{{1, 0.70}, {0.85, 0.70}, {1, 0.55}} }

// Nominal is the design on which accuracy is to be shown: twelve runs over
// three conditions with three plateaus each, on a bench of 25 µN·m noise and a
// 200 Hz fixture, point-sampled at hz, every error drawn.
func Nominal(class rig.Class, hz float64) Scenario {
	errors := rig.Usual()
	errors.TorqueScale, errors.Gravity, errors.Arm, errors.Mass = 0.02, 2e-5, 5e-4, 3e-4
	return Scenario{
		Class: class, Bench: rig.NominalBench(hz), Errors: errors, MountRel: 5e-4, ZeroNm: 0.01 * class.PeakNm, LoadWanderRel: 0.03,
		Conditions: Usual(), Runs: 4, Braking: true,
		Converter: "point", Timing: "period", PolePairs: class.Motor.PolePairs, Repeats: repeatability(class, hz, 5e-4),
		Rotors: []string{"bare", "disk", "prop"},
	}
}

// repeatability is what the owner knows of the bench: standard deviation of a
// single run, by size of rotor, from 30 degrees of freedom of earlier sessions
// (measured by this campaign, rounded up), and that of mounting again.
func repeatability(class rig.Class, hz, mountRel float64) []spin.Repeatability {
	run := map[string][2]float64{ // bare; with a part
		"11 mm": {0.0025, 0.0008}, "22 mm": {0.0006, 0.0005}, "40 mm": {0.0004, 0.0004},
	}[class.Name]
	if hz < 2000 {
		run[0], run[1] = 2*run[0], 2*run[1]
	}
	return []spin.Repeatability{
		{UpToKgM2: 1.3 * class.Motor.BellInertia, RunRel: run[0], MountRel: mountRel, DoF: 30},
		{RunRel: run[1], MountRel: mountRel, DoF: 30},
	}
}

// has is true when a rotor is recorded.
func (s *Scenario) has(rotor string) bool { return slices.Contains(s.Rotors, rotor) }

// datedS is how much of the torque's lag is none, since values that stand for three rows or more are dated by the
// converter's period, and a declared mean by its middle.
func (s Scenario) datedS() float64 {
	hold := s.Bench.Torque.HoldS
	if hold*s.Bench.Clock.SampleHz < 3 {
		return 0
	}
	return (hold + s.MeanS) / 2
}
