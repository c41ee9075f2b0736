package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// offAndSaid are the root mean squares, over n recordings, of what inertias are off by and of what their uncertainty by a channel's steps says,
// relative; the warning must stand exactly where that is worth one.
func offAndSaid(t *testing.T, n int, recording func() Input, u func(spin.RunFit) float64, code string) (off, said float64) {
	t.Helper()
	for range n {
		out, err := Run(recording(), DefaultOptions())
		if err != nil || len(out.Fits) != 1 {
			t.Fatalf("%v, refused %+v", err, out.Refusals)
		}
		f := out.Fits[0]
		off += math.Pow(f.JKgM2.Mean/truthJ-1, 2) / float64(n)
		said += math.Pow(u(f)/truthJ, 2) / float64(n)
		if warned := len(out.Warnings) == 1 && out.Warnings[0].Code == code; warned != (u(f) >= 1e-3*f.JKgM2.Mean) {
			t.Errorf("%.3g %% by the steps, warnings %+v", 100*u(f)/truthJ, out.Warnings)
		}
	}
	return math.Sqrt(off), math.Sqrt(said)
}

// TestResolution: with the torque read in coarse steps and little noise, over zeros anywhere on them, inertias are off by no more than
// ResolutionU says, root mean square, and by no less than a third of it (the rise of this one is slow, so that zero and load
// factor take up a part of the error); with steps that noise covers, it is nothing.
func TestResolution(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for _, h := range []float64{0.02, 0.05} { // of a peak of 1 N·m
		off, said := offAndSaid(t, 60, func() Input {
			in := input(1, 0, 0, 0.004)
			zero := h * rng.Float64()
			for i, x := range in.Recording.Samples.TorqueNm {
				in.Recording.Samples.TorqueNm[i] = math.Round((x+zero)/h) * h
			}
			for i, s := range in.Recording.Segments {
				x := in.Recording.Samples.TorqueNm[s.From:s.To]
				in.Recording.Plateaus = append(in.Recording.Plateaus, spin.Plateau{Segment: i, TorqueRoundingU: numeric.RoundingU(x, h)})
			}
			in.Recording.TorqueStepNm = h
			return in
		}, func(f spin.RunFit) float64 { return f.ResolutionU }, "coarse-torque")
		if off > said || off < said/3 {
			t.Errorf("steps of %g N·m: off by %.3f %%, said %.3f %%", h, 100*off, 100*said)
		}
	}
	if f := fitted(t, input(1, 0, 0, 0.004)); f.ResolutionU != 0 {
		t.Errorf("noise that covers the steps: %g", f.ResolutionU)
	}
}

// TestSpeedResolution: with the speed read in coarse steps, idle and settled speeds anywhere on them, inertias are off by no more
// than SpeedResolutionU says, root mean square, and by no less than half of it (the ends of this slow rise reach into its own slopes, which
// cover the steps); nothing where the speed is not rounded.
func TestSpeedResolution(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 7))
	for _, h := range []float64{3, 10} { // of a rise by 450 rad/s
		off, said := offAndSaid(t, 150, func() Input {
			in := input(1, 0, 0, 0.004)
			// Without load, and with other grids for the speeds: the torque knows nothing of where the grid begins.
			in.Curve = &spin.LoadCurve{}
			at, stretch := h*rng.Float64(), 1+0.05*rng.Float64()
			s := in.Recording.Samples
			for i, w := range s.SpeedRadPerS {
				s.TorqueNm[i] = stretch * (s.TorqueNm[i] - float64(loadK*w*w))
				s.SpeedRadPerS[i] = math.Round((stretch*w+at)/h) * h
			}
			for i, g := range in.Recording.Segments {
				in.Recording.Plateaus = append(in.Recording.Plateaus, spin.Plateau{Segment: i, SpeedRoundingU: numeric.RoundingU(s.SpeedRadPerS[g.From:g.To], h)})
			}
			in.Recording.SpeedStepRadPerS = h
			return in
		}, func(f spin.RunFit) float64 { return f.SpeedResolutionU }, "coarse-speed")
		if off > said || off < said/2 {
			t.Errorf("steps of %g rad/s: off by %.3f %%, said %.3f %%", h, 100*off, 100*said)
		}
	}
	if f := fitted(t, input(1, 0, 0, 0.004)); f.SpeedResolutionU != 0 {
		t.Errorf("a speed that is not rounded: %g", f.SpeedResolutionU)
	}
}
