package air

import (
	"math"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/uncertain"
)

const cipm = "CIPM-2007: Picard, Davis, Gläser, Fujii, Metrologia 45 (2008) 149, "

// The numbers of the formula, with the molar gas constant it was published with.
var (
	gasConstant  = quantity.Constant{Symbol: "R", Name: "molar gas constant", Value: 8.314472, U: 0.000015, Unit: "J/(mol·K)", Source: cipm + "section 2 (CODATA 2006)"}
	molarAir     = quantity.Constant{Symbol: "Mₐ", Name: "molar mass of dry air at 400 µmol/mol CO₂", Value: 28.96546e-3, Unit: "kg/mol", Source: cipm + "eq. 3"}
	molarWater   = quantity.Constant{Symbol: "M_v", Name: "molar mass of water", Value: 18.01528e-3, Unit: "kg/mol", Source: cipm + "section 2"}
	formulaError = quantity.Constant{Symbol: "u(F)", Name: "relative standard uncertainty of the formula", Value: 22e-6, Unit: "1", Source: cipm + "section 3"}
)

// Vapour pressure at saturation, enhancement factor, compressibility
// (CIPM-2007, appendix A1).
const (
	vapourA = 1.2378847e-5  // K⁻²
	vapourB = -1.9121316e-2 // K⁻¹
	vapourC = 33.93711047
	vapourD = -6.3431645e3 // K

	enhanceAlpha = 1.00062
	enhanceBeta  = 3.14e-8 // Pa⁻¹
	enhanceGamma = 5.6e-7  // K⁻²

	za0 = 1.58123e-6 // K·Pa⁻¹
	za1 = -2.9331e-8 // Pa⁻¹
	za2 = 1.1043e-10 // K⁻¹·Pa⁻¹
	zb0 = 5.707e-6   // K·Pa⁻¹
	zb1 = -2.051e-8  // Pa⁻¹
	zc0 = 1.9898e-4  // K·Pa⁻¹
	zc1 = -2.376e-6  // Pa⁻¹
	zd  = 1.83e-11   // K²·Pa⁻²
	ze  = -0.765e-8  // K²·Pa⁻²
)

// FormulaSource is the cause that every density by the formula shares.
const FormulaSource = "air/cipm-2007"

// State is the air of a session. Humidity is relative, 0…1.
type State struct {
	TemperatureK uncertain.Value
	PressurePa   uncertain.Value
	Humidity     uncertain.Value
}

// UnstatedHumidity is what is known of a humidity that nobody wrote down: 0.5, rectangular
// between 0 and 1. At 20 °C it leaves the density uncertain by 0.25 %.
func UnstatedHumidity(source string) uncertain.Value {
	return uncertain.New(0.5, 0.5/math.Sqrt(3), 0, source)
}

// Recommended tells whether the state lies where CIPM-2007 claims its uncertainty
// (section 1): 600 hPa to 1100 hPa and 15 °C to 27 °C. Outside, up to the bounds of Density, the formula
// is still good to 0.1 % (common practice, no source).
func (s State) Recommended() bool {
	p, t := s.PressurePa.Mean, s.TemperatureK.Mean-quantity.ZeroCelsius.Value
	return p >= 60000 && p <= 110000 && t >= 15 && t <= 27
}

// Density in kg/m³ with the parts of temperature, pressure and humidity and of the
// formula itself. The error is a *positioned.Error without a file, its Field one of
// temperature, pressure, humidity: −40 °C to 60 °C, 300 hPa to 1200 hPa, 0 to 1.
func Density(s State) (uncertain.Value, error) {
	t, p, h := s.TemperatureK.Mean, s.PressurePa.Mean, s.Humidity.Mean
	celsius := t - quantity.ZeroCelsius.Value
	switch {
	case !(celsius >= -40 && celsius <= 60):
		return uncertain.Value{}, outside("temperature", t, "K", "−40 °C to 60 °C")
	case !(p >= 30000 && p <= 120000):
		return uncertain.Value{}, outside("pressure", p, "Pa", "300 hPa to 1200 hPa")
	case !(h >= 0 && h <= 1):
		return uncertain.Value{}, outside("humidity", h, "1", "0 % to 100 %")
	}
	rho, byT, byP, byH := density(t, p, h)
	u := formulaError.Value * rho
	if !s.Recommended() {
		u = 1e-3 * rho
	}
	return uncertain.Combine(rho,
		uncertain.Term{Sensitivity: byT, Value: s.TemperatureK},
		uncertain.Term{Sensitivity: byP, Value: s.PressurePa},
		uncertain.Term{Sensitivity: byH, Value: s.Humidity},
		uncertain.Term{Sensitivity: 1, Value: uncertain.New(0, u, 0, FormulaSource)}), nil
}

func outside(field string, got float64, unit, want string) error {
	u, _ := quantity.Lookup(unit)
	return &positioned.Error{Field: field, Got: quantity.Format(got, u), Want: want}
}

// density with its derivatives by T, p and h, through ln ρ.
func density(t, p, h float64) (rho, byT, byP, byH float64) {
	c := t - quantity.ZeroCelsius.Value
	// Water vapour.
	psv := math.Exp(vapourA*t*t + vapourB*t + vapourC + vapourD/t)
	psvT := psv * (2*vapourA*t + vapourB - vapourD/(t*t))
	f := enhanceAlpha + enhanceBeta*p + enhanceGamma*c*c
	fT := 2 * enhanceGamma * c
	x := h * f * psv / p
	xT := h / p * (fT*psv + f*psvT)
	xP := h * psv * (enhanceBeta*p - f) / (p * p)
	xH := f * psv / p
	// Compressibility Z = 1 − q·P + q²·Q with q = p/T.
	q := p / t
	bigP := za0 + za1*c + za2*c*c + (zb0+zb1*c)*x + (zc0+zc1*c)*x*x
	bigQ := zd + ze*x*x
	z := 1 - q*bigP + q*q*bigQ
	zT := q/t*bigP - q*(za1+2*za2*c+zb1*x+zc1*x*x) - 2*q*q*bigQ/t
	zP := -bigP/t + 2*q*bigQ/t
	zX := -q*(zb0+zb1*c+2*(zc0+zc1*c)*x) + 2*q*q*ze*x
	// Density.
	kappa := 1 - molarWater.Value/molarAir.Value
	dry := 1 - kappa*x
	rho = p * molarAir.Value / (z * gasConstant.Value * t) * dry
	byT = rho * (-(zT+zX*xT)/z - 1/t - kappa*xT/dry)
	byP = rho * (1/p - (zP+zX*xP)/z - kappa*xP/dry)
	byH = rho * (-zX*xH/z - kappa*xH/dry)
	return rho, byT, byP, byH
}
