package tables

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/schema"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
)

// Recording opens a Parquet file as a recording: columns by name (or number),
// of type int32, int64 (plain or DECIMAL), float or double, null meaning missing. Line
// numbers are row numbers from 1. Errors are *positioned.Error; damaged files give
// one too, whatever arrow does with them.
func Recording(r io.ReaderAt, size int64, name string, cols []scan.Column, lim scan.Limits) (st *scan.Stream, err error) {
	register()
	defer damaged(&err, name)
	pf, e := file.NewParquetReader(io.NewSectionReader(r, 0, size))
	if e != nil {
		return nil, &positioned.Error{File: name, Got: "a damaged Parquet file: " + e.Error(), Want: "a whole one"}
	}
	p := &parquetRows{pf: pf, name: name, lim: lim, st: &scan.Stream{File: name}}
	if err := p.find(cols); err != nil {
		return nil, err
	}
	if pf.NumRows() == 0 {
		return nil, &positioned.Error{File: name, Got: "no rows", Want: "at least one row"}
	}
	p.st.Blocks = p.blocks
	p.st.Cut = func() *scan.Cut { return nil }
	return p.st, nil
}

// damaged turns a panic of the Parquet reader into an error about the file.
func damaged(err *error, name string) {
	if r := recover(); r != nil {
		*err = &positioned.Error{File: name, Got: fmt.Sprintf("a damaged Parquet file: %v", r), Want: "a whole one"}
	}
}

type parquetRows struct {
	pf   *file.Reader
	name string
	lim  scan.Limits
	st   *scan.Stream
	// at[k] is the index of wanted column k.
	at []int
}

// find places the wanted columns.
func (p *parquetRows) find(cols []scan.Column) error {
	sc := p.pf.MetaData().Schema
	if sc.NumColumns() > p.lim.Columns {
		return &positioned.Error{File: p.name, Got: fmt.Sprintf("%d columns", sc.NumColumns()), Want: fmt.Sprintf("at most %d", p.lim.Columns)}
	}
	for i := range sc.NumColumns() {
		p.st.Headers = append(p.st.Headers, strings.Join(sc.Column(i).ColumnPath(), "."))
	}
	var faults positioned.List
	for _, c := range cols {
		i := c.Index - 1
		if c.Header != "" {
			i = slices.Index(p.st.Headers, c.Header)
		}
		switch {
		case i < 0 || i >= sc.NumColumns():
			e := &positioned.Error{File: p.name, Field: c.Name, Got: fmt.Sprintf("no column %q", c.Header), Want: "one of " + quoted(p.st.Headers)}
			if c.Header == "" {
				e.Got, e.Want = fmt.Sprintf("no column %d", c.Index), fmt.Sprintf("a column from 1 to %d", sc.NumColumns())
			} else if near := scan.Nearest(c.Header, p.st.Headers); near != "" {
				e.Hint = fmt.Sprintf("did you mean %q?", near)
			}
			faults.Add(e)
			continue
		case slices.Contains(p.at, i):
			faults.Add(&positioned.Error{File: p.name, Field: c.Name, Got: fmt.Sprintf("column %q, which is another channel already", p.st.Headers[i]), Want: "a column of its own"})
		}
		if err := numeric(sc.Column(i)); err != "" {
			faults.Add(&positioned.Error{File: p.name, Field: p.st.Headers[i], Got: err, Want: "a column of int32, int64, float or double"})
		}
		p.at = append(p.at, i)
		p.st.Found = append(p.st.Found, i+1)
		p.st.Fields = append(p.st.Fields, p.st.Headers[i])
	}
	return faults.Err()
}

func quoted(names []string) string {
	const most = 12
	var out []string
	for i, n := range names {
		if i == most {
			return strings.Join(out, ", ") + fmt.Sprintf(" … (%d columns)", len(names))
		}
		out = append(out, strconv.Quote(n))
	}
	return strings.Join(out, ", ")
}

// numeric says what is wrong with a column's type, or nothing.
func numeric(d *schema.Column) string {
	if d.MaxRepetitionLevel() > 0 || d.MaxDefinitionLevel() > 1 {
		return "a nested column"
	}
	switch d.PhysicalType() {
	case parquet.Types.Int32, parquet.Types.Int64, parquet.Types.Float, parquet.Types.Double:
		return ""
	}
	return "a column of type " + strings.ToLower(d.PhysicalType().String())
}

// blocks walks the rows; it is Stream.Blocks.
func (p *parquetRows) blocks(yield func(*series.Block, error) bool) {
	row := 1
	for g := range p.pf.NumRowGroups() {
		more, err := p.group(g, &row, yield)
		if err != nil {
			yield(nil, err)
			return
		}
		if !more {
			return
		}
	}
}

