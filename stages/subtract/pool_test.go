package subtract

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
)

// Runs that scatter by more than chance makes of the declared repeatability put
// half of what is beyond it into the budget; runs that scatter less leave no trace.
func TestExcessScatter(t *testing.T) {
	rotor := spin.NewRotor(nil)
	fits := runs(rotor, 2e-5, 0, 0)
	scatter := 5e-5 * math.Sqrt(10.0/5) // standard deviation of −2 … 2, relative
	for _, c := range []struct {
		name          string
		declared, dof float64
		want          float64 // relative
	}{
		{"as declared", scatter, 30, 0},
		{"1.4 times, within chance for five degrees of freedom", scatter / 1.4, 30, 0},
		{"3 times", scatter / 3, 30, 0.5 * scatter * math.Sqrt(1-1.0/9)},
		{"3 times, declared exactly", scatter / 3, 0, 0.5 * scatter * math.Sqrt(1-1.0/9)},
		{"3 times, declared from two runs", scatter / 3, 1, 0},
	} {
		in := Input{Job: "j", Fits: fits, Rotors: []spin.Rotor{rotor}, Repeatability: []spin.Repeatability{{RunRel: c.declared, DoF: c.dof}}}
		out, err := Run(in, DefaultOptions())
		if err != nil || len(out.Rotors) != 1 {
			t.Fatal(c.name, err)
		}
		j := out.Rotors[0].JKgM2
		got := 0.0
		for _, p := range j.Parts {
			if p.Source == "j/rotor:bare/excess-scatter" {
				got = p.Contribution / j.Mean
			}
		}
		if math.Abs(got-c.want) > 1e-3*c.want {
			t.Errorf("%s: excess-scatter %.4g, want %.4g", c.name, got, c.want)
		}
	}
}
