package fit

import (
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

const (
	truthJ  = 2e-4 // kg·m²
	stepS   = 0.5e-3
	idleW   = 250.0 // rad/s
	settleW = 700.0
	loadK   = 1e-6 // N·m·s²
	scaleBy = "bench/desk/scale"
)

// jitter is a fixed series between −1 and 1.
func jitter(i int) float64 {
	return 2*math.Mod(0.6180339887*float64(i)+0.41421356*float64(i%97), 1) - 1
}

// input is idle, a rise, a settled plateau, a fall and the return. The rise is
// half a cosine of 0.2 s, so that speed and torque are known everywhere:
// T = gain·(J·dω/dt + k·ω² + zero + noise), stamped from startS on and read lag later.
func input(gain, startS, lag, uScale float64) Input {
	s := &series.Samples{}
	speed := func(t float64) (w, rate float64) {
		up := func(x float64) (float64, float64) {
			a := math.Pi / 0.2
			x = math.Min(math.Max(x, 0), 0.2)
			return (1 - math.Cos(a*x)) / 2, a / 2 * math.Sin(a*x)
		}
		a, ra := up(t - 1)
		b, rb := up(t - 2.2)
		return idleW + (settleW-idleW)*(a-b), (settleW - idleW) * (ra - rb)
	}
	for i := 0; float64(i)*stepS < 3.4; i++ {
		t := float64(i) * stepS
		w, _ := speed(t)
		then, rate := speed(t - lag)
		s.TimeS = append(s.TimeS, startS+t)
		s.SpeedRadPerS = append(s.SpeedRadPerS, w)
		s.TorqueNm = append(s.TorqueNm, gain*(truthJ*rate+loadK*then*then+0.01+2e-5*jitter(i)))
	}
	seg := func(kind string, from, to float64) spin.Segment {
		return spin.Segment{Kind: kind, From: int(from / stepS), To: int(to / stepS), FromS: startS + from, ToS: startS + to}
	}
	run := spin.Run{ID: "step#1", Kind: spin.Step, A: 0, B: 1, C: 2, RiseS: 0.118, SamplesInRise: 236, Duty: 0.7, SupplyV: 12}
	rec := spin.Recording{
		Declared: spin.Declared{Job: "j", Name: "step", Kind: spin.Step, Rotor: spin.NewRotor(nil), Mounting: "bare", Session: "day", TorqueUsable: true},
		StepS:    stepS, Converter: "point", SpeedTiming: "instant", Runs: []spin.Run{run}, Samples: s,
		TorqueScale: uncertain.New(1, uScale, 0, scaleBy),
		Segments:    []spin.Segment{seg(spin.Idle, 0.1, 0.95), seg(spin.Settled, 1.25, 2.15), seg(spin.Return, 2.45, 3.3)},
	}
	return Input{
		Recording: rec,
		Curve: &spin.LoadCurve{Rotor: "bare", Form: spin.FormSquare, RefRadPerS: 1000, HighRadPerS: 1000,
			Coef: []uncertain.Value{uncertain.New(gain*loadK*1e6, gain*2e-3, 0, "j/rotor:bare/drag~0")}},
		Lag: spin.Lag{Session: "day", TauS: uncertain.New(lag, 1e-4, 0, "j/session:day/lag")},
		Choices: []spin.RunChoice{{Recording: "j/step", Run: "step#1",
			Sources: []spin.TorqueSource{{Kind: spin.Recorded, Usable: true, Scale: uncertain.New(1, uScale, 0, scaleBy)}}}},
	}
}

func fitted(t *testing.T, in Input) spin.RunFit {
	t.Helper()
	out, err := Run(in, DefaultOptions())
	if err != nil || len(out.Fits) != 1 {
		t.Fatalf("%v, %d fits, refused %+v", err, len(out.Fits), out.Refusals)
	}
	return out.Fits[0]
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g within %.2g", what, got, want, rel)
	}
}

