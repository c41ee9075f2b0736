// Package ringing finds the frequency at which a bench's fixture rings after steps.
package ringing

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

const (
	// ringLowHz: fixtures of such benches ring above 30 Hz; what is slower is the transient itself.
	ringLowHz = 30.0
	// ringStretchS after the throttle moves holds a few decay times of a fixture
	// with a damping ratio of one per cent and more at 80 Hz.
	ringStretchS = 0.25
	// ringSigma: a peak stands out when its power is this many times the median
	// of the band; noise reaches 10 in a thousand bins (exponential law of a periodogram's powers).
	ringSigma = 25.0
)

// Find is the frequency in Hz at which the torque rings after steps, and
// whether one stands out. Powers of all steps are added; a torque that rings above half the
// sampling rate shows at its alias.
func Find(r *spin.Recording) (float64, bool) {
	n := int(ringStretchS / r.StepS)
	if n < 64 {
		return 0, false
	}
	fft := fourier.NewFFT(n)
	power := make([]float64, n/2+1)
	used := 0
	for _, run := range r.Runs {
		if run.Kind != spin.Step || run.A < 0 || run.B < 0 {
			continue
		}
		// From where the speed leaves idle: the end of A, before trimming.
		from := r.Segments[run.A].To
		if from+n > r.Samples.Len() {
			continue
		}
		for i, c := range fft.Coefficients(nil, windowed(r.Samples.TorqueNm[from:from+n], r.StepS)) {
			power[i] += cmplx.Abs(c) * cmplx.Abs(c)
		}
		used++
	}
	if used == 0 {
		return 0, false
	}
	low := int(math.Ceil(ringLowHz * float64(n) * r.StepS))
	if low+16 > len(power) {
		return 0, false
	}
	band := power[low:]
	best := 0
	for i := range band {
		if band[i] > band[best] {
			best = i
		}
	}
	median := numeric.Median(append([]float64(nil), band...))
	if best == 0 || best == len(band)-1 || !(band[best] > ringSigma*median) {
		return 0, false
	}
	return float64(low+best) / (float64(n) * r.StepS), true
}

// windowed takes the slow course off (a running mean over 1/ringLowHz) and
// applies a Hann window.
func windowed(x []float64, step float64) []float64 {
	w := max(1, int(1/(ringLowHz*step)))
	sums := make([]float64, len(x)+1)
	for i, v := range x {
		sums[i+1] = sums[i] + v
	}
	out := make([]float64, len(x))
	for i, v := range x {
		a, b := max(0, i-w/2), min(len(x), i+w/2+1)
		hann := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x)-1))
		out[i] = hann * (v - (sums[b]-sums[a])/float64(b-a))
	}
	return out
}