// group walks one row group.
func (p *parquetRows) group(g int, row *int, yield func(*series.Block, error) bool) (more bool, err error) {
	// A consumer's panic is its own: only reading is guarded.
	readers, left, err := p.open(g)
	if err != nil {
		return false, err
	}
	for left > 0 {
		n := int(min(int64(p.lim.BlockRows), left))
		b, err := p.block(readers, n, *row)
		if err != nil {
			return false, err
		}
		if !yield(b, nil) {
			return false, nil
		}
		*row += n
		left -= int64(n)
	}
	return true, nil
}

// chunk reads one column of a row group as a block's column.
type chunk struct {
	reader   file.ColumnChunkReader
	nullable bool
	exponent int8
}

func (p *parquetRows) open(g int) (out []chunk, rows int64, err error) {
	defer damaged(&err, p.name)
	group := p.pf.RowGroup(g)
	for _, i := range p.at {
		d := p.pf.MetaData().Schema.Column(i)
		meta, err := group.MetaData().ColumnChunk(i)
		if err != nil {
			return nil, 0, &positioned.Error{File: p.name, Field: d.Name(), Got: "a damaged Parquet file: " + err.Error(), Want: "a whole one"}
		}
		if size := meta.TotalUncompressedSize(); size > p.lim.GrowthFree && size > p.lim.Growth*meta.TotalCompressedSize() {
			return nil, 0, &positioned.Error{File: p.name, Field: d.Name(), Got: "a compressed column that grows without end",
				Want: fmt.Sprintf("one that grows less than %d times when decompressed", p.lim.Growth)}
		}
		r, err := group.Column(i)
		if err != nil {
			return nil, 0, &positioned.Error{File: p.name, Field: d.Name(), Got: "a damaged Parquet file: " + err.Error(), Want: "a whole one"}
		}
		c := chunk{reader: r, nullable: d.MaxDefinitionLevel() > 0}
		if dec, ok := d.LogicalType().(*schema.DecimalLogicalType); ok && dec.Scale() >= 0 && dec.Scale() <= 18 {
			c.exponent = int8(-dec.Scale())
		}
		out = append(out, c)
	}
	return out, group.NumRows(), nil
}

// block reads n rows of every wanted column.
func (p *parquetRows) block(readers []chunk, n, row int) (b *series.Block, err error) {
	defer damaged(&err, p.name)
	k := len(readers)
	b = &series.Block{FirstLine: row, Rows: n, Mantissa: make([][]int64, k), Exponent: make([]int8, k), Floats: make([][]float64, k), Missing: make([][]bool, k)}
	for i, c := range readers {
		field := p.st.Fields[i]
		var e error
		switch r := c.reader.(type) {
		case *file.Int32ColumnChunkReader:
			var v []int32
			v, b.Missing[i], e = readRows(n, c.nullable, r.ReadBatch)
			b.Mantissa[i] = make([]int64, len(v))
			for j, x := range v {
				b.Mantissa[i][j] = int64(x)
			}
		case *file.Int64ColumnChunkReader:
			b.Mantissa[i], b.Missing[i], e = readRows(n, c.nullable, r.ReadBatch)
		case *file.Float32ColumnChunkReader:
			var v []float32
			v, b.Missing[i], e = readRows(n, c.nullable, r.ReadBatch)
			b.Floats[i] = make([]float64, len(v))
			for j, x := range v {
				b.Floats[i][j] = float64(x)
			}
		case *file.Float64ColumnChunkReader:
			b.Floats[i], b.Missing[i], e = readRows(n, c.nullable, r.ReadBatch)
		}
		if e != nil {
			return nil, &positioned.Error{File: p.name, Line: row, Field: field, Got: "a damaged Parquet file: " + e.Error(), Want: "a whole one"}
		}
		b.Exponent[i] = c.exponent
		for j, v := range b.Floats[i] {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, &positioned.Error{File: p.name, Line: row + j, Field: field, Got: fmt.Sprint(v), Want: "a number",
					Hint: "leave the cell null where a value is missing"}
			}
		}
	}
	return b, nil
}

// readRows reads n rows of a chunk: values with zeros for nulls, and flags where there are any.
func readRows[T any](n int, nullable bool, read func(int64, []T, []int16, []int16) (int64, int, error)) (out []T, missing []bool, err error) {
	out = make([]T, n)
	values := make([]T, n)
	var def []int16
	if nullable {
		def = make([]int16, n)
	}
	for done := 0; done < n; {
		total, got, err := read(int64(n-done), values, def, nil)
		if err != nil {
			return nil, nil, err
		}
		if total == 0 {
			return nil, nil, fmt.Errorf("%d rows missing", n-done)
		}
		if !nullable {
			copy(out[done:], values[:got])
			done += int(total)
			continue
		}
		next := 0
		for j, d := range def[:total] {
			if d == 1 {
				out[done+j] = values[next]
				next++
				continue
			}
			if missing == nil {
				missing = make([]bool, n)
			}
			missing[done+j] = true
		}
		done += int(total)
	}
	return out, missing, nil
}
