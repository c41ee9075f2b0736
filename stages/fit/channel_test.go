package fit

import (
	"math"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

const (
	crosstalkBy = "bench/desk/2026-03-02/crosstalk"
	crosstalkM  = 1e-3 // N·m/N
	crosstalkU  = 2e-4
	thrustK     = 2e-5 // N·s²
)

// thrusting is input with a thrust of 3 N + k·ω², read late by some seconds, and
// the share c of it in torque and load curve.
func thrusting(late, c float64, turns spin.Sense) Input {
	in := input(1, 0, 0, 0)
	in.Recording.Declared.Turns = turns
	s := in.Recording.Samples
	sign := 1.0
	if turns == spin.CW {
		sign = -1
	}
	for i := range s.TimeS {
		w := s.SpeedRadPerS[max(0, i-int(math.Round(late/stepS)))]
		s.ThrustN = append(s.ThrustN, 3+thrustK*w*w)
		s.TorqueNm[i] += sign * c * s.ThrustN[i]
	}
	x := in.Curve.RefRadPerS
	in.Curve.Coef[0].Mean += sign * c * thrustK * x * x
	known := uncertain.New(crosstalkM, crosstalkU, 0, crosstalkBy)
	in.Recording.CrosstalkM = &known
	return in
}

// TestCrosstalkPart: a cross-talk that is wrong by one u moves torque and load
// curve alike, and the inertia by what the thrust's lag leaves of it; for cw the other way.
func TestCrosstalkPart(t *testing.T) {
	for _, turns := range []spin.Sense{spin.CCW, spin.CW} {
		j := fitted(t, thrusting(0.03, 0, turns)).JKgM2
		if wrong := fitted(t, thrusting(0.03, -crosstalkU, turns)).JKgM2.Mean; math.Abs(wrong-j.Mean) < 5e-4*j.Mean {
			t.Errorf("a wrong cross-talk moves the inertia by %g only", wrong-j.Mean)
		} else {
			near(t, string(turns), j.Part(crosstalkBy), wrong-j.Mean, 0.02)
		}
		// A thrust without lag cancels between torque and load.
		j = fitted(t, thrusting(0, 0, turns)).JKgM2
		if p := j.Part(crosstalkBy); math.Abs(p) > 1e-6*j.Mean {
			t.Errorf("%s: a thrust without lag contributes %g", turns, p/j.Mean)
		}
	}
}

// TestClockPart: a clock known to 1e-4 leaves 1e-4 of the inertia open.
func TestClockPart(t *testing.T) {
	in := input(1, 0, 0, 0)
	in.Recording.ClockRate = uncertain.New(1.002, 1.002e-4, 0, "bench/desk/daq/clock_rate")
	j := fitted(t, in).JKgM2
	near(t, "part", j.Part("bench/desk/daq/clock_rate"), 1e-4*j.Mean, 1e-9)
}
