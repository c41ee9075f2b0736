package tables

import (
	"fmt"
	"io"
	"strconv"

	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/series"
)

// SampleColumn describes one channel of a samples table.
type SampleColumn struct {
	// Name of the channel ("torque"), Header of the file's column, empty if it has none.
	Name, Header string
	// Unit as logged; (value − Offset) × Factor is SI.
	Unit           string
	Factor, Offset float64
}

// SampleInfo describes a samples table.
type SampleInfo struct {
	// Recording is the id of the recording, File the name of its file as the job gives it.
	Recording, File string
	Columns         []SampleColumn
}

// SampleWriter writes what a logger wrote, digit by digit, while it passes by:
// 12.50 stays the integer 1250 in a column DECIMAL(18, 2). Columns:
//
//	line       int64          line of the file that the row stands on
//	<channel>  decimal or int64, in the logger's unit; double where numbers
//	           do not fit 18 digits
//	<channel>_double   only in recordings of more than 65536 rows, and nearly
//	           always null: the value where a later number does not fit the column's
//	           decimals, which are fixed once the first 65536 rows are known
//
// The metadata of a channel besides unit: column.<name>.header, .factor and
// .offset, by which (value − offset) × factor is SI.
type SampleWriter struct {
	info SampleInfo
	sink *sink
	fw   *file.Writer
	cols []sampleColumn
	line []int64
	// long is set when the first row group was full: then columns may need their twins.
	long    bool
	closed  bool
	failure error
}

// sampleColumn collects a row group of one channel.
type sampleColumn struct {
	ints  []int64
	valid []bool
	// floats holds what does not fit; inFloats marks those rows.
	floats   []float64
	inFloats []bool
	anyFloat bool
	// decimals is −exponent of ints, fixed once the schema is written; decided says so.
	decimals int
	decided  bool
	// double: the whole column is of doubles.
	double bool
}

// NewSamples begins a samples table on w. Nothing is written before the first rows are known.
func NewSamples(w io.Writer, info SampleInfo) *SampleWriter {
	register()
	return &SampleWriter{info: info, sink: &sink{w: w}, cols: make([]sampleColumn, len(info.Columns))}
}

// Add writes one block.
func (s *SampleWriter) Add(b *series.Block) (err error) {
	defer recoverInto(&err, "writing samples of "+s.info.Recording)
	if len(b.Mantissa) != len(s.cols) {
		return fmt.Errorf("tables: samples of %s: block of %d columns, want %d", s.info.Recording, len(b.Mantissa), len(s.cols))
	}
	for from := 0; from < b.Rows; {
		to := min(b.Rows, from+groupRows-len(s.line))
		for i := from; i < to; i++ {
			line := b.FirstLine + i
			if b.Lines != nil {
				line = b.Lines[i]
			}
			s.line = append(s.line, int64(line))
		}
		for k := range s.cols {
			s.cols[k].add(b, k, from, to)
		}
		from = to
		if len(s.line) == groupRows {
			s.long = true
			if err := s.flush(); err != nil {
				return err
			}
		}
	}
	return s.sink.err
}

// add takes rows from ≤ i < to of a block's column k.
func (c *sampleColumn) add(b *series.Block, k, from, to int) {
	var missing []bool
	if b.Missing[k] != nil {
		missing = b.Missing[k][from:to]
	}
	for i := range to - from {
		c.valid = append(c.valid, missing == nil || !missing[i])
	}
	if b.Floats[k] != nil {
		c.addFloats(b.Floats[k][from:to])
		return
	}
	m := b.Mantissa[k][from:to]
	decimals := -int(b.Exponent[k])
	if !c.decided && decimals > c.decimals && scaled(c.ints, decimals-c.decimals) {
		c.decimals = decimals
	}
	at := len(c.ints)
	c.ints = append(c.ints, m...)
	by := c.decimals - decimals
	if by < 0 || c.double || !scaled(c.ints[at:], by) {
		for i, v := range m {
			c.ints[at+i] = 0
			c.setFloat(at+i, scan.Value(v, int8(-decimals)))
		}
	}
	c.pad()
}

func (c *sampleColumn) addFloats(v []float64) {
	at := len(c.ints)
	c.ints = append(c.ints, make([]int64, len(v))...)
	for i, x := range v {
		c.setFloat(at+i, x)
	}
	c.pad()
}

func (c *sampleColumn) setFloat(row int, v float64) {
	if !c.anyFloat {
		c.anyFloat = true
		c.floats, c.inFloats = c.floats[:0], c.inFloats[:0]
	}
	for len(c.floats) <= row {
		c.floats, c.inFloats = append(c.floats, 0), append(c.inFloats, false)
	}
	c.floats[row], c.inFloats[row] = v, true
}

// pad brings the float side to the length of the integers, once there is one.
func (c *sampleColumn) pad() {
	for c.anyFloat && len(c.floats) < len(c.ints) {
		c.floats, c.inFloats = append(c.floats, 0), append(c.inFloats, false)
	}
}

