package fit

import (
	"math"
	"testing"
)

// TestSettledCreep: a torque that rises by a per cent of the load a second while settled is seen as what it moves between the thirds of the
// plateau that are looked at; a load that is a function of speed does not move, whatever the drift of the zero.
func TestSettledCreep(t *testing.T) {
	in := input(1, 0, 0, 0.004)
	for i, at := range in.Recording.Samples.TimeS {
		in.Recording.Samples.TorqueNm[i] += 0.01 * at // drift
	}
	f := fitted(t, in)
	if !f.HasSettledCreep || math.Abs(f.SettledCreep) > 3e-4 {
		t.Errorf("a load without creep: %t, %.3g %%", f.HasSettledCreep, 100*f.SettledCreep)
	}
	load := loadK * settleW * settleW
	for i, at := range in.Recording.Samples.TimeS {
		if at > 1.1 && at < 2.3 {
			in.Recording.Samples.TorqueNm[i] += 0.01 * load * (at - 1.7)
		}
	}
	f = fitted(t, in)
	b := in.Recording.Segments[1]
	want := 0.01 * 2 / 3 * (b.ToS - b.FromS - creepWait/settleW)
	if math.Abs(f.SettledCreep/want-1) > 0.1 {
		t.Errorf("moved by %.3g %%, want %.3g %%", 100*f.SettledCreep, 100*want)
	}
	in.Recording.Runs[0].C, in.Recording.Segments = -1, in.Recording.Segments[:2]
	if f := fitted(t, in); f.HasSettledCreep {
		t.Error("two plateaus cannot tell drift from creep")
	}
}
