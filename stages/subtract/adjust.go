package subtract

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// adjustment is the linear problem of one job: bodies against observations.
type adjustment struct {
	in     Input
	rotors []spin.RotorInertia
	// bodies are the unknowns: one part id, or several that are never told apart.
	bodies   [][]string
	refusals []spin.Refusal
}

// observation is one row: a value that equals the sum of some bodies.
type observation struct {
	value  uncertain.Value
	bodies []int
}

// newAdjustment sets up the unknowns. Parts whose columns are equal and that
// have no declared inertia of their own are one unknown.
func newAdjustment(in Input, rotors []spin.RotorInertia) *adjustment {
	a := &adjustment{in: in, rotors: rotors}
	type column struct {
		id, rows string
		declared bool
	}
	var cols []column
	for _, id := range a.partIDs() {
		c := column{id: id}
		for _, r := range rotors {
			if slices.Contains(a.partsOf(r.Rotor), id) {
				c.rows += r.Rotor + ";"
			}
		}
		// Only what is allowed to enter the adjustment tells a part apart.
		p := a.part(id)
		c.declared = p != nil && p.InertiaKgM2 != nil && p.Role != "check"
		cols = append(cols, c)
	}
	for i, c := range cols {
		k := -1
		if !c.declared {
			k = slices.IndexFunc(a.bodies, func(b []string) bool {
				j := slices.IndexFunc(cols[:i], func(o column) bool { return o.id == b[0] })
				return !cols[j].declared && cols[j].rows == c.rows
			})
		}
		if k < 0 {
			a.bodies = append(a.bodies, []string{c.id})
		} else {
			a.bodies[k] = append(a.bodies[k], c.id)
		}
	}
	return a
}

// partIDs are the bodies of all rotors: the motor's own rotor first, then parts by id.
func (a *adjustment) partIDs() []string {
	out := []string{}
	for _, r := range a.rotors {
		for _, id := range a.partsOf(r.Rotor) {
			if !slices.Contains(out, id) && id != spin.Bare {
				out = append(out, id)
			}
		}
	}
	slices.Sort(out)
	return append([]string{spin.Bare}, out...)
}

// partsOf are the bodies of a rotor, the motor's own included.
func (a *adjustment) partsOf(rotor string) []string {
	for _, r := range a.in.Rotors {
		if r.ID == rotor {
			return append([]string{spin.Bare}, r.Parts...)
		}
	}
	return []string{spin.Bare}
}

func (a *adjustment) part(id string) *spin.Part {
	for i := range a.in.Parts {
		if a.in.Parts[i].ID == id {
			return &a.in.Parts[i]
		}
	}
	return nil
}

func isReference(p *spin.Part) bool { return p != nil && (p.Role == "scale" || p.Role == "both") }

func (a *adjustment) hasScale() bool {
	return slices.ContainsFunc(a.partIDs(), func(id string) bool {
		p := a.part(id)
		return isReference(p) && p.InertiaKgM2 != nil
	})
}

// observations are all rotors and the declared inertias that may enter:
// reference disks only withDisk, check disks never.
func (a *adjustment) observations(withDisk, inAir bool) []observation {
	var out []observation
	for _, r := range a.rotors {
		o := observation{value: r.JBodyKgM2}
		if inAir {
			o.value = r.JKgM2
		}
		for _, id := range a.partsOf(r.Rotor) {
			if b := a.bodyOf(id); !slices.Contains(o.bodies, b) {
				o.bodies = append(o.bodies, b)
			}
		}
		out = append(out, o)
	}
	for b, ids := range a.bodies {
		p := a.part(ids[0])
		if len(ids) > 1 || p == nil || p.InertiaKgM2 == nil || p.Role == "check" || (isReference(p) && !withDisk) {
			continue
		}
		out = append(out, observation{value: *p.InertiaKgM2, bodies: []int{b}})
	}
	return out
}

func (a *adjustment) bodyOf(id string) int {
	return slices.IndexFunc(a.bodies, func(ids []string) bool { return slices.Contains(ids, id) })
}

// exactRel stands for the uncertainty of a value declared without one, so that
// the covariance stays positive definite; far below any budget.
const exactRel = 1e-7

// solve adjusts all observations; a nil entry is a body that they do not determine.
func (a *adjustment) solve(withDisk, inAir bool) ([]*uncertain.Value, error) {
	obs := a.observations(withDisk, inAir)
	free := make([]bool, len(a.bodies))
	for i := range free {
		free[i] = true
	}
	for {
		values, singular, err := a.attempt(obs, free)
		if err != nil {
			return nil, err
		}
		if singular < 0 {
			return values, nil
		}
		// This body depends on others: set it aside with every rotor that it is part of.
		a.setAside(singular)
		free[singular] = false
		obs = slices.DeleteFunc(slices.Clone(obs), func(o observation) bool { return slices.Contains(o.bodies, singular) })
		for b := range free {
			free[b] = free[b] && slices.ContainsFunc(obs, func(o observation) bool { return slices.Contains(o.bodies, b) })
		}
	}
}

func (a *adjustment) setAside(body int) {
	name := a.bodyName(body)
	subject := a.in.Job + "/" + name
	if slices.ContainsFunc(a.refusals, func(r spin.Refusal) bool { return r.Subject == subject }) {
		return
	}
	a.refusals = append(a.refusals, spin.Refusal{
		Stage: "subtract", Code: "unseparable", Subject: subject,
		Text: fmt.Sprintf("the rotors recorded do not tell %s apart from the parts it was run with: run it without them, or declare an inertia (a rotor whose runs were all refused counts as not run)", name),
	})
}

