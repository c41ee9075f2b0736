package rig

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// recorder runs one plan on one machine and keeps what the loggers saw.
type recorder struct {
	bench Bench
	plan  Plan
	m     *machine
	cell  cell
	h     float64
	steps int

	ticks    *ticker
	telTicks *ticker // nil without telemetry
	torque   *torqueSampler
	speed    *speedSampler
	slow     *slowSampler

	command float64 // duty commanded now
	track   tracker
	truth   Truth
}

// Record runs the plan and returns what the logger wrote and what was true.
// It fails on a plan, motor, rotor or bench that makes no sense, saying what
// is allowed. Equal arguments give equal results to the last bit.
func Record(b Bench, m Motor, r Rotor, p Plan, seed uint64) (Trace, Truth, error) {
	if err := check(b, m, r, p); err != nil {
		return Trace{}, Truth{}, err
	}
	rec := newRecorder(b, m, r, p, seed)
	rec.run(stream(seed, streamPlan))
	t := rec.trace(seed)
	return t, rec.truth, nil
}

func check(b Bench, m Motor, r Rotor, p Plan) error {
	if err := p.check(); err != nil {
		return err
	}
	if !(r.Inertia > 0) || r.Entrained < 0 {
		return fmt.Errorf("rotor %q: inertia %g, entrained %g kg·m²; want > 0 and >= 0", r.Name, r.Inertia, r.Entrained)
	}
	if r.Load.PropK != 0 && !(r.Load.PropN >= 1.5 && r.Load.PropN <= 2.5) {
		return fmt.Errorf("rotor %q: propeller exponent %g; want 1.5 to 2.5", r.Name, r.Load.PropN)
	}
	if !(m.KtNmPerA > 0) || !(m.ResistanceOhm > 0) || m.InductanceH < 0 || m.PolePairs < 1 {
		return fmt.Errorf("motor %q: Kt %g N·m/A, R %g ohm, L %g H, %d pole pairs; want > 0, > 0, >= 0, >= 1",
			m.Name, m.KtNmPerA, m.ResistanceOhm, m.InductanceH, m.PolePairs)
	}
	if !(b.Clock.SampleHz > 0 && b.Clock.SampleHz <= 1e5) || math.Abs(b.Clock.RateError) > 0.1 {
		return fmt.Errorf("bench: sampling %g Hz, rate error %g; want up to 1e5, within 0.1", b.Clock.SampleHz, b.Clock.RateError)
	}
	if t := b.Telemetry; t != nil && (!(t.SampleHz > 0 && t.SampleHz <= 1e5) || math.Abs(t.RateError) > 0.1) {
		return fmt.Errorf("bench: telemetry sampling %g Hz, rate error %g; want up to 1e5, within 0.1", t.SampleHz, t.RateError)
	}
	if f := b.Fixture; f.Hz > 0 && !(f.Damping > 0 && f.Damping < 1) {
		return fmt.Errorf("bench: fixture damping %g; want above 0, below 1", f.Damping)
	}
	if b.Torque.DelayS < 0 || b.Speed.DelayS < 0 || b.Torque.AverageS < 0 {
		return fmt.Errorf("bench: torque delay %g s, speed delay %g s, averaging %g s; want >= 0 (delay the other channel instead)",
			b.Torque.DelayS, b.Speed.DelayS, b.Torque.AverageS)
	}
	if s := b.Speed; s.Span < 0 || s.Span > maxSpan {
		return fmt.Errorf("bench: speed over %d periods; want 0 to %d", s.Span, maxSpan)
	}
	return nil
}

