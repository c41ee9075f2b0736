package air

import (
	"math"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
)

const iso = "ISO 2533:1975, Standard Atmosphere, "

// The numbers of the standard atmosphere.
var (
	seaTemperature = quantity.Constant{Symbol: "T₀", Name: "temperature at mean sea level", Value: 288.15, Unit: "K", Source: iso + "table 1"}
	lapse          = quantity.Constant{Symbol: "−β", Name: "temperature lapse to 11 km", Value: 6.5e-3, Unit: "K/m", Source: iso + "table 4"}
	dryAir         = quantity.Constant{Symbol: "R", Name: "specific gas constant of air", Value: 287.05287, Unit: "J/(kg·K)", Source: iso + "table 1"}
)

// Constants lists the constants of this package.
func Constants() []quantity.Constant {
	return []quantity.Constant{gasConstant, molarAir, molarWater, formulaError, seaTemperature, lapse, dryAir}
}

// Standard is the standard atmosphere at a geopotential altitude of −2000 m to
// 11000 m: T = T₀ − 6.5 K/km·H, p = p₀·(T/T₀)^(gₙ/(R·6.5 K/km)), ρ = p/(R·T). It fails outside.
func Standard(altitudeM float64) (temperatureK, pressurePa, densityKgM3 float64, err error) {
	if !(altitudeM >= -2000 && altitudeM <= 11000) {
		metre, _ := quantity.Lookup("m")
		return 0, 0, 0, &positioned.Error{Field: "altitude", Got: quantity.Format(altitudeM, metre), Want: "−2000 m to 11000 m"}
	}
	temperatureK = seaTemperature.Value - lapse.Value*altitudeM
	exponent := quantity.StandardGravity.Value / (dryAir.Value * lapse.Value)
	pressurePa = quantity.StandardPressure.Value * math.Pow(temperatureK/seaTemperature.Value, exponent)
	return temperatureK, pressurePa, pressurePa / (dryAir.Value * temperatureK), nil
}