// attempt solves for the free bodies. singular ≥ 0 names a body that depends on those before it.
func (a *adjustment) attempt(obs []observation, free []bool) ([]*uncertain.Value, int, error) {
	var cols []int
	for b, f := range free {
		if f {
			cols = append(cols, b)
		}
	}
	out := make([]*uncertain.Value, len(free))
	if len(cols) == 0 {
		return out, -1, nil
	}
	if len(obs) < len(cols) {
		return nil, a.leastKnown(cols, obs), nil
	}
	m, y, v := numeric.NewMatrix(len(obs), len(cols)), make([]float64, len(obs)), numeric.NewMatrix(len(obs), len(obs))
	for i, o := range obs {
		for j, b := range cols {
			if slices.Contains(o.bodies, b) {
				m.Set(i, j, 1)
			}
		}
		y[i] = o.value.Mean
		for k := range obs {
			v.Set(i, k, uncertain.Covariance(o.value, obs[k].value))
		}
		v.Set(i, i, v.At(i, i)+exactRel*exactRel*y[i]*y[i])
	}
	s, err := numeric.Generalised(m, y, v)
	var singular *numeric.ErrSingular
	if errors.As(err, &singular) {
		return nil, cols[singular.Column], nil
	}
	if err != nil {
		return nil, -1, err
	}
	for j, b := range cols {
		terms := make([]uncertain.Term, len(obs))
		for i, o := range obs {
			terms[i] = uncertain.Term{Sensitivity: s.Gain.At(j, i), Value: o.value}
		}
		value := uncertain.Combine(s.Coef[j], terms...)
		out[b] = &value
	}
	return out, -1, nil
}

// leastKnown is the last body that stands in no observation of its own.
func (a *adjustment) leastKnown(cols []int, obs []observation) int {
	for i := len(cols) - 1; i > 0; i-- {
		if !slices.ContainsFunc(obs, func(o observation) bool { return len(o.bodies) == 1 && o.bodies[0] == cols[i] }) {
			return cols[i]
		}
	}
	return cols[0]
}

func (a *adjustment) bodyName(b int) string {
	names := make([]string, len(a.bodies[b]))
	for i, id := range a.bodies[b] {
		names[i] = spin.DotID(id)
	}
	return strings.Join(names, "+")
}

// scales compares every reference disk, measured on the weights' scale, with its declaration.
func (a *adjustment) scales(direct []*uncertain.Value) []ScaleRatio {
	var out []ScaleRatio
	for b, ids := range a.bodies {
		p := a.part(ids[0])
		if len(ids) > 1 || p == nil || p.Role == "" || p.InertiaKgM2 == nil || direct[b] == nil {
			continue
		}
		ratio := direct[b].Div(*p.InertiaKgM2)
		ratio.Mean--
		out = append(out, ScaleRatio{Disk: p.ID, Ratio: ratio, Role: p.Role, Agree: math.Abs(ratio.Mean) <= spin.Disagreement*ratio.Expanded().U})
	}
	return out
}

// numbers are the results by part: headline, direct and, with a propeller, in air.
func (a *adjustment) numbers(head, direct, air []*uncertain.Value, disk bool) []spin.Number {
	var out []spin.Number
	for b, ids := range a.bodies {
		if head[b] == nil {
			continue
		}
		p := a.part(ids[0])
		if len(ids) == 1 && p != nil && p.Shape == "fastener" {
			continue // declared, not measured
		}
		scale := spin.ScaleWeights
		if disk {
			scale = spin.ScaleBoth
		}
		add := func(quantity string, v *uncertain.Value, scale string) {
			if v == nil {
				return
			}
			n := spin.Number{
				ID: a.in.Job + "/" + a.bodyName(b) + "/" + quantity, Job: a.in.Job, Subject: a.bodyName(b), Quantity: quantity,
				Unit: "kg·m²", Value: *v, Scale: scale,
			}
			a.behind(&n, ids)
			if scale == spin.ScaleBoth {
				a.scaleBehind(&n)
			}
			if len(ids) > 1 {
				n.Note = "sum of parts that were never run apart"
			}
			out = append(out, n)
		}
		add(spin.Inertia, head[b], scale)
		add(spin.InertiaDirect, direct[b], spin.ScaleWeights)
		if spin.HasPropeller(ids, a.in.Parts) {
			add(spin.InertiaInAir, air[b], scale)
		}
	}
	return out
}

// scaleBehind adds the rotors that carry a scale disk: the number rests on their runs too.
func (a *adjustment) scaleBehind(n *spin.Number) {
	for _, r := range a.rotors {
		carries := slices.ContainsFunc(a.partsOf(r.Rotor), func(id string) bool { return isReference(a.part(id)) })
		if carries && !slices.Contains(n.Rotors, r.Rotor) {
			n.Rotors = append(n.Rotors, r.Rotor)
		}
	}
}

// behind fills runs, mountings, conditions and rotors: those of the rotors
// that carry the body and no more parts than need be; the motor's own rotor stands behind all.
func (a *adjustment) behind(n *spin.Number, ids []string) {
	for _, r := range a.rotors {
		parts := a.partsOf(r.Rotor)
		carries := slices.Contains(parts, ids[0])
		if ids[0] == spin.Bare {
			carries = len(parts) == 1 || !slices.ContainsFunc(a.rotors, func(o spin.RotorInertia) bool { return o.Rotor == spin.Bare })
		}
		if carries {
			n.Runs += r.Runs
			n.Mountings += r.Mountings
			n.Conditions = max(n.Conditions, r.Conditions)
		}
		if carries || r.Rotor == spin.Bare {
			n.Rotors = append(n.Rotors, r.Rotor)
		}
	}
}
