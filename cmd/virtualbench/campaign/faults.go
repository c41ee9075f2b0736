package campaign

import (
	"fmt"
	"math"
	"slices"

	"spinledger/cmd/virtualbench/rig"
)

// Fault spoils a scenario at several severities.
type Fault struct {
	Name string
	// Unseen says why no check can see it, empty where one should.
	Unseen string
	Levels []Level
}

// Level is one severity.
type Level struct {
	Name  string
	Apply func(*Scenario)
}

// levels makes severities from numbers; the name is the number in a format.
func levels(format string, show float64, apply func(*Scenario, float64), at ...float64) []Level {
	var out []Level
	for _, x := range at {
		out = append(out, Level{fmt.Sprintf(format, x*show), func(s *Scenario) { apply(s, x) }})
	}
	return out
}

// peaks is the severity in peak torques of the nominal step.
func peaks(set func(s *Scenario, nm float64)) func(*Scenario, float64) {
	return func(s *Scenario, x float64) { set(s, x*s.Class.PeakNm) }
}

// Faults is the grid: every disturbance that a real bench adds, one at a time,
// then together.
func Faults() []Fault {
	return append(append(append(benchFaults(), machineFaults()...), loggerFaults()...), append(sourceFaults(), togetherFaults()...)...)
}

// Disturbances of any size, which the grid and the dials of power share.

func lagWander(s *Scenario, seconds float64) { s.LagWanderS = seconds }
func scaleShift(s *Scenario, rel float64)    { s.ScaleShift = rel }
func scaleDrift(s *Scenario, rel float64)    { s.ScaleDrift = rel }
func weighedAgain(s *Scenario, rel float64)  { s.ScaleDrift, s.WeighAgain = rel, true }
func diskShift(s *Scenario, rel float64)     { s.DiskShift = rel }

// creeping is a cell that shows a share of its load a second late.
func creeping(s *Scenario, share float64) { s.Bench.Torque.Creep, s.Bench.Torque.CreepS = share, 1 }

func heldSpeed(s *Scenario, seconds float64) { s.Bench.Speed.HoldS = seconds }
func denied(s *Scenario, averageS float64)   { averaging(s, averageS, "point", 0) }

var zeroWalk = peaks(func(s *Scenario, nm float64) { s.Bench.Torque.WalkNmRtS = nm })

func saturation(s *Scenario, ofPeak float64) {
	s.Class.Motor.SaturationA = s.Class.PeakNm / s.Class.Motor.KtNmPerA / ofPeak
}
func torqueSpikes(s *Scenario, share float64) {
	s.Bench.Faults.TorqueSpike, s.Bench.Faults.TorqueSpikeN = share, 3*s.Class.PeakNm
}

