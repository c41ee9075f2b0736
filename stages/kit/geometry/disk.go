package geometry

import (
	"fmt"
	"math"
	"strconv"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/uncertain"
)

// Holes are equal through holes evenly spaced on a pitch circle.
type Holes struct {
	Count     int
	DiameterM uncertain.Value
	PitchM    uncertain.Value // pitch circle diameter
}

// Layer is a ring of one thickness, with rings of through holes.
type Layer struct {
	OuterM     uncertain.Value // outer diameter
	BoreM      uncertain.Value // bore diameter, 0 for a solid one
	ThicknessM uncertain.Value
	Holes      []Holes
}

// Disk is a stack of layers of one material on one axis.
type Disk struct{ Layers []Layer }

// Check says whether the shape can exist: diameters above zero, bore inside, holes
// within the metal and clear of each other on their circle. The error is a
// *positioned.Error whose Field is the key below the part ("layers.0.bore_diameter") and
// which has no file.
func (d Disk) Check() error {
	if len(d.Layers) == 0 {
		return fault("layers", "no layer", "at least one")
	}
	for i, l := range d.Layers {
		key := "layers." + strconv.Itoa(i) + "."
		switch {
		case !(l.OuterM.Mean > 0):
			return fault(key+"outer_diameter", mm(l.OuterM.Mean), "a diameter above 0")
		case !(l.ThicknessM.Mean > 0):
			return fault(key+"thickness", mm(l.ThicknessM.Mean), "a thickness above 0")
		case !(l.BoreM.Mean >= 0) || !(l.BoreM.Mean < l.OuterM.Mean):
			return fault(key+"bore_diameter", mm(l.BoreM.Mean), "at least 0 and below the outer diameter of "+mm(l.OuterM.Mean))
		}
		for k, h := range l.Holes {
			if err := h.check(l, key+"holes."+strconv.Itoa(k)+"."); err != nil {
				return err
			}
		}
	}
	return nil
}

func (h Holes) check(l Layer, key string) error {
	dia, pitch := h.DiameterM.Mean, h.PitchM.Mean
	switch {
	case h.Count < 1:
		return fault(key+"count", strconv.Itoa(h.Count), "at least 1")
	case !(dia > 0):
		return fault(key+"diameter", mm(dia), "a diameter above 0")
	case !(pitch >= 0):
		return fault(key+"pitch_diameter", mm(pitch), "at least 0")
	case pitch+dia > l.OuterM.Mean || (l.BoreM.Mean > 0 && pitch-dia < l.BoreM.Mean):
		return fault(key+"pitch_diameter", fmt.Sprintf("holes of %s on %s", mm(dia), mm(pitch)),
			fmt.Sprintf("holes between bore and rim, %s and %s", mm(l.BoreM.Mean), mm(l.OuterM.Mean)))
	case h.Count > 1 && pitch*math.Sin(math.Pi/float64(h.Count)) < dia:
		return fault(key+"count", fmt.Sprintf("%d holes of %s on %s", h.Count, mm(dia), mm(pitch)), "holes that do not meet")
	}
	return nil
}

func fault(field, got, want string) error {
	return &positioned.Error{Field: field, Got: got, Want: want}
}

func mm(m float64) string { return strconv.FormatFloat(m*1e3, 'g', 6, 64) + " mm" }

// moments are V = ∫dV and K = ∫r²dV with their derivatives by every dimension.
type moments struct {
	v, k   float64
	inputs []uncertain.Value
	dv, dk []float64
}

func (m *moments) input(x uncertain.Value, dv, dk float64) {
	m.inputs = append(m.inputs, x)
	m.dv = append(m.dv, dv)
	m.dk = append(m.dk, dk)
}

// moments of all layers. Derivatives are by diameters, hence the factors ½.
func (d Disk) moments() *moments {
	m := &moments{}
	for _, l := range d.Layers {
		ro, ri, t := l.OuterM.Mean/2, l.BoreM.Mean/2, l.ThicknessM.Mean
		area := math.Pi * (ro*ro - ri*ri)
		polar := math.Pi / 2 * (math.Pow(ro, 4) - math.Pow(ri, 4))
		m.input(l.OuterM, math.Pi*t*ro, math.Pi*t*math.Pow(ro, 3))
		m.input(l.BoreM, -math.Pi*t*ri, -math.Pi*t*math.Pow(ri, 3))
		for _, h := range l.Holes {
			n, r, c := float64(h.Count), h.DiameterM.Mean/2, h.PitchM.Mean/2
			hole := n * math.Pi * r * r
			area -= hole
			polar -= hole * (r*r/2 + c*c)
			m.input(h.DiameterM, -n*math.Pi*t*r, -n*math.Pi*t*r*(r*r+c*c))
			m.input(h.PitchM, 0, -hole*t*c)
		}
		m.input(l.ThicknessM, area, polar)
		m.v += area * t
		m.k += polar * t
	}
	return m
}

