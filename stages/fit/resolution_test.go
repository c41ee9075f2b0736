package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// TestResolution: with the torque read in coarse steps and little noise, over zeros anywhere on them, inertias are off by no more than
// ResolutionU says, root mean square, and by no less than a third of it (the rise of this one is slow, so that zero and load
// factor take up a part of the error); with steps that noise covers, it is nothing.
func TestResolution(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for _, h := range []float64{0.02, 0.05} { // of a peak of 1 N·m
		off, said := 0.0, 0.0
		const n = 60
		for range n {
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
			out, err := Run(in, DefaultOptions())
			if err != nil || len(out.Fits) != 1 {
				t.Fatalf("%v, refused %+v", err, out.Refusals)
			}
			f := out.Fits[0]
			off += math.Pow(f.JKgM2.Mean/truthJ-1, 2) / n
			said += math.Pow(f.ResolutionU/truthJ, 2) / n
			if warned := len(out.Warnings) == 1 && out.Warnings[0].Code == "coarse-torque"; warned != (f.ResolutionU >= 1e-3*f.JKgM2.Mean) {
				t.Errorf("ResolutionU %.3g %%, warnings %+v", 100*f.ResolutionU/truthJ, out.Warnings)
			}
		}
		off, said = math.Sqrt(off), math.Sqrt(said)
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
	const n = 150
	for _, h := range []float64{3, 10} { // of a rise by 450 rad/s
		off, said := 0.0, 0.0
		for range n {
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
			out, err := Run(in, DefaultOptions())
			if err != nil || len(out.Fits) != 1 {
				t.Fatalf("%v, refused %+v", err, out.Refusals)
			}
			f := out.Fits[0]
			off += math.Pow(f.JKgM2.Mean/truthJ-1, 2) / n
			said += math.Pow(f.SpeedResolutionU/truthJ, 2) / n
			if warned := len(out.Warnings) == 1 && out.Warnings[0].Code == "coarse-speed"; warned != (f.SpeedResolutionU >= 1e-3*f.JKgM2.Mean) {
				t.Errorf("SpeedResolutionU %.3g %%, warnings %+v", 100*f.SpeedResolutionU/truthJ, out.Warnings)
			}
		}
		off, said = math.Sqrt(off), math.Sqrt(said)
		if off > said || off < said/2 {
			t.Errorf("steps of %g rad/s: off by %.3f %%, said %.3f %%", h, 100*off, 100*said)
		}
	}
	if f := fitted(t, input(1, 0, 0, 0.004)); f.SpeedResolutionU != 0 {
		t.Errorf("a speed that is not rounded: %g", f.SpeedResolutionU)
	}
}
