package segment

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// course is a speed in rad/s over time in s.
type course func(t float64) float64

// sampled is a course at hz samples a second over [0, s).
func sampled(c course, hz, s float64) *series.Samples {
	n := int(math.Round(hz * s))
	out := &series.Samples{TimeS: make([]float64, n), SpeedRadPerS: make([]float64, n)}
	for i := range n {
		out.TimeS[i] = float64(i) / hz
		out.SpeedRadPerS[i] = c(out.TimeS[i])
	}
	return out
}

// leg is a command from AtS on: the speed approaches ToRadPerS as a first-order lag with constant TauS.
type leg struct{ atS, to, tauS float64 }

// lags joins legs; before the first the speed is start. Each leg begins where the one before has got to.
func lags(start float64, legs ...leg) course {
	return func(t float64) float64 {
		w := start
		for i, l := range legs {
			if t < l.atS {
				break
			}
			until := t
			if i+1 < len(legs) {
				until = math.Min(t, legs[i+1].atS)
			}
			w = l.to + (w-l.to)*math.Exp(-(until-l.atS)/l.tauS)
		}
		return w
	}
}

func noisy(s *series.Samples, sd float64) *series.Samples {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range s.SpeedRadPerS {
		s.SpeedRadPerS[i] += sd * r.NormFloat64()
	}
	return s
}

func find(s *series.Samples, kind spin.Kind) Result {
	return Find(s, spin.Declared{Job: "job", Name: "rec", Kind: kind, SupplyV: 14.8, Command: []float64{0.3, 0.7, 0.3}})
}

func kinds(r Result) string {
	var out []string
	for _, s := range r.Segments {
		out = append(out, s.Kind)
	}
	return strings.Join(out, " ")
}

func codes(r Result) string {
	var out []string
	for _, f := range r.Refusals {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// within fails unless got lies in want ± tolerance.
func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, tolerance)
	}
}

// upDown is 300 → 1200 → 300 rad/s at 0.5 s and 1.5 s.
func upDown(tau float64) course { return lags(300, leg{0.5, 1200, tau}, leg{1.5, 300, tau}) }

func TestStep(t *testing.T) {
	for _, hz := range []float64{250, 1000, 4000} {
		for _, tau := range []float64{0.02, 0.05} {
			r := find(noisy(sampled(upDown(tau), hz, 2.5), 0.5), spin.Step)
			if kinds(r) != "idle settled return" || codes(r) != "" || len(r.Runs) != 1 {
				t.Errorf("%v Hz, %v s: segments %q, refusals %+v, %d runs", hz, tau, kinds(r), r.Refusals, len(r.Runs))
				continue
			}
			run := r.Runs[0]
			if run.ID != "rec#1" || run.Kind != spin.Step || run.A != 0 || run.B != 1 || run.C != 2 || run.FromRest || run.SupplyV != 14.8 || run.Duty != 0.7 {
				t.Errorf("run %+v", run)
			}
			// A first-order lag takes τ·ln 9 from 10 % to 90 %; smoothing over 10 ms, or over
			// three samples where that is longer, lengthens it by at most a tenth.
			within(t, "rise", run.RiseS, tau*math.Log(9), 0.1*tau*math.Log(9)+1/hz)
			within(t, "samples in rise", run.SamplesInRise, run.RiseS*hz, 1e-6*run.SamplesInRise)
			checkStep(t, r)
		}
	}
}

// checkStep wants the three segments of upDown where the course puts them.
func checkStep(t *testing.T, r Result) {
	t.Helper()
	idle, settled, back := r.Segments[0], r.Segments[1], r.Segments[2]
	if idle.From != 0 || !(idle.ToS > 0.35 && idle.ToS < 0.49) {
		t.Errorf("idle %+v reaches beyond the 0.02 s before the step", idle)
	}
	if !(settled.FromS > 0.55 && settled.ToS > 1.35 && settled.ToS < 1.49) {
		t.Errorf("settled %+v", settled)
	}
	if !(back.FromS > 1.55 && back.ToS > 2.48) {
		t.Errorf("return %+v", back)
	}
	for i, want := range []float64{300, 1200, 300} {
		p := r.Plateaus[i]
		if p.Segment != i || p.Recording != "job/rec" || p.Kind != r.Segments[i].Kind || p.N != r.Segments[i].To-r.Segments[i].From {
			t.Errorf("plateau %+v of segment %+v", p, r.Segments[i])
		}
		// The lag's tail stands in the mean: below a quarter of a per cent of the change of 900.
		within(t, "plateau", p.SpeedRadPerS, want, 0.0025*900)
	}
}