func benchFaults() []Fault {
	return []Fault{
		{Name: "nominal", Levels: []Level{{"", func(*Scenario) {}}}},
		{Name: "inflow off", Levels: []Level{{"", func(s *Scenario) { s.Errors.InflowF, s.Errors.InflowC = [2]float64{}, [2]float64{} }}}},
		{Name: "fixture", Levels: levels("%.0f Hz", 1, func(s *Scenario, x float64) { s.Bench.Fixture.Hz = x }, 80, 120, 400)},
		{Name: "fixture damping", Levels: levels("%.0f %%", 100, func(s *Scenario, x float64) { s.Bench.Fixture.Damping = x }, 0.01, 0.2)},
		{Name: "fixture of 90 Hz damped by 1.5 % and zero drift", Levels: levels("%.1f %%/s", 100, peaks(func(s *Scenario, nm float64) {
			s.Bench.Torque.DriftNmPs, s.Bench.Fixture.Hz, s.Bench.Fixture.Damping = nm, 90, 0.015
		}), 0.001, 0.003, 0.01)},
		{Name: "second mode, a third of the torque", Levels: levels("%.0f Hz", 1, func(s *Scenario, x float64) {
			f := &s.Bench.Fixture
			f.Share2, f.Hz2, f.Damping2 = 1.0/3, x, 0.03
		}, 70, 320)},
		{Name: "torque filter", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { s.Bench.Torque.FilterS = x }, 1e-3, 5e-3)},
		{Name: "hum 50 Hz", Levels: levels("%.0f %%", 100, peaks(func(s *Scenario, nm float64) { s.Bench.Torque.HumNm, s.Bench.Torque.HumHz = nm, 50 }), 0.01, 0.05)},
		{Name: "flicker noise", Levels: levels("%.1f %% a decade", 100, peaks(func(s *Scenario, nm float64) { s.Bench.Torque.FlickerNm = nm }), 0.001, 0.005)},
		{Name: "torque rounded", Levels: levels("%.1f %%", 100, peaks(func(s *Scenario, nm float64) { s.Bench.Torque.LSBNm = nm }), 0.002, 0.01)},
		{Name: "lag", Levels: levels("%+.0f ms", 1e3, func(s *Scenario, x float64) {
			if x > 0 {
				s.Bench.Torque.DelayS = x
			} else {
				s.Bench.Speed.DelayS = -x
			}
		}, 2e-3, 8e-3, -4e-3)},
		{Name: "lag differs by recording", Levels: levels("%.1f ms", 1e3, lagWander, 0.1e-3, 0.5e-3)},
		{Name: "zero offset", Levels: levels("%.0f %%", 100, peaks(func(s *Scenario, nm float64) { s.Bench.Torque.ZeroNm = nm }), 0.5)},
		{Name: "zero drift", Levels: levels("%.1f %%/s", 100, peaks(func(s *Scenario, nm float64) { s.Bench.Torque.DriftNmPs = nm }), 0.001, 0.005, 0.02)},
		{Name: "zero walk", Levels: levels("%.1f %%/√s", 100, zeroWalk, 0.002, 0.01)},
		{Name: "torque scale", Levels: levels("%+.0f %%", 100, scaleShift, 0.02, -0.02, 0.06)},
		{Name: "torque scale drifts within the session", Levels: levels("%+.1f %%", 100, scaleDrift, 0.003, 0.006, 0.01)},
		{Name: "torque scale drifts, weighed again", Levels: levels("%+.1f %%", 100, weighedAgain, 0, 0.003, 0.006, 0.01)},
		{Name: "disk drawn wrong", Levels: levels("%+.1f %%", 100, diskShift, 0.005, 0.015, 0.03)},
		{Name: "static friction", Levels: levels("%.1f %%", 100, peaks(func(s *Scenario, nm float64) { s.Class.Motor.BellWindage.DryNm = nm }), 0.005, 0.03)},
		{Name: "creep", Levels: levels("%.1f %%", 100, creeping, 0.002, 0.005, 0.01)},
		{Name: "hysteresis", Levels: levels("%.1f %%", 100, func(s *Scenario, x float64) {
			s.Bench.Torque.Hysteresis, s.Bench.Torque.PlayNm = x, 0.1*s.Class.PeakNm
		}, 0.005)},
		{Name: "cross-talk", Unseen: "the torque that thrust shows goes as ω² like the propeller's load, on plateaus and in the rise alike",
			Levels: levels("%.1f %%", 100, func(s *Scenario, x float64) {
				l := s.Class.Propeller.Load
				s.Bench.Torque.CrosstalkNmPerN = x * l.PropK / l.ThrustNs2
			}, 0.02, 0.1)},
	}
}

func machineFaults() []Fault {
	return []Fault{
		{Name: "ramp", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { s.RampS = x }, 0.05, 0.1)},
		{Name: "few runs", Levels: []Level{
			{"1", func(s *Scenario) { s.Runs, s.Conditions = 1, Usual()[:1] }},
			{"2", func(s *Scenario) { s.Runs, s.Conditions = 1, Usual()[:2] }},
			{"3", func(s *Scenario) { s.Runs = 1 }},
			{"6", func(s *Scenario) { s.Runs = 2 }},
		}},
		{Name: "braking off", Levels: []Level{
			{"short idle", func(s *Scenario) { s.Braking = false }},
			{"long idle", func(s *Scenario) { s.Braking, s.IdleS = false, 4 }},
		}},
		{Name: "imbalance", Levels: levels("×%.0f", 1, func(s *Scenario, x float64) { s.Class.Motor.BellWindage.ImbalanceNm2 *= x }, 10, 50)},
		{Name: "ripple", Levels: levels("×%.0f", 1, func(s *Scenario, x float64) {
			h := append([]rig.Harmonic(nil), s.Class.Motor.Ripple...)
			for i := range h {
				h[i].RelTorque, h[i].AbsNm = h[i].RelTorque*x, h[i].AbsNm*x
			}
			s.Class.Motor.Ripple = h
		}, 5, 20)},
		{Name: "warm start", Levels: levels("%.0f K", 1, func(s *Scenario, x float64) { s.WarmK = x }, 40)},
		{Name: "supply sag", Levels: levels("×%.0f", 1, func(s *Scenario, x float64) { s.Class.Supply.Ohm *= x }, 5, 15)},
		{Name: "saturation", Levels: levels("%.1f of peak", 1, saturation, 0.5, 1)},
		{Name: "blade passing", Levels: levels("%.0f %%", 100, func(s *Scenario, x float64) { s.Class.Propeller.Load.BladeFactor = x }, 0.1)},
		{Name: "air density", Levels: levels("%+.0f %%", 100, func(s *Scenario, x float64) { s.Errors.AirDensity = x }, 0.05)},
	}
}