// scaled multiplies m by 10^by in place if all stay below 10^18.
func scaled(m []int64, by int) bool {
	if by == 0 {
		return true
	}
	if by > 18 {
		return false
	}
	f := int64(1)
	for range by {
		f *= 10
	}
	limit := int64(999_999_999_999_999_999) / f
	for _, v := range m {
		if v > limit || v < -limit {
			return false
		}
	}
	for i := range m {
		m[i] *= f
	}
	return true
}

// columns are the table's columns with the rows collected so far.
func (s *SampleWriter) columns() []Column {
	out := []Column{{Name: "line", Unit: "1", Doc: "line of the file that the row stands on", Type: Int64, Ints: s.line}}
	for k := range s.cols {
		c := &s.cols[k]
		info := s.info.Columns[k]
		col := Column{Name: info.Name, Unit: info.Unit, Doc: "as logged", Nullable: s.long || !all(c.valid)}
		if c.double {
			col.Type, col.Floats = Float64, make([]float64, len(c.ints))
			copy(col.Floats, c.floats)
			for i, m := range c.ints {
				if !c.anyFloat || !c.inFloats[i] {
					col.Floats[i] = scan.Value(m, int8(-c.decimals))
				}
			}
			if col.Nullable {
				col.Valid = c.valid
			}
			out = append(out, col)
			continue
		}
		col.Type, col.Ints, col.Decimals = Int64, c.ints, c.decimals
		if col.Nullable {
			col.Valid = c.valid
		}
		if !s.long {
			out = append(out, col)
			continue
		}
		twin := Column{Name: info.Name + "_double", Unit: info.Unit, Doc: "the value where it does not fit the decimals of " + info.Name, Type: Float64,
			Nullable: true, Floats: make([]float64, len(c.ints)), Valid: make([]bool, len(c.ints))}
		if c.anyFloat {
			both := make([]bool, len(c.ints))
			for i := range both {
				both[i] = c.valid[i] && !c.inFloats[i]
				twin.Floats[i], twin.Valid[i] = c.floats[i], c.valid[i] && c.inFloats[i]
			}
			col.Valid = both
		}
		out = append(out, col, twin)
	}
	return out
}

func all(v []bool) bool {
	for _, b := range v {
		if !b {
			return false
		}
	}
	return true
}

// flush writes the rows collected as a row group; the first time it settles the schema.
func (s *SampleWriter) flush() error {
	if s.fw == nil {
		for k := range s.cols {
			c := &s.cols[k]
			c.decided, c.double = true, c.anyFloat
		}
	}
	cols := s.columns()
	if s.fw == nil {
		meta, err := s.metadata(cols)
		if err != nil {
			return err
		}
		if s.fw, err = writer(s.sink, cols, meta); err != nil {
			return err
		}
	}
	if len(s.line) > 0 {
		if err := writeGroup(s.fw, cols, 0, len(s.line)); err != nil {
			return s.sink.first(err)
		}
	}
	s.line = s.line[:0]
	for k := range s.cols {
		c := &s.cols[k]
		c.ints, c.valid, c.floats, c.inFloats, c.anyFloat = c.ints[:0], c.valid[:0], c.floats[:0], c.inFloats[:0], false
	}
	return s.sink.err
}

func (s *SampleWriter) metadata(cols []Column) (metadata.KeyValueMetadata, error) {
	meta := metadata.NewKeyValueMetadata()
	pairs := [][2]string{{"table", "samples"}, {"doc", "what the logger wrote, in its own decimals and units"},
		{"recording", s.info.Recording}, {"file", s.info.File}}
	for _, c := range cols {
		pairs = append(pairs, [2]string{"column." + c.Name + ".unit", c.Unit}, [2]string{"column." + c.Name + ".doc", c.Doc})
	}
	for _, c := range s.info.Columns {
		number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
		pairs = append(pairs, [2]string{"column." + c.Name + ".header", c.Header}, [2]string{"column." + c.Name + ".factor", number(c.Factor)},
			[2]string{"column." + c.Name + ".offset", number(c.Offset)})
	}
	for _, p := range pairs {
		if p[1] == "" {
			continue
		}
		if err := meta.Append(p[0], p[1]); err != nil {
			return nil, fmt.Errorf("tables: metadata %s: %w", p[0], err)
		}
	}
	return meta, nil
}

// Close writes what is left and the footer, and gives the first error of all.
func (s *SampleWriter) Close() (err error) {
	if s.closed {
		return s.failure
	}
	s.closed = true
	defer func() { s.failure = err }()
	if s.failure != nil {
		return s.failure
	}
	defer recoverInto(&err, "writing samples of "+s.info.Recording)
	if len(s.line) > 0 || s.fw == nil {
		if err := s.flush(); err != nil {
			return err
		}
	}
	return s.sink.first(s.fw.Close())
}
