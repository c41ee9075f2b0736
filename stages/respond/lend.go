package respond

import (
	"fmt"
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Lent is a rotor that another job measured on its motor.
type Lent struct {
	Rotor string `json:"rotor"`
	// VirtualKgM2 is the mean of ∫L/ω² dω/Δω over the rises that its inertia was found from, N·m·s²; see Propellers.
	Virtual float64 `json:"virtual,omitempty"`
}

const (
	// lentPoints are the speeds at which the loads of two motors are put together.
	lentPoints = 16
	// lentFormRel of the largest load is what the form in which they are put together may miss.
	lentFormRel = 0.01
)

// Lend puts the parts of a rotor, measured on the motor of one job, on the motor of another: inertia and load of
// the other's own bell, and what the parts added to those of the bell they were measured on,
//
//	J = J(to, bare) + J(from, rotor) − J(from, bare),   L = L(to, bare) + L(from, rotor) − L(from, bare)
//
// each with its uncertainty; causes of one name in both, such as a calibration, meet with their
// signs. Loads are brought to the air of the receiving job. Thrust goes with the parts. The error says what is missing.
func Lend(to, from Input, rotor string) (Input, string, error) {
	name := "lent:" + from.Job + "/" + rotor
	var b [3]*body
	for i, x := range []struct {
		in    *Input
		rotor string
	}{{&to, spin.Bare}, {&from, rotor}, {&from, spin.Bare}} {
		list := bodiesOf(x.in)
		for k := range list {
			if list[k].rotor == x.rotor {
				b[i] = &list[k]
			}
		}
		if b[i] == nil {
			return to, "", fmt.Errorf("%s: neither inertia nor load of the rotor %s is known there: it takes the bare motor's step and steady recordings in both jobs, and the part's in one", x.in.Job, x.rotor)
		}
	}
	curve, err := together(b, name)
	if err != nil {
		return to, "", fmt.Errorf("%s on the motor of %s: %w", rotor, to.Job, err)
	}
	out := to
	out.Rotors = append(append([]spin.RotorInertia(nil), to.Rotors...), spin.RotorInertia{Rotor: name, JKgM2: b[0].j.Add(b[1].j).Sub(b[2].j)})
	out.Curves = append(append([]spin.LoadCurve(nil), to.Curves...), curve)
	out.Lent = append(append([]Lent(nil), to.Lent...), Lent{name, b[1].virtual})
	// One fit for release takes all that it rests on.
	if contains(to.Fit, spin.Bare) && contains(from.Fit, spin.Bare) && contains(from.Fit, rotor) {
		out.Fit = append(append([]string(nil), to.Fit...), name)
	}
	out.Evidence = append([]spin.Evidence(nil), to.Evidence...)
	for _, e := range from.Evidence {
		if e.Rotor == rotor && len(e.Thrust) > 0 {
			out.Evidence = append(out.Evidence, spin.Evidence{Recording: e.Recording, Kind: e.Kind, Rotor: name, Mounting: name, Thrust: e.Thrust, Scale: e.Scale})
		}
	}
	return out, name, nil
}

func contains(list []string, x string) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

// together is the load of a receiving bell (b[0]) and of parts, measured with another bell (b[1]) less that bell's (b[2]).
func together(b [3]*body, name string) (spin.LoadCurve, error) {
	out := spin.LoadCurve{Rotor: name, Form: spin.FormCubic, Basis: "lent", HighRadPerS: math.Inf(1)}
	air := b[0].curve.DensityKgM3
	var ratio [3]float64
	for i := range b {
		c := &b[i].curve
		if c.Form == spin.FormNone {
			ratio[i] = 0
			continue
		}
		out.LowRadPerS, out.HighRadPerS = math.Max(out.LowRadPerS, c.LowRadPerS), math.Min(out.HighRadPerS, c.HighRadPerS)
		if ratio[i] = 1; i > 0 {
			if (air > 0) != (c.DensityKgM3 > 0) {
				return out, fmt.Errorf("the air is stated in one of the jobs only")
			}
			if air > 0 {
				ratio[i] = air / c.DensityKgM3
			}
		}
	}
	if !(out.LowRadPerS < out.HighRadPerS) || math.IsInf(out.HighRadPerS, 1) {
		return out, fmt.Errorf("no speed is covered by the loads of all three rotors")
	}
	out.RefRadPerS, out.DensityKgM3 = out.HighRadPerS, air
	a, y := numeric.NewMatrix(lentPoints, 3), make([]float64, lentPoints)
	values := make([]uncertain.Value, lentPoints)
	for i := range values {
		w := out.LowRadPerS + (out.HighRadPerS-out.LowRadPerS)*float64(i)/(lentPoints-1)
		x := w / out.RefRadPerS
		copy(a.Row(i), []float64{x, x * x, x * x * x})
		for k, sign := range []float64{1, 1, -1} {
			values[i] = values[i].Add(loadValue(&b[k].curve, w, ratio[k]).Scale(sign))
		}
		y[i] = values[i].Mean
	}
	s, err := numeric.LeastSquares(a, y, nil)
	if err != nil {
		return out, err
	}
	worst := 0.0
	for _, r := range s.Residual {
		worst = math.Max(worst, math.Abs(r))
	}
	if worst > lentFormRel*math.Abs(y[lentPoints-1]) {
		return out, fmt.Errorf("their loads together follow no curve of three terms to %.1g %%", 100*lentFormRel)
	}
	for k, c := range s.Coef {
		terms := make([]uncertain.Term, lentPoints)
		for i := range terms {
			terms[i] = uncertain.Term{Sensitivity: s.Gain.At(k, i), Value: values[i]}
		}
		out.Coef = append(out.Coef, uncertain.Combine(c, terms...))
	}
	return out, nil
}

// loadValue is L at a speed, in air of ratio times the density. Friction against the ground does not care for air.
func loadValue(c *spin.LoadCurve, w, ratio float64) uncertain.Value {
	if ratio == 0 {
		return uncertain.Exact(0)
	}
	dry := c.DryNm(w)
	var terms []uncertain.Term
	for i, g := range loadGradient(c, spin.Stretch{SpeedRadPerS: w}) {
		if !c.Dry || i < len(c.Coef)-1 {
			g *= ratio
		}
		terms = append(terms, uncertain.Term{Sensitivity: g, Value: c.Coef[i]})
	}
	return uncertain.Combine(ratio*(c.At(w)-dry)+dry, terms...)
}
