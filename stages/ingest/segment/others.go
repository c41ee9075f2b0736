package segment

import (
	"fmt"
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// Levels of a staircase: longer than a step's plateaus because their mean
// torque is used without a momentum balance.
const (
	levelWindowS = 0.15
	levelShare   = 0.008
	minLevelS    = 0.30
	// levelTrim of each level is dropped at its start: the speed still creeps there.
	levelTrim = 0.35
)

// staircase finds settled levels and rests.
func (f *finder) staircase() {
	tol := math.Max(levelShare*f.span, 6*f.noise)
	for _, fl := range f.flats(levelWindowS, tol, minLevelS) {
		kind := spin.Level
		if f.isRest(fl.level) {
			kind = spin.Rest
		}
		from := fl.from + int(levelTrim*float64(fl.to-fl.from))
		// Smoothing reaches half its width into the next change.
		to := fl.to - int(math.Ceil(smoothS/f.step))
		if to-from >= 8 {
			f.add(kind, from, to, true)
		}
	}
	if len(f.out.Plateaus) == 0 {
		f.refuse("no-plateau", "no settled level found in a steady recording", 0, 0)
	}
}

// sweep finds the unloaded stretch at either end, loading and unloading.
func (f *finder) sweep() {
	// One second of smoothing: a sweep takes seconds, and its turning point is wanted, not its ripple.
	slow := boxcar(f.smooth, max(1, int(1/f.step)))
	top, bottom := f.turningPoint(slow)
	if drop := slow[top] - slow[bottom]; drop < minStepShare*f.top {
		f.refuse("no-sweep", fmt.Sprintf("the speed falls by %.4g rad/s of %.4g: no load was swept", drop, f.top), 0, 0)
		return
	}
	from := f.leaves(slow, top, bottom)
	if from-top > 8 || top > 8 {
		f.add(spin.Idle, f.started(slow, top), max(from, f.started(slow, top)+1), true)
	}
	f.add(spin.Loading, from, bottom+1, false)
	end := f.returns(slow, bottom)
	if slow[end-1]-slow[bottom] > 0.3*(slow[top]-slow[bottom]) && end-bottom > 16 {
		f.add(spin.Unloading, bottom, end, false)
		if last := f.runsOn(slow, end); last-end > 8 {
			f.add(spin.Idle, end, last, true)
		}
	}
}

// started is the first sample at which the speed is within 2 % of the top.
func (f *finder) started(slow []float64, top int) int {
	i := top
	for i > 0 && slow[i-1] > 0.98*slow[top] {
		i--
	}
	return i
}

// leaves is the last sample, going on from top, within 1 % of it.
func (f *finder) leaves(slow []float64, top, bottom int) int {
	for i := bottom; i > top; i-- {
		if slow[i] > 0.99*slow[top] {
			return i
		}
	}
	return top
}

// returns is the end of the climb after bottom: the first sample within 1 % of
// the highest speed reached afterwards.
func (f *finder) returns(slow []float64, bottom int) int {
	best := bottom
	for i := bottom; i < len(slow); i++ {
		if slow[i] > slow[best] {
			best = i
		}
	}
	for i := bottom; i < best; i++ {
		if slow[i] > slow[bottom]+0.99*(slow[best]-slow[bottom]) {
			return i + 1
		}
	}
	return best + 1
}

// runsOn is the end of the stretch after end that stays within 2 % of its speed.
func (f *finder) runsOn(slow []float64, end int) int {
	i := end
	for i < len(slow) && math.Abs(slow[i]-slow[end-1]) < 0.02*slow[end-1] {
		i++
	}
	return i
}

// turningPoint is the fastest sample before the loading and the slowest at its
// end. With a return the slowest lies between the first and the last time near
// top speed, and the motor may run faster after it than before. Without one it is
// where the loading ends: a closed throttle then lets the speed collapse at
// several times the rate at which it was swept.
func (f *finder) turningPoint(slow []float64) (top, bottom int) {
	top = argmax(slow, 0, len(slow))
	first, last := 0, top
	for first < top && slow[first] <= 0.9*slow[top] {
		first++
	}
	for i := top; i < len(slow); i++ {
		if slow[i] > 0.9*slow[top] {
			last = i
		}
	}
	bottom = first
	for i := first; i <= last; i++ {
		if slow[i] < slow[bottom] {
			bottom = i
		}
	}
	// A slight load: the speed returns all the same.
	slight := func(drop float64) bool { return drop > minStepShare*slow[top] && slow[last]-slow[bottom] > drop/2 }
	if drop := slow[top] - slow[bottom]; drop > 0.15*slow[top] || slight(drop) {
		return argmax(slow, first, bottom+1), bottom
	}
	bottom = top
	w := max(1, int(0.25/f.step))
	var rates []float64
	for i := last; i+w < len(slow); i += w {
		rate := (slow[i] - slow[i+w]) / slow[top]
		if len(rates) >= 4 && rate > 4*numeric.Median(rates) {
			break
		}
		if slow[i+w] < slow[bottom] {
			bottom = i + w
		}
		rates = append(rates, rate)
	}
	return top, bottom
}

// argmax is the first index of the largest value from ≤ i < to.
func argmax(x []float64, from, to int) int {
	best := from
	for i := from; i < to; i++ {
		if x[i] > x[best] {
			best = i
		}
	}
	return best
}

// Coast limits as shares of the speed at the cut: from full speed to 15 %.
const (
	coastFrom = 0.97
	coastTo   = 0.15
)

// coast finds the plateau before the cut, the run-down, and the rest after it.
func (f *finder) coast() {
	tol := math.Max(flatShare*f.span, 6*f.noise)
	flats := f.flats(flatWindowS, tol, minFlatS)
	high := -1
	for i, fl := range flats {
		if fl.level > 0.8*f.top {
			high = i
		}
	}
	if high < 0 {
		f.refuse("no-plateau", "no settled speed before the run-down", 0, 0)
		return
	}
	cut := flats[high]
	from := f.falls(cut.to-1, coastFrom*cut.level)
	to := f.falls(from, coastTo*cut.level)
	if f.smooth[to] >= coastTo*cut.level || to-from < 16 {
		f.refuse("no-run-down", fmt.Sprintf("the speed does not fall from %.4g to %.4g rad/s inside the recording", coastFrom*cut.level, coastTo*cut.level), 0, 0)
		return
	}
	// The plateau ends where the speed is still whole: a smoothing length and 20 ms before it leaves.
	end := f.index(f.s.TimeS[f.falls(max(cut.from, cut.to-int(0.3/f.step)), 0.995*cut.level)] - 0.030)
	run := spin.Run{ID: f.d.Name + "#1", Kind: spin.Coast, A: -1, B: -1, C: -1}
	if end-cut.from >= 8 {
		run.A = f.add(spin.Settled, cut.from, end, true)
	}
	run.B = f.add(spin.RunDown, from, to, false)
	run.RiseS = f.s.TimeS[to] - f.s.TimeS[from]
	run.SamplesInRise = run.RiseS / f.step
	for _, fl := range flats[high+1:] {
		if f.isRest(fl.level) {
			// A quarter of a second for the fixture to come to rest with the rotor.
			at := f.index(f.s.TimeS[fl.from] + 0.25)
			if fl.to-at >= 8 {
				run.C = f.add(spin.Rest, at, fl.to, true)
			}
		}
	}
	run.SupplyV = f.d.SupplyV
	f.out.Runs = append(f.out.Runs, run)
	if run.C < 0 {
		f.refuse("no-rest", "no standstill of at least 0.1 s after the run-down: the torque zero cannot be told", 0, 0)
	}
}

// falls is the first sample from i on with a smoothed speed below level.
func (f *finder) falls(i int, level float64) int {
	for i < len(f.smooth) && f.smooth[i] >= level {
		i++
	}
	return min(i, len(f.smooth)-1)
}
