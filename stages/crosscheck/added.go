package crosscheck

import (
	"fmt"
	"math"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// added compares the bare rotor's inertia with what the times of passage with and
// without parts of declared inertia D say of it: J = D/(t₂/t₁ − 1), no torque in it.
// It rests on the same drawing as the reference disk, and on a winding that is equally warm, so it
// informs: torque scale and drawing together cannot be wrong alike without its showing.
func (c *checker) added() {
	for _, a := range c.in.Choice.Added {
		known, ok := c.declaredParts(a.Rotor)
		if !ok || a.Ratio.Mean <= 1 {
			continue
		}
		for _, r := range c.in.Rotors {
			if r.Rotor != spin.Bare {
				continue
			}
			minus1 := a.Ratio.Sub(uncertain.Exact(1))
			d := known.Div(minus1).Div(r.JKgM2)
			d.Mean--
			c.add(spin.Check{
				Name: "added-body", Subject: c.subject(a.Rotor), Value: d.Mean, U: d.Expanded().U, Limit: math.Max(c.opt.Cap, spin.Disagreement*d.Expanded().U), Unit: "1",
				Sees: []string{faultScale, faultDrawing, faultParts}, Numbers: c.numbersOf(r.Rotor), Suspects: suspects(d),
				Text: fmt.Sprintf("bare inertia from times of passage with and without %s (ratio %.4g over %d runs), no torque used, against the balance: %+.2g %% ± %.2g %%",
					a.Rotor, a.Ratio.Mean, a.Runs, 100*d.Mean, 100*d.Expanded().U),
			})
		}
	}
}

// declaredParts is the declared inertia of all that a rotor carries, and whether all of it is declared.
func (c *checker) declaredParts(rotor string) (uncertain.Value, bool) {
	var sum uncertain.Value
	for _, b := range c.in.Bodies {
		if b.ID != rotor {
			continue
		}
		for _, id := range b.Parts {
			p := c.part(id)
			if p == nil || p.InertiaKgM2 == nil {
				return sum, false
			}
			sum = sum.Add(*p.InertiaKgM2)
		}
	}
	return sum, sum.Mean > 0
}
