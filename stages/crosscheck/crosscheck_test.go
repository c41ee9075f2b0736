package crosscheck

import (
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

func TestVerdict(t *testing.T) {
	for _, c := range []struct {
		d, u, g float64
		want    string
	}{
		{0.001, 0.001, 0.003, spin.Pass},
		{-0.003, 0.003, 0.003, spin.Pass},
		{0.001, 0.004, 0.003, spin.CannotTell},
		{0.004, 0.001, 0.003, spin.Fail},
		{-0.004, 0.001, 0.003, spin.Fail},
		{0.004, 0.005, 0.003, spin.CannotTell},
	} {
		if got := Verdict(c.d, c.u, c.g); got != c.want {
			t.Errorf("d %g, U %g, G %g: %s, want %s", c.d, c.u, c.g, got, c.want)
		}
	}
}

// two disks: one agrees with the weights, one is 5 % off.
func job(ratio float64, waivers ...Waiver) Input {
	return Input{
		Job: "j", Day: "2026-03-05", Waivers: waivers,
		Numbers: []spin.Number{{ID: "j/bare/inertia", Quantity: spin.Inertia, Value: uncertain.New(1e-6, 1e-9, 0, "x")}},
		Scales:  []Scale{{Disk: "d", Role: "scale", Ratio: uncertain.New(ratio, 0.002, 0, "parts/d/mass")}},
	}
}

func TestRelease(t *testing.T) {
	waiver := Waiver{Check: "disk-against-weights", Subject: "j/d", UpTo: 0.06, Because: "drawing being made anew", By: "IS", Until: "2026-12-31"}
	small, late := waiver, waiver
	small.UpTo, late.Until = 0.04, "2026-03-04"
	for _, c := range []struct {
		what    string
		in      Input
		release bool
		waived  int
		checks  int
	}{
		{"agrees", job(0.001), true, 0, 1},
		{"off", job(0.05), false, 0, 1},
		{"waived", job(0.05, waiver), true, 1, 1},
		{"waived too little", job(0.05, small), false, 0, 2},
		{"waiver past its day", job(0.05, late), false, 0, 2},
		{"waiver not used", job(0.001, waiver), true, 0, 2},
	} {
		out, err := Run(c.in, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		n := out.Numbers[0]
		if n.Release != c.release || len(n.Waived) != c.waived || len(out.Checks) != c.checks {
			t.Errorf("%s: release %v, %d waived, %d checks; want %v, %d, %d", c.what, n.Release, len(n.Waived), len(out.Checks), c.release, c.waived, c.checks)
		}
		if c.waived > 0 && n.Value.Std() < 0.04e-6 {
			t.Errorf("%s: the waived deviation is not in the budget: u %g", c.what, n.Value.Std())
		}
	}
}
