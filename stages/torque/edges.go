package torque

import "math"

// fresh is a reading of the last whole period: the first sample that has it, the sample before,
// and the period, s.
type fresh struct{ at, before, period float64 }

// window is when the edge that ended the period can have come: since the sample before, and not so long ago
// that another would have followed.
func (f fresh) window() (from, to float64) { return math.Max(f.before, f.at-f.period), f.at }

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
// interval, are taken between their neighbours. unsure is the range of the first edge that the samples
// allow; ok is false where no first edge suits the readings, which are then not whole periods, or too many do.
func edges(f []fresh) (at []float64, unsure float64, ok bool) {
	if len(f) < 3 {
		return nil, 0, false
	}
	from, to := f[0].window()
	step := (to - from) / starts
	var strays [starts]float64
	best := math.Inf(1)
	at = make([]float64, len(f))
	for k := range strays {
		strays[k] = follow(f, from+(float64(k)+0.5)*step, at)
		best = math.Min(best, strays[k])
	}
	width := 0.0
	for _, x := range f {
		lo, hi := x.window()
		width += hi - lo
	}
	if best > strayed*width {
		return nil, 0, false
	}
	// Of those that stray no more than the best by a timer's step a reading, the middle.
	const timerS = 1e-6
	sum, n := 0.0, 0.0
	for k, s := range strays {
		if s <= best+timerS {
			sum, n = sum+from+(float64(k)+0.5)*step, n+1
		}
	}
	unsure = n * step
	if unsure > loose*width/float64(len(f)) {
		return nil, 0, false
	}
	follow(f, sum/n, at)
	return at, unsure, true
}

// follow dates all edges from the first one and gives how far they strayed from their windows in
// all; one that does is put at the window's end.
func follow(f []fresh, first float64, at []float64) (strays float64) {
	at[0] = first
	for j := 1; j < len(f); j++ {
		lo, hi := f[j].window()
		mean := (f[j-1].period + f[j].period) / 2
		n := math.Max(1, math.Round(((lo+hi)/2-at[j-1])/mean))
		found, off := 0.0, math.Inf(1)
		for m := math.Max(1, n-1); m <= n+1; m++ {
			// m periods, evenly from the one before to this one.
			e := at[j-1] + m*f[j-1].period + (f[j].period-f[j-1].period)*(m+1)/2
			if d := math.Max(e-hi, lo-e); d < off {
				found, off = e, d
			}
		}
		if off > 0 {
			strays += off
			found = math.Min(math.Max(found, lo), hi)
		}
		at[j] = found
	}
	return strays
}
