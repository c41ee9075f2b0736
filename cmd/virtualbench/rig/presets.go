package rig

import "math"

// gcm2 is one g·cm² in kg·m².
const gcm2 = 1e-7

// The presets are invented machines with the magnitudes of their class; the
// constants are common practice, no source. Bare inertia and rise constant
// J·R/Kt²: 11 mm 1 g·cm² and 12 ms, 22 mm 25 g·cm² and 8 ms, 40 mm 150 g·cm²
// and 4 ms.

// Class is a motor with the rotors and conditions that go with it.
type Class struct {
	Name      string
	Motor     Motor
	Supply    Supply
	Disk      Disk // a reference disk of its size
	Propeller Part
	IdleDuty  float64
	StepDuty  float64
	// PeakNm is the largest electromagnetic torque of the nominal step, N·m.
	PeakNm float64
}

// Classes are the three presets, smallest first.
func Classes() []Class { return []Class{Class11(), Class22(), Class40()} }

func ripple(poles, slots int, share, coggingNm float64) []Harmonic {
	pairs := float64(poles) / 2
	return []Harmonic{
		{Order: 6 * pairs, RelTorque: share, PhaseRad: 0.4}, // six-step commutation
		{Order: float64(lcm(poles, slots)), AbsNm: coggingNm, PhaseRad: 1.1},
	}
}

func lcm(a, b int) int {
	x, y := a, b
	for y != 0 {
		x, y = y, x%y
	}
	return a / x * b
}

func finish(c Class) Class {
	m, s := c.Motor, c.Supply
	loop := m.ResistanceOhm + m.ExtraOhm + c.StepDuty*c.StepDuty*s.Ohm
	c.PeakNm = m.KtNmPerA * (c.StepDuty - c.IdleDuty) * s.VoltageV / loop
	return c
}

// Class11 is an 11 mm stator on two lithium cells, with a 3-inch propeller.
func Class11() Class {
	return finish(Class{
		Name: "11 mm",
		Motor: Motor{
			Name: "wren-1104", PolePairs: 6, KtNmPerA: 1.910e-3,
			ResistanceOhm: 0.3677, ExtraOhm: 0.070, InductanceH: 25e-6,
			BellInertia: 1.0 * gcm2,
			BellWindage: Load{LinearNms: 4e-9, SquareNms2: 8e-12, ImbalanceNm2: 1e-11},
			Drag:        Drag{CoulombNm: 1.5e-4, ViscousNms: 1e-7},
			Ripple:      ripple(12, 9, 0.02, 4e-5),
			Thermal: Thermal{WindingJPerK: 0.5, WindingKPerW: 8, StatorJPerK: 2.2, StatorKPerW: 25,
				MagnetS: 60, MagnetCoupling: 0.4, IronLossFraction: 0.7},
		},
		Supply: Supply{VoltageV: 7.4, Ohm: 0.03},
		Disk:   Disk{OuterM: 30.5e-3, BoreM: 2e-3, ThicknessM: 2.2e-3, DensityKgM3: 2700},
		Propeller: Part{Name: "prop-3x2", Inertia: 3.5 * gcm2, Entrained: 0.01 * gcm2, MassKg: 1.2e-3,
			Load: Load{PropK: 1.4e-9, PropN: 2, Blades: 2, ThrustNs2: 1.9e-7, InflowF: 0.22, InflowC: 7}},
		IdleDuty: 0.30, StepDuty: 0.70,
	})
}

// Class22 is a 22 mm stator on four lithium cells, with a 5-inch propeller.
func Class22() Class {
	return finish(Class{
		Name: "22 mm",
		Motor: Motor{
			Name: "weir-2207", PolePairs: 7, KtNmPerA: 5.305e-3,
			ResistanceOhm: 0.070, ExtraOhm: 0.020, InductanceH: 8e-6,
			BellInertia: 25 * gcm2,
			BellWindage: Load{LinearNms: 2e-8, SquareNms2: 2e-10, ImbalanceNm2: 1e-10},
			Drag:        Drag{CoulombNm: 1.5e-3, ViscousNms: 1.5e-6},
			Ripple:      ripple(14, 12, 0.02, 3e-4),
			Thermal: Thermal{WindingJPerK: 2.7, WindingKPerW: 2, StatorJPerK: 9, StatorKPerW: 7,
				MagnetS: 90, MagnetCoupling: 0.4, IronLossFraction: 0.7},
		},
		Supply: Supply{VoltageV: 14.8, Ohm: 0.012},
		Disk:   Disk{OuterM: 46e-3, BoreM: 5e-3, ThicknessM: 3e-3, DensityKgM3: 2700},
		Propeller: Part{Name: "prop-5x4", Inertia: 38 * gcm2, Entrained: 0.1 * gcm2, MassKg: 4.2e-3,
			Load: Load{PropK: 1.7e-8, PropN: 2, Blades: 2, ThrustNs2: 2.2e-6, InflowF: 0.22, InflowC: 7}},
		IdleDuty: 0.30, StepDuty: 0.70,
	})
}

