package torque

import (
	"math"
	"slices"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

const (
	// stretches of a rise or fall at most, of equal change of speed.
	stretches = 20
	// leadS before a transition its edges are followed from: hundreds of periods tell the first one's date.
	leadS = 0.3
	// The rise is used from 3 % of its change, where the speed has left the
	// plateau's noise, to 97 %.
	riseFrom = 0.03
	riseTo   = 0.97
)

// passageShares are the shares of the change at which times are taken.
var passageShares = []float64{0.10, 0.25, 0.50, 0.75, 0.90}

// rise reduces the speed between plateaus A and B.
func rise(e *spin.RunEvidence, r *spin.Recording, run spin.Run, v *balance.View) {
	a, b := r.Segments[run.A], r.Segments[run.B]
	low := v.MeanSpeed(balance.Window{From: a.FromS, To: a.ToS})
	high := v.MeanSpeed(balance.Window{From: b.FromS, To: b.ToS})
	if !(high > low) {
		return
	}
	s := newSlide(r, v, a.ToS, b.FromS)
	s.sign, s.change = 1, high-low
	from, to := s.first(low+riseFrom*s.change), s.first(low+riseTo*s.change)
	e.Rise = s.stretches(from, to)
	if from < len(s.t) {
		e.RiseS = s.t[from]
	}
	e.Passages, e.PassageS = s.passages(low)
}

// fall reduces a run-down's speed.
func fall(r *spin.Recording, run spin.Run, v *balance.View) []spin.Stretch {
	d := r.Segments[run.B]
	s := newSlide(r, v, d.FromS, d.ToS)
	if len(s.w) < 2 {
		return nil
	}
	s.sign, s.change = -1, s.w[0]-s.w[len(s.w)-1]
	return s.stretches(0, len(s.w))
}

// slide is a passage through speeds, upwards (sign 1) or downwards (−1): fresh
// readings with the middle of what each has measured.
type slide struct {
	v      *balance.View
	t, w   []float64
	late   []float64 // width of what is not known of each date, s
	mean   []float64 // time over which each is itself a mean, s
	sign   float64
	change float64 // rad/s, > 0
}

// newSlide takes the readings dated between two times. A reading of the last
// whole period is dated to the period's middle, half of it before the edge that ended it, which
// came at some instant since the sample before, or, where periods are shorter than that, since
// one period: see edges; where these cannot be followed, in the middle of
// that. A reading that only repeats the one before is left out.
func newSlide(r *spin.Recording, v *balance.View, from, to float64) *slide {
	s := &slide{v: v}
	timed := r.SpeedTiming == "period" && r.EdgesPerTurn > 0
	lo, _ := slices.BinarySearch(v.TimeS, from-leadS)
	hi, _ := slices.BinarySearch(v.TimeS, math.Nextafter(to, math.Inf(1)))
	var dates []float64
	unsure, followed, n := 0.0, false, 0
	if timed {
		var all []reading
		for i := lo; i < hi; i++ {
			w := v.SpeedRadPerS[i]
			if i == 0 || w <= 0 {
				continue
			}
			if changed := w != v.SpeedRadPerS[i-1]; changed || len(all) > 0 {
				all = append(all, reading{v.TimeS[i], v.TimeS[i-1], 2 * math.Pi / (r.EdgesPerTurn * w), changed})
			} else {
				n-- // not among them
			}
		}
		dates, unsure, followed = edges(all)
	}
	for i := lo; i < hi; i++ {
		t, w := v.TimeS[i], v.SpeedRadPerS[i]
		late, mean := 0.0, 0.0
		if r.SpeedTiming == "period" && !timed && i > 0 {
			// Of periods of unknown length, the edge came at some instant since the sample before.
			late = t - v.TimeS[i-1]
		}
		if timed {
			if i == 0 || w <= 0 {
				continue
			}
			mean = 2 * math.Pi / (r.EdgesPerTurn * w)
			if n++; followed {
				if n < 1 || math.IsNaN(dates[n-1]) {
					continue
				}
				late, t = unsure, dates[n-1]-mean/2
			} else {
				if w == v.SpeedRadPerS[i-1] {
					continue
				}
				late = math.Min(t-v.TimeS[i-1], mean)
				t -= (mean + late) / 2
			}
		}
		if k := len(s.t); t < from || t > to || (k > 0 && t <= s.t[k-1]) {
			continue
		}
		s.t, s.w, s.late, s.mean = append(s.t, t), append(s.w, w), append(s.late, late), append(s.mean, mean)
	}
	return s
}

// first is the first reading beyond level.
func (s *slide) first(level float64) int {
	i := 0
	for i < len(s.w) && s.sign*(s.w[i]-level) < 0 {
		i++
	}
	return i
}

// stretches cuts readings from ≤ i < to into pieces of about equal change of speed.
func (s *slide) stretches(from, to int) []spin.Stretch {
	var out []spin.Stretch
	angle, rate := make([]float64, max(0, to-from)), make([]float64, max(0, to-from))
	for k := range rate {
		rate[k] = s.rate(from+k, from, to)
	}
	square := func(k int) float64 { return s.mean[from+k] * s.mean[from+k] }
	for k := 1; k < len(angle); k++ {
		// A trapezium, less what the speed's curve leaves above or below it
		// (Euler–Maclaurin), and less what it leaves in readings that are means.
		h := s.t[from+k] - s.t[from+k-1]
		over := float64(h*h/12) + (square(k)+square(k-1))/48
		angle[k] = angle[k-1] + float64((s.w[from+k]+s.w[from+k-1])/2*h) - float64(over*(rate[k]-rate[k-1]))
	}
	for k := range angle {
		// Over the time of the reading, the angle itself is curved.
		angle[k] += rate[k] * square(k) / 24
	}
	if from < to {
		// The motion began somewhere in the time of its first reading, or before it.
		s.late[from] = math.Max(s.late[from], s.mean[from])
	}
	for i := from; i < to; {
		j := i + 1
		for j < to && s.sign*(s.w[j]-s.w[i]) < s.change*(riseTo-riseFrom)/stretches {
			j++
		}
		out = append(out, s.reduce(i, j, s.t[from], angle[i-from:j-from]))
		i = j
	}
	return out
}

// rate is the acceleration at a reading, from its neighbours within from ≤ k < to: a parabola
// through three, a line at the ends.
func (s *slide) rate(k, from, to int) float64 {
	lo, hi := max(from, k-1), min(to-1, k+1)
	switch {
	case hi == lo:
		return 0
	case hi-lo == 1:
		return (s.w[hi] - s.w[lo]) / (s.t[hi] - s.t[lo])
	}
	a, b := s.t[k]-s.t[lo], s.t[hi]-s.t[k]
	return (float64(b/a*(s.w[k]-s.w[lo])) + float64(a/b*(s.w[hi]-s.w[k]))) / (a + b)
}

// line fits ω = ω̄ + α·(t − t̄) to readings i ≤ k < j.
func (s *slide) line(i, j int) (mt, mw, slope, rss float64) {
	n := float64(j - i)
	for k := i; k < j; k++ {
		mt += s.t[k] / n
		mw += s.w[k] / n
	}
	stt, stw := 0.0, 0.0
	for k := i; k < j; k++ {
		stt += float64((s.t[k] - mt) * (s.t[k] - mt))
		stw += float64((s.t[k] - mt) * (s.w[k] - mw))
	}
	if stt > 0 {
		slope = stw / stt
	}
	for k := i; k < j; k++ {
		e := s.w[k] - mw - float64(slope*(s.t[k]-mt))
		rss += float64(e * e)
	}
	return mt, mw, slope, rss
}

// reduce takes the means over readings i ≤ k < j; times count from t0.
func (s *slide) reduce(i, j int, t0 float64, angle []float64) spin.Stretch {
	mt, mw, _, rss := s.line(i, j)
	n := float64(j - i)
	p := spin.Stretch{TimeS: mt - t0, SpanS: s.t[j-1] - s.t[i], SpeedRadPerS: mw, AngleRad: numeric.Mean(angle), N: j - i}
	for k := i; k < j; k++ {
		p.MeanS += float64(s.mean[k]*s.mean[k]) / n
		p.SpeedVar += float64((s.w[k]-mw)*(s.w[k]-mw)) / n
	}
	// Scatter about a line, where there are enough readings for one, and no less
	// than the unknown part of the dates, uniform, makes of the acceleration there.
	lo, hi := max(0, i-1), min(len(s.t)-1, j)
	accel := math.Abs(s.w[hi]-s.w[lo]) / (s.t[hi] - s.t[lo])
	p.SpeedVar += accel * accel * p.MeanS / 12
	p.MeanS = math.Sqrt(p.MeanS)
	sd := accel * s.late[i] / math.Sqrt(12)
	if j-i > 3 {
		sd = math.Max(sd, math.Sqrt(rss/(n-2)))
	}
	p.SpeedSE = sd / math.Sqrt(n)
	if s.v.VoltageV != nil {
		p.VoltageV = s.meanAt(s.v.VoltageV, i, j)
	}
	if s.v.CurrentA != nil {
		p.CurrentA = s.meanAt(s.v.CurrentA, i, j)
	}
	return p
}

// meanAt is the mean of a channel at the dates of the readings i ≤ k < j, read
// between its own stamps.
func (s *slide) meanAt(x []float64, i, j int) float64 {
	sum, n := 0.0, 0
	for k := i; k < j; k++ {
		for n+2 < len(x) && s.v.TimeS[n+1] <= s.t[k] {
			n++
		}
		f := (s.t[k] - s.v.TimeS[n]) / (s.v.TimeS[n+1] - s.v.TimeS[n])
		sum += x[n] + float64(f*(x[n+1]-x[n]))
	}
	return sum / float64(j-i)
}

// passages are the times at which shares of the change were made, each from a
// parabola through the readings within 4 % of the change around it, three at least on either side.
func (s *slide) passages(low float64) (out []spin.Passage, firstS float64) {
	const reach = 0.04
	// Fewer readings than this between 10 % and 90 % do not tell a time to a per cent.
	const fewest = 12
	if s.first(low+0.9*s.change)-s.first(low+0.1*s.change) < fewest {
		return nil, 0
	}
	// Readings before the first whole one of the rise do not belong to its curve.
	began := s.first(low + riseFrom*s.change)
	if began < len(s.mean) && s.mean[began] > 0 {
		began++
	}
	for _, share := range passageShares {
		level := low + share*s.change
		mid := s.first(level)
		lo, hi := min(s.first(level-reach*s.change), mid-3), max(s.first(level+reach*s.change), mid+3)
		lo = max(lo, began)
		hi = max(hi, lo+4)
		if lo > mid || hi > len(s.w) {
			return nil, 0
		}
		at, ok := s.passage(lo, hi, level)
		if !ok {
			return nil, 0
		}
		out = append(out, spin.Passage{Share: share, SpeedRadPerS: level, TimeS: at})
	}
	firstS = out[0].TimeS
	for i := range out {
		out[i].TimeS -= firstS
	}
	return out, firstS
}

// passage is the time at which the parabola through readings lo ≤ k < hi is at level.
func (s *slide) passage(lo, hi int, level float64) (float64, bool) {
	mt, mw, slope, _ := s.line(lo, hi)
	if !(slope > 0) {
		return 0, false
	}
	unit := s.t[hi-1] - mt
	a, y := numeric.NewMatrix(hi-lo, 3), make([]float64, hi-lo)
	for i := range y {
		x := (s.t[lo+i] - mt) / unit
		copy(a.Row(i), []float64{1, x, x * x})
		y[i] = s.w[lo+i] - mw
	}
	sol, err := numeric.LeastSquares(a, y, nil)
	if err != nil {
		return 0, false
	}
	// That the readings are means moves this by less than 0.1 % of a rise that has enough of them.
	c, x := sol.Coef, (level-mw)/(slope*unit)
	for range 20 {
		rate := c[1] + 2*c[2]*x
		if !(rate > 0) {
			return 0, false
		}
		x -= (c[0] + (c[1]+c[2]*x)*x - (level - mw)) / rate
	}
	return mt + x*unit, math.Abs(x) < 2
}

// thrusts are the settled levels of a steady recording with a thrust channel.
func thrusts(r *spin.Recording) []spin.ThrustPoint {
	if r.Samples.ThrustN == nil || r.Declared.Kind != spin.Steady {
		return nil
	}
	var out []spin.ThrustPoint
	for _, p := range r.Plateaus {
		out = append(out, spin.ThrustPoint{SpeedRadPerS: p.SpeedRadPerS, ThrustN: p.ThrustN, Rest: p.Kind == spin.Rest})
	}
	return out
}
