package scan

import (
	"math"
	"strconv"
)

// maxDecimal bounds mantissas with decimals: 18 digits are what a DECIMAL column
// of a Parquet file holds in 64 bits.
const maxDecimal = 1_000_000_000_000_000_000

// pow10 holds the powers of ten that fit an int64.
var pow10 = func() (p [19]int64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = 10 * p[i-1]
	}
	return p
}()

// Value is mantissa × 10^exponent rounded once to the nearest float64, ties to
// even: bit for bit what strconv.ParseFloat gives for the same decimal. Both
// factors of the fast path are exact doubles (integers to 2^53, powers of ten
// to 10^22), so the one operation rounds correctly (Clinger 1990, "How to read
// floating point numbers accurately", section 4).
func Value(mantissa int64, exponent int8) float64 {
	const exact = 1 << 53
	if exponent == 0 {
		return float64(mantissa)
	}
	if mantissa >= -exact && mantissa <= exact && exponent >= -22 && exponent <= 22 {
		if exponent < 0 {
			return float64(mantissa) / float64Pow10[-exponent]
		}
		return float64(mantissa) * float64Pow10[exponent]
	}
	var buf [32]byte
	text := strconv.AppendInt(buf[:0], mantissa, 10)
	text = append(text, 'e')
	text = strconv.AppendInt(text, int64(exponent), 10)
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		// 19 digits and an exponent up to 127 cannot leave the range.
		panic("scan: Value: " + err.Error())
	}
	return v
}

// AppendValues appends Value of every mantissa.
func AppendValues(dst []float64, mantissas []int64, exponent int8) []float64 {
	const exact = 1 << 53
	if exponent > 0 || exponent < -22 {
		for _, m := range mantissas {
			dst = append(dst, Value(m, exponent))
		}
		return dst
	}
	by := float64Pow10[-exponent]
	for _, m := range mantissas {
		v := float64(m) / by
		if m < -exact || m > exact {
			v = Value(m, exponent)
		}
		dst = append(dst, v)
	}
	return dst
}

var float64Pow10 = func() (p [23]float64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = 10 * p[i-1]
	}
	return p
}()

// decimal is one parsed cell: mantissa·10^exponent, or, where that does not
// fit, the nearest float64.
type decimal struct {
	mantissa int64
	exponent int
	float    float64
	isFloat  bool
}

// fault is what is wrong with a cell: what to write instead, and a hint.
type fault struct{ want, hint string }

// parse reads a trimmed cell that is not empty.
func parse(text []byte, point byte) (decimal, *fault) {
	var (
		digits, decimals, i int
		mantissa            uint64
		negative, exact     = false, true
	)
	switch text[0] {
	case '-':
		negative, i = true, 1
	case '+':
		i = 1
	}
	seenPoint := false
	for ; i < len(text); i++ {
		c := text[i]
		if d := c - '0'; d <= 9 {
			digits++
			if mantissa > (math.MaxInt64-9)/10 {
				exact = false
			} else {
				mantissa = 10*mantissa + uint64(d)
			}
			if seenPoint {
				decimals++
			}
			continue
		}
		if c == point && !seenPoint {
			seenPoint = true
			continue
		}
		break
	}
	if digits == 0 {
		return decimal{}, explain(text, point)
	}
	exponent, ok := parseExponent(text[i:])
	if !ok {
		return decimal{}, explain(text, point)
	}
	if mantissa == 0 && exact {
		return decimal{exponent: max(-decimals, -18)}, nil
	}
	if m, e, ok := fit(mantissa, exponent-decimals, negative); ok && exact {
		return decimal{mantissa: m, exponent: e}, nil
	}
	return parseFloat(text, point)
}

// parseExponent reads what follows the digits: nothing, or e[+-]digits. A
// number too large for any double is capped, ParseFloat refuses it later.
func parseExponent(rest []byte) (int, bool) {
	if len(rest) == 0 {
		return 0, true
	}
	if rest[0] != 'e' && rest[0] != 'E' {
		return 0, false
	}
	rest = rest[1:]
	negative := false
	if len(rest) > 0 && (rest[0] == '-' || rest[0] == '+') {
		negative = rest[0] == '-'
		rest = rest[1:]
	}
	if len(rest) == 0 {
		return 0, false
	}
	e := 0
	for _, c := range rest {
		if c < '0' || c > '9' {
			return 0, false
		}
		e = min(10*e+int(c-'0'), 1_000_000)
	}
	if negative {
		e = -e
	}
	return e, true
}

// fit brings a positive power of ten into the mantissa and says whether the
// result may stand in a column of scaled integers.
func fit(mantissa uint64, exponent int, negative bool) (int64, int, bool) {
	if exponent > 0 {
		if exponent > 18 || mantissa > math.MaxInt64/uint64(pow10[exponent]) {
			return 0, 0, false
		}
		mantissa *= uint64(pow10[exponent])
		exponent = 0
	}
	// A column shares one exponent; below 10^-18 no other value would fit beside it.
	if exponent < -18 || (exponent < 0 && mantissa >= maxDecimal) || mantissa > math.MaxInt64 {
		return 0, 0, false
	}
	if negative {
		return -int64(mantissa), exponent, true
	}
	return int64(mantissa), exponent, true
}

// parseFloat is the way of numbers that no scaled integer holds.
func parseFloat(text []byte, point byte) (decimal, *fault) {
	s := []byte(string(text))
	if point != '.' {
		for i, c := range s {
			if c == point {
				s[i] = '.'
			}
		}
	}
	v, err := strconv.ParseFloat(string(s), 64)
	if err != nil {
		return decimal{}, &fault{"a number between -1.8e308 and 1.8e308", ""}
	}
	return decimal{float: v, isFloat: true}, nil
}
