package balance

import (
	"math"

	"spinledger/stages/kit/spin"
)

// marginS is kept on both sides of a run so that the torque can be shifted
// against the speed by any lag that is searched for.
const marginS = 0.020

// OfRun is the view of the samples that a run's balances read: its plateaus,
// what lies between, and a margin for the lag. For a coast B is the run-down
// itself and C the rest after it.
func OfRun(r *spin.Recording, run spin.Run) *View {
	from, to := samplesOf(r, run)
	return NewView(r.Samples, from, to, edges(r))
}

// samplesOf is the half-open range of samples in OfRun's view.
func samplesOf(r *spin.Recording, run spin.Run) (from, to int) {
	from, to = r.Samples.Len(), 0
	for _, i := range []int{run.A, run.B, run.C} {
		if i >= 0 {
			from, to = min(from, r.Segments[i].From), max(to, r.Segments[i].To)
		}
	}
	pad := int(math.Ceil(marginS / r.StepS))
	return max(0, from-pad), min(r.Samples.Len(), to+pad)
}

// aheadRad of rotation before a view, what followed the speed from there with a
// lag of 12 rad has forgotten how it began, to 0.03 %.
const aheadRad = 100

// Following is v, rad/s, at each speed sample of OfRun's view: the solution of
// dv/dθ = (ω − v)/c along the recorded speed, c in radians of rotation. It
// begins settled, aheadRad before the view or at the recording's first sample.
func Following(r *spin.Recording, run spin.Run, c float64) []float64 {
	from, to := samplesOf(r, run)
	t, w := r.Samples.TimeS, r.Samples.SpeedRadPerS
	first := from
	for turned := 0.0; first > 0 && turned < aheadRad; first-- {
		turned += math.Max(0, w[first]) * (t[first] - t[first-1])
	}
	out := make([]float64, 0, to-from)
	v := w[first]
	for i := first; i < to; i++ {
		if i > first {
			mean := (w[i] + w[i-1]) / 2
			v += (mean - v) * -math.Expm1(-math.Max(0, mean)*(t[i]-t[i-1])/c)
		}
		if i >= from {
			out = append(out, v)
		}
	}
	return out
}

// edges is the number of period edges in a turn by which speed readings are
// dated, 0 when they are instantaneous or their timing is unknown.
func edges(r *spin.Recording) float64 {
	if r.SpeedTiming == "period" {
		return r.EdgesPerTurn
	}
	return 0
}

// Loads is L in N·m at each speed sample of a view; zeros without a curve.
func Loads(v *View, curve *spin.LoadCurve) []float64 {
	l := make([]float64, v.Len())
	if curve == nil {
		return l
	}
	for i, w := range v.SpeedRadPerS {
		l[i] = curve.At(w)
	}
	return l
}
