package inspect

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// stepped is a step at 0.5 s with a fixture that rings at hz with 2 % damping,
// sampled at 2 kHz, torque noise 25 µN·m.
func stepped(hz float64) *spin.Recording {
	r := rand.New(rand.NewPCG(3, 4))
	s := &series.Samples{}
	for i := range 2400 {
		t := float64(i) / 2000
		w, q := 1000.0, 0.001
		if t >= 0.5 {
			u := t - 0.5
			w = 2500 - 1500*math.Exp(-u/0.03)
			q = 0.001 + 0.02*math.Exp(-u/0.03)
			if hz > 0 {
				q -= 0.02 * math.Exp(-0.02*2*math.Pi*hz*u) * math.Cos(2*math.Pi*hz*u)
			}
		}
		s.TimeS, s.SpeedRadPerS, s.TorqueNm = append(s.TimeS, t), append(s.SpeedRadPerS, w), append(s.TorqueNm, q+25e-6*r.NormFloat64())
	}
	return &spin.Recording{
		Samples: s, Rows: s.Len(), StepS: 1.0 / 2000, Converter: "point", Declared: spin.Declared{Kind: spin.Step},
		Segments: []spin.Segment{{Kind: spin.Idle, From: 0, To: 980, FromS: 0, ToS: 0.49}, {Kind: spin.Settled, From: 1300, To: 2400, FromS: 0.65, ToS: 1.2}},
		Runs:     []spin.Run{{ID: "a#1", Kind: spin.Step, A: 0, B: 1, C: -1, RiseS: 0.066, SamplesInRise: 132}},
	}
}

func TestHeldTorque(t *testing.T) {
	if got := repeats([]float64{1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3}); got != 4 {
		t.Errorf("each value stands for 4 rows, got %d", got)
	}
}

// TestVerdicts: one bad thing is enough to record again, one doubtful to widen.
func TestVerdicts(t *testing.T) {
	in := Input{Recording: *stepped(200)}
	out, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	// Without a return, the third plateau is missed.
	if out.Verdict != spin.UseWider {
		t.Errorf("got %q: %+v", out.Verdict, out.Items)
	}
	in.Recording.Runs[0].SamplesInRise = 4
	if out, _ = Run(in); out.Verdict != spin.RecordAgain {
		t.Errorf("4 samples in the rise: %q", out.Verdict)
	}
	in.Recording.Converter = "mean"
	if out, _ = Run(in); out.Verdict == spin.RecordAgain {
		t.Errorf("an averaging converter needs no five samples: %q", out.Verdict)
	}
	if _, err := Run(Input{}); err == nil {
		t.Error("no samples must be an error")
	}
}

// TestAfter: with nothing but scatter U falls as t/√n; what is shared stays.
func TestAfter(t *testing.T) {
	r := spin.RotorInertia{Runs: 6, JKgM2: uncertain.New(1, 0.01, 5, "j/rotor:bare/scatter")}
	// t(0.975, 5) = 2.5706, t(0.975, 11) = 2.2010 (tables of Student's t; JCGM 100:2008, table G.2).
	if got, want := after(r, 6), 2.2010*0.01*math.Sqrt(0.5); math.Abs(got-want) > 1e-6 {
		t.Errorf("six more runs: U %.6f, want %.6f", got, want)
	}
	r.JKgM2 = uncertain.New(1, 0.01, 0, "bench/b/scale")
	if got := after(r, 12); math.Abs(got-r.JKgM2.Expanded().U) > 1e-12 {
		t.Errorf("shared uncertainty moved to %g", got)
	}
}

func TestRotor(t *testing.T) {
	fit := func(v, d float64) spin.RunFit {
		return spin.RunFit{Chosen: true, Kind: spin.Step, SupplyV: v, Duty: d}
	}
	in := RotorInput{
		Rotor:      spin.NewRotor(nil),
		Recordings: []spin.Recording{{Declared: spin.Declared{Name: "levels", Kind: spin.Steady}, Plateaus: []spin.Plateau{{}}}, {Declared: spin.Declared{Name: "sweep", Kind: spin.Sweep}}},
		Verdicts:   []string{spin.Use, spin.RecordAgain},
		Fits:       []spin.RunFit{fit(7.4, 0.7), fit(7.38, 0.703), fit(6.3, 0.7), fit(6.3, 0.7), fit(7.4, 0.55), fit(7.4, 0.55)},
	}
	if got := Rotor(in); !got.MayComeOff || len(got.Conditions) != 3 {
		t.Errorf("six runs over three conditions, a hot sweep is no hindrance: %+v", got)
	}
	in.Verdicts[0] = spin.RecordAgain
	if got := Rotor(in); got.MayComeOff || !strings.Contains(got.Open[0], "levels: record again") {
		t.Errorf("bad levels: %+v", got)
	}
	in.Fits = in.Fits[:2]
	if got := Rotor(in); got.MayComeOff || !strings.Contains(got.Open[0], "2 usable step runs; at least 6") {
		t.Errorf("two runs: %+v", got)
	}
}
