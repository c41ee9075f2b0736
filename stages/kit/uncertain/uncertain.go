// Package uncertain carries a value together with every named cause of its
// uncertainty, so that what two results share cancels or adds as it must.
//
// A Value is a mean and a list of parts. A part is the signed effect on this
// value of one standard deviation of one independent cause; the cause is
// known by a name that is the same wherever the cause acts. To first order
// (JCGM 100:2008, 5.1.2 and 5.2.2, eq. 10 and 13):
//
//	u²(y)    = Σ_s c_s²
//	cov(y,z) = Σ_s c_s·d_s     over the names both have
//
// so x − x is exactly 0 ± 0 whatever x is. The list of parts, sorted by name,
// is the uncertainty budget.
package uncertain

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Part is one cause's signed contribution, in the unit of the value it belongs to.
type Part struct {
	// Source names one physical cause, the same everywhere it acts, for
	// instance "parts/disk-40/outer_diameter".
	Source string `json:"source"`
	// Contribution is ∂y/∂x·u(x): signed, in the value's unit.
	Contribution float64 `json:"c"`
	// DoF is the number of degrees of freedom behind u(x); 0 stands for
	// infinitely many (JSON has no infinity).
	DoF float64 `json:"dof,omitempty"`
}

// Value is a quantity with its uncertainty. The unit is the caller's and
// stands in the name of the field or variable that holds it. Parts are sorted
// by Source, each source once, none zero.
type Value struct {
	Mean  float64 `json:"mean"`
	Parts []Part  `json:"parts,omitempty"`
}

// Exact is a value without uncertainty.
func Exact(mean float64) Value { return Value{Mean: mean} }

// New is a value with one cause of standard uncertainty u ≥ 0 and dof degrees
// of freedom (0 or +Inf: infinitely many). It panics on a negative or NaN u
// or dof or an empty source with u > 0: those are programming errors.
func New(mean, u, dof float64, source string) Value {
	if !(u >= 0) || !(dof >= 0) || (u > 0 && source == "") {
		panic(fmt.Sprintf("uncertain: New(%v, u=%v, dof=%v, source=%q)", mean, u, dof, source))
	}
	return Value{Mean: mean, Parts: merge([]Part{{source, u, dof}})}
}

// Term is one input of a combination: ∂y/∂x and x.
type Term struct {
	Sensitivity float64
	Value       Value
}

// Combine is the value with the given mean whose parts are the
// sensitivity-weighted sums, by name, of the parts of its inputs (JCGM
// 100:2008, 5.2.2). Degrees of freedom belong to a name; where inputs
// disagree the smallest is kept.
func Combine(mean float64, terms ...Term) Value {
	n := 0
	for _, t := range terms {
		n += len(t.Value.Parts)
	}
	all := make([]Part, 0, n)
	for _, t := range terms {
		if t.Sensitivity == 0 {
			continue
		}
		for _, p := range t.Value.Parts {
			p.Contribution *= t.Sensitivity
			all = append(all, p)
		}
	}
	return Value{Mean: mean, Parts: merge(all)}
}

// merge sorts parts by source and adds those of one name; +Inf degrees of
// freedom become 0, which JSON can write. It reorders its argument.
func merge(all []Part) []Part {
	slices.SortStableFunc(all, func(a, b Part) int { return cmp.Compare(a.Source, b.Source) })
	out := all[:0]
	for _, p := range all {
		if math.IsInf(p.DoF, 1) {
			p.DoF = 0
		}
		if k := len(out) - 1; k >= 0 && out[k].Source == p.Source {
			out[k].Contribution += p.Contribution
			out[k].DoF = smallerDoF(out[k].DoF, p.DoF)
			continue
		}
		out = append(out, p)
	}
	out = slices.DeleteFunc(out, func(p Part) bool { return p.Contribution == 0 })
	if len(out) == 0 {
		return nil
	}
	return slices.Clip(out)
}

func smallerDoF(a, b float64) float64 {
	switch {
	case a == 0:
		return b
	case b == 0:
		return a
	default:
		return math.Min(a, b)
	}
}

// With is v with further parts added by name.
func (v Value) With(parts ...Part) Value {
	return Value{Mean: v.Mean, Parts: merge(slices.Concat(v.Parts, parts))}
}

// Scale is f·v.
func (v Value) Scale(f float64) Value { return Combine(f*v.Mean, Term{f, v}) }

