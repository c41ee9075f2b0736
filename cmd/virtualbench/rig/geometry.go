package rig

import "math"

// Disk is a flat ring of one material: a reference disk.
type Disk struct {
	OuterM, BoreM float64 // diameters, m
	ThicknessM    float64 // m
	DensityKgM3   float64 // kg/m³
}

// Mass is ρ·π·(Ro²−Ri²)·t in kg.
func (d Disk) Mass() float64 {
	o, i := d.OuterM/2, d.BoreM/2
	return d.DensityKgM3 * math.Pi * (o*o - i*i) * d.ThicknessM
}

// Inertia is ½·m·(Ro²+Ri²) in kg·m² about the axis.
func (d Disk) Inertia() float64 {
	o, i := d.OuterM/2, d.BoreM/2
	return 0.5 * d.Mass() * (o*o + i*i)
}

// Fasteners are equal solid cylinders parallel to the axis on one pitch circle.
type Fasteners struct {
	Count     int
	MassKg    float64 // each
	DiameterM float64 // of each
	PitchM    float64 // diameter of the pitch circle
}

// Inertia is n·m·(½·r² + c²) in kg·m², r the cylinder's and c the circle's radius.
func (f Fasteners) Inertia() float64 {
	r, c := f.DiameterM/2, f.PitchM/2
	return float64(f.Count) * f.MassKg * (0.5*r*r + c*c)
}

// Part is the fasteners as a part without load.
func (f Fasteners) Part(name string) Part {
	return Part{Name: name, Inertia: f.Inertia(), MassKg: float64(f.Count) * f.MassKg}
}
