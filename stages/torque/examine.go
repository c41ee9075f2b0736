package torque

import (
	"fmt"
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// Method changes whenever this stage's numbers can.
const Method = "torque/9"

// Input is one recording with the load curve of its rotor.
type Input struct {
	Recording spin.Recording `json:"recording"`
	// Curve is nil when the rotor's load could not be told.
	Curve *spin.LoadCurve `json:"curve,omitempty"`
}

// Options of the stage.
type Options struct {
	// LagRangeS bounds the search on either side.
	LagRangeS float64 `json:"lag_range_s"`
	// Bins of speed in a run's and a sweep's torque curve.
	Bins int `json:"bins"`
	// SameDuty and SameSupplyRel say when two conditions are one.
	SameDuty      float64 `json:"same_duty"`
	SameSupplyRel float64 `json:"same_supply_rel"`
	// SweepLimitRel is the deficit from which a sweep is no source.
	SweepLimitRel float64 `json:"sweep_limit_rel"`
}

// DefaultOptions are the documented defaults: logger and filter delays up to
// 8 ms are met in practice (common practice, no source); duty is not voltage,
// so that a curve serves no other supply; a sweep 1 % low moves an inertia by
// as much.
func DefaultOptions() Options {
	return Options{LagRangeS: 0.012, Bins: 12, SameDuty: 0.005, SameSupplyRel: 0.01, SweepLimitRel: 0.01}
}

// Examine reduces one recording to evidence. Recording.Samples must be set;
// nothing of it is changed or kept.
func Examine(in Input, opt Options) (spin.Evidence, error) {
	r := &in.Recording
	if r.Samples == nil {
		return spin.Evidence{}, fmt.Errorf("torque: recording %s has no samples", r.Declared.ID())
	}
	e := spin.Evidence{
		Recording: r.Declared.ID(), Kind: r.Declared.Kind, Rotor: r.Declared.Rotor.ID,
		Mounting: r.Declared.Mounting, Session: r.Declared.Session,
		Recorded: r.Samples.TorqueNm != nil && r.Declared.TorqueUsable, Demanded: r.Declared.Source,
		Scale: r.TorqueScale,
	}
	if r.Samples.TorqueNm == nil {
		// Other sources may serve a run whose own torque is not to be used.
		for _, run := range r.Runs {
			if run.A >= 0 && run.B >= 0 && r.Declared.Kind == spin.Step {
				x := spin.RunEvidence{Run: run.ID, Duty: run.Duty, SupplyV: run.SupplyV, LoadRel: 1}
				rise(&x, r, run, balance.OfRun(r, run))
				x.Idle, _ = r.Plateau(run.A)
				times(&x, r, run)
				e.Runs = append(e.Runs, x)
			}
		}
		return e, nil
	}
	switch r.Declared.Kind {
	case spin.Step:
		for _, run := range r.Runs {
			if run.A < 0 || run.B < 0 {
				continue
			}
			e.Runs = append(e.Runs, examineRun(r, run, in.Curve, opt))
		}
	case spin.Sweep:
		e.Sweep = examineSweep(r, in.Curve, opt)
	case spin.Coast:
		for _, run := range r.Runs {
			if run.B >= 0 {
				e.Fall = append(e.Fall, fall(r, run, balance.OfRun(r, run))...)
			}
		}
	}
	e.Thrust = thrusts(r)
	e.Levels = levels(r, in.Curve)
	return e, nil
}

func examineRun(r *spin.Recording, run spin.Run, curve *spin.LoadCurve, opt Options) spin.RunEvidence {
	v := balance.OfRun(r, run)
	e := spin.RunEvidence{Run: run.ID, Duty: run.Duty, SupplyV: run.SupplyV}
	e.LagS, e.LagU, e.LagFound = findLag(r, run, v, balance.Loads(v, curve), opt)
	e.LoadRel = loadShare(r, run, v, curve)
	e.Passing = passing(r, run, v, curve)
	e.Bins = runBins(r, run, v, curve, e.LagS, opt)
	rise(&e, r, run, v)
	e.Idle, _ = r.Plateau(run.A)
	times(&e, r, run)
	return e
}

// times are those between a run's plateaus.
func times(e *spin.RunEvidence, r *spin.Recording, run spin.Run) {
	e.BeginS, e.SettledS, e.EndS = r.Segments[run.A].ToS, r.Segments[run.B].FromS, r.Segments[run.B].ToS
	if run.C >= 0 {
		e.BackS = r.Segments[run.C].FromS
	}
}

// findLag looks for the lag in two steps. The best overlap of speed and torque
// integral over the run finds it wherever it is; but a ringing fixture draws the
// overlap to its first swings (+0.3 ms at 80 Hz where its delay is 0.2 ms), and
// what moves an inertia is the delay of the torque's centre. So the
// passages' first moments decide, where they come to an answer nearby.
func findLag(r *spin.Recording, run spin.Run, v *balance.View, l []float64, opt Options) (tau, u float64, found bool) {
	tau, u, found = overlap(r, run, v, l, opt)
	if !found {
		return 0, 0, false
	}
	seg := r.Segments
	a, b := before(seg[run.A]), after(seg[run.B])
	passages := []balance.Test{{From: a, To: b, Passage: true}}
	if run.C >= 0 {
		passages = append(passages, balance.Test{From: before(seg[run.B]), To: after(seg[run.C]), Passage: true})
	}
	if c, uc, ok := v.Centre(passages, tau, momentReachS, v.TorqueNoise(a, b), l); ok {
		return c, uc, true
	}
	return tau, u, true
}

const (
	// momentWindowS of a plateau on either side of a transient: long enough to
	// average a fixture's ringing, short enough that noise far from the
	// transient, which counts with its distance from it, does not speak.
	momentWindowS = 0.15
	// momentReachS is how far first moments may move the lag that the overlap
	// found: a fixture of 80 Hz moves it by 0.3 ms.
	momentReachS = 2e-3
)

func before(s spin.Segment) balance.Window {
	return balance.Window{From: math.Max(s.FromS, s.ToS-momentWindowS), To: s.ToS}
}

func after(s spin.Segment) balance.Window {
	return balance.Window{From: s.FromS, To: math.Min(s.ToS, s.FromS+momentWindowS)}
}

// overlap minimises the misfit of the speed over the run. Its uncertainty is
// from the curvature with the misfit's own mean square as noise, times two for
// its correlation; it ranks runs, the pooled lag rests on their scatter.
func overlap(r *spin.Recording, run spin.Run, v *balance.View, l []float64, opt Options) (tau, u float64, found bool) {
	// Half a second of plateau on each side holds zero and drift; more would
	// let slow creep speak.
	a, b := r.Segments[run.A], r.Segments[run.B]
	from := math.Max(a.FromS, a.ToS-0.5)
	to := math.Min(b.ToS, b.FromS+0.5)
	if run.C >= 0 {
		c := r.Segments[run.C]
		to = math.Min(c.ToS, c.FromS+0.3)
	}
	s := v.NewLagSearch(from, to, l, run.C >= 0)
	reach := opt.LagRangeS
	grid := int(math.Ceil(2*reach/0.0005)) + 1
	tau, edge := numeric.Minimise(s.Misfit, -reach, reach, grid, 1e-7)
	if edge {
		return 0, 0, false
	}
	h := math.Max(r.StepS/2, 2e-4)
	best, lo, hi := s.Misfit(tau), s.Misfit(tau-h), s.Misfit(tau+h)
	curvature := (lo - 2*best + hi) / (h * h)
	if !(curvature > 0) {
		return 0, 0, false
	}
	n := (to - from) / r.StepS
	return tau, 2 * math.Sqrt(2*best/n/curvature), true
}

// loadShare is the load's rise over the step by the mean torque of the rise: how
// much of what the sensor sees has another course than the acceleration.
func loadShare(r *spin.Recording, run spin.Run, v *balance.View, curve *spin.LoadCurve) float64 {
	if curve == nil {
		return 1
	}
	a, b := r.Segments[run.A], r.Segments[run.B]
	wa, wb := balance.Window{From: a.FromS, To: a.ToS}, balance.Window{From: b.FromS, To: b.ToS}
	e := v.Integrate(balance.Test{From: before(a), To: after(b), Passage: true}, 0, 0, make([]float64, v.Len()))
	impulse := e.Y - v.MeanTorque(wa, 0)*e.Zero
	if impulse <= 0 {
		return 1
	}
	return (curve.At(v.MeanSpeed(wb)) - curve.At(v.MeanSpeed(wa))) * run.RiseS / impulse
}

// binned averages y over equal steps of x between lo and hi; bins with fewer
// than three samples are left out.
func binned(x, y, cur []float64, lo, hi float64, n int) []spin.Bin {
	if !(hi > lo) || n < 1 {
		return nil
	}
	byBin := make([][]int, n)
	for i, v := range x {
		k := int(math.Floor((v - lo) / (hi - lo) * float64(n)))
		if k >= 0 && k < n {
			byBin[k] = append(byBin[k], i)
		}
	}
	var out []spin.Bin
	for _, idx := range byBin {
		if len(idx) < 3 {
			continue
		}
		xs, ys := pickAt(x, idx), pickAt(y, idx)
		b := spin.Bin{SpeedRadPerS: numeric.Mean(xs), TorqueNm: numeric.Mean(ys), N: len(idx)}
		b.SE = math.Sqrt(numeric.Variance(numeric.Detrended(ys)) / float64(len(ys)))
		if cur != nil {
			b.CurrentA = numeric.Mean(pickAt(cur, idx))
		}
		out = append(out, b)
	}
	return out
}

func pickAt(x []float64, idx []int) []float64 {
	out := make([]float64, len(idx))
	for k, i := range idx {
		out[k] = x[i]
	}
	return out
}

// levels are the settled points of a recording with torque less zero. The
// zero is the mean of what the load curve leaves over all plateaus.
func levels(r *spin.Recording, curve *spin.LoadCurve) []spin.OperatingPoint {
	if curve == nil || r.Samples.CurrentA == nil || r.Samples.Duty == nil || r.Samples.VoltageV == nil {
		return nil
	}
	// A sweep's only plateau is its unloaded end; a run-down's has no current.
	if r.Declared.Kind != spin.Steady && r.Declared.Kind != spin.Step {
		return nil
	}
	var zeros []float64
	for _, p := range r.Plateaus {
		zeros = append(zeros, p.TorqueNm-curve.At(p.SpeedRadPerS))
	}
	if len(zeros) == 0 {
		return nil
	}
	zero := numeric.Mean(zeros)
	var out []spin.OperatingPoint
	for _, p := range r.Plateaus {
		if p.Kind == spin.Rest || p.Duty < 0.05 {
			continue
		}
		out = append(out, spin.OperatingPoint{
			SpeedRadPerS: p.SpeedRadPerS, TorqueNm: p.TorqueNm - zero,
			PhaseA: p.CurrentA / p.Duty, DriveV: p.Duty * p.VoltageV, SE: p.TorqueU(),
		})
	}
	return out
}