// Add is v + w, shared causes shared.
func (v Value) Add(w Value) Value { return Combine(v.Mean+w.Mean, Term{1, v}, Term{1, w}) }

// Sub is v − w, shared causes shared: v.Sub(v) is exactly 0 ± 0.
func (v Value) Sub(w Value) Value { return Combine(v.Mean-w.Mean, Term{1, v}, Term{-1, w}) }

// Mul is v·w to first order.
func (v Value) Mul(w Value) Value {
	return Combine(v.Mean*w.Mean, Term{w.Mean, v}, Term{v.Mean, w})
}

// Div is v/w to first order. It panics when w is zero.
func (v Value) Div(w Value) Value {
	if w.Mean == 0 {
		panic("uncertain: division by zero")
	}
	q := v.Mean / w.Mean
	return Combine(q, Term{1 / w.Mean, v}, Term{-q / w.Mean, w})
}

// Pow is vⁿ to first order, for v.Mean > 0.
func (v Value) Pow(n float64) Value {
	if !(v.Mean > 0) {
		panic("uncertain: Pow of a value that is not positive")
	}
	p := math.Pow(v.Mean, n)
	return Combine(p, Term{n * p / v.Mean, v})
}

// Std is the standard uncertainty, √Σc² ≥ 0.
func (v Value) Std() float64 { return math.Sqrt(v.variance()) }

func (v Value) variance() float64 {
	s := 0.0
	for _, p := range v.Parts {
		s += float64(p.Contribution * p.Contribution)
	}
	return s
}

// DoF is the effective number of degrees of freedom by Welch–Satterthwaite
// (JCGM 100:2008, G.4.1, eq. G.2b); +Inf when every part has infinitely many
// or there is no uncertainty at all. Components of one estimate (see
// FromCovariance) share one estimated variance, so they enter as one term: a
// line fitted with ν degrees of freedom is read with ν, wherever it is read
// (JCGM 100:2008, H.3.4).
func (v Value) DoF() float64 {
	type term struct{ c2, dof float64 }
	terms, joint := make([]term, 0, len(v.Parts)), map[string]int{}
	for _, p := range v.Parts {
		c2, e := float64(p.Contribution*p.Contribution), estimate(p.Source)
		if k, ok := joint[e]; ok && e != "" {
			terms[k] = term{terms[k].c2 + c2, smallerDoF(terms[k].dof, p.DoF)}
			continue
		}
		joint[e] = len(terms)
		terms = append(terms, term{c2, p.DoF})
	}
	den := 0.0
	for _, t := range terms {
		if t.dof > 0 {
			den += float64(t.c2 * t.c2 / t.dof)
		}
	}
	if den == 0 {
		return math.Inf(1)
	}
	u2 := v.variance()
	return u2 * u2 / den
}

// Part is the signed contribution of one source, 0 when v does not depend on it.
func (v Value) Part(source string) float64 {
	i, ok := slices.BinarySearchFunc(v.Parts, source, func(p Part, s string) int { return cmp.Compare(p.Source, s) })
	if !ok {
		return 0
	}
	return v.Parts[i].Contribution
}

// Covariance is Σ c_s·d_s over the sources that both values have.
func Covariance(v, w Value) float64 {
	s, i, j := 0.0, 0, 0
	for i < len(v.Parts) && j < len(w.Parts) {
		switch a, b := v.Parts[i], w.Parts[j]; {
		case a.Source < b.Source:
			i++
		case a.Source > b.Source:
			j++
		default:
			s += float64(a.Contribution * b.Contribution)
			i++
			j++
		}
	}
	return s
}

// Fold replaces the parts that keep(source) is false for by one part with
// their root sum of squares and effective degrees of freedom. It is exact for
// v alone; call it only for causes that no other value shares. It panics when
// a part that is kept has the new name already: the two would add as one cause.
func (v Value) Fold(source string, keep func(source string) bool) Value {
	var kept, folded []Part
	for _, p := range v.Parts {
		if keep(p.Source) {
			if p.Source == source {
				panic(fmt.Sprintf("uncertain: Fold into %q, which is kept", source))
			}
			kept = append(kept, p)
		} else {
			folded = append(folded, p)
		}
	}
	if len(folded) == 0 {
		return v
	}
	f := Value{Parts: folded}
	dof := f.DoF()
	if math.IsInf(dof, 1) {
		dof = 0
	}
	kept = append(kept, Part{source, f.Std(), dof})
	return Value{Mean: v.Mean, Parts: merge(kept)}
}
