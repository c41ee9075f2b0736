package quantity

// Constant is a number that nobody may change, with where it comes from.
type Constant struct {
	Symbol string
	Name   string
	Value  float64
	// U is the standard uncertainty, 0 for an exact one, in Unit.
	U    float64
	Unit string
	// Source is author or body, year and place; a test fails on an empty one.
	Source string
}

// Constants used in more than one place.
var (
	// StandardGravity turns gf into N. It is not the local gravity of a bench.
	StandardGravity = Constant{"gₙ", "standard acceleration of free fall", 9.80665, 0, "m/s²", gf}
	// ZeroCelsius is 0 °C in K.
	ZeroCelsius = Constant{"T₀", "ice point on the Celsius scale", 273.15, 0, "K", brochure + ", 2.3.1"}
	// StandardPressure is one standard atmosphere.
	StandardPressure = Constant{"p₀", "standard atmosphere", 101325, 0, "Pa", "10th CGPM (1954), resolution 4"}
	// Inch in m.
	Inch = Constant{"in", "international inch", 0.0254, 0, "m", inch}
)

// Constants lists them all.
func Constants() []Constant {
	return []Constant{StandardGravity, ZeroCelsius, StandardPressure, Inch}
}
