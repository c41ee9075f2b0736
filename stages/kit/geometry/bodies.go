package geometry

import "spinledger/stages/kit/uncertain"

// The closed forms of Ling, Sanny, Moebs, University Physics vol. 1 (OpenStax,
// 2016), figure 10.20 and §10.5. Masses in kg, lengths in m, results in kg·m².

// PointMass is m·d² at distance d from the axis.
func PointMass(massKg, distanceM uncertain.Value) uncertain.Value {
	d := distanceM.Mean
	return uncertain.Combine(massKg.Mean*d*d,
		uncertain.Term{Sensitivity: d * d, Value: massKg},
		uncertain.Term{Sensitivity: 2 * massKg.Mean * d, Value: distanceM})
}

// Rod is a thin rod about a perpendicular axis through its middle: m·l²/12.
func Rod(massKg, lengthM uncertain.Value) uncertain.Value {
	return PointMass(massKg, lengthM).Scale(1.0 / 12)
}

// Sphere is a solid sphere about an axis through its centre: ⅖·m·r².
func Sphere(massKg, radiusM uncertain.Value) uncertain.Value {
	return PointMass(massKg, radiusM).Scale(2.0 / 5)
}

// ParallelAxis moves an inertia about an axis through the centre of mass to a
// parallel one at distance d: J + m·d².
func ParallelAxis(centreKgM2, massKg, distanceM uncertain.Value) uncertain.Value {
	return centreKgM2.Add(PointMass(massKg, distanceM))
}

// PropellerBound is what the inertia of an unshrouded propeller of mass m and tip
// radius R must stay below: m·R²/3, that of blades as heavy at the tip as at the
// root. Real blades taper and carry a hub.
func PropellerBound(massKg, radiusM uncertain.Value) uncertain.Value {
	return PointMass(massKg, radiusM).Scale(1.0 / 3)
}
