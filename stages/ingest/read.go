package ingest

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// table is one file's rows: a stamp and the other channels in SI.
type table struct {
	file   *File
	rows   int
	stamps stamps
	// time is the clean clock in the file's own seconds, set by cleanClock.
	time []float64
	// origin is what was taken off a clock that started long ago, in s.
	origin float64
	// cols and missing go by channel; the time channel has none. missing is nil
	// where no cell is.
	cols    [][]float64
	missing [][]bool
	// breaks say on which line rows stand: row r ≥ breaks[i].row is on line
	// breaks[i].line + r − breaks[i].row.
	breaks []linebreak
}

type linebreak struct{ row, line int }

// line is the line (text) or row (Parquet) number of a row.
func (t *table) line(row int) int {
	i := sort.Search(len(t.breaks), func(i int) bool { return t.breaks[i].row > row }) - 1
	return t.breaks[i].line + row - t.breaks[i].row
}

// channel is the index of the named channel, −1 where the file has none.
func (t *table) channel(name string) int {
	for i, c := range t.file.Logger.Channels {
		if c.Name == name {
			return i
		}
	}
	return -1
}

// field is what errors call a channel.
func (t *table) field(channel int) string {
	if f := t.file.Stream.Fields; channel < len(f) {
		return f[channel]
	}
	return t.file.Logger.Channels[channel].Name
}

// read walks a file's blocks. Once as many rows are together as are taken whole, full, if there
// is one, takes some of the first ones out.
func (r *run) read(f *File, full func(*table) error) (*table, error) {
	n := len(f.Logger.Channels)
	t := &table{file: f, cols: make([][]float64, n), missing: make([][]bool, n)}
	timeAt := t.channel("time")
	for b, err := range f.Stream.Blocks {
		if err != nil {
			return nil, err
		}
		if t.rows+b.Rows > r.opt.MaxRows {
			return nil, &positioned.Error{File: f.Name, Line: b.FirstLine, Got: fmt.Sprintf("more than %d rows", r.opt.MaxRows), Want: "a recording that fits into memory",
				Hint: "cut it into recordings of a few runs each"}
		}
		t.addLines(b)
		for k, c := range f.Logger.Channels {
			if k == timeAt {
				t.stamps.add(b, k)
			} else {
				t.cols[k] = appendSI(t.cols[k], b, k, &c)
			}
			t.missing[k] = appendMissing(t.missing[k], t.rows, b, k)
		}
		t.rows += b.Rows
		if full != nil && t.rows >= r.bounds.whole {
			if err := full(t); err != nil {
				return nil, err
			}
		}
	}
	if cut := f.Stream.Cut; cut != nil {
		if c := cut(); c != nil {
			r.warn("cut", "%s:%d: %s; the recording is used up to the line before", f.Name, c.Line, c.Reason)
		}
	}
	r.compareUnits(f)
	return t, nil
}

func (t *table) addLines(b *series.Block) {
	line := func(i int) int {
		if b.Lines != nil {
			return b.Lines[i]
		}
		return b.FirstLine + i
	}
	step := b.Rows
	if b.Lines != nil {
		step = 1
	}
	for i := 0; i < b.Rows; i += step {
		row := t.rows + i
		if len(t.breaks) == 0 || t.line(row) != line(i) {
			t.breaks = append(t.breaks, linebreak{row, line(i)})
		}
	}
}

// appendSI turns column k of a block into SI: (cell − Offset)·Factor. Counts keep
// their number, only a calibration knows their unit.
func appendSI(dst []float64, b *series.Block, k int, c *spin.Channel) []float64 {
	factor := c.Factor
	if c.Counts {
		factor = 1
	}
	at := len(dst)
	if cap(dst)-at < b.Rows {
		// Twice as much: append's own growth by a quarter would copy a recording five times. A long
		// recording's rows are taken out again from memory.whole on.
		more := max(at, b.Rows)
		if room := memory.whole + b.Rows - at; room >= b.Rows {
			more = min(more, room)
		}
		dst = slices.Grow(dst, more)
	}
	if b.Floats[k] != nil {
		dst = append(dst, b.Floats[k][:b.Rows]...)
	} else {
		dst = scan.AppendValues(dst, b.Mantissa[k][:b.Rows], b.Exponent[k])
	}
	for i, v := range dst[at:] {
		dst[at+i] = (v - c.Offset) * factor
	}
	return dst
}