func loggerFaults() []Fault {
	return []Fault{
		{Name: "sampling", Levels: levels("%.0f Hz", 1, func(s *Scenario, x float64) { s.Bench.Clock.SampleHz = x }, 100, 250, 500, 5000)},
		{Name: "torque held", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { s.Bench.Torque.HoldS = x }, 1e-3, 3e-3, 12.5e-3)},
		{Name: "averaging declared", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { averaging(s, x, "mean", x) }, 1e-3, 4e-3, 10e-3)},
		{Name: "averaging declared, slower than the logger", Levels: levels("%.2f ms", 1e3, func(s *Scenario, x float64) {
			s.Bench.Torque.AverageS, s.Bench.Torque.HoldS, s.Converter, s.MeanS = x, x, "mean", x
		}, 4.13e-3, 12.34e-3)},
		{Name: "averaging unknown", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { averaging(s, x, "unknown", 0) }, 1e-3, 4e-3, 10e-3)},
		{Name: "averaging denied", Levels: levels("%.0f ms", 1e3, denied, 1e-3, 4e-3)},
		{Name: "point declared mean", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) {
			averaging(s, x, "mean", x)
			s.Bench.Torque.AverageS = 0
		}, 2e-3, 10e-3)},
		{Name: "locked phase", Levels: []Level{
			{"2 kHz", func(s *Scenario) { s.Locked = true }},
			{"500 Hz", func(s *Scenario) { s.Locked = true; s.Bench.Clock.SampleHz = 500 }},
		}},
		{Name: "missed edges", Levels: levels("%.1f %%", 100, func(s *Scenario, x float64) { s.Bench.Speed.Miss = x }, 0.002, 0.01, 0.05)},
		{Name: "held speed", Levels: levels("%.0f ms", 1e3, heldSpeed, 2e-3, 5e-3, 20e-3)},
		{Name: "speed smoothed", Levels: levels("%.0f ms", 1e3, func(s *Scenario, x float64) { s.Bench.Speed.SmoothS = x }, 2e-3, 5e-3, 10e-3)},
		{Name: "speed over periods, not declared", Levels: levels("%.0f", 1, func(s *Scenario, x float64) { s.Bench.Speed.Span = int(x) }, 3, 7)},
		{Name: "speed rounded", Levels: levels("%.0f rpm", 30/math.Pi, func(s *Scenario, x float64) { s.Bench.Speed.LSBRadPerS = x }, 10*math.Pi/30, 100*math.Pi/30)},
		{Name: "speed noise", Levels: levels("%.0f rpm", 30/math.Pi, func(s *Scenario, x float64) { s.Bench.Speed.NoiseRadPS = x }, 10*math.Pi/30, 100*math.Pi/30)},
		{Name: "timer", Levels: levels("%.0f µs", 1e6, func(s *Scenario, x float64) { s.Bench.Speed.TimerS = x }, 10e-6, 50e-6)},
		{Name: "edge spacing", Levels: levels("%.0f %%", 100, func(s *Scenario, x float64) { s.Bench.Speed.SpacingRMS = x }, 0.03)},
		{Name: "speed timing unknown", Levels: []Level{{"", func(s *Scenario) { s.Timing = "unknown" }}}},
		{Name: "speed timing wrong", Levels: []Level{{"instant", func(s *Scenario) { s.Timing = "instant" }}}},
		{Name: "stamps rounded", Levels: levels("%.1f ms", 1e3, func(s *Scenario, x float64) { s.Bench.Clock.StampLSB = x }, 1e-4, 1e-3)},
		{Name: "stamp jitter", Levels: levels("%.0f %%", 100, func(s *Scenario, x float64) { s.Bench.Clock.StampJitter = x / s.Bench.Clock.SampleHz }, 0.1, 0.3)},
		{Name: "sample jitter", Levels: levels("%.0f %%", 100, func(s *Scenario, x float64) { s.Bench.Clock.SampleJitter = x / s.Bench.Clock.SampleHz }, 0.1, 0.3)},
		{Name: "dropouts", Levels: levels("%.1f %%", 100, func(s *Scenario, x float64) { s.Bench.Faults.Drop = x }, 0.001, 0.01, 0.04)},
		{Name: "torque spikes", Levels: levels("%.1f %%", 100, torqueSpikes, 0.001, 0.01)},
		{Name: "speed spikes", Levels: levels("%.1f %%", 100, func(s *Scenario, x float64) { s.Bench.Faults.SpeedSpike = x }, 0.001, 0.01)},
		{Name: "torque clipped", Levels: levels("%.0f %% of peak", 100, peaks(func(s *Scenario, nm float64) {
			s.Bench.Torque.ClipNm = nm
			s.Bench.Torque.ZeroNm = 0
		}), 0.8, 0.5)},
		{Name: "noise", Levels: levels("%.0f µN·m", 1e6, func(s *Scenario, x float64) { s.Bench.Torque.NoiseNm = x }, 100e-6, 400e-6)},
		{Name: "two clocks", Levels: levels("%.2f %%", 100, func(s *Scenario, x float64) {
			tel := s.Bench.Clock
			tel.RateError, tel.SampleHz = x, s.Bench.Clock.SampleHz
			s.Bench.Telemetry = &tel
		}, 0.0001, 0.002)},
		{Name: "pole pairs", Levels: []Level{{"+1", func(s *Scenario) { s.PolePairs++ }}}},
	}
}

