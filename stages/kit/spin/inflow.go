package spin

// Inflow bounds how the induced inflow follows a propeller's blades: it carries
// the share F of the load at steady speed and lags by C radians of rotation, each
// rectangular over its range. First-order inflow whose time constant goes as
// 1/ω is the one-state form of dynamic inflow in hover (Pitt and Peters 1981,
// from memory).
type Inflow struct {
	FLow  float64 `json:"f_low"`
	FHigh float64 `json:"f_high"`
	CLow  float64 `json:"c_low"`
	CHigh float64 `json:"c_high"`
}

// UsualInflow are the ranges of the simulated propellers (no source).
func UsualInflow() Inflow { return Inflow{FLow: 0.15, FHigh: 0.3, CLow: 3, CHigh: 12} }
