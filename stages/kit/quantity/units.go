package quantity

import (
	"math"
	"slices"
	"strings"
)

// Dimension is the kind of a quantity. Kinds that share a dimension but not a
// meaning are kept apart: torque and energy are both N·m in base units.
type Dimension string

// The kinds of quantity.
const (
	Acceleration   Dimension = "acceleration"
	AngularSpeed   Dimension = "angular speed"
	Charge         Dimension = "charge"
	Count          Dimension = "count"
	Current        Dimension = "current"
	Density        Dimension = "density"
	Energy         Dimension = "energy"
	Force          Dimension = "force"
	Inertia        Dimension = "moment of inertia"
	Length         Dimension = "length"
	Mass           Dimension = "mass"
	Pressure       Dimension = "pressure or stress"
	Ratio          Dimension = "ratio"
	Resistance     Dimension = "resistance"
	Temperature    Dimension = "temperature"
	Time           Dimension = "time"
	Torque         Dimension = "torque"
	TorquePerForce Dimension = "torque per force"
	Voltage        Dimension = "voltage"
	// Any stands for every kind where the context decides it.
	Any Dimension = ""
)

// Unit is one row of the table: SI value = (number − Offset)·Factor.
type Unit struct {
	// Name is how the unit is printed; Aliases are further spellings that are read.
	Name    string
	Aliases []string
	Dim     Dimension
	// Factor is SI units in one of this unit, > 0.
	Factor float64
	// Offset is the number that stands for SI zero: −273.15 for °C, else 0.
	Offset float64
	// Source of Factor and Offset.
	Source string
}

// SI is the SI value of a number in this unit.
func (u Unit) SI(number float64) float64 { return (number - u.Offset) * u.Factor }

// Number is what an SI value reads in this unit.
func (u Unit) Number(si float64) float64 { return si/u.Factor + u.Offset }

const (
	brochure = "BIPM, The International System of Units, 9th edition (2019)"
	gf       = "standard gravity, 3rd CGPM (1901), declaration 2"
	inch     = "international yard and pound agreement (1959): 1 in = 25.4 mm, 1 lb = 453.59237 g"
	turn     = "one turn is 2π rad; " + brochure + ", table 4, note b"
)

// GCm2 is one g·cm² in kg·m².
const GCm2 = 1e-7

// Rpm is an angular speed in rad/s in revolutions a minute.
func Rpm(w float64) float64 { return w * 30 / math.Pi }

// ozf is one ounce-force in N: a sixteenth of a pound under standard gravity.
const ozf = 0.45359237 / 16 * 9.80665

