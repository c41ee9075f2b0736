package campaign

import (
	"math"

	"spinledger/cmd/virtualbench/rig"
)

// deficit is how far the torque of a sweep lies below that of the same motor
// kept at the temperature it has in a cold step: one less than the ratio of the
// work on the stator through the loading, with and without heat, at equal speed.
// Both are integrated by the simulator; no recording enters.
func (b *builder) deficit(x shot, hot rig.Truth) (float64, error) {
	motor := b.s.Class.Motor
	motor.Thermal = rig.Thermal{}
	bench := b.bench
	bench.Torque = rig.TorqueChannel{Scale: 1}
	bench.Fixture = rig.Fixture{}
	bench.Speed.Mode = rig.Instant
	bench.Clock.SampleHz = 200
	warm, _, err := rig.Record(bench, b.s.Class.Motor, x.Rotor, x.Plan, b.seed)
	if err != nil {
		return 0, err
	}
	cold, _, err := rig.Record(bench, motor, x.Rotor, x.Plan, b.seed)
	if err != nil {
		return 0, err
	}
	from, to := loading(hot)
	num, den := 0.0, 0.0
	for i, t := range cold.TimeS {
		if t < from || t > to || i >= warm.Rows() {
			continue
		}
		// The torque of the warm motor at the cold one's speed: along its own line of
		// slope −Kt²/R, which both share to first order.
		k := motor.KtNmPerA * motor.KtNmPerA / (motor.ResistanceOhm + motor.ExtraOhm)
		at := warm.TorqueNm[i] - k*(cold.SpeedRadPerS[i]-warm.SpeedRadPerS[i])
		num += at
		den += cold.TorqueNm[i]
	}
	if den == 0 {
		return math.NaN(), nil
	}
	return 1 - num/den, nil
}

func loading(t rig.Truth) (from, to float64) {
	for _, s := range t.Segments {
		if s.Role == rig.Loading {
			return s.StartS, s.EndS
		}
	}
	return 0, 0
}
