package numeric

import "math"

const (
	spikeSigma = 10
	spikeReach = 15
)

// Spikes are the indices of values that stand off their two neighbours' mean by more than least and by ten robust standard
// deviations of what the fifteen values on either side stand off theirs. A decaying oscillation of whatever size is none:
// its neighbourhood swings as it does. Of a spike two values wide, and of a step there and back, each edge counts once.
func Spikes(x []float64, least float64) []int {
	off := func(i int) float64 { return x[i] - (x[i-1]+x[i+1])/2 }
	var out []int
	var near []float64
	for i := 1; i+1 < len(x); i++ {
		size := math.Abs(off(i))
		if !(size > least) || i > 1 && size <= math.Abs(off(i-1)) || i+2 < len(x) && size < math.Abs(off(i+1)) {
			continue
		}
		near = near[:0]
		for k := max(1, i-spikeReach); k <= min(len(x)-2, i+spikeReach); k++ {
			// Its neighbours stand off because of it.
			if k < i-2 || k > i+2 {
				near = append(near, off(k))
			}
		}
		if len(near) > spikeReach/2 && size > spikeSigma*MAD(near) {
			out = append(out, i)
		}
	}
	return out
}