// table holds every unit, grouped by kind; the first of a group is the SI unit.
var table = []Unit{
	{"m/s²", []string{"m/s2", "m/s^2"}, Acceleration, 1, 0, brochure},

	{"rad/s", nil, AngularSpeed, 1, 0, brochure},
	{"rpm", []string{"r/min", "1/min", "min-1"}, AngularSpeed, 2 * math.Pi / 60, 0, turn},
	{"Hz", []string{"rps", "r/s"}, AngularSpeed, 2 * math.Pi, 0, turn},
	{"kHz", nil, AngularSpeed, 2e3 * math.Pi, 0, turn},

	{"C", []string{"A·s", "As"}, Charge, 1, 0, brochure},
	{"mAh", []string{"mA·h"}, Charge, 3.6, 0, brochure + ", table 8 (hour)"},

	{"count", []string{"counts"}, Count, 1, 0, brochure + ", 2.3.3 (counted quantities have the unit one)"},

	{"A", nil, Current, 1, 0, brochure},
	{"mA", nil, Current, 1e-3, 0, brochure},

	{"kg/m³", []string{"kg/m3", "kg/m^3"}, Density, 1, 0, brochure},
	{"g/cm³", []string{"g/cm3", "g/cm^3", "kg/dm3", "kg/dm³"}, Density, 1e3, 0, brochure},

	{"J", nil, Energy, 1, 0, brochure},
	{"kJ", nil, Energy, 1e3, 0, brochure},
	{"Wh", []string{"W·h"}, Energy, 3600, 0, brochure + ", table 8 (hour)"},

	{"N", nil, Force, 1, 0, brochure},
	{"mN", nil, Force, 1e-3, 0, brochure},
	{"gf", nil, Force, 9.80665e-3, 0, gf},
	{"kgf", []string{"kp"}, Force, 9.80665, 0, gf},
	{"ozf", nil, Force, ozf, 0, gf + "; " + inch},

	{"kg·m²", []string{"kg·m2", "kg*m2", "kg*m^2", "kg m2", "kgm2", "kg.m2"}, Inertia, 1, 0, brochure},
	{"g·m²", []string{"g·m2", "g*m2", "g*m^2", "g m2", "g.m2"}, Inertia, 1e-3, 0, brochure},
	{"kg·cm²", []string{"kg·cm2", "kg*cm2", "kg*cm^2", "kg cm2", "kg.cm2"}, Inertia, 1e-4, 0, brochure},
	{"g·cm²", []string{"g·cm2", "g*cm2", "g*cm^2", "g cm2", "gcm2", "g.cm2"}, Inertia, GCm2, 0, brochure},
	{"g·mm²", []string{"g·mm2", "g*mm2", "g*mm^2", "g mm2", "gmm2", "g.mm2"}, Inertia, 1e-9, 0, brochure},

	{"m", nil, Length, 1, 0, brochure},
	{"cm", nil, Length, 1e-2, 0, brochure},
	{"mm", nil, Length, 1e-3, 0, brochure},
	{"µm", []string{"μm", "um"}, Length, 1e-6, 0, brochure},
	{"in", nil, Length, 0.0254, 0, inch},

	{"kg", nil, Mass, 1, 0, brochure},
	{"g", nil, Mass, 1e-3, 0, brochure},
	{"mg", nil, Mass, 1e-6, 0, brochure},

	{"Pa", nil, Pressure, 1, 0, brochure},
	{"hPa", nil, Pressure, 100, 0, brochure},
	{"mbar", nil, Pressure, 100, 0, brochure + ", 8th edition, table 8 (bar)"},
	{"kPa", nil, Pressure, 1e3, 0, brochure},
	{"MPa", []string{"N/mm²", "N/mm2"}, Pressure, 1e6, 0, brochure},
	{"GPa", nil, Pressure, 1e9, 0, brochure},

	{"1", nil, Ratio, 1, 0, brochure + ", 5.4.7 (dimensionless)"},
	{"%", nil, Ratio, 1e-2, 0, brochure + ", 5.4.7 (per cent)"},
	{"ppm", nil, Ratio, 1e-6, 0, brochure + ", 5.4.7 (parts per million)"},

	{"\u03a9", []string{"\u2126", "ohm"}, Resistance, 1, 0, brochure},
	{"m\u03a9", []string{"m\u2126", "mohm"}, Resistance, 1e-3, 0, brochure},

	{"K", nil, Temperature, 1, 0, brochure},
	{"°C", []string{"degC", "ºC", "℃"}, Temperature, 1, -273.15, brochure + ", 2.3.1 (degree Celsius)"},

	{"s", nil, Time, 1, 0, brochure},
	{"ms", nil, Time, 1e-3, 0, brochure},
	{"µs", []string{"μs", "us"}, Time, 1e-6, 0, brochure},
	{"min", nil, Time, 60, 0, brochure + ", table 8"},

	{"N·m", []string{"Nm", "N*m", "N m", "N.m"}, Torque, 1, 0, brochure},
	{"N·cm", []string{"Ncm", "N*cm", "N cm", "N.cm"}, Torque, 1e-2, 0, brochure},
	{"mN·m", []string{"mNm", "mN*m", "mN m", "mN.m"}, Torque, 1e-3, 0, brochure},
	{"µN·m", []string{"µNm", "µN*m", "µN m", "μN·m", "μNm", "μN*m", "μN m", "uN·m", "uNm", "uN*m", "uN m"}, Torque, 1e-6, 0, brochure},
	{"kgf·cm", []string{"kgf*cm", "kgf cm", "kgfcm", "kgf.cm"}, Torque, 9.80665e-2, 0, gf},
	{"gf·cm", []string{"gf*cm", "gf cm", "gfcm", "gf.cm"}, Torque, 9.80665e-5, 0, gf},
	{"ozf·in", []string{"ozf*in", "ozf in", "ozfin", "ozf.in"}, Torque, ozf * 0.0254, 0, gf + "; " + inch},

	{"N·m/N", []string{"Nm/N", "N*m/N"}, TorquePerForce, 1, 0, brochure},
	{"mN·m/N", []string{"mNm/N", "mN*m/N"}, TorquePerForce, 1e-3, 0, brochure},

	{"V", nil, Voltage, 1, 0, brochure},
	{"mV", nil, Voltage, 1e-3, 0, brochure},
}

