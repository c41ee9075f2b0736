// Package drag finds the external load L(ω) of a rotor from settled speeds.
//
// At constant speed the reaction sensor reads z + L(ω): bearing and iron drag
// act between rotor and stator and cancel, what remains is windage, brake or
// propeller. z is the torque channel's zero in that recording; it may drift, so
// that with enough levels, up and down, a zero and a drift are fitted for each
// recording together with the load:
//
//	T̄ᵢ = z_r + d_r·(tᵢ − t̄_r) + (ρ_r/ρ₀)·L(ωᵢ)
//
// by weighted least squares (weights from each level's batch-mean standard
// error and a floor). Forms, x = ω/ω₀ with ω₀ the fastest level:
//
//	square               c₀x²                windage of a smooth body, turbulent
//	linear+square        c₀x + c₁x²          with a laminar share
//	power                c₀x^c₁              propellers: measured exponents 1.86 to 2.17
//	linear+square+cubic  c₀x + c₁x² + c₂x³
//
// A richer form is taken only when the corrected Akaike criterion (Hurvich &
// Tsai 1989) falls by more than 6. There is no constant term: a dry friction between rotor and ground cannot be told
// from the zero unless a rest portion separates them, and none is assumed unless declared. Where the same criterion says that rest and levels do not
// belong to one curve, the rest is left out.
package drag