// VolumeM3 is ΣV in m³.
func (d Disk) VolumeM3() uncertain.Value {
	m := d.moments()
	terms := make([]uncertain.Term, len(m.inputs))
	for i, x := range m.inputs {
		terms[i] = uncertain.Term{Sensitivity: m.dv[i], Value: x}
	}
	return uncertain.Combine(m.v, terms...)
}

// DrawnMassKg is density × volume.
func (d Disk) DrawnMassKg(densityKgM3 uncertain.Value) uncertain.Value {
	return d.VolumeM3().Mul(densityKgM3)
}

// InertiaAtDensity is ρ ΣK in kg·m².
func (d Disk) InertiaAtDensity(densityKgM3 uncertain.Value) uncertain.Value {
	m := d.moments()
	rho := densityKgM3.Mean
	terms := []uncertain.Term{{Sensitivity: m.k, Value: densityKgM3}}
	for i, x := range m.inputs {
		terms = append(terms, uncertain.Term{Sensitivity: rho * m.dk[i], Value: x})
	}
	return uncertain.Combine(rho*m.k, terms...)
}

// InertiaAtMass is m ΣK/ΣV in kg·m²: the mass as weighed, each layer's share by
// volume.
func (d Disk) InertiaAtMass(massKg uncertain.Value) uncertain.Value {
	m := d.moments()
	mean := massKg.Mean * m.k / m.v
	terms := []uncertain.Term{{Sensitivity: m.k / m.v, Value: massKg}}
	for i, x := range m.inputs {
		terms = append(terms, uncertain.Term{Sensitivity: massKg.Mean / m.v * (m.dk[i] - m.k/m.v*m.dv[i]), Value: x})
	}
	return uncertain.Combine(mean, terms...)
}

// RadiusM is the largest outer radius.
func (d Disk) RadiusM() float64 {
	r := 0.0
	for _, l := range d.Layers {
		r = math.Max(r, l.OuterM.Mean/2)
	}
	return r
}

// Fastener is a set of equal round bodies (screws, nuts, washers) on a pitch circle.
type Fastener struct {
	Count      int
	MassEachKg uncertain.Value
	DiameterM  uncertain.Value
	BoreM      uncertain.Value // 0 for a solid one
	PitchM     uncertain.Value // pitch circle diameter, 0 on the axis
}

// Check is Disk.Check for fasteners; keys are those below "fastener.".
func (f Fastener) Check() error {
	switch {
	case f.Count < 1:
		return fault("fastener.count", strconv.Itoa(f.Count), "at least 1")
	case !(f.MassEachKg.Mean > 0):
		return fault("fastener.mass_each", quantity.Format(f.MassEachKg.Mean, gram), "a mass above 0")
	case !(f.DiameterM.Mean > 0):
		return fault("fastener.diameter", mm(f.DiameterM.Mean), "a diameter above 0")
	case !(f.BoreM.Mean >= 0) || !(f.BoreM.Mean < f.DiameterM.Mean):
		return fault("fastener.bore_diameter", mm(f.BoreM.Mean), "at least 0 and below the diameter of "+mm(f.DiameterM.Mean))
	case !(f.PitchM.Mean >= 0):
		return fault("fastener.pitch_diameter", mm(f.PitchM.Mean), "at least 0")
	case f.Count > 1 && f.PitchM.Mean*math.Sin(math.Pi/float64(f.Count)) < f.DiameterM.Mean && f.PitchM.Mean > 0:
		return fault("fastener.pitch_diameter", fmt.Sprintf("%d of %s on %s", f.Count, mm(f.DiameterM.Mean), mm(f.PitchM.Mean)), "a circle on which they do not meet")
	}
	return nil
}

var gram, _ = quantity.Lookup("g")

// MassKg of the set.
func (f Fastener) MassKg() uncertain.Value { return f.MassEachKg.Scale(float64(f.Count)) }

// InertiaKgM2 of the set about the spin axis: n·m·(½(r² + b²) + c²), with radius
// r, bore radius b and pitch circle radius c (hollow cylinder, parallel-axis theorem).
func (f Fastener) InertiaKgM2() uncertain.Value {
	n, m := float64(f.Count), f.MassEachKg.Mean
	r, b, c := f.DiameterM.Mean/2, f.BoreM.Mean/2, f.PitchM.Mean/2
	perMass := n * ((r*r+b*b)/2 + c*c)
	return uncertain.Combine(perMass*m,
		uncertain.Term{Sensitivity: perMass, Value: f.MassEachKg},
		uncertain.Term{Sensitivity: n * m * r / 2, Value: f.DiameterM},
		uncertain.Term{Sensitivity: n * m * b / 2, Value: f.BoreM},
		uncertain.Term{Sensitivity: n * m * c, Value: f.PitchM})
}