func averaging(s *Scenario, by float64, converter string, mean float64) {
	s.Bench.Torque.AverageS, s.Converter, s.MeanS = by, converter, mean
	s.Bench.Clock.SampleHz = min(s.Bench.Clock.SampleHz, 1/by)
}

// sourceFaults concern the other torque sources: sweeps of the disk's rotor, cold and hot, with
// and without return, seen by all channels or by the torque alone; and propellers whose own torque is not to be used.
func sourceFaults() []Fault {
	sweeps := func(cold, power bool, designs ...SweepDesign) func(*Scenario) {
		return func(s *Scenario) {
			s.Sweeps, s.Rotors, s.Runs = designs, []string{"bare", "disk"}, 3
			s.Conditions = Usual()[:1]
			s.Bench.Power.Present = power
			if cold {
				s.Class.Motor.Thermal = rig.Thermal{}
			}
		}
	}
	both := []SweepDesign{{2, 2}, {6, 6}, {2, 0}, {6, 0}, {12, 12}}
	return []Fault{
		{Name: "sweep", Levels: []Level{
			{"without heat", sweeps(true, true, both...)},
			{"with heat", sweeps(false, true, both...)},
			{"without heat or current", sweeps(true, false, both...)},
			{"with heat, no current", sweeps(false, false, both...)},
		}},
		{Name: "torque of the propeller's steps not to be used", Levels: []Level{
			{"cold curve", func(s *Scenario) { s.NoTorque = []string{"prop"} }},
			{"sweep only", func(s *Scenario) {
				s.NoTorque, s.Sweeps, s.Conditions = []string{"bare", "disk", "prop"}, both[1:2], Usual()[:1]
			}},
		}},
	}
}

// togetherFaults are several at a time: each mild, then each bad, and the case that
// the study before this program left unsolved, all of them and a throttle ramp.
func togetherFaults() []Fault {
	all := func(s *Scenario, x float64) {
		peak := s.Class.PeakNm
		s.Bench.Fixture.Hz = 200 - 40*x
		s.Bench.Torque.DelayS = 1e-3 * x
		s.Bench.Torque.DriftNmPs = 2e-3 * x * peak
		s.Bench.Torque.WalkNmRtS = 1e-3 * x * peak
		s.Bench.Torque.Creep, s.Bench.Torque.CreepS = 1e-3*x, 1
		s.Bench.Speed.Miss = 1e-3 * x
		s.Bench.Speed.TimerS = 2e-6 * x
		s.Bench.Clock.StampJitter = 0.05 * x / s.Bench.Clock.SampleHz
		s.Bench.Faults.Drop = 5e-4 * x
		s.Class.Motor.BellWindage.ImbalanceNm2 *= 1 + 4*x
		s.Class.Supply.Ohm *= 1 + 2*x
		saturation(s, 0.3*x)
		s.WarmK = 15 * x
		// Most of these are there every day: the owner knows what such a bench repeats to.
		s.Repeats = slices.Clone(s.Repeats)
		for i := range s.Repeats {
			s.Repeats[i].RunRel *= 1 + 2*x
		}
	}
	return []Fault{
		{Name: "together", Levels: levels("×%.0f", 1, all, 1, 2)},
		{Name: "together and ramp", Levels: levels("×%.0f", 1, func(s *Scenario, x float64) { all(s, x); s.RampS = 0.1 }, 1, 2)},
	}
}
