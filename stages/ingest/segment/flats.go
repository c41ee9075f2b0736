package segment

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// flat is a stretch of constant speed, samples from ≤ i < to.
type flat struct {
	from, to int
	level    float64 // median smoothed speed, rad/s
}

// prepare smooths the speed and measures span, top and noise.
func (f *finder) prepare() {
	n := f.s.Len()
	gaps := make([]float64, n-1)
	for i := range gaps {
		gaps[i] = f.s.TimeS[i+1] - f.s.TimeS[i]
	}
	f.step = numeric.Median(gaps)
	f.smooth = boxcar(median5(f.s.SpeedRadPerS), max(1, int(math.Round(smoothS/f.step))))
	lo, hi := numeric.Quantile(f.smooth, 0.02), numeric.Quantile(f.smooth, 0.98)
	g := &f.out.Range
	f.top = math.Max(hi, g.TopRadPerS)
	f.span = math.Max(math.Max(hi-lo, g.SpanRadPerS), g.SpanShare*f.top)
	g.SpanRadPerS, g.TopRadPerS = f.span, f.top
	// Noise about the course: second differences over a smoothing length,
	// whose variance is 6σ² for independent errors; most samples lie on plateaus.
	k := max(1, int(math.Round(smoothS/f.step)))
	d := make([]float64, 0, n)
	for i := k; i+k < n; i++ {
		d = append(d, f.smooth[i-k]-2*f.smooth[i]+f.smooth[i+k])
	}
	if len(d) > 0 {
		f.noise = numeric.MAD(d) / math.Sqrt(6)
	}
}

// flats finds stretches of at least minS whose smoothed speed keeps within tol
// over every window of windowS.
func (f *finder) flats(windowS, tol, minS float64) []flat {
	n := len(f.smooth)
	w := max(3, int(math.Round(windowS/f.step)))
	if w >= n {
		return nil
	}
	covered := make([]bool, n)
	ranges := slidingRange(f.smooth, w)
	for i, r := range ranges {
		if r <= tol {
			// Each quiet window marks itself; the overlap of marks is a flat.
			for j := i + w - 1; j >= i && !covered[j]; j-- {
				covered[j] = true
			}
		}
	}
	var out []flat
	for i := 0; i < n; {
		if !covered[i] {
			i++
			continue
		}
		j := i
		for j < n && covered[j] {
			j++
		}
		out = append(out, f.split(i, j, tol, minS)...)
		i = j
	}
	return out
}

