package crosscheck

import (
	"math"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/quantity"
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
	waiver := Waiver{Check: "disk-against-weights", Subject: "j/d", UpTo: 0.06, Because: "drawing being made anew", By: "IS", Until: "2026-12-31", Method: Method}
	small, late := waiver, waiver
	small.UpTo, late.Until = 0.04, "2026-03-04"
	otherMethod, otherKind := waiver, waiver
	otherMethod.Method, otherKind.Kind = "crosscheck/1", quantity.Length
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
		{"waived under another method", job(0.05, otherMethod), false, 0, 2},
		{"waived in metres", job(0.05, otherKind), false, 0, 2},
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

// Each way in which a waiver ends is told in words.
func TestWaiverEnds(t *testing.T) {
	waiver := Waiver{Check: "disk-against-weights", Subject: "j/d", UpTo: 0.06, Because: "drawing being made anew", By: "IS", Until: "2026-12-31", Method: Method, Kind: quantity.Ratio}
	for _, c := range []struct {
		change func(w *Waiver)
		ratio  float64
		want   string
	}{
		{func(w *Waiver) { w.UpTo = 0.04 }, 0.05, "covers nothing: its value is 5 %, above the 4 % waived"},
		{func(w *Waiver) { w.Until = "2026-03-04" }, 0.05, "covers nothing: the waiver ended on 2026-03-04, before 2026-03-05"},
		{func(w *Waiver) { w.Method = "crosscheck/1" }, 0.05, "covers nothing: it was waived under method crosscheck/1 and is now found by " + Method},
		{func(w *Waiver) { w.Kind = quantity.Length }, 0.05, "covers nothing: up_to is a length and the check's value a ratio"},
		{func(w *Waiver) { w.Subject = "j/e" }, 0.05, "covers nothing: no such finding"},
		{func(w *Waiver) {}, 0.001, "covers nothing: it passes"},
	} {
		w := waiver
		c.change(&w)
		out, err := Run(job(c.ratio, w), DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		k := slices.IndexFunc(out.Checks, func(k spin.Check) bool { return k.Name == "waiver-unused" })
		if k < 0 || !strings.HasSuffix(out.Checks[k].Text, c.want) || !out.Checks[k].Gates || out.Checks[k].Verdict != spin.Fail {
			t.Errorf("%q: %+v", c.want, out.Checks)
		}
	}
}

// Wrong hashes, unseparable parts and aliasing cannot be waived, whatever a job file says.
func TestNeverWaived(t *testing.T) {
	in := job(0.001)
	for _, code := range []string{"unreadable", "unseparable", "aliasing"} {
		in.Refusals = append(in.Refusals, spin.Refusal{Code: code, Subject: "j/a", Value: 0.05})
		in.Waivers = append(in.Waivers, Waiver{Check: code, Subject: "j/a", UpTo: 1, Because: "we are in a hurry", By: "IS", Until: "2026-12-31", Method: Method})
	}
	// Steps locked to the sampling grid: aliasing that repeats hide.
	rotor := spin.RotorInertia{Rotor: "bare", JKgM2: uncertain.New(1e-6, 1e-9, 0, "x")}
	in.Rotors, in.Numbers[0].Rotors = []spin.RotorInertia{rotor}, []string{"bare"}
	for range 6 {
		in.Fits = append(in.Fits, spin.RunFit{Rotor: "bare", Kind: spin.Step, Source: spin.Recorded, Chosen: true, JKgM2: rotor.JKgM2, Aliasing: 0.02})
	}
	in.Waivers = append(in.Waivers, Waiver{Check: "step-phase", Subject: "j/rotor:bare", UpTo: 1, Because: "we are in a hurry", By: "IS", Until: "2026-12-31", Method: Method})
	out, err := Run(in, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for _, k := range out.Checks {
		if k.WaivedBecause != "" {
			t.Errorf("%s was waived", k.Name)
		}
		if k.Name == "waiver-unused" && strings.HasSuffix(k.Text, "it cannot be waived") {
			refused++
		}
	}
	if refused != 4 || out.Numbers[0].Release {
		t.Errorf("%d waivers refused, release %v", refused, out.Numbers[0].Release)
	}
}

// A finding that cannot be told puts what cannot be told into the budget.
func TestWaivedDoubt(t *testing.T) {
	v := uncertain.New(10, 0.1, 0, "x")
	for _, c := range []struct {
		k    spin.Check
		want float64
	}{
		{spin.Check{Unit: "1", Value: -0.03, U: 0.001, Verdict: spin.Fail}, 0.3},
		{spin.Check{Unit: "1", Value: 0.003, U: 0.08, Verdict: spin.CannotTell}, 10 * math.Hypot(0.003, 0.04)},
		{spin.Check{Unit: "s", Value: 0.003, U: 0.08, Verdict: spin.Fail}, 0},
	} {
		if got := math.Sqrt(math.Pow(waivedInto(v, c.k).Std(), 2) - 0.01); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%+v: %g, want %g", c.k, got, c.want)
		}
	}
}