// bySpelling finds a row by any of its spellings.
var bySpelling = func() map[string]int {
	m := map[string]int{}
	for i, u := range table {
		m[u.Name] = i
		for _, a := range u.Aliases {
			m[plainDot(a)] = i
		}
	}
	return m
}()

// plainDot writes the dot operator U+22C5 and the Greek ano teleia U+0387 as the middle dot U+00B7.
func plainDot(s string) string {
	return strings.NewReplacer("⋅", "·", "\u0387", "·").Replace(s)
}

// Lookup finds a unit by any of its spellings.
func Lookup(spelling string) (Unit, bool) {
	i, ok := bySpelling[plainDot(spelling)]
	if !ok {
		return Unit{}, false
	}
	return table[i], true
}

// Units lists the units of a kind in table order, the SI unit first; all of
// them for Any. The caller may keep the slice.
func Units(d Dimension) []Unit {
	var out []Unit
	for _, u := range table {
		if d == Any || u.Dim == d {
			u.Aliases = slices.Clone(u.Aliases)
			out = append(out, u)
		}
	}
	return out
}

// names is what errors offer for a kind: "N·m, mN·m or kgf·cm (torque)".
func names(d Dimension) string {
	if d == Any {
		return "a unit such as %, g·cm², mN·m or s"
	}
	var list []string
	for _, u := range Units(d) {
		list = append(list, u.Name)
	}
	if len(list) == 1 {
		return list[0] + " (" + string(d) + ")"
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1] + " (" + string(d) + ")"
}

// Nearest is the candidate that word was probably meant to be, by edits
// (insert, delete, replace, exchange of neighbours) in letters of either case;
// empty when none is near. Ties go to the earlier candidate.
func Nearest(word string, candidates []string) string {
	best, at := 1<<30, ""
	w := []rune(strings.ToLower(word))
	for _, c := range candidates {
		r := []rune(strings.ToLower(c))
		// A third of the letters wrong is a slip; more is another word.
		limit := max(1, max(len(w), len(r))/3)
		if len(w)-len(r) > limit || len(r)-len(w) > limit || len(w) > 100 {
			continue
		}
		if d := edits(w, r); d <= limit && d < best {
			best, at = d, c
		}
	}
	return at
}

// edits is the restricted Damerau–Levenshtein distance (optimal string
// alignment; Damerau 1964, Comm. ACM 7, 171).
func edits(a, b []rune) int {
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	for j := range rows[1] {
		rows[1][j] = j
	}
	for i := 1; i <= len(a); i++ {
		before, last, now := rows[0], rows[1], rows[2]
		now[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		rows = [3][]int{last, now, before}
	}
	return rows[1][len(b)]
}
