package rig

import "math/rand/v2"

// Trace is what one logger wrote: columns of equal length in SI (temperature
// in °C), nil where the logger has no such channel.
type Trace struct {
	TimeS        []float64 // stamps as written
	SpeedRadPerS []float64 // mechanical
	TorqueNm     []float64 // reaction on the stator, zero included
	ThrustN      []float64
	VoltageV     []float64
	CurrentA     []float64 // from the supply
	Duty         []float64 // as commanded
	TemperatureC []float64

	Telemetry *Trace // the second logger: time, speed and duty
}

// Rows is the number of rows.
func (t *Trace) Rows() int { return len(t.TimeS) }

func (t *Trace) columns() []*[]float64 {
	return []*[]float64{&t.TimeS, &t.SpeedRadPerS, &t.TorqueNm, &t.ThrustN, &t.VoltageV, &t.CurrentA, &t.Duty, &t.TemperatureC}
}

// trace collects the columns and lets the faults loose on them.
func (r *recorder) trace(seed uint64) Trace {
	n := r.slow.n
	t := Trace{
		TimeS: r.ticks.stamp[:n], TorqueNm: r.torque.logged(r.ticks.at[:n]),
		Duty: r.slow.duty,
	}
	if r.bench.Power.Present {
		t.VoltageV, t.CurrentA = r.slow.voltage, r.slow.current
	}
	if r.bench.Thrust.Present {
		t.ThrustN = r.slow.thrustN
	}
	if r.bench.Temperature.Present {
		t.TemperatureC = r.slow.temperature
	}
	if r.bench.Power.HideVoltage {
		t.VoltageV = nil
	}
	if r.bench.Power.HideDutyC {
		t.Duty = nil
	}
	if r.telTicks == nil {
		t.SpeedRadPerS = r.speed.values[:n]
	} else {
		k := r.slow.tel
		t.Telemetry = &Trace{TimeS: r.telTicks.stamp[:k], SpeedRadPerS: r.speed.values[:k], Duty: r.slow.telDuty}
		t.Telemetry.blunder(r.bench.Faults, stream(seed, streamTelemetryFaults))
	}
	t.blunder(r.bench.Faults, stream(seed, streamFaults))
	return t
}

// blunder applies spikes, gaps, repeats and swapped rows, in this order.
func (t *Trace) blunder(f Faults, rng *rand.Rand) {
	for i := range t.TorqueNm {
		if f.TorqueSpike > 0 && rng.Float64() < f.TorqueSpike {
			t.TorqueNm[i] += f.TorqueSpikeN * float64(1-2*rng.IntN(2))
		}
	}
	for i := range t.SpeedRadPerS {
		if f.SpeedSpike > 0 && rng.Float64() < f.SpeedSpike {
			t.SpeedRadPerS[i] *= f.SpeedSpikeBy
		}
	}
	if f.Drop <= 0 && f.Repeat <= 0 && f.Swap <= 0 {
		return
	}
	var keep []int
	for i := 0; i < t.Rows(); i++ {
		if f.Drop > 0 && rng.Float64() < f.Drop {
			i += max(f.DropRows, 1) - 1
			continue
		}
		keep = append(keep, i)
		if f.Repeat > 0 && rng.Float64() < f.Repeat {
			keep = append(keep, i)
		}
	}
	for i := 0; i+1 < len(keep); i++ {
		if f.Swap > 0 && rng.Float64() < f.Swap {
			keep[i], keep[i+1] = keep[i+1], keep[i]
			i++
		}
	}
	for _, c := range t.columns() {
		if *c == nil {
			continue
		}
		out := make([]float64, len(keep))
		for j, i := range keep {
			out[j] = (*c)[i]
		}
		*c = out
	}
}
