// Package fit derives the moment of inertia of a rotor from one run.
//
// # Steps
//
// Idle A, settled B and, where recorded, return C give up to five equations of
// package balance, linear in inertia J, load factor λ, torque zero z₀ and
// drift z₁:
//
//	plateau A, B, C       T̄ = λ·L̄ + z₀ + z₁·(t̄ − t₀) + J·slope
//	passage A→B, B→C      ∫wT = J·Δω + λ·∫wL + z₀·∫w + z₁·∫w(t − t₀)
//
// They are solved together by generalised least squares with the covariance
// that white torque noise (its density from the plateaus, clear of ringing) and
// speed noise give them (a passage ends as near the transient as ringing
// allows, stepProblem.between), and two weak priors: λ = 1 ± u (a load curve is
// known so well on another day and in other air), z₁ = 0 ± u. With three plateaus
// the data decide, and errors of zero and load, which enter the passages up and down
// with opposite signs, cancel. With two plateaus the one spare equation cannot
// tell a drifting zero from a changed load; the priors share it out, the gap
// between the two extremes is recorded (JKept, JRetied), and the posterior
// carries the doubt.
//
// A propeller's inflow lags its blades and pulls the load of a short plateau off its
// static curve. What that leaves is computed over the inflow's range, corrected by its
// mean, and its standard deviation is a part of its own (inflow.go).
//
// # Coasts
//
// The zero is that of the rest after the run-down; one passage leads from the
// settled plateau (or the first tenth of the fall) to the speeds just above
// 15 % of the start.
//
// # Curve sources
//
// Where torque comes from a curve over speed, the passage leads from a window
// early in the rise to B, and there is no zero to find.
//
// # Sign
//
// All speeds and torques are positive in the declared sense of rotation; J > 0.
package fit
