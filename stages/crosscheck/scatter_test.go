package crosscheck

import (
	"slices"
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

// verdictOf is the verdict of the last check of a name, empty where there is none.
func verdictOf(out Output, name string) string {
	got := ""
	for _, k := range out.Checks {
		if k.Name == name {
			got = k.Verdict
		}
	}
	return got
}

func near(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }

// Where aliasing refused more than a quarter of a rotor's runs, nothing rests on the others.
func TestAliasedRuns(t *testing.T) {
	for _, c := range []struct {
		refused, left int
		want          string
	}{{0, 12, ""}, {3, 9, spin.Pass}, {4, 9, spin.Fail}, {10, 2, spin.Fail}} {
		in := Input{Job: "j", Rotors: []spin.RotorInertia{{Rotor: "bare", Runs: c.left, JKgM2: uncertain.New(2e-5, 1e-8, 0, "x"), ScatterRel: 1e-3, ScatterDoF: 8}}}
		in.Numbers = []spin.Number{{ID: "j/bare/inertia", Quantity: spin.Inertia, Subject: "bare", Value: in.Rotors[0].JKgM2, Rotors: []string{"bare"}}}
		for range c.refused {
			in.Refusals = append(in.Refusals, spin.Refusal{Code: "aliasing", Subject: "j/a#1", Rotor: "bare", Value: 0.05})
		}
		in.Refusals = append(in.Refusals, spin.Refusal{Code: "aliasing", Subject: "j/b#1", Rotor: "bare+disk", Value: 0.05})
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		got := verdictOf(out, "aliased-runs")
		if got != c.want || out.Numbers[0].Release != (c.want != spin.Fail) {
			t.Errorf("%d refused, %d left: %q, release %t; want %q", c.refused, c.left, got, out.Numbers[0].Release, c.want)
		}
	}
}

// TestFewRuns: the energy form of one run or two is compared too, by how the bench is declared to repeat; and a load factor that
// its expectation leaves unsure widens the comparison.
func TestFewRuns(t *testing.T) {
	const j = 2e-5
	for _, c := range []struct {
		name     string
		energy   float64 // J of the energy form over that of the passage, less one
		loadU    float64
		declared float64
		want     string
	}{
		{"agrees", 0.001, 0, 5e-4, spin.Pass},
		{"differs", 0.05, 0, 5e-4, spin.Fail},
		{"differs by what the load may", 0.008, 0.004, 5e-4, spin.Pass},
		{"differs by more", 0.015, 0.004, 5e-4, spin.Fail},
		{"the load may be off by more than the cap", 0.05, 0.02, 5e-4, spin.CannotTell},
		{"differs by more than that", 0.06, 0.02, 5e-4, spin.Fail},
		{"a bench that repeats poorly", 0.01, 0, 0.01, spin.CannotTell},
		{"nothing declared", 0.05, 0, 0, ""},
	} {
		in := Input{Job: "j", Rotors: []spin.RotorInertia{{Rotor: "bare", Runs: 1, JKgM2: uncertain.New(j, 1e-4*j, 0, "x"), JBodyKgM2: uncertain.New(j, 1e-4*j, 0, "x")}}}
		if c.declared > 0 {
			in.Classes = []spin.Repeatability{{RunRel: c.declared, DoF: 50}}
		}
		one := spin.RunFit{Rotor: "bare", Kind: spin.Step, Chosen: true, Source: spin.Recorded, JKgM2: in.Rotors[0].JKgM2, JUp: j, JEnergy: j * (1 + c.energy), EnergyLoadU: c.loadU, Plateaus: 3}
		// Two runs whose forms differ by a little more and a little less tell no other story.
		more, less := one, one
		more.JEnergy, less.JEnergy = more.JEnergy+2e-4*j, less.JEnergy-2e-4*j
		for _, fits := range [][]spin.RunFit{{one}, {more, less}} {
			if in.Fits = fits; c.declared == 0 && len(fits) > 1 {
				continue
			}
			out, err := Run(in, DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			got := verdictOf(out, "energy-form")
			if got != c.want {
				t.Errorf("%s, %d runs: %q, want %q", c.name, len(fits), got, c.want)
			}
		}
	}
}

// TestWeighedAgain: a torque scale that moved between the weighings before and after a session keeps back what rests on that
// session, and nothing else.
func TestWeighedAgain(t *testing.T) {
	for _, c := range []struct {
		moved, u float64
		want     string
	}{{0.003, 2e-4, spin.Pass}, {-0.003, 2e-4, spin.Pass}, {0.006, 2e-4, spin.Fail}, {-0.006, 2e-4, spin.Fail}, {0.006, 2e-2, spin.CannotTell}} {
		in := Input{Job: "j", Weighed: []Weighed{{Session: "day", Sense: spin.CCW, Before: "loft/1", After: "loft/2", Moved: uncertain.New(c.moved, c.u, 0, "w")}}}
		for _, s := range []string{"day", "other"} {
			in.Numbers = append(in.Numbers, spin.Number{ID: "j/" + s + "/inertia", Rotors: []string{"bare+" + s}, Value: uncertain.New(1e-5, 1e-8, 0, "x")})
			in.Fits = append(in.Fits, spin.RunFit{Rotor: "bare+" + s, Session: s, Kind: spin.Step, Chosen: true})
		}
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		got := verdictOf(out, "weighed-again")
		here, other := out.Numbers[0].Blocked, out.Numbers[1].Blocked
		if got != c.want || (c.want == spin.Pass) == slices.Contains(here, "weighed-again j/session:day/scale.ccw") || len(other) > 0 {
			t.Errorf("moved by %g ± %g: %q, blocked %v and %v; want %q", c.moved, c.u, got, here, other, c.want)
		}
	}
}

// TestOneLoadCreeps: where another rotor's load stands still it is not the cell that creeps, and its numbers do not wait.
func TestOneLoadCreeps(t *testing.T) {
	const j = 2e-5
	v := uncertain.New(j, 1e-4*j, 0, "x")
	in := Input{Job: "j"}
	for rotor, creep := range map[string]float64{"bare+p": 6e-4, "bare+q": 0} {
		in.Rotors = append(in.Rotors, spin.RotorInertia{Rotor: rotor, Runs: 6, JKgM2: v, JBodyKgM2: v})
		in.Numbers = append(in.Numbers, spin.Number{ID: "j/" + rotor, Rotors: []string{rotor}, Value: v})
		for i := range 6 {
			in.Fits = append(in.Fits, spin.RunFit{Rotor: rotor, Kind: spin.Step, Chosen: true, Source: spin.Recorded, JKgM2: v,
				SettledCreep: creep + 5e-5*float64(2*(i%2)-1), HasSettledCreep: true})
		}
	}
	out, err := Run(in, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range out.Numbers {
		if waits := slices.Contains(n.Blocked, "settled-load j/rotor:bare+p"); waits != (n.ID == "j/bare+p") {
			t.Errorf("%s: blocked by %v", n.ID, n.Blocked)
		}
	}
}

// TestSettledLoad: a settled torque that moves in all runs alike keeps all numbers of the job back; one that moves by chance does not, and
// nothing is said of rotors without a load.
func TestSettledLoad(t *testing.T) {
	const j = 2e-5
	for _, c := range []struct {
		creep, scatter float64
		loaded         bool
		want           string
	}{
		{0, 5e-5, true, spin.Pass},
		{6e-4, 5e-5, true, spin.Fail},
		{-6e-4, 5e-5, true, spin.Fail},
		{6e-4, 1e-3, true, spin.CannotTell},
		{6e-4, 5e-5, false, ""},
	} {
		in := Input{Job: "j", Rotors: []spin.RotorInertia{{Rotor: "bare+p", Runs: 6, JKgM2: uncertain.New(j, 1e-4*j, 0, "x"), JBodyKgM2: uncertain.New(j, 1e-4*j, 0, "x")}},
			Numbers: []spin.Number{{ID: "j/bare/inertia", Value: uncertain.New(j, 1e-4*j, 0, "x")}}}
		for i := range 6 {
			in.Fits = append(in.Fits, spin.RunFit{Rotor: "bare+p", Kind: spin.Step, Chosen: true, Source: spin.Recorded, JKgM2: in.Rotors[0].JKgM2,
				SettledCreep: c.creep + c.scatter*float64(2*(i%2)-1), HasSettledCreep: c.loaded})
		}
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		got := verdictOf(out, "settled-load")
		if got != c.want || (c.want == spin.Fail) != slices.Contains(out.Numbers[0].Blocked, "settled-load j/rotor:bare+p") {
			t.Errorf("creep %g, scatter %g: %q, blocked %v; want %q", c.creep, c.scatter, got, out.Numbers[0].Blocked, c.want)
		}
	}
}

// TestLateLevels: levels of a loaded rotor that come late keep all numbers back; by chance, by little, or of a rotor without a load they do not.
func TestLateLevels(t *testing.T) {
	const j, w = 2e-5, 500.0
	for _, c := range []struct {
		rel, se, load float64
		want          string
	}{
		{0.005, 5e-4, 0.1, spin.Fail}, {-0.005, 5e-4, 0.1, spin.Fail}, {5e-4, 3e-4, 0.1, spin.Pass}, {0.001, 1e-4, 0.1, spin.Pass},
		{0.005, 4e-3, 0.1, spin.CannotTell}, {0.005, 5e-4, 0.01, ""},
	} {
		v := uncertain.New(j, 1e-4*j, 0, "x")
		in := Input{Job: "j", Rotors: []spin.RotorInertia{{Rotor: "bare+p", Runs: 1, JKgM2: v, JBodyKgM2: v}}, Numbers: []spin.Number{{ID: "j/other/inertia", Value: v}},
			Fits: []spin.RunFit{{Rotor: "bare+p", Kind: spin.Step, Chosen: true, Source: spin.Recorded, JKgM2: v, SettledRadPerS: w, PeakNm: 1}},
			Curves: []spin.LoadCurve{{Rotor: "bare+p", Form: spin.FormSquare, RefRadPerS: w, Coef: []uncertain.Value{uncertain.Exact(c.load)},
				Creep: &spin.Creep{Rel: c.rel, SE: c.se, TauS: 1, DoF: 30}}}}
		out, err := Run(in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		got := verdictOf(out, "late-levels")
		if got != c.want || (c.want == spin.Fail) != slices.Contains(out.Numbers[0].Blocked, "late-levels j/rotor:bare+p") {
			t.Errorf("%+v: %q, blocked %v", c, got, out.Numbers[0].Blocked)
		}
	}
}