// split cuts a covered stretch where its level wanders by more than three
// tolerances: a slow ramp is not one plateau, and belongs to none.
func (f *finder) split(from, to int, tol, minS float64) []flat {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range f.smooth[from:to] {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	if float64(to-from)*f.step < minS {
		return nil
	}
	if hi-lo <= 3*tol {
		return []flat{{from, to, numeric.Median(f.smooth[from:to])}}
	}
	// Keep the ends that are flat on their own: a plateau that leads into a
	// slow change or follows one.
	var out []flat
	if head := f.grow(from, to, 1, tol); float64(head-from)*f.step >= minS {
		out = append(out, flat{from, head, numeric.Median(f.smooth[from:head])})
	}
	tail := f.grow(to-1, from-1, -1, tol) + 1
	if float64(to-tail)*f.step >= minS && (len(out) == 0 || tail >= out[0].to) {
		out = append(out, flat{tail, to, numeric.Median(f.smooth[tail:to])})
	}
	return out
}

// grow walks from i towards end while the range stays within tol and returns
// the first index outside.
func (f *finder) grow(i, end, dir int, tol float64) int {
	lo, hi := f.smooth[i], f.smooth[i]
	for ; i != end; i += dir {
		lo, hi = math.Min(lo, f.smooth[i]), math.Max(hi, f.smooth[i])
		if hi-lo > tol {
			break
		}
	}
	return i
}

// median5 is the running median of five, ends copied.
func median5(x []float64) []float64 {
	out := append([]float64(nil), x...)
	for i := 2; i+2 < len(x); i++ {
		a, b, c, d, e := x[i-2], x[i-1], x[i], x[i+1], x[i+2]
		// Sorting network of five, keeping the middle.
		if a > b {
			a, b = b, a
		}
		if d > e {
			d, e = e, d
		}
		if a > d {
			a, d, b, e = d, a, e, b
		}
		// a is the smallest of four and cannot be the median; likewise e if it is the largest.
		if b > c {
			b, c = c, b
		}
		if b > d {
			b, d = d, b
			c, e = e, c
		}
		out[i] = math.Min(c, d)
	}
	return out
}

// boxcar is the centred running mean over w samples (odd), shorter at the ends.
func boxcar(x []float64, w int) []float64 {
	h := w / 2
	if h == 0 {
		return x
	}
	sums := make([]float64, len(x)+1)
	for i, v := range x {
		sums[i+1] = sums[i] + v
	}
	out := make([]float64, len(x))
	for i := range x {
		lo, hi := max(0, i-h), min(len(x), i+h+1)
		out[i] = (sums[hi] - sums[lo]) / float64(hi-lo)
	}
	return out
}

// slidingRange is max − min over every window of w samples, by two monotone queues.
func slidingRange(x []float64, w int) []float64 {
	out := make([]float64, len(x)-w+1)
	var low, high []int
	for i, v := range x {
		for len(low) > 0 && x[low[len(low)-1]] >= v {
			low = low[:len(low)-1]
		}
		for len(high) > 0 && x[high[len(high)-1]] <= v {
			high = high[:len(high)-1]
		}
		low, high = append(low, i), append(high, i)
		if low[0] <= i-w {
			low = low[1:]
		}
		if high[0] <= i-w {
			high = high[1:]
		}
		if i >= w-1 {
			out[i-w+1] = x[high[0]] - x[low[0]]
		}
	}
	return out
}

// Summarise is the plateau over one segment: means, standard errors by batch
// means, slope of the speed.
func Summarise(s *series.Samples, seg spin.Segment) spin.Plateau {
	a, b := seg.From, seg.To
	p := spin.Plateau{
		Kind: seg.Kind, N: b - a,
		MidS: (s.TimeS[a] + s.TimeS[b-1]) / 2, SpanS: s.TimeS[b-1] - s.TimeS[a],
		SpeedRadPerS:  numeric.Mean(s.SpeedRadPerS[a:b]),
		SlopeRadPerS2: numeric.Slope(s.TimeS[a:b], s.SpeedRadPerS[a:b]),
	}
	p.SpeedSE, _ = numeric.BatchSE(s.SpeedRadPerS[a:b])
	if s.TorqueNm != nil {
		p.TorqueNm = numeric.Mean(s.TorqueNm[a:b])
		p.TorqueSE, _ = numeric.BatchSE(s.TorqueNm[a:b])
		p.Moved = moved(s, a, b)
		p.TorqueSD = math.Sqrt(numeric.Variance(numeric.Detrended(s.TorqueNm[a:b])))
	}
	for _, c := range []struct {
		from []float64
		to   *float64
	}{
		{s.ThrustN, &p.ThrustN}, {s.Duty, &p.Duty}, {s.VoltageV, &p.VoltageV},
		{s.CurrentA, &p.CurrentA}, {s.TemperatureK, &p.TemperatureK},
	} {
		if c.from != nil {
			*c.to = numeric.Mean(c.from[a:b])
		}
	}
	for _, v := range []*float64{&p.SpeedSE, &p.TorqueSE, &p.TorqueSD} {
		if math.IsNaN(*v) {
			*v = 0
		}
	}
	return p
}

// movedLeast is the fewest samples of a quarter that is compared with another.
const movedLeast = 16

// moved compares the second quarter of a plateau with its last; the first is left to what settles.
func moved(s *series.Samples, from, to int) *spin.Moved {
	n := (to - from) / 4
	if n < movedLeast {
		return nil
	}
	a, b := from+n, to-n
	m := &spin.Moved{
		EarlyS: (s.TimeS[a] + s.TimeS[a+n-1]) / 2, LateS: (s.TimeS[b] + s.TimeS[to-1]) / 2, QuarterS: s.TimeS[to-1] - s.TimeS[b],
		TorqueNm:     numeric.Mean(s.TorqueNm[b:to]) - numeric.Mean(s.TorqueNm[a:a+n]),
		SpeedRadPerS: numeric.Mean(s.SpeedRadPerS[b:to]) - numeric.Mean(s.SpeedRadPerS[a:a+n]),
	}
	early, _ := numeric.BatchSE(s.TorqueNm[a : a+n])
	late, _ := numeric.BatchSE(s.TorqueNm[b:to])
	m.TorqueSE = math.Hypot(early, late)
	return m
}
