package reports

import (
	"math"
	"strconv"
	"strings"
)

// display is the unit in which people read data of an SI unit, and how much of it one SI unit is.
func display(unit string, largest float64) (string, float64) {
	switch unit {
	case "rad/s":
		return "rpm", 30 / math.Pi
	case "kg·m²":
		return "g·cm²", 1 / gcm2
	case "1":
		return "%", 100
	case "N·m":
		switch {
		case largest < 2e-3:
			return "µN·m", 1e6
		case largest < 2:
			return "mN·m", 1e3
		}
	case "N·m/s":
		if largest < 2e-3 {
			return "µN·m/s", 1e6
		}
	case "s":
		if largest < 1 {
			return "ms", 1e3
		}
	}
	return unit, 1
}

// scale maps displayed values from…to to pixels at…end.
type scale struct{ from, to, at, end float64 }

func (s scale) px(v float64) float64 { return s.at + (v-s.from)/(s.to-s.from)*(s.end-s.at) }

// inside is px kept within the panel: what lies beyond is drawn at its edge.
func (s scale) inside(v float64) float64 {
	lo, hi := math.Min(s.at, s.end), math.Max(s.at, s.end)
	return math.Min(math.Max(s.px(v), lo), hi)
}

// ticks are whole multiples of 1, 2 or 5 times a power of ten, about n of
// them, and the number of decimals that tells them apart.
func ticks(from, to float64, n int) (out []float64, decimals int) {
	raw := (to - from) / float64(n)
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * power
	for _, k := range []float64{1, 2, 5} {
		if k*power >= raw {
			step = k * power
			break
		}
	}
	for i := math.Ceil(from/step - 1e-9); i*step <= to+1e-9*step; i++ {
		out = append(out, i*step)
	}
	return out, max(0, -int(math.Floor(math.Log10(step)+1e-9)))
}

// label writes a tick with thin spaces between thousands.
func label(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	whole, frac, dot := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	for i := len(whole) - 3; i > 0 && len(whole) > 4; i -= 3 {
		whole = whole[:i] + "\u2009" + whole[i:]
	}
	if dot {
		whole += "." + frac
	}
	if strings.HasPrefix(text, "-") {
		return "−" + whole
	}
	return whole
}

// padded widens a range by a twentieth, or makes one about a single value.
func padded(lo, hi float64, zero bool) (float64, float64) {
	if zero {
		lo, hi = math.Min(lo, 0), math.Max(hi, 0)
	}
	if !(hi > lo) {
		d := math.Abs(hi) / 20
		if d == 0 {
			d = 1
		}
		return lo - d, hi + d
	}
	pad := (hi - lo) / 20
	low, high := lo-pad, hi+pad
	if zero && lo == 0 {
		low = 0
	}
	return low, high
}

// px writes a coordinate to a tenth of a pixel.
func px(b []byte, v float64) []byte {
	n := math.Round(v * 10)
	if n == 0 {
		return append(b, '0')
	}
	return strconv.AppendFloat(b, n/10, 'f', -1, 64)
}
