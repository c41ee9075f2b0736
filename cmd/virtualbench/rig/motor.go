package rig

import "math"

// ReferenceC is the temperature, in degrees Celsius, at which a Motor's
// resistance and torque constant are stated.
const ReferenceC = 25.0

// copperPerK is the temperature coefficient of resistance of annealed copper
// at 20 °C, 1/K (IEC 60028, 0.00393; from memory). It is used at ReferenceC,
// which is wrong by 2 % of the coefficient and without effect on an inertia.
const copperPerK = 0.00393

// magnetPerK is the fall of a sintered NdFeB magnet's remanence, 1/K.
// Common practice, no source: catalogues give 0.09 to 0.12 %/K.
const magnetPerK = 0.001

// Harmonic is one torque pulsation locked to the rotor's angle θ: amplitude
// (RelTorque·|Te| + AbsNm)·sin(Order·θ + PhaseRad), acting between rotor and
// stator. A relative part is commutation ripple, an absolute part is cogging.
type Harmonic struct {
	Order     float64 // cycles per mechanical revolution, > 0
	RelTorque float64 // amplitude over electromagnetic torque, >= 0
	AbsNm     float64 // amplitude, N·m, >= 0
	PhaseRad  float64 // rad
}

// Drag acts between rotor and stator: bearings and iron. It slows the rotor
// and cancels in the reaction that the torque sensor sees.
// Torque = CoulombNm·sign(ω) + ViscousNms·ω.
type Drag struct {
	CoulombNm  float64 // N·m, >= 0
	ViscousNms float64 // N·m·s/rad, >= 0
}

// Thermal is a chain of two heat capacities, winding and stator, with the
// magnets following the stator by a first-order lag.
type Thermal struct {
	WindingJPerK     float64 // heat capacity of the copper, J/K
	WindingKPerW     float64 // winding to stator, K/W
	StatorJPerK      float64 // heat capacity of the stator iron, J/K
	StatorKPerW      float64 // stator to ambient, K/W
	MagnetS          float64 // time constant of magnet towards stator, s
	MagnetCoupling   float64 // share of the stator's rise that reaches the magnets, 0..1
	IronLossFraction float64 // share of drag power that heats the stator, 0..1
}

// Motor is a brushless machine as its direct-current equivalent: one phase
// current, a back-emf k·ω and a torque k·i with the same k, so that
// electrical and mechanical power agree.
type Motor struct {
	Name          string
	PolePairs     int
	KtNmPerA      float64 // torque constant at ReferenceC and small current; equals V·s/rad
	ResistanceOhm float64 // winding at ReferenceC
	ExtraOhm      float64 // leads and switches: not heated by the winding
	InductanceH   float64
	SaturationA   float64 // k falls as 1/(1+(i/SaturationA)²); 0 means it does not
	BellInertia   float64 // bare rotor (bell and shaft), kg·m²
	BellWindage   Load    // external load of the bell
	Drag          Drag
	Ripple        []Harmonic
	Thermal       Thermal
}

// RiseS is the mechanical time constant J·R/Kt² in seconds of a rotor with
// inertia j (kg·m²) on a stiff supply, cold and unsaturated.
func (m Motor) RiseS(j float64) float64 {
	return j * (m.ResistanceOhm + m.ExtraOhm) / (m.KtNmPerA * m.KtNmPerA)
}

// torqueConstant is k at magnet temperature magnetC and phase current i.
func (m *Motor) torqueConstant(magnetC, i float64) float64 {
	k := m.KtNmPerA * (1 - magnetPerK*(magnetC-ReferenceC))
	if m.SaturationA > 0 {
		return saturated(k, i, m.SaturationA)
	}
	return k
}

// resistance is the phase resistance at winding temperature windingC.
func (m *Motor) resistance(windingC float64) float64 {
	return m.ResistanceOhm*(1+copperPerK*(windingC-ReferenceC)) + m.ExtraOhm
}

// Supply is a voltage source behind a resistance.
type Supply struct {
	VoltageV float64 // open circuit, V
	Ohm      float64 // internal resistance with leads, Ω
}

// Controller turns a commanded duty into voltage on the motor.
type Controller struct {
	// RampS is the time a change of duty takes, linear, s; 0 is a hard step.
	RampS float64
	// Braking lets the current reverse, so that a lower duty brakes the rotor
	// electrically. Without it the current stops at zero and the rotor coasts.
	Braking bool
	// LimitA clips the magnitude of the phase current, A; 0 means no limit.
	LimitA float64
}

// Air is the air around the rotor.
type Air struct {
	DensityKgM3  float64 // kg/m³
	TemperatureC float64 // °C, also ambient of the motor
}

// Heat is the thermal state of a motor.
type Heat struct {
	WindingC, StatorC, MagnetC float64 // °C
}

// Uniform is a motor at one temperature throughout.
func Uniform(c float64) Heat { return Heat{c, c, c} }

// equilibriumCurrent is the phase current at speed w and duty d once the
// inductance has settled. The fixed point converges fast because saturation
// changes k by a few tens of percent at most.
func equilibriumCurrent(m *Motor, s Supply, c Controller, h Heat, d, w float64) float64 {
	loop := m.resistance(h.WindingC) + d*d*s.Ohm
	i := 0.0
	for range 60 {
		next := (d*s.VoltageV - m.torqueConstant(h.MagnetC, i)*w) / loop
		if math.Abs(next-i) <= 1e-13*(1+math.Abs(i)) {
			i = next
			break
		}
		i = 0.5 * (i + next)
	}
	if !c.Braking && i < 0 {
		i = 0
	}
	if c.LimitA > 0 {
		i = math.Max(-c.LimitA, math.Min(c.LimitA, i))
	}
	return i
}