// TestTruth: J, zero and every second opinion, with and without a lag.
func TestTruth(t *testing.T) {
	for _, lag := range []float64{0, 0.003} {
		f := fitted(t, input(1, 0, lag, 0.004))
		near(t, "J", f.JKgM2.Mean, truthJ, 1e-4)
		near(t, "zero", f.ZeroNm, 0.01, 1e-3)
		near(t, "load factor", f.LoadFactor, 1, 1e-4)
		for what, j := range map[string]float64{
			"up": f.JUp, "down": f.JDown, "energy": f.JEnergy, "whole": f.JWhole, "kept": f.JKept, "retied": f.JRetied,
			"lower half": f.JLowerHalf, "upper half": f.JUpperHalf,
		} {
			near(t, what, j, truthJ, 2e-3)
		}
		if f.Plateaus != 3 || !f.Chosen {
			t.Errorf("%d plateaus, chosen %t", f.Plateaus, f.Chosen)
		}
	}
}

// TestScaling: torques times 1.02 give inertias and all their parts times 1.02.
func TestScaling(t *testing.T) {
	a, b := fitted(t, input(1, 0, 0.001, 0.004)), fitted(t, input(1.02, 0, 0.001, 0.004))
	near(t, "J", b.JKgM2.Mean, 1.02*a.JKgM2.Mean, 1e-9)
	near(t, "whole", b.JWhole, 1.02*a.JWhole, 1e-9)
	near(t, "energy", b.JEnergy, 1.02*a.JEnergy, 1e-9)
	near(t, "zero", b.ZeroNm, 1.02*a.ZeroNm, 1e-9)
	near(t, "u", b.JKgM2.Std(), 1.02*a.JKgM2.Std(), 1e-6)
	near(t, "random u", b.RandomU, 1.02*a.RandomU, 1e-6)
}

// TestTimeShift: 2048 s later is the same run.
func TestTimeShift(t *testing.T) {
	a, b := fitted(t, input(1, 0, 0.001, 0.004)), fitted(t, input(1, 2048, 0.001, 0.004))
	near(t, "J", b.JKgM2.Mean, a.JKgM2.Mean, 1e-9)
	near(t, "u", b.JKgM2.Std(), a.JKgM2.Std(), 1e-6)
}

// TestScalePart: the torque scale's part is u·J and doubles with u; no other part moves.
func TestScalePart(t *testing.T) {
	one, two := fitted(t, input(1, 0, 0, 0.004)).JKgM2, fitted(t, input(1, 0, 0, 0.008)).JKgM2
	near(t, "part", one.Part(scaleBy), 0.004*one.Mean, 1e-12)
	near(t, "doubled", two.Part(scaleBy), 2*one.Part(scaleBy), 1e-12)
	for _, p := range one.Parts {
		if p.Source != scaleBy && two.Part(p.Source) != p.Contribution {
			t.Errorf("%s: %g, then %g", p.Source, p.Contribution, two.Part(p.Source))
		}
	}
	if len(one.Parts) < 4 {
		t.Errorf("parts %+v; scale, lag, drag and load factor are meant", one.Parts)
	}
}

// TestRefusals: what gives no number says why.
func TestRefusals(t *testing.T) {
	wrong := input(1, 0, 0, 0.004)
	for i := range wrong.Recording.Samples.TorqueNm {
		wrong.Recording.Samples.TorqueNm[i] *= -1
	}
	coarse := input(1, 0, 0, 0.004)
	coarse.Recording.Runs[0].SamplesInRise = 1.8
	blind := input(1, 0, 0, 0.004)
	blind.Curve = nil
	none := input(1, 0, 0, 0.004)
	none.Choices[0].Chosen = -1
	for _, c := range []struct {
		in         Input
		code, text string
	}{
		{wrong, "no-fit", "torque or speed has the wrong sign, or the load curve does not belong to this rotor"},
		{coarse, "aliasing", "1.8 samples in the rise"},
		{blind, "no-load-curve", "record it steady, or declare a form"},
		{none, "no-source", "no usable torque source"},
	} {
		out, err := Run(c.in, DefaultOptions())
		if err != nil || len(out.Fits) != 0 || len(out.Refusals) != 1 {
			t.Errorf("%s: %v, %d fits, %+v", c.code, err, len(out.Fits), out.Refusals)
			continue
		}
		if r := out.Refusals[0]; r.Code != c.code || r.Subject != "j/step#1" || r.Waivable || !strings.Contains(r.Text, c.text) {
			t.Errorf("%s: %+v", c.code, r)
		}
	}
}
