package ingest

import (
	"cmp"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// cleanSpeed turns a file's speed channel into the mechanical speed in the declared sense, with
// impossible readings replaced, and notes what the fit must know of it.
func (r *run) cleanSpeed(t *table, k int) {
	c := &t.file.Logger.Channels[k]
	x := t.cols[k]
	divide := 1.0
	switch c.Reading {
	case "electrical":
		divide = float64(r.in.Declared.PolePairs)
		r.rec.EdgesPerTurn = divide
	case "pulses":
		divide = c.PerTurn
		r.rec.EdgesPerTurn = c.PerTurn
	}
	if divide > 0 && divide != 1 {
		for i := range x {
			x[i] /= divide
		}
	}
	r.rec.SpeedTiming = c.Timing
	if r.rec.SpeedTiming == "" {
		r.rec.SpeedTiming = "unknown"
	}
	r.signSpeed(t, c, x)
	r.despike(t, k, x)
	r.rec.HeldS = held(t.time, x, r.rec.EdgesPerTurn)
	if r.rec.HeldS > 0 {
		r.warn("held", "%s is renewed only every %.4g s and held between", t.field(k), r.rec.HeldS)
	}
}

// oneSign: a channel whose values of one sign stay below this share of the
// largest of the other is a magnitude with noise about rest.
const oneSign = 0.05

// signSpeed makes speed positive in the declared sense. A channel of magnitudes
// knows no sense and stays; one with signs is turned over for cw.
func (r *run) signSpeed(t *table, c *spin.Channel, x []float64) {
	lo, hi := r.lowest, r.highest
	for _, v := range x {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	r.lowest, r.highest = lo, hi
	if -lo <= oneSign*hi {
		return
	}
	sign := 1.0
	if c.Sign < 0 {
		sign = -1
	}
	if r.in.Declared.Turns == spin.CW {
		sign = -sign
	}
	switch {
	case hi <= oneSign*-lo && sign > 0:
		r.warn("speed-sign", "the speed is negative throughout where turning %s should read positive; its magnitude is used", r.in.Declared.Turns)
		sign = -1
	case hi > oneSign*-lo:
		r.warn("speed-sign", "the speed changes sign, from %.4g to %.4g rad/s", sign*lo, sign*hi)
	}
	if sign < 0 {
		for i := range x {
			x[i] = -x[i]
		}
	}
}

// despike replaces isolated impossible readings by interpolation. A course that only rises or
// falls over seven readings is its own median, so no step is touched.
func (r *run) despike(t *table, k int, x []float64) {
	bad, n := findSpikes(x, r.opt.SpikeRel, r.opt.SpikeSigma)
	if n == 0 {
		return
	}
	first := slices.Index(bad, true)
	share := float64(n) / float64(len(x))
	if share > r.opt.MaxMissingRel {
		r.refuse("speed-spike", share, r.opt.MaxMissingRel, "%s:%d: %d of %d readings of %s are impossible beside their neighbours (%.1f %%, at most %.0f %%), the first here",
			t.file.Name, t.line(first), n, len(x), t.field(k), 100*share, 100*r.opt.MaxMissingRel)
	} else {
		r.warn("speed-spike", "%s:%d: %d readings of %s are impossible beside their neighbours (missed or doubled edges), the first here; they are interpolated",
			t.file.Name, t.line(first), n, t.field(k))
	}
	interpolateMarked(t.time, x, bad)
}

// half the width of the median's window, and the share of the highest speed below
// which a difference about standstill is no spike.
const (
	halfWindow = 3
	restRel    = 0.02
)

// findSpikes marks readings off the median of their seven by more than rel of it, by sigma
// robust standard deviations of such differences, and by restRel of the top.
func findSpikes(x []float64, rel, sigma float64) (bad []bool, n int) {
	if len(x) < 2*halfWindow+1 {
		return nil, 0
	}
	top := 0.0
	for _, v := range x {
		top = math.Max(top, math.Abs(v))
	}
	floor := math.Max(restRel*top, sigma*residualNoise(x))
	for i := halfWindow; i < len(x)-halfWindow; i++ {
		// Nearly all readings are near both neighbours and need no median.
		if math.Abs(x[i]-x[i-1]) <= floor && math.Abs(x[i]-x[i+1]) <= floor {
			continue
		}
		m := median7(x[i-halfWindow : i+halfWindow+1])
		if math.Abs(x[i]-m) > math.Max(floor, rel*math.Abs(m)) {
			if bad == nil {
				bad = make([]bool, len(x))
			}
			bad[i] = true
			n++
		}
	}
	return bad, n
}

// residualNoise is the robust standard deviation of readings about the median of
// their seven, from at most 8192 of them spread over the recording.
func residualNoise(x []float64) float64 {
	stride := max(1, len(x)>>13)
	var d []float64
	for i := halfWindow; i < len(x)-halfWindow; i += stride {
		d = append(d, x[i]-median7(x[i-halfWindow:i+halfWindow+1]))
	}
	return numeric.MAD(d)
}

func median7(w []float64) float64 {
	var s [2*halfWindow + 1]float64
	copy(s[:], w)
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	return s[halfWindow]
}

// held is the interval in s at which a slower telemetry channel renews the speed, 0
// when every sample is fresh. It looks where the speed changes by clear jumps, so
// that the resolution of a resting reading does not count. A reading that waits
// for the next edge is held too, but for a time that shrinks as the rotor turns
// faster; telemetry keeps its interval at all speeds. edges is the number of edges in a turn, 0
// when unknown.
func held(time, x []float64, edges float64) float64 {
	holds := findHolds(time, x)
	const enough = 5
	if len(holds) < enough {
		return 0
	}
	step := medianInterval(time)
	spans, periods := make([]float64, len(holds)), make([]float64, len(holds))
	for i, h := range holds {
		spans[i] = h.span
		periods[i] = 2 * math.Pi / (math.Max(edges, 1) * h.speed)
	}
	median := numeric.Median(spans)
	if median < 1.8*step || (edges > 0 && median < 1.5*numeric.Median(periods)) || waitsForEdges(holds) {
		return 0
	}
	same := 0
	for _, s := range spans {
		if math.Abs(s-median) <= 1.1*step {
			same++
		}
	}
	if float64(same) < 0.8*float64(len(spans)) {
		return 0
	}
	return median
}

// hold is a stretch of one reading, its length in s and the reading.
type hold struct{ span, speed float64 }

// findHolds lists the holds that end in a clear jump: five steps of resolution and 0.4 %
// of the top speed. The first one is left out, since it began before the recording.
func findHolds(time, x []float64) []hold {
	top, lsb := 0.0, math.Inf(1)
	for i, v := range x {
		top = math.Max(top, math.Abs(v))
		if i > 0 && v != x[i-1] {
			lsb = math.Min(lsb, math.Abs(v-x[i-1]))
		}
	}
	jump := math.Max(5*lsb, 0.004*top)
	var out []hold
	last := 0
	for i := 1; i < len(x); i++ {
		if x[i] == x[i-1] {
			continue
		}
		if last > 0 && math.Abs(x[i]-x[i-1]) >= jump && x[last] > 0 {
			out = append(out, hold{time[i] - time[last], x[last]})
		}
		last = i
	}
	return out
}

// waitsForEdges tells whether holds shrink with speed: the mean hold of the
// slowest third over that of the fastest is nearer to the inverse ratio of
// their speeds than to 1. Where speeds hardly differ it cannot tell and says no.
func waitsForEdges(holds []hold) bool {
	sorted := slices.Clone(holds)
	slices.SortStableFunc(sorted, func(a, b hold) int { return cmp.Compare(a.speed, b.speed) })
	third := max(1, len(sorted)/3)
	mean := func(h []hold) (span, speed float64) {
		for _, v := range h {
			span += v.span / float64(len(h))
			speed += v.speed / float64(len(h))
		}
		return span, speed
	}
	slowSpan, slow := mean(sorted[:third])
	fastSpan, fast := mean(sorted[len(sorted)-third:])
	return fast > 1.2*slow && slowSpan/fastSpan > math.Sqrt(fast/slow)
}

// speed hands on what cleanSpeed made.
func (r *run) speed(m *merged) { r.rec.Samples.SpeedRadPerS = m.take("speed") }
