package ingest

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/positioned"
)

// cleanClock gives a table a strictly increasing clock: rows without a stamp or without a
// torque reading are dropped, wraps undone, neighbours sorted, repeats dropped.
func (r *run) cleanClock(t *table) error {
	r.dropMissing(t)
	if t.rows < 2 {
		return &positioned.Error{File: t.file.Name, Got: fmt.Sprintf("%d usable rows", t.rows), Want: "at least 2"}
	}
	step := t.stamps.step()
	if step <= 0 {
		return &positioned.Error{File: t.file.Name, Line: t.line(1), Field: t.field(t.channel("time")), Got: "time stamps that do not advance", Want: "a clock"}
	}
	r.clock.begin(&t.stamps)
	r.unwrap(t, step)
	timeAt := t.channel("time")
	c := t.file.Logger.Channels[timeAt]
	t.time, t.origin = t.stamps.seconds(&r.clock, c.Factor, c.Offset)
	if i := finite(t.time); i >= 0 {
		return &positioned.Error{File: t.file.Name, Line: t.line(i), Field: t.field(timeAt), Got: "a stamp beyond all clocks", Want: "a time"}
	}
	if err := r.sortRows(t); err != nil {
		return err
	}
	r.dropRepeats(t)
	if t.rows < 2 {
		return &positioned.Error{File: t.file.Name, Got: "one time stamp in all rows", Want: "a clock that advances"}
	}
	return nil
}

// dropMissing takes out the rows whose time or torque cell is empty. They count as
// rows missing: an invented torque would enter an integral.
func (r *run) dropMissing(t *table) {
	for _, name := range []string{"time", "torque"} {
		k := t.channel(name)
		if k < 0 || t.missing[k] == nil || (name == "torque" && !r.in.Declared.TorqueUsable) {
			continue
		}
		keep := make([]int, 0, t.rows)
		first := -1
		for i, m := range t.missing[k] {
			if m {
				if first < 0 {
					first = i
				}
				continue
			}
			keep = append(keep, i)
		}
		if first >= 0 {
			r.warn("missing", "%s:%d: %d rows with no %s, the first here; these rows are left out", t.file.Name, t.line(first), t.rows-len(keep), t.field(k))
			t.pick(keep)
		}
		t.missing[k] = nil
	}
}

// step is the median of the advancing intervals, in units of the last digit for integers.
func (s *stamps) step() float64 {
	const enough = 1 << 16
	n := s.len()
	stride := max(1, n/enough)
	var d []float64
	for i := 1; i < n; i += stride {
		v := 0.0
		if s.floats != nil {
			v = s.floats[i] - s.floats[i-1]
		} else {
			v = float64(s.ints[i] - s.ints[i-1])
		}
		if v > 0 {
			d = append(d, v)
		}
	}
	if len(d) == 0 {
		return 0
	}
	return numeric.Median(d)
}

// unwrap adds the modulus of a 16- or 32-bit counter where a stamp falls back and the
// fall plus the modulus is an ordinary advance (up to 50 median intervals,
// so that a short gap may hide the wrap). Only integer stamps can wrap.
func (r *run) unwrap(t *table, step float64) {
	s := &t.stamps
	if s.floats != nil {
		return
	}
	const plausible = 50
	whole, _ := power(-min(s.exp, 0))
	offset, modulus := r.clock.offset, r.clock.modulus
	wraps, first := 0, -1
	s.ints[0] += offset
	for i := 1; i < len(s.ints); i++ {
		previous := s.ints[i-1] - offset
		if d := s.ints[i] - previous; d < 0 && float64(-d) > r.opt.ReorderSteps*step {
			// The counter counts either in the last digit written or in whole units.
			for _, m := range []int64{1 << 16, 1 << 32, whole << 16, whole << 32} {
				ahead := d + m
				if m/whole > 0 && previous < m && s.ints[i] >= 0 && ahead > 0 && float64(ahead) <= plausible*step && (modulus == 0 || modulus == m) {
					offset, modulus = offset+m, m
					if wraps++; first < 0 {
						first = i
					}
					break
				}
			}
		}
		s.ints[i] += offset
	}
	r.clock.modulus = modulus
	if wraps > 0 {
		r.warn("wrap", "%s:%d: the logger's clock wraps %d times at 2^%d counts, first here; it is counted on", t.file.Name, t.line(first), wraps,
			int(math.Log2(float64(modulus/gcdPower(modulus)))))
	}
}

// gcdPower is the power of ten in a modulus, 1 for a plain power of two.
func gcdPower(m int64) int64 {
	p := int64(1)
	for m%5 == 0 {
		m /= 5
		p *= 10
	}
	return p
}

// farOrigin: a clock that starts later than this, in s, is shown from zero. Half a
// microsecond at 10⁶ s is still a double's 10⁻¹⁰.
const farOrigin = 1e6

// clock is what the stretches of a long recording share of its clock; its zero value belongs to
// the first one.
type clock struct {
	// started: first is the recording's first stamp, firstFloat where stamps are floats.
	started    bool
	first      int64
	firstFloat float64
	// offset is what wraps of the counter, of modulus, have added so far.
	offset, modulus int64
	// exp is the exponent of first and offset.
	exp int8
}

