package quantity

import (
	"strconv"
	"strings"
)

// Format writes an SI value in a display unit, with the fewest digits that
// read back as the same number.
func Format(si float64, u Unit) string {
	return strconv.FormatFloat(u.Number(si), 'g', -1, 64) + " " + u.Name
}

// String writes p in its own unit so that Parse reads it back with the same
// value and standard uncertainty; how the uncertainty was stated is not kept.
func (p Parsed) String() string {
	// An offset unit must not lose the digits that (si/f + offset) would cost.
	b := strings.Builder{}
	b.WriteString(strconv.FormatFloat(p.Number, 'f', -1, 64))
	if p.U > 0 {
		u := strconv.FormatFloat(p.U/p.Unit.Factor, 'f', -1, 64)
		if !strings.Contains(u, ".") {
			// Without a point it would count in the last digit.
			u += ".0"
		}
		b.WriteString("(" + u + ")")
	}
	b.WriteString(" " + p.Unit.Name)
	if p.DoF > 0 {
		b.WriteString(" (dof=" + strconv.FormatFloat(p.DoF, 'f', -1, 64) + ")")
	}
	return b.String()
}
