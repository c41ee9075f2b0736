package uncertain

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a 95 % coverage interval, mean ± U.
type Interval struct {
	// U is the expanded uncertainty K·u.
	U float64
	// K is the coverage factor, the 97.5 % point of Student's t at DoF.
	K float64
	// DoF is the effective number of degrees of freedom, +Inf allowed.
	DoF float64
}

// Expanded is the 95 % interval of v: k from Student's t at the effective
// degrees of freedom (JCGM 100:2008, G.3.2 and G.4.1), not truncated to a
// whole number. Fewer than one degree of freedom counts as one.
func (v Value) Expanded() Interval {
	dof := math.Max(v.DoF(), 1)
	k := CoverageFactor(dof)
	return Interval{U: k * v.Std(), K: k, DoF: dof}
}

// CoverageFactor is the two-sided 95 % point of Student's t; dof ≥ 1, +Inf for
// the normal distribution.
func CoverageFactor(dof float64) float64 { return StudentQuantile(0.975, dof) }

// StudentQuantile is the point of Student's t below which a share p lies; dof ≥ 1, +Inf for the normal distribution.
func StudentQuantile(p, dof float64) float64 {
	// Above a million the t and normal points agree to six digits, and the
	// incomplete beta function behind t grows slow and unreliable.
	if dof > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(p)
}

// Round writes a mean and its expanded uncertainty in fixed decimals, U to the
// nearest two significant digits, the mean to the same decimal (JCGM 100:2008,
// 7.2.6, which allows but does not ask for rounding up; two digits never lose
// more than 5 %). U = 0 gives nine significant digits and "0". Nothing is
// written as minus zero.
func Round(mean, u float64) (meanText, uText string) {
	if !(u > 0) || math.IsInf(u, 0) || math.IsNaN(mean) || math.IsInf(mean, 0) {
		return strconv.FormatFloat(mean, 'g', 9, 64), strconv.FormatFloat(u, 'g', 2, 64)
	}
	decimals := 1 - int(math.Floor(math.Log10(u)))
	if scaled := u * math.Pow10(decimals); math.Round(scaled) >= 100 {
		decimals--
	}
	if decimals < 0 {
		unit := math.Pow10(-decimals)
		mean, u, decimals = math.Round(mean/unit)*unit, math.Round(u/unit)*unit, 0
	}
	meanText = strconv.FormatFloat(mean, 'f', decimals, 64)
	if strings.Trim(meanText, "-0.") == "" {
		meanText = strings.TrimPrefix(meanText, "-")
	}
	return meanText, strconv.FormatFloat(u, 'f', decimals, 64)
}
