package rig

import "math/rand/v2"

// slowSampler reads what needs no special converter: voltage, current, duty,
// thrust and temperature, at the end of the step in which a tick falls.
type slowSampler struct {
	bench    *Bench
	ticks    *ticker
	telTicks *ticker
	tick     float64 // the earliest tick of either logger
	next     float64 // time at which feed is due: the tick, or now when filters run

	filtering     bool
	filter        float64
	volts, amps   float64
	thrustPerW2   float64
	n, tel        int
	power, thrust *rand.Rand
	temp          *rand.Rand

	voltage, current, duty, thrustN, temperature, telDuty []float64
	lastT, sensorC                                        float64
}

func newSlowSampler(b *Bench, ticks, tel *ticker, seed uint64, thrustPerW2 float64, m *machine) *slowSampler {
	s := &slowSampler{
		bench: b, ticks: ticks, telTicks: tel, thrustPerW2: thrustPerW2,
		power: stream(seed, streamPower), thrust: stream(seed, streamThrust), temp: stream(seed, streamTemperature),
		filtering: b.Power.Present && b.Power.CurrentFilterS > 0,
	}
	if s.bench.Power.CurrentGain == 0 {
		s.bench.Power.CurrentGain = 1
	}
	s.filter = lag(m.h, b.Power.CurrentFilterS)
	s.amps = m.duty * m.current
	s.volts = m.supply.VoltageV - m.supply.Ohm*s.amps
	s.ticks.upTo(0)
	if tel != nil {
		tel.upTo(0)
	}
	s.schedule()
	return s
}

// feed takes the machine at time t, the end of a step, with the duty commanded.
func (s *slowSampler) feed(t float64, m *machine, command float64) {
	amps := m.duty * m.current
	volts := m.supply.VoltageV - m.supply.Ohm*amps
	if s.filtering {
		s.volts += (volts - s.volts) * s.filter
		s.amps += (amps - s.amps) * s.filter
		if t < s.tick {
			return
		}
	} else {
		s.volts, s.amps = volts, amps
	}
	for s.ticks.at[s.n] <= t {
		s.row(t, m, command)
		s.n++
		s.ticks.upTo(s.ticks.at[s.n-1])
	}
	if s.telTicks != nil {
		for s.telTicks.at[s.tel] <= t {
			s.telDuty = append(s.telDuty, command)
			s.tel++
			s.telTicks.upTo(s.telTicks.at[s.tel-1])
		}
	}
	s.schedule()
}

func (s *slowSampler) schedule() {
	s.tick = s.ticks.at[s.n]
	if s.telTicks != nil {
		s.tick = min(s.tick, s.telTicks.at[s.tel])
	}
	s.next = s.tick
	if s.filtering {
		s.next = 0
	}
}

func (s *slowSampler) row(t float64, m *machine, command float64) {
	s.duty = append(s.duty, command)
	if p := &s.bench.Power; p.Present {
		v := s.volts + p.VoltageNoiseV*s.power.NormFloat64()
		i := p.CurrentGain*s.amps + p.CurrentOffsetA + p.CurrentNoiseA*s.power.NormFloat64()
		s.voltage = append(s.voltage, quantise(v, p.VoltageLSBV))
		s.current = append(s.current, quantise(i, p.CurrentLSBA))
	}
	if c := &s.bench.Thrust; c.Present {
		f := s.thrustPerW2*m.speed*m.speed + c.ZeroN + c.NoiseN*s.thrust.NormFloat64()
		s.thrustN = append(s.thrustN, quantise(f, c.LSBN))
	}
	if c := &s.bench.Temperature; c.Present {
		if len(s.temperature) == 0 {
			s.sensorC = m.heat.StatorC
		} else {
			s.sensorC += (m.heat.StatorC - s.sensorC) * lag(t-s.lastT, c.LagS)
		}
		s.lastT = t
		s.temperature = append(s.temperature, quantise(s.sensorC+c.OffsetC+c.NoiseC*s.temp.NormFloat64(), c.LSBC))
	}
}
