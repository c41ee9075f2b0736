package numeric

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Consensus of several results with stated variances.
type Consensus struct {
	Mean, SE float64
	// Tau is the between-result standard deviation.
	Tau float64
	// Q is Cochran's statistic about the inverse-variance mean, DoF = n − 1,
	// Birge = √(Q/DoF).
	Q, Birge float64
	DoF      int
}

// FixedMean is the inverse-variance mean with Cochran's Q and the Birge ratio
// (Birge 1932). It panics on unequal lengths and needs at least one result.
func FixedMean(x, variance []float64) Consensus {
	mean, se := weightedMean(x, variance, 0)
	c := Consensus{Mean: mean, SE: se, DoF: len(x) - 1}
	for i, v := range x {
		c.Q += float64((v - mean) * (v - mean) / variance[i])
	}
	c.Birge = math.NaN()
	if c.DoF > 0 {
		c.Birge = math.Sqrt(c.Q / float64(c.DoF))
	}
	return c
}

// DerSimonianLaird is the random-effects mean with the moment estimate of τ²
// from Cochran's Q, never negative (DerSimonian & Kacker 2007, eq. 8).
func DerSimonianLaird(x, variance []float64) Consensus {
	c := FixedMean(x, variance)
	if c.DoF < 1 {
		return c
	}
	s1, s2 := 0.0, 0.0
	for _, v := range variance {
		s1 += 1 / v
		s2 += 1 / (v * v)
	}
	tau2 := math.Max(0, (c.Q-float64(c.DoF))/(s1-s2/s1))
	c.Tau = math.Sqrt(tau2)
	c.Mean, c.SE = weightedMean(x, variance, tau2)
	return c
}

// MandelPaule is the random-effects mean with τ² such that the generalised Q
// equals its expectation n − 1 (Mandel & Paule 1970; DerSimonian & Kacker 2007,
// eq. 5), 0 when Q is already below it.
func MandelPaule(x, variance []float64) Consensus {
	c := FixedMean(x, variance)
	q := func(tau2 float64) float64 {
		m, _ := weightedMean(x, variance, tau2)
		s := 0.0
		for i, v := range x {
			s += float64((v - m) * (v - m) / (variance[i] + tau2))
		}
		return s - float64(c.DoF)
	}
	if c.DoF < 1 || q(0) <= 0 {
		return c
	}
	lo, hi := 0.0, Variance(x)
	for q(hi) > 0 {
		hi *= 2
	}
	for range 200 {
		if mid := (lo + hi) / 2; q(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	c.Tau = math.Sqrt(hi)
	c.Mean, c.SE = weightedMean(x, variance, hi)
	return c
}

func weightedMean(x, variance []float64, tau2 float64) (mean, se float64) {
	if len(x) != len(variance) || len(x) == 0 {
		panic(fmt.Sprintf("numeric: %d results with %d variances", len(x), len(variance)))
	}
	sw, sx := 0.0, 0.0
	for i, v := range variance {
		w := 1 / (v + tau2)
		sw += w
		sx += float64(w * x[i])
	}
	return sx / sw, 1 / math.Sqrt(sw)
}

// FTail is the probability of an F ratio above f with d1 and d2 degrees of freedom.
func FTail(f, d1, d2 float64) float64 {
	if !(f > 0) {
		return 1
	}
	// The complement by symmetry: distuv's own is 1 − CDF and loses small ones.
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+float64(d1*f)))
}

// ChiSquaredTail is the probability of χ² above x with dof degrees of freedom.
func ChiSquaredTail(x, dof float64) float64 {
	if !(x > 0) {
		return 1
	}
	return distuv.ChiSquared{K: dof}.Survival(x)
}

// StudentTail is the two-sided probability of |t| above the given one.
func StudentTail(t, dof float64) float64 {
	if dof > 1e6 || math.IsInf(dof, 1) {
		return 2 * distuv.UnitNormal.Survival(math.Abs(t))
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Survival(math.Abs(t))
}
