package rig

import "math"

// Load is the external torque on a rotor: between it and the ground, so the
// torque sensor sees it. At steady speed, with ρ the air density,
//
//	L(ω) = LinearNms·ω + SquareNms2·ω²·ρ/ρ0 + PropK·ω^PropN·ρ/ρ0 + DryNm
//
// for ω > 0, odd in ω, and DryNm absent at rest. ρ0 is RefDensity.
type Load struct {
	LinearNms  float64 // viscous windage, N·m·s/rad
	SquareNms2 float64 // turbulent windage, N·m·s²/rad²
	PropK      float64 // propeller, N·m·s^n/rad^n
	PropN      float64 // exponent of the propeller, 1.5..2.5; ignored when PropK is 0
	RefDensity float64 // ρ0, kg/m³; 0 means ReferenceDensity
	DryNm      float64 // dry friction between rotor and ground, N·m

	// InflowF and InflowC: the induced inflow v, in units of the blades' speed,
	// follows ω with a lag of InflowC radians of rotation, dv/dθ = (ω−v)/c, and
	// the propeller's torque is PropK·ω^n·(1 − f·(1 − v/ω)). To first order
	// that is a virtual inertia −f·k·ω^(n−2)·c. InflowC 0 switches it off.
	InflowF float64
	InflowC float64 // rad

	Blades       int     // number of blades, for BladeFraction
	BladeFactor  float64 // blade passing: propeller torque × (1 + BladeFactor·sin(Blades·θ))
	ThrustNs2    float64 // thrust = ThrustNs2·ω²·ρ/ρ0, N·s²/rad²
	ImbalanceNm2 float64 // fixture excitation = ImbalanceNm2·ω²·sin θ, N·m·s²/rad²
}

// ReferenceDensity is the air density in kg/m³ that load coefficients refer to
// when a Load names none.
const ReferenceDensity = 1.2

func (l Load) densityRatio(rho float64) float64 {
	if l.RefDensity > 0 {
		return rho / l.RefDensity
	}
	return rho / ReferenceDensity
}

// At is the static load in N·m at speed w (rad/s) in air of density rho
// (kg/m³): what the torque sensor would read at that speed held forever.
func (l Load) At(w, rho float64) float64 {
	if w == 0 {
		return 0
	}
	a, ratio := math.Abs(w), l.densityRatio(rho)
	t := l.LinearNms*a + l.SquareNms2*a*a*ratio + l.DryNm
	if l.PropK != 0 {
		t += l.PropK * math.Pow(a, l.PropN) * ratio
	}
	return math.Copysign(t, w)
}

// plus adds two loads. Only one of them may carry a propeller.
func (l Load) plus(o Load) Load {
	if o.PropK != 0 {
		l.PropK, l.PropN, l.RefDensity = o.PropK, o.PropN, o.RefDensity
		l.InflowF, l.InflowC = o.InflowF, o.InflowC
		l.Blades, l.BladeFactor = o.Blades, o.BladeFactor
	}
	l.LinearNms += o.LinearNms
	l.SquareNms2 += o.SquareNms2
	l.DryNm += o.DryNm
	l.ThrustNs2 += o.ThrustNs2
	l.ImbalanceNm2 += o.ImbalanceNm2
	return l
}

// Part is a body that can be mounted on a motor's bell.
type Part struct {
	Name      string
	Inertia   float64 // of the body about the axis, kg·m²
	Entrained float64 // air carried along, kg·m²
	MassKg    float64
	Load      Load
}

// Rotor is what turns: the bell and the parts on it.
type Rotor struct {
	Name      string
	Inertia   float64 // of the bodies, bell included, kg·m²
	Entrained float64 // air carried along, kg·m²
	Load      Load
}

// Rotor mounts parts on the motor's bell; with no parts it is the bare rotor.
func (m Motor) Rotor(name string, parts ...Part) Rotor {
	r := Rotor{Name: name, Inertia: m.BellInertia, Load: m.BellWindage}
	for _, p := range parts {
		r.Inertia += p.Inertia
		r.Entrained += p.Entrained
		r.Load = r.Load.plus(p.Load)
	}
	return r
}

// powerLaw evaluates w^n near the last speed by a Taylor series: math.Pow
// would be a third of the cost of a step.
type powerLaw struct {
	n             float64
	c             [6]float64 // binomial coefficients of (1+r)^n, c[0] = 1
	anchor, value float64
	inverse       float64
	square        bool
}

// anchorSpan bounds |w/anchor−1|. The first neglected term is below
// |C(n,6)|·0.01⁶ ≈ 1e-14 for exponents from 1.5 to 2.5.
const anchorSpan = 0.01

func newPowerLaw(n float64) powerLaw {
	p := powerLaw{n: n, square: n == 2}
	p.c[0] = 1
	for j := 1; j < len(p.c); j++ {
		p.c[j] = p.c[j-1] * (n - float64(j-1)) / float64(j)
	}
	return p
}

// at is w^n for w >= 0.
func (p *powerLaw) at(w float64) float64 {
	if p.square {
		return w * w
	}
	r := w*p.inverse - 1
	if r > anchorSpan || r < -anchorSpan || p.anchor == 0 {
		if w <= 0 {
			return 0
		}
		p.anchor, p.inverse, p.value = w, 1/w, math.Pow(w, p.n)
		return p.value
	}
	c := &p.c
	return p.value * (1 + r*(c[1]+r*(c[2]+r*(c[3]+r*(c[4]+r*c[5])))))
}
