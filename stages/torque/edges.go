package torque

import "math"

// reading is one of the last whole period: the sample that has it, the sample before, the
// period, s, and whether it differs from the reading before.
type reading struct {
	at, before, period float64
	changed            bool
}

// window is when the edge that ended the period can have come: since the sample before, and not so long ago
// that another would have followed.
func (f reading) window() (from, to float64) { return math.Max(f.before, f.at-f.period), f.at }

const (
	// starts are the dates of the first edge that are tried.
	starts = 48
	// strayed is the mean distance from the windows, as a share of their width, from which the readings are
	// not taken for whole periods.
	strayed = 0.02
	// loose is the share of a mean window from which the first edge is not known well enough to be followed: where
	// all periods are shorter than the sampling interval, the samples hardly tell it.
	loose = 0.25
)

// edges dates the edges that ended the periods. Edges follow each other by the periods
// themselves, so that all dates hang on the first one; the samples, between which each must
// have come, tell it. Periods that no sample shows, where they are shorter than the sampling
// interval, are taken between their neighbours. A reading that only repeats the one before has no
// date, NaN; one that is equal to it by chance has. The first one must not repeat. unsure is the range of the first edge that the samples
// allow; ok is false where no first edge suits the readings, which are then not whole periods, or too many do.
func edges(f []reading) (at []float64, unsure float64, ok bool) {
	if len(f) < 3 {
		return nil, 0, false
	}
	from, to := f[0].window()
	step := (to - from) / starts
	var strays [starts]float64
	// Of those that stray no more than the best by a timer's step a reading, the middle.
	const timerS = 1e-6
	best := math.Inf(1)
	at = make([]float64, len(f))
	for k := range strays {
		strays[k] = follow(f, from+(float64(k)+0.5)*step, best+timerS, at)
		best = math.Min(best, strays[k])
	}
	width, changes := 0.0, 0.0
	for _, x := range f {
		if lo, hi := x.window(); x.changed {
			width, changes = width+hi-lo, changes+1
		}
	}
	if best > strayed*width {
		return nil, 0, false
	}
	sum, n := 0.0, 0.0
	for k, s := range strays {
		if s <= best+timerS {
			sum, n = sum+from+(float64(k)+0.5)*step, n+1
		}
	}
	unsure = n * step
	if unsure > loose*width/changes {
		return nil, 0, false
	}
	follow(f, sum/n, math.Inf(1), at)
	return at, unsure, true
}

// follow dates all edges from the first one and gives how far they strayed from their windows in
// all; one that does is put at the window's end. Once they strayed more than enough it gives up.
func follow(f []reading, first, enough float64, at []float64) (strays float64) {
	at[0] = first
	k := 0
	for j := 1; j < len(f); j++ {
		at[j] = math.NaN()
		lo, hi := f[j].window()
		sampling := f[j].at - f[j].before
		if !f[j].changed && f[j].period >= sampling {
			continue
		}
		mean := (f[k].period + f[j].period) / 2
		n := math.Max(1, math.Round(((lo+hi)/2-at[k])/mean))
		// Where a sample falls into every period, one that is not seen is equal to the one before
		// it; where none may, they went evenly from the one before to this one.
		shown := math.Min(f[k].period, f[j].period) >= sampling
		found, off, unseen := 0.0, math.Inf(1), 0.0
		for m := math.Max(1, n-1); m <= n+1; m++ {
			e := at[k] + (m-1)*f[k].period + f[j].period
			if !shown {
				e = at[k] + m*f[k].period + (f[j].period-f[k].period)*(m+1)/2
			}
			if d := math.Max(e-hi, lo-e); d < off {
				found, off, unseen = e, d, m-1
			}
		}
		if off > 0 {
			if strays += off; strays > enough {
				return strays
			}
			found = math.Min(math.Max(found, lo), hi)
		}
		at[j] = found
		for i, next := k+1, 1.0; shown && i < j && next <= unseen; i++ {
			if d := at[k] + next*f[k].period; d <= f[i].at {
				at[i], next = d, next+1
			}
		}
		k = j
	}
	return strays
}
