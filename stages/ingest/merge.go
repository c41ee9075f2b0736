package ingest

import (
	"fmt"
	"math"
	"sort"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/positioned"
)

// merged is a recording on one clock, channels by name.
type merged struct {
	time []float64
	cols map[string][]float64
	// primary is the table whose rows these are.
	primary *table
}

// take gives a channel's column, nil where there is none.
func (m *merged) take(name string) []float64 { return m.cols[name] }

// fillGaps interpolates empty cells of every channel but time and torque, whose rows are gone.
func (r *run) fillGaps(t *table) error {
	for k, c := range t.file.Logger.Channels {
		flags := t.missing[k]
		if flags == nil {
			continue
		}
		t.missing[k] = nil
		if c.Name == "torque" {
			continue
		}
		n, first := 0, -1
		for i, m := range flags {
			if m {
				n++
				if first < 0 {
					first = i
				}
			}
		}
		if n == 0 {
			continue
		}
		line, field := t.line(first), t.field(k)
		if n == t.rows {
			if c.Name == "speed" {
				return &positioned.Error{File: t.file.Name, Line: line, Field: field, Got: "no value in any row", Want: "speeds"}
			}
			r.warn("missing", "%s:%d: %s is empty in all rows; the channel is left out", t.file.Name, line, field)
			t.cols[k] = nil
			continue
		}
		share := float64(n) / float64(t.rows)
		if c.Name == "speed" && share > r.opt.MaxMissingRel {
			r.refuse("missing", share, r.opt.MaxMissingRel, "%s:%d: %s is empty in %d of %d rows (%.1f %%, at most %.0f %%), the first here",
				t.file.Name, line, field, n, t.rows, 100*share, 100*r.opt.MaxMissingRel)
		} else {
			r.warn("missing", "%s:%d: %s is empty in %d rows (%.2f %%), the first here; these are interpolated", t.file.Name, line, field, n, 100*share)
		}
		interpolateMarked(t.time, t.cols[k], flags)
	}
	return nil
}

// interpolateMarked replaces marked values by straight lines between their
// unmarked neighbours, and holds the nearest one at the ends.
func interpolateMarked(time, x []float64, marked []bool) {
	before := -1
	for i := 0; i < len(x); i++ {
		if !marked[i] {
			before = i
			continue
		}
		after := i
		for after < len(x) && marked[after] {
			after++
		}
		for ; i < after; i++ {
			switch {
			case before < 0 && after == len(x):
				x[i] = 0
			case before < 0:
				x[i] = x[after]
			case after == len(x):
				x[i] = x[before]
			default:
				f := (time[i] - time[before]) / (time[after] - time[before])
				x[i] = x[before] + float64(f*(x[after]-x[before]))
			}
		}
		i--
	}
}

// merge brings every file onto the clock of the torque channel, or of the
// speed where no file has torque.
func (r *run) merge(parts []*table) (*merged, error) {
	p := r.primary(parts)
	for _, t := range parts {
		if k := t.channel("speed"); k >= 0 {
			r.cleanSpeed(t, k)
		}
		r.trueTime(t, p)
	}
	m := &merged{time: p.time, primary: p, cols: map[string][]float64{}}
	from, to := 0, len(p.time)
	for _, t := range parts {
		if t == p {
			continue
		}
		from = max(from, sort.SearchFloat64s(p.time, t.time[0]))
		to = min(to, sort.Search(len(p.time), func(i int) bool { return p.time[i] > t.time[t.rows-1] }))
	}
	if to-from < 2 {
		return nil, &positioned.Error{File: r.in.Declared.ID(), Got: "files that do not overlap in time", Want: "files of one recording",
			Hint: "is the offset of the second file right?"}
	}
	if left := len(p.time) - (to - from); left > 0 {
		r.warn("overlap", "%d of %d rows of %s lie outside the time of the other files and are left out", left, len(p.time), p.file.Name)
	}
	m.time = p.time[from:to]
	for _, t := range parts {
		for k, c := range t.file.Logger.Channels {
			if t.cols[k] == nil {
				continue
			}
			if t == p {
				m.cols[c.Name] = t.cols[k][from:to]
				continue
			}
			m.cols[c.Name] = interpolate(t.time, t.cols[k], m.time)
			if c.Name == "speed" {
				if slow := medianInterval(t.time); slow > 1.8*medianInterval(m.time) {
					r.rec.HeldS = math.Max(r.rec.HeldS, slow)
				}
			}
		}
	}
	r.measureClock(m)
	return m, nil
}

func (r *run) primary(parts []*table) *table {
	for _, name := range []string{"torque", "speed"} {
		for _, t := range parts {
			if t.channel(name) >= 0 {
				return t
			}
		}
	}
	return parts[0]
}

// trueTime applies a file's rate and offset: t = rate·stamp + offset. A clock
// shown from zero has its origin put back as a difference to the primary's.
func (r *run) trueTime(t, p *table) {
	rate := rateOf(t)
	shift := t.file.OffsetS.Mean
	if t != p {
		shift += float64(rate*t.origin) - float64(rateOf(p)*p.origin)
	}
	if rate == 1 && shift == 0 {
		return
	}
	for i, v := range t.time {
		t.time[i] = float64(rate*v) + shift
	}
}

// rateOf is true seconds per stamped second.
func rateOf(t *table) float64 {
	if m := t.file.Logger.ClockRate.Mean; m > 0 {
		return m
	}
	return 1
}

// interpolate is y over x, read at increasing points within x's range.
func interpolate(x, y, at []float64) []float64 {
	out := make([]float64, len(at))
	j := 0
	for i, v := range at {
		for j+2 < len(x) && x[j+1] < v {
			j++
		}
		f := (v - x[j]) / (x[j+1] - x[j])
		out[i] = y[j] + float64(f*(y[j+1]-y[j]))
	}
	return out
}

// measureClock fills StepS, Jitter and MissingRel and reports gaps.
func (r *run) measureClock(m *merged) {
	step := medianInterval(m.time)
	gaps, missing, first, longest := 0, 0.0, -1, 0.0
	sample := make([]float64, 0, min(len(m.time), 1<<16)+1)
	stride := max(1, (len(m.time)-1)>>16)
	for i := 1; i < len(m.time); i++ {
		d := m.time[i] - m.time[i-1]
		if (i-1)%stride == 0 {
			sample = append(sample, d)
		}
		if d > r.opt.GapSteps*step {
			gaps++
			missing += math.Round(d/step) - 1
			longest = math.Max(longest, d)
			if first < 0 {
				first = i
			}
		}
	}
	r.rec.StepS = step
	r.rec.Jitter = numeric.MAD(sample) / step
	if gaps == 0 {
		return
	}
	r.rec.MissingRel = missing / (missing + float64(len(m.time)))
	r.warn("gap", "%d gaps, %.0f rows missing (%.2f %%), the first after %s s, the longest %s s", gaps, missing, 100*r.rec.MissingRel,
		seconds(m.time[first-1]), seconds(longest))
}

func seconds(v float64) string { return fmt.Sprintf("%.6g", v) }
