package torque

import (
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// bins of a cold motor's torque 0.5·(1 − x) − 0.05·x², N·m at x = ω/1000, times a factor.
func bins(from, to, times float64) []spin.Bin {
	var out []spin.Bin
	for i := range 20 {
		w := from + (to-from)*float64(i)/19
		x := w / 1000
		out = append(out, spin.Bin{SpeedRadPerS: w, TorqueNm: times * (0.5*(1-x) - 0.05*x*x), SE: 1e-4})
	}
	return out
}

// evidence of one step recording of one run at 70 % and 12 V.
func evidence(mounting string, lag float64) spin.Evidence {
	return spin.Evidence{
		Recording: "j/" + mounting, Kind: spin.Step, Rotor: mounting, Mounting: mounting, Session: "day", Recorded: true,
		Scale: uncertain.New(1, 0.004, 0, "bench/desk/scale"),
		Runs: []spin.RunEvidence{{
			Run: mounting + "#1", Duty: 0.7, SupplyV: 12, LagFound: true, LagS: lag, LagU: 1e-5, Bins: bins(200, 900, 1),
		}},
	}
}

func source(t *testing.T, c spin.Choice, run, kind string) (spin.TorqueSource, bool) {
	t.Helper()
	for _, r := range c.Runs {
		if r.Run != run {
			continue
		}
		for i, s := range r.Sources {
			if s.Kind == kind {
				return s, r.Chosen == i
			}
		}
	}
	t.Fatalf("run %s has no source %s", run, kind)
	return spin.TorqueSource{}, false
}

func chosen(t *testing.T, e ...spin.Evidence) spin.Choice {
	t.Helper()
	c, err := Choose(ChooseInput{Job: "j", Evidence: e}, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestOrderOfTrust: recorded torque before a cold curve, a cold curve where there is no other,
// and never one made of the run's own mounting.
func TestOrderOfTrust(t *testing.T) {
	silent := evidence("silent", 0)
	silent.Recorded, silent.Runs[0].Bins = false, nil
	c := chosen(t, evidence("bare", 0), evidence("disk", 0), silent)
	for _, run := range []string{"bare#1", "disk#1"} {
		if _, ok := source(t, c, run, spin.Recorded); !ok {
			t.Errorf("%s does not take its own torque", run)
		}
	}
	cold, ok := source(t, c, "silent#1", spin.ColdCurve)
	if !ok || !cold.Usable || strings.Join(cold.From, " ") != "j/bare j/disk" {
		t.Errorf("chosen %t: %+v", ok, cold)
	}
	for _, x := range []float64{0.2, 0.5, 0.9} {
		if got, want := cold.At(1000*x), 0.5*(1-x)-0.05*x*x; math.Abs(got-want) > 1e-9 {
			t.Errorf("cold torque at %g: %g, want %g", x, got, want)
		}
	}
	if own, _ := source(t, c, "disk#1", spin.ColdCurve); strings.Join(own.From, " ") != "j/bare" {
		t.Errorf("the disk's cold curve is made of %q", own.From)
	}
	alone := chosen(t, evidence("bare", 0))
	if s, _ := source(t, alone, "bare#1", spin.ColdCurve); s.Usable || len(s.But) != 1 || s.But[0] != "no step of another mounting at duty 0.7 and 12 V" {
		t.Errorf("a cold curve of nothing: %+v", s)
	}
	nothing := chosen(t, silent)
	if r := nothing.Runs[0]; r.Chosen != -1 {
		t.Errorf("chosen %d of %+v", r.Chosen, r.Sources)
	}
}

// TestOtherCondition: a step at another duty or supply says nothing of this one.
func TestOtherCondition(t *testing.T) {
	for _, change := range []func(*spin.RunEvidence){
		func(r *spin.RunEvidence) { r.Duty = 0.55 }, func(r *spin.RunEvidence) { r.SupplyV = 10.2 },
	} {
		other := evidence("disk", 0)
		change(&other.Runs[0])
		if s, _ := source(t, chosen(t, evidence("bare", 0), other), "bare#1", spin.ColdCurve); s.Usable || len(s.From) > 0 {
			t.Errorf("%+v", s)
		}
	}
}

// swept is a sweep whose torque is the cold torque times a factor, its return times another.
func swept(times, back float64) spin.Evidence {
	e := evidence("disk", 0)
	e.Recording, e.Kind, e.Runs = "j/sweep", spin.Sweep, nil
	e.Sweep = &spin.SweepEvidence{Duty: 0.7, SupplyV: 12, ZeroMatched: true, Loading: bins(200, 900, times)}
	if back != 0 {
		e.Sweep.ReturnRel, e.Sweep.ReturnSE, e.Sweep.ReturnBins = back, 0.002, 20
	}
	return e
}

// TestHotSweep: a sweep below the cold steps at equal speed, or whose return is
// below its loading, is no source, and says why; one that agrees is. A demanded
// one is taken even so.
func TestHotSweep(t *testing.T) {
	silent := evidence("prop", 0)
	silent.Recorded, silent.Runs[0].Bins = false, nil
	silent.Runs[0].Duty = 0.7
	for _, c := range []struct {
		what        string
		times, back float64
		usable      bool
		says        string
	}{
		{"cold", 1, -0.0005, true, "sweep torque against cold step torque at equal speed: +0.00 %"},
		{"low", 0.96, 0, false, "sweep torque against cold step torque at equal speed: -4.00 %"},
		{"droops on the return", 1, -0.06, false, "torque unloading against loading at equal speed: -6.00 %"},
	} {
		out := chosen(t, evidence("bare", 0), swept(c.times, c.back), silent)
		s, _ := source(t, out, "prop#1", spin.SweepCurve)
		said := strings.Join(append(s.For, s.But...), "; ")
		if s.Usable != c.usable || !strings.Contains(said, c.says) {
			t.Errorf("%s: usable %t, says %q; want %t and %q", c.what, s.Usable, said, c.usable, c.says)
		}
		silent.Demanded = spin.SweepCurve
		if _, taken := source(t, chosen(t, evidence("bare", 0), swept(c.times, c.back), silent), "prop#1", spin.SweepCurve); !taken {
			t.Errorf("%s: demanded and not taken", c.what)
		}
		silent.Demanded = ""
	}
	// Nothing to compare with: heat cannot be told, and the sweep is no source.
	alone := swept(1, 0)
	if s, _ := source(t, chosen(t, alone, silent), "prop#1", spin.SweepCurve); s.Usable || !strings.Contains(strings.Join(s.But, " "), "nothing tells whether the winding stayed cold") {
		t.Errorf("a sweep by itself: %+v", s)
	}
}

// TestHeatOfOneSign: what a single sign says, by its size in limits (1 %) and in standard errors.
func TestHeatOfOneSign(t *testing.T) {
	for _, c := range []struct {
		rel, se   float64
		hot, told bool
	}{
		{-0.005, 0.001, false, true},
		{-0.02, 0.001, true, true},
		{-0.02, 0.0075, true, true},
		{-0.02, 0.008, true, true},
		{-0.02, 0.0101, false, false},
		{-0.012, 0.0049, false, false},
		{-0.014, 0.0069, false, false},
		{-0.009, 0.0049, false, true},
		{0, 0.0051, false, false},
		{0.05, 0.001, false, true}, // above the steps: no heat
	} {
		hot, told, why := Heat(spin.SweepResult{ColdRel: c.rel, ColdSE: c.se, ColdBins: 20}, 0.01)
		if hot != c.hot || told != c.told || why == "" {
			t.Errorf("%+v: hot %t, told %t, %q", c, hot, told, why)
		}
	}
	// A resistance that does not rise speaks against steps that hardly tell, not against steps that do.
	against := spin.SweepEvidence{OhmicRel: 0.001, OhmicSE: 0.001, OhmicBins: 9}
	for _, c := range []struct {
		se  float64
		hot bool
	}{{0.0095, false}, {0.007, true}} {
		if hot, told, _ := Heat(spin.SweepResult{ColdRel: -0.02, ColdSE: c.se, ColdBins: 20, Evidence: against}, 0.01); hot != c.hot || !told {
			t.Errorf("u %g of the steps, none of the resistance: hot %t, told %t", c.se, hot, told)
		}
	}
	if hot, told, why := Heat(spin.SweepResult{ColdRel: -0.5}, 0.01); hot || told || why != "" {
		t.Errorf("no bins: hot %t, told %t, %q", hot, told, why)
	}
}

// TestPooledLag: the session's median, shared under one name; with no run, zero within a millisecond.
func TestPooledLag(t *testing.T) {
	c := chosen(t, evidence("a", 0.0019), evidence("b", 0.0020), evidence("c", 0.0022))
	l, ok := c.LagOf("day")
	if !ok || l.Runs != 3 || l.TauS.Mean != 0.0020 || len(l.TauS.Parts) != 1 || l.TauS.Parts[0].Source != "j/session:day/lag" {
		t.Errorf("lag %+v", l)
	}
	if u := l.TauS.Std(); u < 5e-5 || u > 3e-4 {
		t.Errorf("u of the lag %g s", u)
	}
	blind := evidence("a", 0)
	blind.Runs[0].LagFound = false
	if l, _ := chosen(t, blind).LagOf("day"); l.TauS.Mean != 0 || l.TauS.Std() != 0.001 {
		t.Errorf("without a run: %+v", l)
	}
}