// appendMissing keeps flags only from the first block that has any.
func appendMissing(dst []bool, before int, b *series.Block, k int) []bool {
	flags := b.Missing[k]
	if flags == nil && dst == nil {
		return nil
	}
	if dst == nil {
		dst = make([]bool, before, before+b.Rows)
	}
	if flags == nil {
		return append(dst, make([]bool, b.Rows)...)
	}
	return append(dst, flags[:b.Rows]...)
}

// compareUnits warns where a unit row says something else than the bench file.
func (r *run) compareUnits(f *File) {
	for k, got := range f.Stream.Units {
		want := f.Logger.Channels[k].Unit
		if got == "" || plainUnit(got) == plainUnit(want) {
			continue
		}
		r.warn("unit", "%s:%d: the unit row says %q for %s, the bench file %q; the bench file's is used", f.Name, f.Stream.UnitLine, got, f.Stream.Fields[k], want)
	}
}

// plainUnit takes off what only spelling adds: brackets, spaces, product signs.
func plainUnit(u string) string {
	return strings.NewReplacer("[", "", "]", "", "(", "", ")", "", " ", "", "·", "", "⋅", "", "*", "", ".", "",
		"µ", "u", "μ", "u", "²", "2", "³", "3", "^", "", "°", "deg", "º", "deg").Replace(u)
}

// stamps is a time column: integers of one exponent as long as all fit, else floats.
type stamps struct {
	ints   []int64
	exp    int8
	floats []float64
}

func (s *stamps) len() int { return max(len(s.ints), len(s.floats)) }

// add appends column k of a block.
func (s *stamps) add(b *series.Block, k int) {
	if b.Floats[k] == nil && s.floats == nil {
		if s.len() == 0 {
			s.exp = b.Exponent[k]
		}
		if s.addInts(b.Mantissa[k][:b.Rows], b.Exponent[k]) {
			return
		}
	}
	if s.floats == nil {
		s.floats = make([]float64, len(s.ints), len(s.ints)+b.Rows)
		for i, m := range s.ints {
			s.floats[i] = scan.Value(m, s.exp)
		}
		s.ints = nil
	}
	if b.Floats[k] != nil {
		s.floats = append(s.floats, b.Floats[k][:b.Rows]...)
		return
	}
	for _, m := range b.Mantissa[k][:b.Rows] {
		s.floats = append(s.floats, scan.Value(m, b.Exponent[k]))
	}
}

// addInts appends mantissas of exponent e, bringing one side to the finer
// exponent of the other; false when something does not fit.
func (s *stamps) addInts(m []int64, e int8) bool {
	if e < s.exp {
		f, ok := power(s.exp - e)
		if !ok || !fits(s.ints, f) {
			return false
		}
		for i := range s.ints {
			s.ints[i] *= f
		}
		s.exp = e
	}
	f, ok := power(e - s.exp)
	if !ok || !fits(m, f) {
		return false
	}
	for _, v := range m {
		s.ints = append(s.ints, v*f)
	}
	return true
}

func power(e int8) (int64, bool) {
	if e < 0 || e > 18 {
		return 0, false
	}
	p := int64(1)
	for range e {
		p *= 10
	}
	return p, true
}

// fits tells whether all m·f stay below 2^62, so that differences never overflow.
func fits(m []int64, f int64) bool {
	limit := int64(1<<62-1) / f
	for _, v := range m {
		if v > limit || v < -limit {
			return false
		}
	}
	return true
}

// finite tells whether every value is a number.
func finite(x []float64) int {
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return i
		}
	}
	return -1
}
