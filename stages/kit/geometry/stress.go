package geometry

import "math"

// Metal is what the stress in a turning disk depends on besides its shape.
type Metal struct {
	DensityKgM3 float64
	Poisson     float64
	YieldPa     float64
}

// DefaultPoisson is used where a drawing gives none: metals lie between 0.27 and
// 0.35, which moves the stress by 2 % (common practice, no source).
const DefaultPoisson = 0.33

// CentreStress is the largest stress in a thin disk of uniform thickness that turns
// at ω (Timoshenko & Goodier, Theory of Elasticity, 3rd ed. 1970, art. 32): at the
// bore, tangential,
//
//	σ = (3+ν)/4 · ρω² · (Rₒ² + (1−ν)/(3+ν)·Rᵢ²)
//
// and in a solid disk, Rᵢ = 0, at the centre
//
//	σ = (3+ν)/8 · ρω² · Rₒ²
//
// The smallest bore doubles the stress of a solid disk: the two do not meet.
func (m Metal) CentreStress(outerRadiusM, boreRadiusM, radPerS float64) float64 {
	nu, load := m.Poisson, m.DensityKgM3*radPerS*radPerS
	if boreRadiusM == 0 {
		return (3 + nu) / 8 * load * outerRadiusM * outerRadiusM
	}
	return (3 + nu) / 4 * load * (outerRadiusM*outerRadiusM + (1-nu)/(3+nu)*boreRadiusM*boreRadiusM)
}

// Stresses are radial and tangential stress at radius r of the same disk (ibid.):
//
//	σr = (3+ν)/8 · ρω² · (Rₒ² + Rᵢ² − Rₒ²Rᵢ²/r² − r²)
//	σt = (3+ν)/8 · ρω² · (Rₒ² + Rᵢ² + Rₒ²Rᵢ²/r² − (1+3ν)/(3+ν)·r²)
func (m Metal) Stresses(outerRadiusM, boreRadiusM, rM, radPerS float64) (radial, tangential float64) {
	nu := m.Poisson
	scale := (3 + nu) / 8 * m.DensityKgM3 * radPerS * radPerS
	o2, i2, r2 := outerRadiusM*outerRadiusM, boreRadiusM*boreRadiusM, rM*rM
	cross := 0.0
	if boreRadiusM > 0 {
		cross = o2 * i2 / r2
	}
	return scale * (o2 + i2 - cross - r2), scale * (o2 + i2 + cross - (1+3*nu)/(3+nu)*r2)
}

// PeakStress is the largest stress of a layer at ω: at the bore or centre, or at
// the edge of a hole, where the stresses σ₁ ≥ σ₂ that would act without it rise to 3σ₁ − σ₂
// (Kirsch 1898, for a small hole; Timoshenko & Goodier, art. 35). Holes that are not small
// or not far apart raise it further; that is left to the margin that a qualified
// person sets.
func (m Metal) PeakStress(l Layer, radPerS float64) float64 {
	ro, ri := l.OuterM.Mean/2, l.BoreM.Mean/2
	peak := m.CentreStress(ro, ri, radPerS)
	for _, h := range l.Holes {
		c := h.PitchM.Mean / 2
		if c == 0 {
			peak = math.Max(peak, m.CentreStress(ro, h.DiameterM.Mean/2, radPerS))
			continue
		}
		r, t := m.Stresses(ro, ri, c, radPerS)
		peak = math.Max(peak, 3*math.Max(r, t)-math.Min(r, t))
	}
	return peak
}

// YieldSpeed is the speed in rad/s at which the peak stress of a layer, each taken
// by itself, reaches the yield strength; 0 where density or yield strength is
// not known. It is an estimate for planning, not a permit to turn that fast.
func (m Metal) YieldSpeed(d Disk) float64 {
	if !(m.YieldPa > 0) || !(m.DensityKgM3 > 0) {
		return 0
	}
	slowest := math.Inf(1)
	for _, l := range d.Layers {
		slowest = math.Min(slowest, math.Sqrt(m.YieldPa/m.PeakStress(l, 1)))
	}
	if math.IsInf(slowest, 1) {
		return 0
	}
	return slowest
}
