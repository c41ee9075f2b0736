// Package air gives the density of moist air from its state, and the standard
// atmosphere.
//
// Density follows CIPM-2007 (A. Picard, R. S. Davis, M. Gläser, K. Fujii, Revised
// formula for the density of moist air, Metrologia 45 (2008) 149–155):
//
//	ρ = p·Mₐ/(Z·R·T)·[1 − x_v·(1 − M_v/Mₐ)]
//
// with the mole fraction of water vapour x_v = h·f(p,t)·p_sv(T)/p and the compressibility
// Z(p, T, x_v). h is the relative humidity 0…1, p in Pa, T in K, t = T − 273.15.
package air
