package tables

import (
	"fmt"
	"io"
	"strings"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/schema"
)

// Read reads back a table that Write or a SampleWriter made.
func Read(r io.ReaderAt, size int64) (t Table, err error) {
	register()
	defer recoverInto(&err, "reading a Parquet table")
	pf, err := file.NewParquetReader(io.NewSectionReader(r, 0, size))
	if err != nil {
		return Table{}, fmt.Errorf("reading a Parquet table: %w", err)
	}
	defer pf.Close()
	meta := pf.MetaData().KeyValueMetadata()
	text := func(key string) string {
		if v := meta.FindValue(key); v != nil {
			return *v
		}
		return ""
	}
	t = Table{Name: text("table"), Doc: text("doc")}
	known := map[string]bool{"table": true, "doc": true}
	sc := pf.MetaData().Schema
	for i := range sc.NumColumns() {
		d := sc.Column(i)
		c := Column{Name: d.Name(), Nullable: d.MaxDefinitionLevel() > 0, Unit: text("column." + d.Name() + ".unit"), Doc: text("column." + d.Name() + ".doc")}
		known["column."+c.Name+".unit"], known["column."+c.Name+".doc"] = true, true
		if c.Type, c.Decimals, err = typeOf(d); err != nil {
			return Table{}, err
		}
		for g := range pf.NumRowGroups() {
			if err := readChunk(&c, pf.RowGroup(g), i); err != nil {
				return Table{}, fmt.Errorf("reading column %s: %w", c.Name, err)
			}
		}
		t.Columns = append(t.Columns, c)
	}
	for i, k := range meta.Keys() {
		if !known[k] {
			t.Extra = append(t.Extra, [2]string{k, strings.Clone(meta.Values()[i])})
		}
	}
	return t, nil
}

func typeOf(d *schema.Column) (Type, int, error) {
	if d.MaxRepetitionLevel() > 0 || d.MaxDefinitionLevel() > 1 {
		return 0, 0, fmt.Errorf("column %s is nested; want plain columns", d.Path())
	}
	switch d.PhysicalType() {
	case parquet.Types.Double:
		return Float64, 0, nil
	case parquet.Types.Int64:
		if dec, ok := d.LogicalType().(*schema.DecimalLogicalType); ok {
			return Int64, int(dec.Scale()), nil
		}
		return Int64, 0, nil
	case parquet.Types.Boolean:
		return Bool, 0, nil
	case parquet.Types.ByteArray:
		return String, 0, nil
	default:
		return 0, 0, fmt.Errorf("column %s is of type %s; want double, int64, boolean or text", d.Name(), d.PhysicalType())
	}
}

// readChunk appends one row group's part of a column.
func readChunk(c *Column, g *file.RowGroupReader, i int) error {
	cr, err := g.Column(i)
	if err != nil {
		return err
	}
	switch r := cr.(type) {
	case *file.Float64ColumnChunkReader:
		return readAll(c, &c.Floats, g.NumRows(), r.ReadBatch)
	case *file.Int64ColumnChunkReader:
		return readAll(c, &c.Ints, g.NumRows(), r.ReadBatch)
	case *file.BooleanColumnChunkReader:
		return readAll(c, &c.Bools, g.NumRows(), r.ReadBatch)
	case *file.ByteArrayColumnChunkReader:
		var texts []parquet.ByteArray
		// Texts are views into a page, so they are copied before the next is read.
		return readAll(c, &texts, g.NumRows(), func(n int64, values []parquet.ByteArray, def, rep []int16) (int64, int, error) {
			total, read, err := r.ReadBatch(n, values, def, rep)
			next := 0
			for row := range int(total) {
				s := ""
				if def == nil || def[row] == 1 {
					s = string(values[next])
					next++
				}
				c.Strings = append(c.Strings, s)
			}
			return total, read, err
		})
	}
	return fmt.Errorf("no reader for %T", cr)
}

// readAll reads rows values of a chunk, gaps filled with zeros, and their validity.
func readAll[T any](c *Column, out *[]T, rows int64, read func(int64, []T, []int16, []int16) (int64, int, error)) error {
	const batch = 4096
	values := make([]T, batch)
	var def []int16
	if c.Nullable {
		def = make([]int16, batch)
	}
	for rows > 0 {
		total, n, err := read(min(batch, rows), values, def, nil)
		if err != nil {
			return err
		}
		if total == 0 {
			return fmt.Errorf("%d rows missing", rows)
		}
		rows -= total
		if !c.Nullable {
			*out = append(*out, values[:n]...)
			continue
		}
		next := 0
		for _, d := range def[:total] {
			var v T
			if d == 1 {
				v = values[next]
				next++
			}
			*out = append(*out, v)
			c.Valid = append(c.Valid, d == 1)
		}
	}
	return nil
}
