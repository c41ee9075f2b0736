package spin

import (
	"math"

	"spinledger/stages/kit/uncertain"
)

// Load forms.
const (
	// FormNone: the external load is taken as zero.
	FormNone = "none"
	// FormSquare: L = c₀·x², x = ω/ω₀.
	FormSquare = "square"
	// FormLinearSquare: L = c₀·x + c₁·x².
	FormLinearSquare = "linear+square"
	// FormPower: L = c₀·x^c₁.
	FormPower = "power"
	// FormCubic: L = c₀·x + c₁·x² + c₂·x³.
	FormCubic = "linear+square+cubic"
)

// LoadPoint is one settled speed and the load seen there, zero removed.
type LoadPoint struct {
	Recording    string  `json:"recording"`
	SpeedRadPerS float64 `json:"speed_radps"`
	TorqueNm     float64 `json:"torque_nm"`
	SE           float64 `json:"se"`
	ResidualNm   float64 `json:"residual_nm"`
}

// LoadCurve is the external load L(ω) of one rotor in N·m, at an air density.
type LoadCurve struct {
	Rotor string `json:"rotor"`
	Form  string `json:"form"`
	// Coef in N·m (the exponent of the power form is dimensionless), sharing
	// sources job/rotor:id/drag/i; speeds enter as x = ω/RefRadPerS. Where Dry is
	// true the last one is dry friction against the ground, which acts while the rotor turns.
	Coef       []uncertain.Value `json:"coef"`
	Dry        bool              `json:"dry,omitempty"`
	RefRadPerS float64           `json:"ref_radps"`
	// Valid speeds, the measured range.
	LowRadPerS  float64 `json:"low_radps"`
	HighRadPerS float64 `json:"high_radps"`
	// DensityKgM3 of the air it was measured in, 0 when unknown.
	DensityKgM3 float64 `json:"density_kgm3,omitempty"`
	// Basis is "steady" or "plateaus" (the runs' own).
	Basis string `json:"basis"`
	// Points with residuals; Levels counts distinct speeds, Passes the sweeps up and down.
	Points []LoadPoint `json:"points"`
	Levels int         `json:"levels"`
	// ChiSquaredRel is χ² over its degrees of freedom before widening; DoF those.
	ChiSquaredRel float64 `json:"chi_squared_rel"`
	DoF           int     `json:"dof"`
	// LackOfFitP is the p-value of the lack-of-fit F test, 1 when repeats do not allow one.
	LackOfFitP float64 `json:"lack_of_fit_p"`
	// Creep that the levels show, nil where they cannot.
	Creep *Creep `json:"creep,omitempty"`
	// Candidates tried with their AICc, in the order of richness; without those
	// that have too few points for one.
	Candidates []LoadCandidate `json:"candidates"`
}

// CreepTaus is the number of time constants that are tried.
const CreepTaus = 8

// Creep is how a torque comes late on the levels of a steady recording: the channel reads a load L as L + Rel·q, where q follows L with the
// time constant TauS. Rel has the standard error SE, with DoF degrees of freedom.
type Creep struct {
	Rel  float64 `json:"rel"`
	SE   float64 `json:"se"`
	TauS float64 `json:"tau_s"`
	DoF  int     `json:"dof"`
}

// LoadCandidate is one form tried.
type LoadCandidate struct {
	Form string  `json:"form"`
	AICc float64 `json:"aicc"`
	RSS  float64 `json:"rss"`
}

// At is L(ω) in N·m for ω ≥ 0 in rad/s.
func (c LoadCurve) At(w float64) float64 {
	var coef [3]float64
	dry := c.DryNm(w)
	for i, v := range c.Coef {
		if c.Dry && i == len(c.Coef)-1 {
			break
		}
		coef[i] = v.Mean
	}
	return LoadAt(c.Form, coef, w/c.RefRadPerS) + dry
}

// turning is the share of the reference speed above which a rotor counts as
// turning: a speed channel's noise about rest stays below.
const turning = 0.01

// DryNm is the part of At that is dry friction, 0 at rest.
func (c LoadCurve) DryNm(w float64) float64 {
	if !c.Dry || w <= turning*c.RefRadPerS {
		return 0
	}
	return c.Coef[len(c.Coef)-1].Mean
}

// Moved is the curve with every coefficient moved by k standard deviations of one source.
func (c LoadCurve) Moved(source string, k float64) LoadCurve {
	out := c
	out.Coef = make([]uncertain.Value, len(c.Coef))
	for i, v := range c.Coef {
		out.Coef[i] = uncertain.Value{Mean: v.Mean + k*v.Part(source), Parts: v.Parts}
	}
	return out
}

// LoadAt evaluates a form with coefficients at x = ω/ω₀; 0 for x ≤ 0.
func LoadAt(form string, c [3]float64, x float64) float64 {
	if x <= 0 {
		return 0
	}
	switch form {
	case FormSquare:
		return c[0] * x * x
	case FormLinearSquare:
		return (c[0] + c[1]*x) * x
	case FormCubic:
		return (c[0] + (c[1]+c[2]*x)*x) * x
	case FormPower:
		return c[0] * math.Pow(x, c[1])
	default:
		return 0
	}
}
