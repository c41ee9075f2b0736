package trace

import (
	"math"
	"testing"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// One sample in ten thousand that is a spike survives thinning to a few
// hundred points, and so do both ends.
func TestEnvelopeKeepsSpikes(t *testing.T) {
	var x, y []float64
	for i := range 10000 {
		x, y = append(x, float64(i)/1000), append(y, math.Sin(float64(i)/900))
	}
	y[6213], y[777] = 9, -7
	ox, oy := envelope(x, y, 150)
	if len(ox) > 300 || len(ox) < 200 {
		t.Fatalf("%d points of 150 stretches", len(ox))
	}
	lo, hi := 0.0, 0.0
	for i := range oy {
		lo, hi = math.Min(lo, oy[i]), math.Max(hi, oy[i])
		if i > 0 && ox[i] <= ox[i-1] {
			t.Fatalf("x goes back at %d: %v after %v", i, ox[i], ox[i-1])
		}
	}
	if lo != -7 || hi != 9 {
		t.Errorf("extremes %v to %v, want -7 to 9", lo, hi)
	}
	if last := ox[len(ox)-1]; last < 9.9 {
		t.Errorf("last point at %v, want the end at 9.999", last)
	}
	if sx, _ := envelope(x[:100], y[:100], 150); len(sx) != 100 {
		t.Errorf("100 samples give %d points, want all", len(sx))
	}
}

// stepped is a rotor of inertia j that a torque falling with speed spins from
// 500 to 1000 rad/s, ω = 1000 − 500·exp(−t/τ), without load; its zero is z.
func stepped(j, z float64) Input {
	const hz, tau = 2000.0, 0.05
	s := &series.Samples{}
	for i := range 4000 {
		t := float64(i) / hz
		w, a := 500.0, 0.0
		if t > 0.5 {
			e := math.Exp(-(t - 0.5) / tau)
			w, a = 1000-500*e, 500/tau*e
		}
		s.TimeS, s.SpeedRadPerS, s.TorqueNm = append(s.TimeS, t), append(s.SpeedRadPerS, w), append(s.TorqueNm, j*a+z)
	}
	rec := spin.Recording{
		Declared: spin.Declared{Job: "j", Name: "r", Kind: spin.Step, Rotor: spin.NewRotor(nil)}, Rows: 4000, StepS: 1 / hz, SpeedTiming: "instant",
		Segments: []spin.Segment{{Kind: spin.Idle, From: 0, To: 1000, FromS: 0, ToS: 0.5}, {Kind: spin.StepUp, From: 1000, To: 1600, FromS: 0.5, ToS: 0.8}, {Kind: spin.Settled, From: 1600, To: 4000, FromS: 0.8, ToS: 1.9995}},
		Runs:     []spin.Run{{ID: "r#1", Kind: spin.Step, A: 0, B: 2, C: -1, RiseS: 2.2 * tau}},
		Samples:  s,
	}
	rotor := spin.RotorInertia{Rotor: "bare", JKgM2: uncertain.New(j, 0.01*j, 0, "a").With(uncertain.Part{Source: "b", Contribution: 0.02 * j})}
	return Input{
		Recording: rec, Curve: &spin.LoadCurve{Form: spin.FormNone, RefRadPerS: 1}, Rotor: &rotor,
		Fits: []spin.RunFit{{Recording: "j/r", Run: "r#1", Kind: spin.Step, Rotor: "bare", Chosen: true, JKgM2: rotor.JKgM2, ZeroNm: z, LoadFactor: 1}},
	}
}

// Full dots of noiseless samples lie on the inertia; the band is the rotor's
// budget; dots where the acceleration is small are open.
func TestApparentInertia(t *testing.T) {
	const j = 3e-6
	in := stepped(j, 0.004)
	out, err := Recording(in, DefaultOptions())
	if err != nil || len(out.Figures) != 2 {
		t.Fatalf("%d figures, %v", len(out.Figures), err)
	}
	for _, p := range out.Figures[1].Panels {
		band, dots, faint := p.Series[0], p.Series[len(p.Series)-1], p.Series[1]
		if u := in.Rotor.JKgM2.Expanded().U; math.Abs(band.High[0]-(j+u)) > 1e-3*u || math.Abs(band.Low[1]-(j-u)) > 1e-3*u {
			t.Errorf("%s: band %g to %g, want %g ± %g", p.Name, band.Low[0], band.High[0], j, u)
		}
		if dots.Role != figure.Measured || len(dots.X) < 50 || faint.Role != figure.Faint || len(faint.X) == 0 {
			t.Fatalf("%s: %d full dots (%s), %d open (%s)", p.Name, len(dots.X), dots.Role, len(faint.X), faint.Role)
		}
		for i, y := range dots.Y {
			// Sums over the 22 samples of a window stand for integrals, to a hundredth;
			// the window at the step's own corner sees both sides of it.
			corner := p.X.Unit == "s" && dots.X[i] < 0.006 || p.X.Unit != "s" && dots.X[i] < 560
			if !corner && math.Abs(y-j) > 0.015*j {
				t.Fatalf("%s: %g at %g, want %g", p.Name, y, dots.X[i], j)
			}
		}
	}
}

func TestTrimKeepsWhatCanBeSeen(t *testing.T) {
	f := figure.Figure{Panels: []figure.Panel{{Series: []figure.Series{{X: []float64{0.1234567891, 7.7777777777}, Y: []float64{1000000.123456, 1000001.7654321}}}}}}
	f.Trim()
	s := f.Panels[0].Series[0]
	if s.X[0] != 0.1235 || s.X[1] != 7.7778 || s.Y[0] != 1000000.1235 || s.Y[1] != 1000001.7654 {
		t.Errorf("%v %v", s.X, s.Y)
	}
}
