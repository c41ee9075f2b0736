package job

import (
	"fmt"
	"strconv"
	"strings"

	"spinledger/stages/kit/geometry"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// part is one part of a parts file; its spin.Part is complete only where at is usable.
type part struct {
	spin spin.Part
	at   *value
}

// partsFile reads the parts file that v names.
func (r *reader) partsFile(v *value) {
	root, first := r.open(v, PartsFile)
	switch {
	case root == nil:
		r.broken = true
		return
	case !first:
		v.fault(quote(v.text)+" a second time", "each parts file once", "")
		return
	}
	dotted := map[string]string{}
	for id := range r.parts {
		dotted[spin.DotID(id)] = id
	}
	for _, p := range root.fields {
		if p.key.Name == "format" {
			continue
		}
		if p.name == spin.Bare {
			p.faultAtKey(quote(p.name), "another id: bare is the motor's own rotor", "")
			continue
		}
		if other, twice := dotted[spin.DotID(p.name)]; twice {
			o := r.parts[other].at
			p.faultAtKey(fmt.Sprintf("the part %s, which %s:%d has too", quote(other), o.file.name, o.keyLine), "an id of its own for each part", sameDots(other, p.name))
			continue
		}
		dotted[spin.DotID(p.name)] = p.name
		r.part(p)
	}
}

// sameDots explains why two ids that differ are one.
func sameDots(a, b string) string {
	if a == b {
		return ""
	}
	return "in number ids a slash is a dot"
}

// part reads one part. Sources and places of its declarations begin "parts/<id>/".
func (r *reader) part(v *value) {
	prefix := "parts/" + spin.DotID(v.name) + "/"
	r.register(prefix, v)
	p := spin.Part{ID: v.name, Shape: "body", Model: v.get("model").str(""), Batch: v.get("batch").str(""), Role: v.get("reference").get("role").str("")}
	p.TopRadPerS = v.get("top_speed").num()
	if !v.bad {
		p.MassKg = r.optional(v.get("mass"), prefix+"mass")
		r.shape(v, &p, prefix)
		if p.Role != "" && p.InertiaKgM2 == nil && !v.bad {
			v.get("reference").fault("a reference whose inertia is not declared", "layers with mass or material.density, a fastener, or inertia", "")
		}
	}
	r.parts[v.name] = &part{p, v}
}

// shape fills what follows from the declared geometry.
func (r *reader) shape(v *value, p *spin.Part, prefix string) {
	mat := v.get("material")
	switch {
	case v.get("layers") != nil:
		r.disk(v, p, prefix)
	case mat != nil:
		mat.faultAtKey("material without layers", "material with the layers of a disk", "")
	case v.get("fastener") != nil:
		r.fastener(v, p, prefix+"fastener.")
	case v.get("propeller") != nil:
		prop := v.get("propeller")
		p.Shape, p.RadiusM = "propeller", prop.get("diameter").num()/2
		p.Blades = prop.get("blades").int(0)
		if s := prop.get("shrouded"); s != nil {
			p.Shrouded = s.yes
		}
	case v.get("inertia") != nil:
		j := r.uncertain(v.get("inertia"), prefix+"inertia")
		p.InertiaKgM2 = &j
	}
}

// length is an optional dimension, exactly 0 when absent.
func (r *reader) length(v *value, prefix string) uncertain.Value {
	if v == nil {
		return uncertain.Value{}
	}
	return r.uncertain(v, prefix+v.name)
}

func (r *reader) disk(v *value, p *spin.Part, prefix string) {
	var d geometry.Disk
	for i, l := range v.get("layers").items {
		key := prefix + "layers." + strconv.Itoa(i) + "."
		layer := geometry.Layer{
			OuterM: r.length(l.get("outer_diameter"), key), BoreM: r.length(l.get("bore_diameter"), key), ThicknessM: r.length(l.get("thickness"), key)}
		for k, h := range l.get("holes").each() {
			key := key + "holes." + strconv.Itoa(k) + "."
			layer.Holes = append(layer.Holes, geometry.Holes{
				Count: h.get("count").integer, DiameterM: r.length(h.get("diameter"), key), PitchM: r.length(h.get("pitch_diameter"), key)})
		}
		d.Layers = append(d.Layers, layer)
	}
	p.Shape, p.RadiusM = "disk", d.RadiusM()
	if v.reject(d.Check()) {
		return
	}
	p.Layers = drawn(d)
	mat := v.get("material")
	metal := geometry.Metal{Poisson: geometry.DefaultPoisson, YieldPa: mat.get("yield").num(), DensityKgM3: mat.get("density").num()}
	if nu := mat.get("poisson"); nu != nil {
		metal.Poisson = nu.num()
		if nu.num() > 0.5 {
			nu.fault(quote(nu.text), "a ratio from 0 to 0.5", "")
		}
	}
	if rho := mat.get("density"); rho != nil {
		density := r.uncertain(rho, prefix+"material.density")
		drawn, j := d.DrawnMassKg(density), d.InertiaAtDensity(density)
		p.DrawnMassKg, p.InertiaKgM2 = &drawn, &j
	}
	if p.MassKg != nil {
		j := d.InertiaAtMass(*p.MassKg)
		p.InertiaKgM2 = &j
		if metal.DensityKgM3 == 0 {
			metal.DensityKgM3 = p.MassKg.Mean / d.VolumeM3().Mean
		}
	}
	p.BurstRadPerS = metal.YieldSpeed(d)
}

// drawn is a disk's dimensions without their uncertainty.
func drawn(d geometry.Disk) []spin.Layer {
	var out []spin.Layer
	for _, l := range d.Layers {
		layer := spin.Layer{OuterM: l.OuterM.Mean, BoreM: l.BoreM.Mean, ThicknessM: l.ThicknessM.Mean}
		for _, h := range l.Holes {
			layer.Holes = append(layer.Holes, spin.Holes{Count: h.Count, DiameterM: h.DiameterM.Mean, PitchM: h.PitchM.Mean})
		}
		out = append(out, layer)
	}
	return out
}

func (r *reader) fastener(v *value, p *spin.Part, prefix string) {
	v0 := v.get("fastener")
	f := geometry.Fastener{
		Count: v0.get("count").int(1), MassEachKg: r.length(v0.get("mass_each"), prefix), DiameterM: r.length(v0.get("diameter"), prefix),
		BoreM: r.length(v0.get("bore_diameter"), prefix), PitchM: r.length(v0.get("pitch_diameter"), prefix)}
	p.Shape, p.RadiusM = "fastener", f.PitchM.Mean/2+f.DiameterM.Mean/2
	if m := v.get("mass"); m != nil {
		m.faultAtKey("mass beside fastener", "mass_each within fastener", "")
		return
	}
	if v.reject(f.Check()) {
		return
	}
	m, j := f.MassKg(), f.InertiaKgM2()
	p.MassKg, p.InertiaKgM2 = &m, &j
}

// reject reports a fault that a package found in a shape, at the key it names below v;
// false where there is none.
func (v *value) reject(err error) bool {
	for _, e := range positioned.All(err) {
		at := v.below(e.Field)
		at.spoil()
		v.file.add(at.line, at.col, join(v.path, e.Field), e.Got, e.Want, e.Hint)
	}
	return err != nil
}

// below is the value at a path below v, or the nearest one above it. A block that
// stands in place of a list is its item 0.
func (v *value) below(path string) *value {
	for _, step := range strings.Split(path, ".") {
		next := v.get(step)
		if i, err := strconv.Atoi(step); err == nil && i < len(v.items) {
			next = v.items[i]
		}
		if next == nil {
			return v
		}
		v = next
	}
	return v
}
