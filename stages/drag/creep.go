package drag

import (
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// creepTaus are the time constants that are tried, s: a factor of two apart, from what a level's second quarter still shows to what a
// whole staircase does.
var creepTaus = [spin.CreepTaus]float64{0.2, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8, 25.6}

// late is how far behind its load a cell that creeps is on a plateau: on its average, and how much less so in its last quarter than in its second.
type late struct{ mean, moved float64 }

// lates follows q, dq/dt = (L − q)/τ, through a set's plateaus from equilibrium on the first; halfway between two of them the load goes
// from one's to the other's.
func lates(s Set, curve *spin.LoadCurve, tau float64) []late {
	out := make([]late, len(s.Plateaus))
	q, last, end := 0.0, 0.0, 0.0
	to := func(l, seconds float64) { q = l + float64((q-l)*math.Exp(-seconds/tau)) }
	for i, p := range s.Plateaus {
		l, begin := loadOn(p, curve), p.MidS-p.SpanS/2
		if i == 0 {
			q = l
		} else {
			to(last, (begin-end)/2)
			to(l, (begin-end)/2)
		}
		mean := func(from, to float64) float64 {
			return (q - l) * tau * (math.Exp(-from/tau) - math.Exp(-to/tau)) / (to - from)
		}
		if p.SpanS > 0 {
			out[i].mean = mean(0, p.SpanS)
		}
		if m := p.Moved; m != nil && m.QuarterS > 0 {
			at := func(mid float64) float64 { return mean(mid-m.QuarterS/2-begin, mid+m.QuarterS/2-begin) }
			out[i].moved = at(m.LateS) - at(m.EarlyS)
		}
		to(l, p.SpanS)
		last, end = l, begin+p.SpanS
	}
	return out
}

// creep is how late the torque comes on the levels.
//
// A cell that creeps, or a load that does, reads L + c·q, where q follows the load L late. The c·L of it is one with the curve; what q lacks shows twice:
// levels on the way up are read less than those of like speed on the way down, and a level at constant speed moves, beyond the zero's drift
// and what its speed's own change makes of the load, upwards after a step up and downwards after one down. c, zeros, drifts and the curve's
// coefficients are fitted to both by weighted least squares, for each of a few time constants. Of those that fit about as well as the best
// the one is taken that needs the least creep: a short memory asks for much of it.
// all are the sets with the rests that the curve may have left out. nil where too little is left to tell.
func (l *levels) creep(all []Set, f fitted, curve *spin.LoadCurve) *spin.Creep {
	stretches := l.creepStretches(all, f, curve)
	type trial struct {
		tau, rel, misfit float64
	}
	var trials []trial
	least := math.Inf(1)
	for _, tau := range creepTaus {
		if c, misfit := creepAt(all, stretches, curve, tau, false); c != nil {
			trials = append(trials, trial{tau, math.Abs(c.Rel), misfit})
			least = math.Min(least, misfit)
		}
	}
	best := trial{rel: math.Inf(1)}
	for _, t := range trials {
		if t.misfit <= least+asWell && t.rel < best.rel {
			best = t
		}
	}
	if math.IsInf(best.rel, 1) {
		return nil
	}
	c, _ := creepAt(all, stretches, curve, best.tau, true)
	return c
}

const (
	// asWell: sums of squares that differ by less do not tell two time constants apart (95 % point of χ² with one degree of freedom).
	asWell = 3.84
	// creepDoF is the fewest degrees of freedom of a recording that speaks of creep.
	creepDoF = 6
)

// creepAt pools what the recordings, or stretches of long ones, say by themselves, each with its own coefficients; misfit is their sum of squares.
func creepAt(all []Set, stretches [][]creepEquations, curve *spin.LoadCurve, tau float64, walks bool) (c *spin.Creep, misfit float64) {
	out := spin.Creep{TauS: tau}
	weight := 0.0
	for k, s := range all {
		behind := lates(s, curve, tau)
		for _, e := range stretches[k] {
			e.fall(behind)
			sol, err := e.solve(walks)
			if err != nil || sol.DoF < creepDoF {
				continue
			}
			v := math.Max(1, sol.RSS/float64(sol.DoF)) * sol.Cov.At(0, 0)
			out.Rel += sol.Coef[0] / v
			out.DoF += sol.DoF
			weight += 1 / v
			misfit += sol.RSS
		}
	}
	if weight == 0 {
		return nil, 0
	}
	out.Rel, out.SE = out.Rel/weight, math.Sqrt(1/weight)
	return &out, misfit
}

// creepEquations are those of one stretch: rows of the plateaus' means first, then of their moves.
type creepEquations []creepRow

// creepStretch is the most plateaus whose levels' covariance is taken together: time grows with its cube, and memory with its square.
const creepStretch = 64

type creepRow struct {
	plateau int // its index in the set
	// columns: c, zero, drift, drift as the moves show it, the curve's coefficients.
	columns []float64
	y, v    float64 // value, and its variance by noise
	// t is a mean's time; apart is the time over which a walk of the zero acts on a move, 0 for means.
	t, apart float64
}

// fall fills in how far plateaus fall behind, the column of c.
func (e creepEquations) fall(behind []late) {
	for _, r := range e {
		r.columns[0] = behind[r.plateau].mean
		if r.apart > 0 {
			r.columns[0] = behind[r.plateau].moved
		}
	}
}

// creepStretches are the equations of all sets, set by set, the column of c still empty.
func (l *levels) creepStretches(all []Set, f fitted, curve *spin.LoadCurve) [][]creepEquations {
	model, terms := l.model(f.form)
	out := make([][]creepEquations, len(all))
	at := 0
	for k, s := range all {
		var means, moves []creepRow
		for i, p := range s.Plateaus {
			// Points stand in the order of their plateaus, without the rests where these were left out.
			if at < len(l.points) && l.points[at].set == k && l.points[at].p.MidS == p.MidS {
				row := creepRow{plateau: i, columns: make([]float64, 4+terms), y: f.sol.Residual[at], v: 1 / l.w[at], t: p.MidS}
				row.columns[1] = 1
				if l.drifts[k] {
					row.columns[2] = l.points[at].t
				}
				model(at, f.sol.Coef, row.columns[4:])
				means = append(means, row)
				at++
			}
			if m := p.Moved; m != nil && m.TorqueSE > 0 {
				row := creepRow{plateau: i, columns: make([]float64, 4+terms), y: m.TorqueNm - float64(loadSlope(p, curve)*m.SpeedRadPerS), v: m.TorqueSE * m.TorqueSE, apart: m.LateS - m.EarlyS - m.QuarterS/3}
				row.columns[3] = m.LateS - m.EarlyS
				moves = append(moves, row)
			}
			if (i+1)%creepStretch == 0 || i == len(s.Plateaus)-1 {
				if rows := append(means, moves...); len(rows) > 0 {
					out[k] = append(out[k], rows)
				}
				means, moves = nil, nil
			}
		}
	}
	return out
}

// loadOn is a plateau's load without dry friction, which no memory of the cell can be told from its zero.
func loadOn(p spin.Plateau, curve *spin.LoadCurve) float64 {
	if p.Kind == spin.Rest {
		return 0
	}
	return curve.At(p.SpeedRadPerS) - curve.DryNm(p.SpeedRadPerS)
}

// loadSlope is its slope over speed, N·m·s.
func loadSlope(p spin.Plateau, curve *spin.LoadCurve) float64 {
	if p.Kind == spin.Rest {
		return 0
	}
	const h = 1e-3
	faster, slower := p, p
	faster.SpeedRadPerS, slower.SpeedRadPerS = (1+h)*p.SpeedRadPerS, (1-h)*p.SpeedRadPerS
	return (loadOn(faster, curve) - loadOn(slower, curve)) / (2 * h * p.SpeedRadPerS)
}

// solve finds c, the first coefficient. A zero that walks makes neighbouring levels err together: how fast it does is read from what the moves
// scatter by beyond their noise, and the levels' covariance is that of a random walk; not where walks is false.
func (e creepEquations) solve(walks bool) (numeric.Solution, error) {
	n := len(e)
	// Columns of nothing but zeros, such as the drift of a recording without moves, are left out.
	used := []int{0}
	for j := 1; j < len(e[0].columns); j++ {
		if slices.ContainsFunc(e, func(r creepRow) bool { return r.columns[j] != 0 }) {
			used = append(used, j)
		}
	}
	a, y := numeric.NewMatrix(n, len(used)), make([]float64, n)
	for i, r := range e {
		y[i] = r.y
		for k, j := range used {
			a.Set(i, k, r.columns[j])
		}
	}
	sol, err := numeric.Generalised(a, y, e.covariance(0))
	if err != nil || !walks {
		return sol, err
	}
	// The square of a normal deviate is as often below 0.455 as above (median of χ² with one degree of freedom).
	const median = 0.455
	var speeds []float64
	for i, r := range e {
		if r.apart > 0 {
			speeds = append(speeds, (float64(sol.Residual[i]*sol.Residual[i])/median-r.v)/r.apart)
		}
	}
	if len(speeds) == 0 {
		return sol, nil
	}
	walk := numeric.Median(speeds)
	if !(walk > 0) {
		return sol, nil
	}
	return numeric.Generalised(a, y, e.covariance(walk))
}

// covariance is that of noise and of a walk of the zero by so many N²m²/s.
func (e creepEquations) covariance(walk float64) numeric.Matrix {
	cov := numeric.NewMatrix(len(e), len(e))
	for i, r := range e {
		cov.Set(i, i, r.v+float64(walk*r.apart))
		if r.apart > 0 {
			continue
		}
		// Means stand first: all rows up to this one are means.
		for j, o := range e[:i+1] {
			c := cov.At(i, j) + float64(walk*(math.Min(r.t, o.t)-e[0].t))
			cov.Set(i, j, c)
			cov.Set(j, i, c)
		}
	}
	return cov
}
