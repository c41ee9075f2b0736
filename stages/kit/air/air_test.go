package air

import (
	"math"
	"testing"

	"spinledger/stages/kit/uncertain"
)

func state(celsius, pa, h float64) State {
	return State{uncertain.New(celsius+273.15, 0.2, 0, "spring/temperature"), uncertain.New(pa, 50, 0, "spring/pressure"), uncertain.New(h, 0.02, 0, "spring/humidity")}
}

// CIPM-2007 at 400 ppm CO₂, Picard et al., Metrologia 45 (2008) 149; coefficients seen,
// values calc, 2e-5 kg/m³.
func TestDensity(t *testing.T) {
	const tolerance = 2e-5
	for _, c := range []struct{ celsius, pa, h, want float64 }{
		{20, 101325, 0.5, 1.19931}, {23, 101325, 0.5, 1.18608}, {25, 95000, 0.3, 1.10616},
	} {
		rho, err := Density(state(c.celsius, c.pa, c.h))
		if err != nil || math.Abs(rho.Mean-c.want) > tolerance {
			t.Errorf("%+v: %v %v", c, rho.Mean, err)
		}
	}
}

func TestDensityParts(t *testing.T) {
	for _, s := range []State{state(20, 101325, 0.5), state(35, 90000, 0.9), state(-10, 99000, 0)} {
		rho, err := Density(s)
		if err != nil {
			t.Fatal(err)
		}
		T, p, h := s.TemperatureK.Mean, s.PressurePa.Mean, s.Humidity.Mean
		slope := func(f func(d float64) float64, step float64) float64 { return (f(step) - f(-step)) / (2 * step) }
		at := func(T, p, h float64) float64 { r, _, _, _ := density(T, p, h); return r }
		for name, want := range map[string]float64{
			"spring/temperature": 0.2 * slope(func(d float64) float64 { return at(T+d, p, h) }, 1e-3),
			"spring/pressure":    50 * slope(func(d float64) float64 { return at(T, p+d, h) }, 1),
			"spring/humidity":    0.02 * slope(func(d float64) float64 { return at(T, p, h+d) }, 1e-4),
		} {
			// Central differences of these steps are good to 1e-8 of the slope.
			const tolerance = 1e-6
			if got := rho.Part(name); math.Abs(got/want-1) > tolerance {
				t.Errorf("%s: %g, by differences %g", name, got, want)
			}
		}
		if rel := rho.Part(FormulaSource) / rho.Mean; s.Recommended() && math.Abs(rel-22e-6) > 1e-9 {
			t.Error("formula:", rel)
		}
	}
}

func TestUnstatedHumidity(t *testing.T) {
	s := state(20, 101325, 0)
	s.Humidity = UnstatedHumidity("spring/humidity-unstated")
	rho, err := Density(s)
	if err != nil {
		t.Fatal(err)
	}
	if rel := math.Abs(rho.Part("spring/humidity-unstated")) / rho.Mean; rel < 0.002 || rel > 0.003 {
		t.Errorf("an unknown humidity leaves %.3g of the density open", rel)
	}
}

// ISO 2533 / ICAO Doc 7488, geopotential altitudes: 1000 m seen, the others calc.
func TestStandard(t *testing.T) {
	for _, c := range []struct{ h, pa, rho float64 }{{0, 101325, 1.2250}, {1000, 89874.6, 1.11164}, {2000, 79495.2, 1.00649}} {
		_, p, rho, err := Standard(c.h)
		if err != nil || math.Abs(p-c.pa) > 0.05 || math.Abs(rho-c.rho) > 1e-5 {
			t.Errorf("%v m: %v Pa, %v kg/m³, %v", c.h, p, rho, err)
		}
	}
	if _, _, _, err := Standard(12000); err == nil || err.Error() != "altitude: got 12000 m; want −2000 m to 11000 m" {
		t.Error(err)
	}
}

func TestDensityRefuses(t *testing.T) {
	for want, s := range map[string]State{
		"temperature: got 373.15 K; want −40 °C to 60 °C": state(100, 101325, 0.5),
		"pressure: got 1013 Pa; want 300 hPa to 1200 hPa": state(20, 1013, 0.5),
		"humidity: got 45 1; want 0 % to 100 %":           state(20, 101325, 45),
		"temperature: got NaN K; want −40 °C to 60 °C":    state(math.NaN(), 101325, 0.5),
	} {
		if _, err := Density(s); err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
}

func TestConstantsHaveSources(t *testing.T) {
	for _, c := range Constants() {
		if c.Source == "" || c.Name == "" || c.Unit == "" || !(c.Value > 0) {
			t.Errorf("incomplete: %+v", c)
		}
	}
}
