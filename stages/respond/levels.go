package respond

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

const (
	// levelRel of its load is what warmth may leave of the torque at a settled level: the
	// windings of a rotor held at speed are warmer than the cold torque supposes.
	levelRel = 0.04
	// levelFloor of the largest torque is the least that a level is unsure by.
	levelFloor = 1e-3
	// fewestLevels that tell how well they agree with a plane.
	fewestLevels = 8
)

// settledLevels are the settled points of operation of the recordings that keep lets in, within
// the speeds of rises. Nothing accelerates there, so that
//
//	L(ω) = Gain·duty·V + Slope·ω + Offset
//
// without inertia, dates or the lag of the current: they tell the speed at which the torque
// vanishes, and the drag of bearings and iron, which rises alone tell poorly. How far they lie off
// a plane of their own is what each is unsure by, besides warmth.
func (m *model) settledLevels(keep func(e *spin.Evidence) bool) []piece {
	if !m.sagging() {
		return nil
	}
	low := math.Inf(1)
	for _, e := range m.in.Evidence {
		for _, r := range e.Runs {
			for _, s := range r.Rise {
				low = math.Min(low, s.SpeedRadPerS)
			}
		}
	}
	var out []piece
	top := 0.0
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		k := m.bodyOf(e.Rotor)
		if k < 0 || !keep(e) {
			continue
		}
		c, steady := &m.bodies[k].curve, e.Kind != spin.Step
		if steady {
			c = &m.bodies[k].steady
		}
		for _, l := range e.Levels {
			if l.SpeedRadPerS < low*(1-endRel) || l.SpeedRadPerS > c.HighRadPerS*(1+endRel) || !(l.DriveV > 0) {
				continue
			}
			s := spin.Stretch{SpeedRadPerS: l.SpeedRadPerS}
			load := c.At(l.SpeedRadPerS)
			top = math.Max(top, load)
			out = append(out, piece{
				run: e.Recording + " settled", recording: e.Recording, mounting: e.Mounting, rotor: e.Rotor, s: s, body: k, ohmic: 1,
				momentum: load, drive: l.DriveV, angle: l.SpeedRadPerS, time: 1, loads: loadGradient(c, s),
				sigma: levelRel * load, steady: steady,
			})
		}
	}
	if len(out) < fewestLevels {
		return nil
	}
	return steadied(out, top)
}

// steadied gives the levels their scatter about a plane of their own.
func steadied(levels []piece, top float64) []piece {
	a := numeric.NewMatrix(len(levels), 3)
	y, w := make([]float64, len(levels)), make([]float64, len(levels))
	for i, p := range levels {
		copy(a.Row(i), []float64{p.drive, p.angle, 1})
		s := math.Hypot(p.sigma, levelFloor*top)
		y[i], w[i] = p.momentum, 1/(s*s)
	}
	s, err := numeric.LeastSquares(a, y, w)
	if err != nil || s.DoF <= 0 {
		return nil
	}
	chi := math.Max(1, math.Sqrt(s.RSS/float64(s.DoF)))
	for i := range levels {
		levels[i].sigma = chi / math.Sqrt(w[i])
	}
	return levels
}
