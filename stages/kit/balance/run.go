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
	from, to := r.Samples.Len(), 0
	for _, i := range []int{run.A, run.B, run.C} {
		if i >= 0 {
			from, to = min(from, r.Segments[i].From), max(to, r.Segments[i].To)
		}
	}
	pad := int(math.Ceil(marginS / r.StepS))
	return NewView(r.Samples, max(0, from-pad), min(r.Samples.Len(), to+pad), edges(r))
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