func newRecorder(b Bench, m Motor, r Rotor, p Plan, seed uint64) *recorder {
	h := p.stepS()
	start := Uniform(p.Air.TemperatureC)
	if p.Start != nil {
		start = *p.Start
	}
	rec := &recorder{bench: b, plan: p, h: h}
	rec.m = newMachine(&m, r, p.Supply, p.Controller, p.Air, start, h)
	first := p.Segments[0]
	rec.command = first.Duty
	if !first.Cut {
		rec.m.brake = brakeAt(rec.m.brakeUnit, first.BrakeFrom)
		rec.m.settle(first.Duty)
	}
	rec.cell = newCell(&b, r.Load, rec.m.ratio, h)
	rec.cell.start(rec.m.reaction, rec.m.speed)
	rec.ticks = newTicker(b.Clock, stream(seed, streamClock))
	speedTicks := rec.ticks
	if b.Telemetry != nil {
		rec.telTicks = newTicker(*b.Telemetry, stream(seed, streamTelemetryClock))
		speedTicks = rec.telTicks
	}
	rec.torque = newTorqueSampler(b.Torque, rec.ticks, seed, rec.cell.out)
	rec.speed = newSpeedSampler(newPickup(b.Speed, m.PolePairs, stream(seed, streamSpeed), 0), speedTicks, rec.m.speed)
	rec.slow = newSlowSampler(&rec.bench, rec.ticks, rec.telTicks, seed, r.Load.ThrustNs2*rec.m.ratio, rec.m)
	rec.reserve()
	rec.truth = newTruth(&b, r, p, start)
	rec.truth.ClockPhaseS = rec.ticks.phase
	if rec.telTicks != nil {
		rec.truth.TelemetryPhaseS = rec.telTicks.phase
	}
	return rec
}

// reserve makes room for the samples of all segments that end by plan.
func (r *recorder) reserve() {
	length := 0.0
	for _, s := range r.plan.Segments {
		if !s.UntilRest {
			length += s.DurationS + s.ExtraS
		}
	}
	rows := int(length*r.bench.Clock.SampleHz*1.1) + 64
	for _, c := range []*[]float64{
		&r.ticks.at, &r.ticks.stamp, &r.torque.values, &r.speed.values, &r.slow.duty, &r.slow.voltage,
		&r.slow.current, &r.slow.thrustN, &r.slow.temperature,
	} {
		*c = slices.Grow(*c, rows)
	}
}

func brakeAt(unit, x float64) float64 {
	if x <= 0 || x == 1 {
		return 0
	}
	return unit * (1/x - 1)
}

func (r *recorder) run(rng *rand.Rand) {
	for i := range r.plan.Segments {
		s := &r.plan.Segments[i]
		length := s.DurationS + s.ExtraS*rng.Float64()
		r.segment(s, max(1, int(math.Round(length/r.h))))
	}
}

// segment runs one stretch of n steps, fewer when it ends at rest.
func (r *recorder) segment(s *Segment, n int) {
	m, h := r.m, r.h
	from := m.duty
	r.command = s.Duty
	r.open(s, float64(r.steps)*h, n)
	m.cut = s.Cut
	ramp := r.plan.Controller.RampS
	braked := s.BrakeFrom > 0 || s.BrakeTo > 0
	m.brake = 0
	for k := range n {
		if d := s.Duty - from; d != 0 {
			if x := (float64(k) + 0.5) * h; x < ramp {
				m.duty = from + d*x/ramp
			} else {
				m.duty, from = s.Duty, s.Duty
			}
		}
		if braked {
			m.brake = brakeAt(m.brakeUnit, orOne(s.BrakeFrom)+(orOne(s.BrakeTo)-orOne(s.BrakeFrom))*float64(k)/float64(n))
		}
		r.step()
		if s.UntilRest && m.speed == 0 {
			break
		}
	}
	r.close(float64(r.steps) * h)
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

// step advances machine, cell and all samplers by one step.
func (r *recorder) step() {
	m, h := r.m, r.h
	t0 := float64(r.steps) * h
	a0, w0 := m.angle, m.speed
	m.step()
	r.steps++
	out := r.cell.advance(m.reaction, m.midSpeed, m.midAngle)
	r.torque.feed(t0, h, out)
	r.speed.feed(t0, h, a0, m.angle, w0, m.speed)
	if t0+h >= r.slow.next {
		r.slow.feed(t0+h, m, r.command)
	}
	r.watch()
}