// Class40 is a 40 mm stator on six lithium cells, with a 13-inch propeller.
func Class40() Class {
	return finish(Class{
		Name: "40 mm",
		Motor: Motor{
			Name: "heron-4006", PolePairs: 12, KtNmPerA: 28.09e-3,
			ResistanceOhm: 0.180, ExtraOhm: 0.0304, InductanceH: 60e-6,
			BellInertia: 150 * gcm2,
			BellWindage: Load{LinearNms: 1e-7, SquareNms2: 4e-9, ImbalanceNm2: 1e-9},
			Drag:        Drag{CoulombNm: 6e-3, ViscousNms: 1e-5},
			Ripple:      ripple(24, 18, 0.015, 1.5e-3),
			Thermal: Thermal{WindingJPerK: 7.7, WindingKPerW: 1, StatorJPerK: 30, StatorKPerW: 4,
				MagnetS: 120, MagnetCoupling: 0.4, IronLossFraction: 0.7},
		},
		Supply: Supply{VoltageV: 22.2, Ohm: 0.020},
		Disk:   Disk{OuterM: 90e-3, BoreM: 8e-3, ThicknessM: 3e-3, DensityKgM3: 2700},
		Propeller: Part{Name: "prop-13x4", Inertia: 500 * gcm2, Entrained: 2 * gcm2, MassKg: 18e-3,
			Load: Load{PropK: 6.5e-7, PropN: 2, Blades: 2, ThrustNs2: 2.9e-5, InflowF: 0.22, InflowC: 7}},
		IdleDuty: 0.30, StepDuty: 0.70,
	})
}

// DiskPart is the reference disk as a part, with the windage of its two faces.
//
// Free disk, both faces, M = ½·Cm·ρ·ω²·r⁵ with Cm ≈ 0.02 at the Reynolds
// numbers of 1e4 to 3e5 that occur here (between the laminar 3.87/√Re and the
// turbulent 0.146/Re^0.2 of boundary-layer textbooks; from memory).
func (d Disk) DiskPart(name string) Part {
	r := d.OuterM / 2
	return Part{
		Name: name, Inertia: d.Inertia(), MassKg: d.Mass(),
		Load: Load{SquareNms2: 0.5 * 0.02 * ReferenceDensity * math.Pow(r, 5)},
	}
}

// Room is the air of the invented workshop.
func Room() Air { return Air{DensityKgM3: 1.19, TemperatureC: 21.5} }

// Conditions are the class's supply, a hard step with braking, room air.
func (c Class) Conditions() Conditions {
	return Conditions{Supply: c.Supply, Controller: Controller{Braking: true}, Air: Room()}
}

// NominalBench is the bench on which the accuracy is to be shown: point
// sampling at fs, 25 µN·m of noise, a 200 Hz fixture, speed from electrical
// periods by a 1 µs timer, no lag, no drift.
func NominalBench(fs float64) Bench {
	return Bench{
		Clock:   Clock{SampleHz: fs},
		Fixture: Fixture{Hz: 200, Damping: 0.05},
		Torque:  TorqueChannel{Scale: 1, NoiseNm: 25e-6, LSBNm: 1e-6},
		Thrust:  ThrustChannel{Present: true, NoiseN: 2e-3, LSBN: 1e-3},
		Speed:   SpeedChannel{Mode: Periods, TimerS: 1e-6},
		Power: PowerChannel{Present: true, VoltageNoiseV: 5e-3, VoltageLSBV: 1e-3,
			CurrentNoiseA: 20e-3, CurrentLSBA: 1e-3, CurrentFilterS: 1e-3},
		Temperature: TemperatureChannel{Present: true, NoiseC: 0.05, LSBC: 0.1, LagS: 3},
		GravityMs2:  9.81,
		ArmM:        0.1,
	}
}

// NominalSteps are n runs in one recording with both transitions each: idle,
// settled, idle again, the starts at random phase. Each stretch is 0.2 s and
// eight rise constants of the rotor.
func (c Class) NominalSteps(r Rotor, n int) Steps {
	s := math.Ceil(10*(0.2+8*c.Motor.RiseS(r.Inertia))) / 10
	return Steps{IdleDuty: c.IdleDuty, StepDuty: c.StepDuty, Repeats: n, IdleS: s, SettledS: s, ExtraS: 0.02}
}