// Every upward step is a run, numbered in order; only one that comes down again has a return.
func TestSeveralSteps(t *testing.T) {
	c := lags(300, leg{0.6, 900, 0.03}, leg{1.6, 300, 0.03}, leg{2.6, 700, 0.03}, leg{3.6, 1200, 0.03}, leg{4.6, 300, 0.03})
	r := find(noisy(sampled(c, 1000, 5.6), 0.5), spin.Step)
	// The plateau between a fall and a rise is the return of one run and the idle of the next.
	if kinds(r) != "idle settled idle settled settled return" || codes(r) != "" {
		t.Fatalf("segments %q, refusals %+v", kinds(r), r.Refusals)
	}
	type abc struct {
		id      string
		a, b, c int
	}
	var got []abc
	for _, run := range r.Runs {
		got = append(got, abc{run.ID, run.A, run.B, run.C})
	}
	// 300 after 1200 undoes more than half of the step before it.
	if want := []abc{{"rec#1", 0, 1, 2}, {"rec#2", 2, 3, -1}, {"rec#3", 3, 4, 5}}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// A fall by less than half of the step is another plateau, not the return.
func TestPartialFallIsNoReturn(t *testing.T) {
	r := find(sampled(lags(300, leg{0.6, 1200, 0.03}, leg{1.6, 850, 0.03}), 1000, 2.6), spin.Step)
	if codes(r) != "" || len(r.Runs) != 1 || len(r.Segments) != 3 {
		t.Fatalf("segments %q, refusals %+v, runs %+v", kinds(r), r.Refusals, r.Runs)
	}
	if run := r.Runs[0]; run.A != 0 || run.B != 1 || run.C != -1 {
		t.Errorf("run %+v", run)
	}
}

func TestStepFromRest(t *testing.T) {
	r := find(sampled(lags(0, leg{0.5, 1000, 0.05}), 1000, 1.8), spin.Step)
	if kinds(r) != "rest settled" || codes(r) != "" || len(r.Runs) != 1 {
		t.Fatalf("segments %q, refusals %+v, runs %+v", kinds(r), r.Refusals, r.Runs)
	}
	if run := r.Runs[0]; !run.FromRest || run.A != 0 || run.B != 1 || run.C != -1 {
		t.Errorf("run %+v", run)
	}
}

func TestRefusals(t *testing.T) {
	ramp := func(rate float64) course {
		return func(t float64) float64 { return 300 + rate*math.Max(0, t-0.5) }
	}
	still := func(w float64) course { return func(float64) float64 { return w } }
	triangle := func(t float64) float64 { return 300 + 900*math.Abs(math.Mod(t, 1)-0.5) }
	coasting := lags(1000, leg{1, -200, 0.8})
	for _, c := range []struct {
		name string
		kind spin.Kind
		c    course
		s    float64
		code string
		says []string
	}{
		{"ramp to the end", spin.Step, ramp(450), 2.5, "never-settles", []string{"the speed leaves 300 rad/s", "reaches no plateau before the recording ends"}},
		{"far too slow a lag", spin.Step, lags(300, leg{0.5, 3000, 2}), 2, "never-settles", []string{"the speed leaves 300 rad/s"}},
		{"starts in the rise", spin.Step, lags(200, leg{0, 1200, 0.05}, leg{1.5, 300, 0.05}), 2.5, "no-idle", []string{"already rises at the first sample", "rad/s when settled", "neither an idle plateau nor rest"}},
		{"short idle", spin.Step, lags(300, leg{0.15, 1200, 0.05}), 1.5, "short-plateau", []string{"idle plateau before the step is 0.", "at least 0.12 s are needed"}},
		{"short settled", spin.Step, lags(300, leg{0.5, 1200, 0.05}, leg{0.85, 300, 0.05}), 1.8, "short-plateau", []string{"settled plateau after the step is 0.", "at least 0.12 s are needed"}},
		{"no step", spin.Step, still(800), 1, "no-step", []string{"1 plateaus, none followed by a faster one"}},
		{"only down", spin.Step, lags(1200, leg{0.5, 300, 0.05}), 1.5, "no-step", []string{"2 plateaus"}},
		{"triangle", spin.Step, triangle, 3, "no-plateau", []string{"no stretch of constant speed"}},
		{"no levels", spin.Steady, triangle, 3, "no-plateau", []string{"no settled level found in a steady recording"}},
		{"no load", spin.Sweep, still(800), 10, "no-sweep", []string{"no load was swept"}},
		{"cut from the first sample", spin.Coast, lags(1000, leg{0, -200, 0.8}), 1.4, "no-plateau", []string{"no settled speed before the run-down"}},
		{"no standstill", spin.Coast, coasting, 2.3, "no-rest", []string{"no standstill of at least 0.1 s"}},
		{"cut at the last sample", spin.Coast, coasting, 1.01, "no-run-down", []string{"does not fall from 970 to 150 rad/s"}},
		{"never turns", spin.Step, still(0.5), 1, "no-motion", []string{"never turns faster than 0.5 rad/s"}},
		{"too few samples", spin.Step, still(800), 0.015, "no-speed", []string{"15 samples", "at least 16"}},
		{"unknown kind", "spiral", still(800), 1, "kind", []string{`"spiral"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := find(sampled(c.c, 1000, c.s), c.kind)
			if codes(r) != c.code {
				t.Fatalf("refusals %+v, want one of code %s; segments %+v", r.Refusals, c.code, r.Segments)
			}
			f := r.Refusals[0]
			if f.Stage != "ingest" || !strings.HasPrefix(f.Subject, "job/rec") {
				t.Errorf("%+v", f)
			}
			for _, s := range c.says {
				if !strings.Contains(f.Text, s) {
					t.Errorf("%q does not say %q", f.Text, s)
				}
			}
			for _, run := range r.Runs {
				if c.code != "no-rest" && run.B >= 0 {
					t.Errorf("a usable run %+v", run)
				}
			}
		})
	}
}

// A refused run keeps its number, so that the ids of those after it do not move.
func TestRefusedRunKeepsItsNumber(t *testing.T) {
	c := lags(300, leg{0.15, 1200, 0.03}, leg{1, 300, 0.03}, leg{2, 1200, 0.03}, leg{3, 300, 0.03})
	r := find(sampled(c, 1000, 4), spin.Step)
	if codes(r) != "short-plateau" || len(r.Runs) != 2 || r.Refusals[0].Subject != "job/rec#1" {
		t.Fatalf("refusals %+v, runs %+v", r.Refusals, r.Runs)
	}
	if a, b := r.Runs[0], r.Runs[1]; a.ID != "rec#1" || a.B != -1 || b.ID != "rec#2" || b.B < 0 || b.C < 0 {
		t.Errorf("runs %+v", r.Runs)
	}
}

func TestStaircase(t *testing.T) {
	levels := []float64{0, 300, 600, 900, 1200, 900, 600, 300, 0}
	var legs []leg
	for i, w := range levels[1:] {
		legs = append(legs, leg{float64(i + 1), w, 0.03})
	}
	r := find(noisy(sampled(lags(0, legs...), 500, 9), 0.5), spin.Steady)
	if kinds(r) != "rest level level level level level level level rest" || codes(r) != "" || len(r.Runs) != 0 {
		t.Fatalf("segments %q, refusals %+v, runs %+v", kinds(r), r.Refusals, r.Runs)
	}
	for i, p := range r.Plateaus {
		// Noise of 0.5 rad/s over some 300 samples: 0.03; the tail after a third of a second is nothing.
		within(t, "level", p.SpeedRadPerS, levels[i], 0.15)
		s := r.Segments[i]
		if !(s.FromS >= float64(i) && s.ToS <= float64(i+1)-0.005 && s.ToS-s.FromS > 0.4) {
			t.Errorf("level %d lies from %v to %v s", i, s.FromS, s.ToS)
		}
	}
}

func TestSweepWithReturn(t *testing.T) {
	// 1000 rad/s for 2 s, 8 s down to 400, 8 s up, 2 s at 1000.
	c := func(t float64) float64 { return 1000 - 600*math.Max(0, 1-math.Abs(t-10)/8) }
	r := find(noisy(sampled(c, 250, 20), 1), spin.Sweep)
	if kinds(r) != "idle loading unloading idle" || codes(r) != "" {
		t.Fatalf("segments %q, refusals %+v", kinds(r), r.Refusals)
	}
	idle, down, up, last := r.Segments[0], r.Segments[1], r.Segments[2], r.Segments[3]
	// One second of smoothing moves the turning point by less than a quarter.
	within(t, "turning point", down.ToS, 10, 0.25)
	within(t, "start of loading", down.FromS, 2, 0.5)
	within(t, "end of unloading", up.ToS, 18, 0.5)
	if idle.From > 250 || idle.To != down.From || up.From != down.To-1 || last.From != up.To || last.ToS < 19.9 {
		t.Errorf("segments %+v", r.Segments)
	}
	within(t, "idle", r.Plateaus[0].SpeedRadPerS, 1000, 5)
}

func TestSweepWithoutReturn(t *testing.T) {
	// 1000 rad/s for 2 s, 8 s down to 400, then the throttle is closed.
	sweep := func(t float64) float64 { return 1000 - 75*math.Max(0, t-2) }
	c := func(t float64) float64 {
		if t < 10 {
			return sweep(t)
		}
		return 400 * math.Exp(-(t-10)/0.3)
	}
	r := find(noisy(sampled(c, 250, 13), 1), spin.Sweep)
	if kinds(r) != "idle loading" || codes(r) != "" {
		t.Fatalf("segments %q, refusals %+v", kinds(r), r.Refusals)
	}
	if end := r.Segments[1].ToS; !(end > 9.2 && end <= 10) {
		t.Errorf("loading ends at %v s, want just before the throttle closes at 10 s", end)
	}
}

func TestCoast(t *testing.T) {
	// Viscous and dry friction: dω/dt = −(ω + 200)/0.8 s, at rest after 0.8·ln 6 s.
	lag := lags(1000, leg{1, -200, 0.8})
	r := find(noisy(sampled(func(t float64) float64 { return math.Max(0, lag(t)) }, 1000, 4), 0.3), spin.Coast)
	if kinds(r) != "settled coast rest" || codes(r) != "" || len(r.Runs) != 1 {
		t.Fatalf("segments %q, refusals %+v, runs %+v", kinds(r), r.Refusals, r.Runs)
	}
	run := r.Runs[0]
	if run.ID != "rec#1" || run.Kind != spin.Coast || run.A != 0 || run.B != 1 || run.C != 2 {
		t.Errorf("run %+v", run)
	}
	at := func(w float64) float64 { return 1 + 0.8*math.Log(1200/(w+200)) }
	// The slope at the start is 1500 rad/s²: noise and smoothing move a crossing by some ms.
	within(t, "start of run-down", r.Segments[1].FromS, at(970), 0.006)
	within(t, "end of run-down", r.Segments[1].ToS, at(150), 0.006)
	within(t, "fall", run.RiseS, at(150)-at(970), 0.010)
	if end := r.Segments[0].ToS; !(end > 0.9 && end <= 1) {
		t.Errorf("the plateau ends at %v s, the current was cut at 1 s", end)
	}
	// A quarter of a second after the flat begins, and that may be where the speed is still 1.5 %
	// of its span, 15 rad/s; noise and smoothing make that some ms more.
	if from := r.Segments[2].FromS; from < at(15)+0.25-0.006 || from > at(0)+0.25+0.006 {
		t.Errorf("rest from %v s, the rotor stands at %v s", from, at(0))
	}
	within(t, "rest", r.Plateaus[1].SpeedRadPerS, 0, 0.1)
}

// TestSweepEndsFaster: after the load is taken off the motor may run a little faster than before it; the
// loading still lies between the two, and not in the collapse when the throttle is closed.
func TestSweepEndsFaster(t *testing.T) {
	c := func(t float64) float64 {
		switch {
		case t < 1:
			return 2000 * (1 - math.Exp(-t/0.1))
		case t < 7:
			return 2000 - 200*(t-1)
		case t < 13:
			return 800 + 201.5*(t-7)
		case t < 14:
			return 2009
		default:
			return 2009 * math.Exp(-(t-14)/0.08)
		}
	}
	r := find(noisy(sampled(c, 250, 15), 2), spin.Sweep)
	var loading, unloading spin.Segment
	for _, s := range r.Segments {
		switch s.Kind {
		case spin.Loading:
			loading = s
		case spin.Unloading:
			unloading = s
		}
	}
	if math.Abs(loading.FromS-1) > 0.5 || math.Abs(loading.ToS-7) > 0.3 {
		t.Errorf("loading from %.3g to %.3g s, want 1 to 7 s", loading.FromS, loading.ToS)
	}
	if math.Abs(unloading.FromS-7) > 0.3 || math.Abs(unloading.ToS-13) > 0.5 {
		t.Errorf("unloading from %.3g to %.3g s, want 7 to 13 s", unloading.FromS, unloading.ToS)
	}
}
