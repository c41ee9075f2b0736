package ingest

import (
	"fmt"
	"math"

	"spinledger/stages/kit/numeric"
)

// A converter that is slower than its logger shows each of its values in several rows. When it took a value
// is known to a row only, and a row too many of a value in a rise is a per cent of the momentum: rows of
// equal spacing must not be its measure. The converter's own clock runs evenly, so all dates together tell each.
const (
	// leastRows that a value stands for, typically: with fewer, a row's doubt is as large as the interval.
	leastRows = 2.9
	// leastRenewals in a recording.
	leastRenewals = 50
	// Of the intervals between changes so many must be one period, and so many no shorter, to a row. Noise that coarse
	// steps of the channel hold has no period: half of its intervals are shorter than the median.
	onePeriod, noShorter = 0.6, 0.95
	// So many changes must be larger than the smallest: a slope in coarse steps changes regularly too, by a step each time.
	farChanges = 0.25
	// evenRows is the most that dates may scatter about their lines, robustly: those of an even clock, seen to a row, by 0.37. Values
	// that come when the logger asks for them have no clock of their own.
	evenRows = 0.5
	// smoothOver so many renewals on either side a date is a straight line of their number: an interval of hundreds of
	// milliseconds to seconds, in which a converter's oscillator does not wander.
	smoothOver = 20
)

// renewals are the dates at which a channel took new values, on a regular clock of its own.
type renewals struct {
	periodS float64
	at      []float64 // dates, s
	value   []float64 // from that date on
}

// findRenewals looks for values that stand for several rows each. nil where there are none.
func findRenewals(time, x []float64) *renewals {
	if len(x) < 2 || len(x) != len(time) {
		return nil
	}
	var rows []int
	least := math.Inf(1)
	for i := 1; i < len(x); i++ {
		if x[i] != x[i-1] {
			rows, least = append(rows, i), math.Min(least, math.Abs(x[i]-x[i-1]))
		}
	}
	if len(rows) < leastRenewals || float64(len(x)) < leastRows*float64(len(rows)) {
		return nil
	}
	far := 0
	for _, i := range rows {
		if math.Abs(x[i]-x[i-1]) > 1.5*least {
			far++
		}
	}
	if float64(far) < farChanges*float64(len(rows)) {
		return nil
	}
	spans := make([]float64, len(rows)-1)
	for k := range spans {
		spans[k] = time[rows[k+1]] - time[rows[k]]
	}
	period, step := numeric.Median(spans), medianInterval(time)
	// To a row: the period is the mean of those that are one.
	sum, one, short := 0.0, 0, 0
	for _, s := range spans {
		switch {
		case math.Abs(s-period) < 1.6*step:
			sum, one = sum+s, one+1
		case s < period:
			short++
		}
	}
	if period < leastRows*step || float64(one) < onePeriod*float64(len(spans)) || float64(short) > (1-noShorter)*float64(len(spans)) {
		return nil
	}
	period = sum / float64(one)
	r := &renewals{periodS: period}
	var number, seen []float64
	n := 0.0
	for k, i := range rows {
		if k > 0 {
			more := math.Round((time[i] - time[rows[k-1]]) / period)
			if more == 0 {
				// A row within a period: not the converter's doing. What it shows until the next renewal is taken as it stands.
				continue
			}
			n += more
		}
		number, seen = append(number, n), append(seen, (time[i]+time[i-1])/2)
		r.value = append(r.value, x[i])
	}
	r.at = straightened(number, seen)
	off := make([]float64, len(seen))
	for i, at := range r.at {
		off[i] = at - seen[i]
	}
	if numeric.MAD(off) > evenRows*step {
		return nil
	}
	return r
}

// straightened is y as lines of x over neighbours: of each point the line over smoothOver of them on either side.
func straightened(x, y []float64) []float64 {
	out := make([]float64, len(y))
	for i := range y {
		lo, hi := max(0, i-smoothOver), min(len(y), i+smoothOver+1)
		mx, my := numeric.Mean(x[lo:hi]), numeric.Mean(y[lo:hi])
		sxx, sxy := 0.0, 0.0
		for k := lo; k < hi; k++ {
			sxx += float64((x[k] - mx) * (x[k] - mx))
			sxy += float64((x[k] - mx) * (y[k] - my))
		}
		out[i] = my
		if sxx > 0 {
			out[i] += float64(sxy / sxx * (x[i] - mx))
		}
	}
	return out
}

// over is the channel's mean over the time that belongs to each row, half an interval on either side, with every value earlier by s.
func (r *renewals) over(time []float64, first, earlier float64) []float64 {
	out := make([]float64, len(time))
	k := -1 // value in force; −1 before the first renewal
	from := time[0]
	for i, t := range time {
		to := t
		if i+1 < len(time) {
			to = (t + time[i+1]) / 2
		}
		sum, at := 0.0, from
		for at < to {
			v, end := first, to
			if k >= 0 {
				v = r.value[k]
			}
			if k+1 < len(r.at) {
				end = math.Min(end, math.Max(at, r.at[k+1]-earlier))
			}
			sum += float64(v * (end - at))
			if at = end; at < to || k+1 < len(r.at) && r.at[k+1]-earlier <= at {
				k++
			}
		}
		switch {
		case to > from:
			out[i] = sum / (to - from)
		case k >= 0:
			out[i] = r.value[k]
		default:
			out[i] = first
		}
		from = to
	}
	return out
}

// renewed dates the values of a torque converter that is slower than the logger: each is given the period about the time for which
// it stands, the middle of what it is the mean of where the converter is declared to take means.
func (r *run) renewed(m *merged, field string, x []float64) []float64 {
	found := findRenewals(m.time, x)
	if found == nil {
		return x
	}
	// A value is there from the end of its conversion for a period.
	p, earlier, what := found.periodS, found.periodS/2, "points"
	if r.rec.Converter == "mean" {
		earlier, what = earlier+r.rec.MeanS/2, fmt.Sprintf("means over the %.4g ms before they appear", 1e3*r.rec.MeanS)
	}
	x = found.over(m.time, x[0], earlier)
	r.rec.TorqueRenewedS, r.rec.TorqueRenewedAtS = p, found.at[0]-earlier
	r.warn("torque-renewed", "%s is renewed only every %.4g ms; its values are dated by that period and taken for %s", field, 1e3*p, what)
	return x
}
