// Package geometry gives mass and moment of inertia of bodies of known shape
// about the spin axis, and the stress in a disk that turns.
//
// A disk is a stack of layers, each a ring of outer radius Rₒ, bore radius Rᵢ and
// thickness t, less n through holes of radius r on a pitch circle of radius c:
//
//	V = π t (Rₒ² − Rᵢ²) − Σ n π r² t
//	K = ½ π t (Rₒ⁴ − Rᵢ⁴) − Σ n π r² t (½ r² + c²)
//
// (parallel-axis theorem for each hole). At density ρ: m = ρ ΣV and J = ρ ΣK. At
// mass m: J = m ΣK/ΣV. At a given density J goes as R⁴, at a given mass as R²: a
// weighed disk is the better reference.
//
// Sensitivities are analytic; the parts of every input keep their names.
// Lengths in m, masses in kg, inertias in kg·m², stresses in Pa, speeds in rad/s.
package geometry
