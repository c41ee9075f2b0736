package crosscheck

import (
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Scatter fails where it is more than chance makes of the declared repeatability and more
// than the inertia claims, or more than the cap; the declaration is named, with how far off it would be.
func TestScatter(t *testing.T) {
	const source = "bench/desk/repeatability.0.run"
	for _, c := range []struct {
		scatter, claim float64 // relative; the claim a standard uncertainty
		want           string
		words          string
	}{
		{0.001, 1e-4, spin.Pass, "(F test"},
		{0.004, 1e-4, spin.Fail, "(F test"},
		{0.004, 3e-3, spin.Pass, "more than usual, less than the"},
		{0.030, 3e-2, spin.Fail, "(F test"},
	} {
		const j = 2e-5
		in := Input{Job: "j", Classes: []spin.Repeatability{{RunRel: 0.001, DoF: 50, Source: source}}, Rotors: []spin.RotorInertia{{
			Rotor: "bare", Runs: 6, JKgM2: uncertain.New(j, c.claim*j, 0, "x"), ScatterRel: c.scatter, ScatterDoF: 5,
		}}}
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		seen := false
		for _, k := range out.Checks {
			if k.Name != "scatter" {
				continue
			}
			seen = true
			if k.Verdict != c.want || !strings.Contains(k.Text, c.words) {
				t.Errorf("scatter %g, claim %g: %s, %q; want %s", c.scatter, c.claim, k.Verdict, k.Text, c.want)
			}
			if len(k.Suspects) != 1 || k.Suspects[0].Source != source || !near(k.Suspects[0].Sigmas, (c.scatter/0.001-1)*10) {
				t.Errorf("suspects %+v", k.Suspects)
			}
		}
		if !seen {
			t.Error("no check")
		}
	}
}

func near(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }
