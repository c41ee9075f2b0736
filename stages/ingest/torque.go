package ingest

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// torque makes the calibrated torque of the declared sense from the torque channel:
//
//	T = s·(S·g·cell − c·thrust)
//
// with s = +1 ccw, −1 cw; S the channel's sign; g N·m per cell unit, from the
// calibration, else the unit's own factor (× arm for a force); c the cross-talk.
func (r *run) torque(m *merged) {
	k := m.primary.channel("torque")
	logger := &m.primary.file.Logger
	r.rec.ClockRate = logger.ClockRate
	r.rec.Converter, r.rec.MeanS = logger.Converter, logger.MeanS
	if r.rec.Converter == "" {
		r.rec.Converter = "unknown"
	}
	if k < 0 || !r.in.Declared.TorqueUsable {
		return
	}
	c := &logger.Channels[k]
	gain, ok := r.gain(c, logger.Name)
	if !ok {
		return
	}
	if c.Sign < 0 {
		gain = -gain
	}
	sense := 1.0
	if r.in.Declared.Turns == spin.CW {
		sense = -1
	}
	r.rec.Bend = r.in.Torque.Bend
	x := r.renewed(m, m.primary.field(k), m.take("torque"))
	thrust := m.take("thrust")
	crosstalk := 0.0
	if r.in.Torque.CrosstalkM != nil {
		crosstalk = r.in.Torque.CrosstalkM.Mean
		if thrust == nil && len(r.in.Declared.Rotor.Parts) > 0 {
			r.warn("crosstalk", "the bench shows %.3g N·m of torque per newton of thrust, but thrust was not recorded: it is not corrected", crosstalk)
		}
	}
	if thrust != nil {
		r.rec.CrosstalkM = r.in.Torque.CrosstalkM
	}
	for i := range x {
		v := float64(gain * x[i])
		if thrust != nil && crosstalk != 0 {
			v -= float64(crosstalk * thrust[i])
		}
		x[i] = sense * v
	}
	r.rec.Samples.TorqueNm = x
}

// gain is N·m per SI unit of the column, and whether there is one. It completes
// the recording's TorqueScale.
func (r *run) gain(c *spin.Channel, logger string) (float64, bool) {
	ts := &r.in.Torque
	r.rec.Warnings = append(r.rec.Warnings, ts.Warnings...)
	if ts.GainNm > 0 {
		if ts.Logger == "" || ts.Logger == logger {
			if c.Counts || c.Factor == 0 {
				return ts.GainNm, true
			}
			return ts.GainNm / c.Factor, true
		}
		r.warn("calibration-logger", "calibration %s was read on logger %s, this torque comes from %s: the channel's own unit is used", ts.ID, ts.Logger, logger)
		r.rec.TorqueScale = unstated(r.in.Bench)
	}
	if c.Counts {
		r.refuse("counts", 0, 0, "the torque channel is in counts and no calibration gives it a scale; the torque is not used")
		return 0, false
	}
	if c.ArmM != nil && c.ArmM.Mean != 0 {
		r.rec.TorqueScale = uncertain.Combine(1, uncertain.Term{Sensitivity: 1, Value: r.rec.TorqueScale},
			uncertain.Term{Sensitivity: 1 / c.ArmM.Mean, Value: *c.ArmM})
		return c.ArmM.Mean, true
	}
	return 1, true
}

// torqueSpikes only counts, and only on plateaus, where a spike can be told from what the rotor does. No sample is
// replaced anywhere.
func (r *run) torqueSpikes() {
	x := r.rec.Samples.TorqueNm
	if x == nil {
		return
	}
	sample := make([]float64, 0, 1<<13+1)
	for i := 0; i < len(x); i += max(1, len(x)>>13) {
		sample = append(sample, x[i])
	}
	least := spin.SpikeRel * (numeric.Quantile(sample, 0.99) - numeric.Quantile(sample, 0.01))
	if least == 0 {
		return
	}
	n, first := 0, math.Inf(1)
	for _, p := range r.rec.Plateaus {
		time, values := r.rec.TorqueValues(r.rec.Segments[p.Segment])
		if at := numeric.Spikes(values, least); len(at) > 0 {
			n, first = n+len(at), math.Min(first, time[at[0]])
		}
	}
	if n > 0 {
		r.warn("torque-spike", "%d torque samples on plateaus stand off their neighbours by more than ten standard deviations and %.0f %% of the range, the first at %s s; none was changed", n, 100*spin.SpikeRel, seconds(first))
	}
}
