package rig

import (
	"bytes"
	"fmt"
	"math"
)

// Shot is one recording to be made in a session.
type Shot struct {
	Name     string
	Mounting string // shots of one mounting share its error; "" is a mounting of its own
	Rotor    Rotor
	Plan     Plan
	// PauseS is the time since the recording before, in which the motor cools
	// and the zero wanders.
	PauseS float64
	// SampleHz of this recording, 0: the bench's. Levels need no fast logging.
	SampleHz float64
}

// Session is a bench, a motor and what is recorded on a day, in order.
type Session struct {
	Bench  Bench // with its true errors, see Drawn.Bench
	Motor  Motor
	Shots  []Shot
	Seed   uint64
	Carry  bool    // each recording starts as warm as the one before, PauseS later; else as its plan says
	ZeroNm float64 // rms by which the zero differs from one recording to the next
	// Remount is the rms, relative, by which the torque reading changes with each
	// mounting: side load on the cell, the fixture clamped anew.
	Remount float64
	// LagS is the rms by which the torque channel's delay differs from one recording to the next, s.
	LagS float64
	// ScaleDrift is by how much the torque scale moves from the first recording to the last, relative, evenly.
	ScaleDrift float64
}

// Recorded is one recording of a session.
type Recorded struct {
	Name  string
	Trace Trace
	Truth Truth
}

// Record makes all recordings in order. It fails on the first that makes no
// sense, with its name. Adding a shot at the end leaves those before it as
// they were.
func (s Session) Record() ([]Recorded, error) {
	rng := stream(s.Seed, streamSession)
	var out []Recorded
	remounted := map[string]float64{} // looked up only, never walked
	var heat Heat
	for i, shot := range s.Shots {
		b, p := s.Bench, shot.Plan
		if b.Torque.Scale == 0 {
			b.Torque.Scale = 1
		}
		zero, mount := s.ZeroNm*rng.NormFloat64(), s.Remount*rng.NormFloat64()
		if old, known := remounted[shot.Mounting]; known && shot.Mounting != "" {
			mount = old
		}
		remounted[shot.Mounting] = mount
		if s.LagS > 0 {
			late := s.LagS * stream(s.Seed+uint64(i), streamLag).NormFloat64()
			b.Torque.DelayS, b.Speed.DelayS = b.Torque.DelayS+max(0, late), b.Speed.DelayS+max(0, -late)
		}
		if shot.SampleHz > 0 {
			b.Clock.SampleHz = shot.SampleHz
		}
		b.Torque.ZeroNm += zero
		b.Torque.Scale *= (1 + mount) * (1 + s.ScaleDrift*(float64(i)+0.5)/float64(len(s.Shots)))
		if s.Carry && i > 0 {
			start := s.Motor.cooled(heat, p.Air, shot.PauseS)
			p.Start = &start
		}
		trace, truth, err := Record(b, s.Motor, shot.Rotor, p, s.Seed*1000003+uint64(i))
		if err != nil {
			return nil, fmt.Errorf("recording %q: %w", shot.Name, err)
		}
		heat = truth.End
		out = append(out, Recorded{Name: shot.Name, Trace: trace, Truth: truth})
	}
	return out, nil
}

// cooled is heat h after t seconds at rest.
func (m Motor) cooled(h Heat, air Air, t float64) Heat {
	th := m.Thermal
	if th.WindingJPerK <= 0 || th.StatorJPerK <= 0 {
		return h
	}
	// A tenth of the shortest time constant, so forward Euler is smooth.
	dt := 0.1 * math.Min(th.WindingJPerK*th.WindingKPerW, th.StatorJPerK*th.StatorKPerW)
	for ; t > 0; t -= dt {
		x := math.Min(dt, t)
		flow := (h.WindingC - h.StatorC) / th.WindingKPerW
		lost := (h.StatorC - air.TemperatureC) / th.StatorKPerW
		if th.MagnetS > 0 {
			target := air.TemperatureC + th.MagnetCoupling*(h.StatorC-air.TemperatureC)
			h.MagnetC += (target - h.MagnetC) * math.Min(1, x/th.MagnetS)
		}
		h.WindingC -= flow * x / th.WindingJPerK
		h.StatorC += (flow - lost) * x / th.StatorJPerK
	}
	return h
}

// Text is the trace as bytes in the dialect; see WriteText.
func (t Trace) Text(d Dialect) ([]byte, error) {
	var buf bytes.Buffer
	if err := WriteText(&buf, t, d); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}
