package respond

import (
	"fmt"
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// coastDrag is the torque of bearings and iron, d0 + d1·ω (+ d2·ω²), that slows
// a coasting rotor besides its load.
type coastDrag struct {
	coef       []uncertain.Value
	low, high  float64
	recordings []string
}

// fitCoast finds the coast torque from the run-downs of all rotors: J·ω + ∫L =
// K − d0·t − d1·∫ω − d2·∫ω², each run-down with a K of its own.
func (m *model) fitCoast() {
	var pieces []piece
	d := &coastDrag{low: math.Inf(1)}
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		b := m.bodyOf(e.Rotor)
		if b < 0 || len(e.Fall) < 4 {
			continue
		}
		d.recordings = append(d.recordings, e.Recording)
		for _, s := range e.Fall {
			pieces = append(pieces, piece{run: e.Recording, s: s, body: b, ohmic: 1, duty: 1, free: 1})
			d.low, d.high = math.Min(d.low, s.SpeedRadPerS), math.Max(d.high, s.SpeedRadPerS)
		}
	}
	if len(pieces) == 0 {
		m.noCoast = "no coast recording of this motor: the drag of bearings and iron, which the load curve does not contain, is not known"
		return
	}
	m.coastPieces(pieces)
	s, aicc, err := coastSolve(pieces, 2)
	if richer, b, err3 := coastSolve(pieces, 3); err3 == nil && (err != nil || b < aicc-bendBy) {
		s, err = richer, nil
	}
	if err != nil || s.DoF <= len(d.recordings) {
		m.noCoast = fmt.Sprintf("the run-downs do not determine the coast torque: %d stretches", len(pieces))
		return
	}
	d.coef = m.coastValues(pieces, s)
	m.coast = d
}

// coastPieces fills momenta, and in bow the integral of the squared speed.
func (m *model) coastPieces(pieces []piece) {
	perRun(pieces, func(run []piece) {
		b := &m.bodies[run[0].body]
		load := integrals(run, func(s spin.Stretch) float64 { return meanLoad(&b.curve, s) })
		squares := integrals(run, func(s spin.Stretch) float64 { return float64(s.SpeedRadPerS*s.SpeedRadPerS) + s.SpeedVar })
		var grads [][]float64
		for c := range b.curve.Coef {
			grads = append(grads, integrals(run, func(s spin.Stretch) float64 { return loadGradient(&b.curve, s)[c] }))
		}
		change := b.j.Mean * (run[0].s.SpeedRadPerS - run[len(run)-1].s.SpeedRadPerS)
		for i := range run {
			p := &run[i]
			p.momentum, p.speed = b.j.Mean*p.s.SpeedRadPerS+load[i], p.s.SpeedRadPerS
			p.time, p.angle, p.bow = p.s.TimeS, p.s.AngleRad, squares[i]
			p.sigma = math.Hypot(b.j.Mean*p.s.SpeedSE, floorRel*change)
			for c := range grads {
				p.loads = append(p.loads, grads[c][i])
			}
		}
		centre(run)
	})
}

func coastSolve(pieces []piece, k int) (numeric.Solution, float64, error) {
	a := numeric.NewMatrix(len(pieces), k)
	y, w := make([]float64, len(pieces)), make([]float64, len(pieces))
	for i, p := range pieces {
		copy(a.Row(i), []float64{-p.time, -p.angle, -p.bow}[:k])
		y[i], w[i] = p.momentum, 1/(p.sigma*p.sigma)
	}
	s, err := numeric.LeastSquares(a, y, w)
	if err != nil {
		return s, 0, err
	}
	n, kk := float64(len(pieces)), float64(k)
	return s, n*math.Log(s.RSS/n) + 2*kk + 2*kk*(kk+1)/math.Max(1, n-kk-1), nil
}

// coastValues are the coefficients with their own scatter and what J and L carry into them.
func (m *model) coastValues(pieces []piece, s numeric.Solution) []uncertain.Value {
	k := len(s.Coef)
	chi := math.Max(1, s.RSS/float64(s.DoF))
	cov := make([]float64, k*k)
	for i := range cov {
		cov[i] = s.Cov.Data[i] * chi
	}
	own := uncertain.FromCovariance(s.Coef, cov, float64(s.DoF), m.in.Job+"/motor/coast")
	out := make([]uncertain.Value, k)
	for a := range k {
		parts := []uncertain.Term{{Sensitivity: 1, Value: own[a]}}
		for b := range m.bodies {
			body := &m.bodies[b]
			dj, dc := 0.0, make([]float64, len(body.curve.Coef))
			for i, p := range pieces {
				if p.body != b {
					continue
				}
				g := s.Gain.At(a, i)
				dj += float64(g * p.speed)
				for c, x := range p.loads {
					dc[c] += float64(g * x)
				}
			}
			parts = append(parts, uncertain.Term{Sensitivity: dj, Value: body.j})
			for c, x := range dc {
				parts = append(parts, uncertain.Term{Sensitivity: x, Value: body.curve.Coef[c]})
			}
		}
		out[a] = uncertain.Combine(s.Coef[a], parts...)
	}
	return out
}
