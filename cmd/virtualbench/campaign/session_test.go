package campaign

import (
	"math"
	"testing"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/pipeline"
)

// TestClasses computes one nominal session of each motor class and compares
// every rotor's inertia in air with the simulator's effective one.
func TestClasses(t *testing.T) {
	for _, class := range rig.Classes() {
		p := Plan{Class: class, Bench: rig.NominalBench(2000), Runs: 3, Conditions: Usual(), Braking: true}
		fsys, w, truth, err := Build(p, 3)
		if err != nil {
			t.Fatal(err)
		}
		f, _, err := pipeline.Compute(fsys, w, 2, nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Rotors) != len(truth) {
			t.Errorf("%s: %d of %d rotors", class.Name, len(f.Rotors), len(truth))
		}
		for _, r := range f.Rotors {
			// 0.3 %: twice the largest expanded uncertainty that nine runs claim here.
			if e := r.JKgM2.Mean/truth[r.Rotor] - 1; math.Abs(e) > 0.003 {
				t.Errorf("%s %s: %+.3f %%", class.Name, r.Rotor, 100*e)
			}
		}
	}
}
