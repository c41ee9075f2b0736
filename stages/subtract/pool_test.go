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

// The interval of one or two runs comes from the declared repeatability, or from their own
// aliasing witness where that is more.
func TestFewRuns(t *testing.T) {
	rotor := spin.NewRotor(nil)
	for _, c := range []struct{ aliasing, want float64 }{{0, 0.001}, {0.0019, 0.001}, {0.03, 0.015}} {
		fits := runs(rotor, 2e-5, 0, 0)[2:4]
		for i := range fits {
			fits[i].Aliasing = c.aliasing
		}
		in := Input{Job: "j", Fits: fits, Rotors: []spin.Rotor{rotor}, Repeatability: []spin.Repeatability{{RunRel: 0.001, DoF: 30}}}
		out, err := Run(in, DefaultOptions())
		if err != nil || len(out.Rotors) != 1 {
			t.Fatal(err)
		}
		j := out.Rotors[0].JKgM2
		for _, p := range j.Parts {
			if got := p.Contribution / j.Mean * math.Sqrt2; p.Source == "j/rotor:bare/scatter" && math.Abs(got-c.want) > 1e-9 {
				t.Errorf("aliasing %g: scatter of a run %g, want %g", c.aliasing, got, c.want)
			}
		}
	}
}

// What the steps of torque and speed leave is one error for all runs: their mean has it whole. Next to nothing has no row.
func TestResolution(t *testing.T) {
	rotor := spin.NewRotor(nil)
	const j = 2e-5
	for _, c := range []struct{ torque, speed, wantTorque, wantSpeed float64 }{
		{3e-3, 5e-3, 3e-3, 5e-3}, {0, 2e-6, 0, 0}, {0, 0, 0, 0},
	} {
		fits := runs(rotor, j, 0, 0)
		for i := range fits {
			fits[i].ResolutionU, fits[i].SpeedResolutionU = c.torque*j, c.speed*j
		}
		out, err := Run(Input{Job: "j", Fits: fits, Rotors: []spin.Rotor{rotor}}, DefaultOptions())
		if err != nil || len(out.Rotors) != 1 {
			t.Fatal(err)
		}
		v := out.Rotors[0].JKgM2
		for source, want := range map[string]float64{"j/rotor:bare/torque-resolution": c.wantTorque, "j/rotor:bare/speed-resolution": c.wantSpeed} {
			if got := v.Part(source) / j; math.Abs(got-want) > 1e-9 {
				t.Errorf("%s of steps %+v: %g, want %g", source, c, got, want)
			}
		}
	}
}