// begin takes the first stamp of a recording, and brings the clock to the exponent of a later
// stretch, which is never coarser than an earlier one's.
func (c *clock) begin(s *stamps) {
	switch {
	case c.started && s.floats == nil:
		f, _ := power(c.exp - s.exp)
		c.first, c.offset, c.modulus, c.exp = c.first*f, c.offset*f, c.modulus*f, s.exp
	case c.started:
	case s.floats != nil:
		c.started, c.firstFloat = true, s.floats[0]
	default:
		c.started, c.exp, c.first, c.firstFloat = true, s.exp, s.ints[0], scan.Value(s.ints[0], s.exp)
	}
}

// seconds turns stamps into seconds: exact differences to the first stamp,
// plus the first stamp unless it is far away; then that is the origin.
func (s *stamps) seconds(c *clock, factor, offset float64) (time []float64, origin float64) {
	n := s.len()
	out := make([]float64, n)
	if s.floats != nil {
		for i, v := range s.floats {
			out[i] = (v - c.firstFloat) * factor
		}
	} else {
		for i, m := range s.ints {
			out[i] = scan.Value(m-c.first, s.exp) * factor
		}
	}
	first := (c.firstFloat - offset) * factor
	if math.Abs(first) > farOrigin {
		return out, first
	}
	for i := range out {
		out[i] += first
	}
	return out, 0
}

// sortRows sorts rows that are a little out of place and refuses time that runs backwards.
func (r *run) sortRows(t *table) error {
	step := medianInterval(t.time)
	latest, moved, firstMoved := math.Inf(-1), 0, -1
	for i, v := range t.time {
		if v >= latest {
			latest = v
			continue
		}
		if moved++; firstMoved < 0 {
			firstMoved = i
		}
		// The last digits of a float clock must not decide.
		if latest-v > r.opt.ReorderSteps*step*(1+1e-9) {
			return backwards(t, i, latest-v)
		}
	}
	if moved == 0 {
		return nil
	}
	order := make([]int, t.rows)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case t.time[a] < t.time[b]:
			return -1
		case t.time[a] > t.time[b]:
			return 1
		}
		return 0
	})
	r.warn("order", "%s:%d: %d rows stand after a later one, the first here; rows are sorted by their stamps", t.file.Name, t.line(firstMoved), moved)
	t.pick(order)
	return nil
}

// backwards is the fault of a row that lies by s before an earlier one.
func backwards(t *table, row int, by float64) *positioned.Error {
	return &positioned.Error{File: t.file.Name, Line: t.line(row), Field: t.field(t.channel("time")),
		Got:  fmt.Sprintf("a time %.6g s before that of an earlier row", by),
		Want: "time that goes on", Hint: "two recordings in one file, or a logger that was started again? cut the file there"}
}

// medianInterval is the median advance of a clock that may have faults, from at
// most 65536 intervals spread over it.
func medianInterval(time []float64) float64 {
	s := stamps{floats: time}
	return s.step()
}

// dropRepeats keeps the first of rows with one stamp.
func (r *run) dropRepeats(t *table) {
	same, differ, first := 0, 0, -1
	keep := make([]int, 0, t.rows)
	for i := range t.rows {
		if i == 0 || t.time[i] > t.time[keep[len(keep)-1]] {
			keep = append(keep, i)
			continue
		}
		if first < 0 {
			first = i
		}
		if t.equalRows(keep[len(keep)-1], i) {
			same++
		} else {
			differ++
		}
	}
	if same+differ == 0 {
		return
	}
	line := t.line(first)
	switch {
	case float64(differ) > r.opt.MaxMissingRel*float64(t.rows):
		share := float64(differ) / float64(t.rows)
		r.refuse("coarse-stamps", share, r.opt.MaxMissingRel,
			"%s:%d: %d of %d rows share a stamp with another row and differ from it (%.1f %%, at most %.0f %%): the stamps are too coarse for the sampling rate; log them finer",
			t.file.Name, line, differ, t.rows, 100*share, 100*r.opt.MaxMissingRel)
	case differ > 0:
		r.warn("repeat", "%s:%d: %d rows repeat a stamp with other values, and %d repeat a row; the first row of a stamp is kept", t.file.Name, line, differ, same)
	default:
		r.warn("repeat", "%s:%d: %d rows are written twice, the first here; one of each is kept", t.file.Name, line, same)
	}
	t.pick(keep)
}

func (t *table) equalRows(a, b int) bool {
	for k, c := range t.cols {
		if c != nil && c[a] != c[b] {
			return false
		}
		if m := t.missing[k]; m != nil && m[a] != m[b] {
			return false
		}
	}
	return true
}

// pick keeps the given rows in the given order.
func (t *table) pick(rows []int) {
	lines := make([]int, len(rows))
	for i, row := range rows {
		lines[i] = t.line(row)
	}
	for k := range t.cols {
		t.cols[k] = picked(t.cols[k], rows)
		t.missing[k] = picked(t.missing[k], rows)
	}
	t.time = picked(t.time, rows)
	t.stamps.ints, t.stamps.floats = picked(t.stamps.ints, rows), picked(t.stamps.floats, rows)
	t.rows = len(rows)
	t.breaks = t.breaks[:0]
	for i, line := range lines {
		if i == 0 || t.line(i) != line {
			t.breaks = append(t.breaks, linebreak{i, line})
		}
	}
}

func picked[T any](x []T, rows []int) []T {
	if x == nil {
		return nil
	}
	out := make([]T, len(rows))
	for i, r := range rows {
		out[i] = x[r]
	}
	return out
}
