package tables

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"github.com/apache/arrow/go/v17/parquet/schema"
)

// Type is a column's type.
type Type int

// The types: IEEE 754 double, 64-bit signed, UTF-8, truth value.
const (
	Float64 Type = iota
	Int64
	String
	Bool
)

// String names the type as the documentation does.
func (t Type) String() string { return [...]string{"float64", "int64", "string", "bool"}[t] }

// Column is one column. Of the four slices the one of its type is used.
type Column struct {
	Name string
	// Unit as shown to people ("N·m", "1"); empty for texts.
	Unit string
	// Doc says in a line what the column means.
	Doc     string
	Type    Type
	Floats  []float64
	Ints    []int64
	Strings []string
	Bools   []bool
	// Decimals of an integer column: the value is Ints × 10^−Decimals.
	Decimals int
	// Nullable columns may have gaps; Valid, one flag a row, is nil where none has.
	Nullable bool
	Valid    []bool
}

// Len is the number of rows of the column.
func (c *Column) Len() int {
	switch c.Type {
	case Float64:
		return len(c.Floats)
	case Int64:
		return len(c.Ints)
	case String:
		return len(c.Strings)
	default:
		return len(c.Bools)
	}
}

// Table is a table in memory, or one that is made while it is written.
type Table struct {
	Name    string
	Doc     string
	Columns []Column
	// Extra is further metadata, pairs of key and text, in order.
	Extra [][2]string
	// Later, where it is set, makes the columns for rows from ≤ i < to, of Length in all, when they are
	// written: of a table too long to be held whole. Columns then tell names and types, and have no values.
	Later  func(from, to int) []Column
	Length int
}

// Whole is the table with all its values in memory.
func (t Table) Whole() Table {
	if t.Later != nil {
		t.Columns, t.Later = t.Later(0, t.Length), nil
	}
	return t
}

// Rows is the number of rows.
func (t *Table) Rows() int {
	if t.Later != nil {
		return t.Length
	}
	if len(t.Columns) == 0 {
		return 0
	}
	return t.Columns[0].Len()
}

// createdBy stands in every file in place of the library's own line, so that
// an update of the library alone changes no bytes.
const createdBy = "spinledger tables 1"

// Rows of a row group and bytes of a page. 64 Ki rows of eight columns are
// 4 MB in memory.
const (
	groupRows = 64 << 10
	pageBytes = 1 << 20
)

func properties(encodings ...parquet.WriterProperty) *parquet.WriterProperties {
	return parquet.NewWriterProperties(append([]parquet.WriterProperty{
		parquet.WithCreatedBy(createdBy), parquet.WithVersion(parquet.V2_6), parquet.WithDataPageVersion(parquet.DataPageV1),
		parquet.WithDataPageSize(pageBytes), parquet.WithMaxRowGroupLength(groupRows), parquet.WithBatchSize(1024),
		parquet.WithDictionaryPageSizeLimit(pageBytes), parquet.WithDictionaryDefault(false), parquet.WithStats(true),
		parquet.WithCompression(compress.Codecs.Zstd), parquet.WithRootName("schema"),
		parquet.WithRootRepetition(parquet.Repetitions.Required),
	}, encodings...)...)
}

// node is the schema of one column.
func (c *Column) node() (schema.Node, error) {
	rep := parquet.Repetitions.Required
	if c.Nullable {
		rep = parquet.Repetitions.Optional
	}
	var logical schema.LogicalType
	var physical parquet.Type
	switch c.Type {
	case Float64:
		physical = parquet.Types.Double
	case Int64:
		physical = parquet.Types.Int64
		if c.Decimals > 0 {
			logical = schema.NewDecimalLogicalType(18, int32(c.Decimals))
		}
	case String:
		physical, logical = parquet.Types.ByteArray, schema.StringLogicalType{}
	case Bool:
		physical = parquet.Types.Boolean
	}
	return schema.NewPrimitiveNodeLogical(c.Name, rep, logical, physical, -1, -1)
}

// encoding is the column's part of the writer properties.
func (c *Column) encoding() []parquet.WriterProperty {
	switch c.Type {
	case Int64:
		return []parquet.WriterProperty{parquet.WithEncodingFor(c.Name, parquet.Encodings.DeltaBinaryPacked)}
	case String:
		return []parquet.WriterProperty{parquet.WithDictionaryFor(c.Name, true)}
	default:
		return []parquet.WriterProperty{parquet.WithEncodingFor(c.Name, parquet.Encodings.Plain)}
	}
}

// writer opens a Parquet file with the given columns.
func writer(sink io.Writer, cols []Column, meta metadata.KeyValueMetadata) (*file.Writer, error) {
	var fields schema.FieldList
	var props []parquet.WriterProperty
	for i := range cols {
		n, err := cols[i].node()
		if err != nil {
			return nil, fmt.Errorf("tables: column %s: %w", cols[i].Name, err)
		}
		fields = append(fields, n)
		props = append(props, cols[i].encoding()...)
	}
	root, err := schema.NewGroupNode("schema", parquet.Repetitions.Required, fields, -1)
	if err != nil {
		return nil, fmt.Errorf("tables: %w", err)
	}
	return file.NewParquetWriter(sink, root, file.WithWriterProps(properties(props...)), file.WithWriteMetadata(meta)), nil
}

// Write writes the table as one Parquet file. Errors of w come back whole,
// those too that arrow loses. It refuses columns of unequal length, names
// given twice, and NaN or infinity in any row that is valid: all are faults of this program.
func Write(w io.Writer, t Table) (err error) {
	register()
	if t.Later == nil {
		if err := t.validate(0); err != nil {
			return err
		}
	}
	s := &sink{w: w}
	defer recoverInto(&err, "writing table "+t.Name)
	meta := metadata.NewKeyValueMetadata()
	add := func(key, text string) {
		if text != "" && err == nil {
			err = meta.Append(key, text)
		}
	}
	add("table", t.Name)
	add("doc", t.Doc)
	for _, c := range t.Columns {
		add("column."+c.Name+".unit", c.Unit)
		add("column."+c.Name+".doc", c.Doc)
	}
	for _, kv := range t.Extra {
		add(kv[0], kv[1])
	}
	if err != nil {
		return err
	}
	fw, err := writer(s, t.Columns, meta)
	if err != nil {
		return err
	}
	for from := 0; from < t.Rows() && s.err == nil; from += groupRows {
		to := min(from+groupRows, t.Rows())
		if t.Later == nil {
			err = writeGroup(fw, t.Columns, from, to)
		} else {
			part := Table{Name: t.Name, Columns: t.Later(from, to)}
			if err = part.validate(from); err == nil {
				err = writeGroup(fw, part.Columns, 0, to-from)
			}
		}
		if err != nil {
			return s.first(err)
		}
	}
	return s.first(fw.Close())
}

// writeGroup writes rows from ≤ i < to as a row group.
func writeGroup(fw *file.Writer, cols []Column, from, to int) error {
	group := fw.AppendRowGroup()
	for i := range cols {
		cw, err := group.NextColumn()
		if err != nil {
			return err
		}
		if err := writeColumn(cw, &cols[i], from, to); err != nil {
			return err
		}
		if err := cw.Close(); err != nil {
			return err
		}
	}
	return group.Close()
}

func writeColumn(cw file.ColumnChunkWriter, c *Column, from, to int) error {
	var levels []int16
	valid := func(i int) bool { return c.Valid == nil || c.Valid[i] }
	if c.Nullable {
		levels = make([]int16, to-from)
		for i := range levels {
			if valid(from + i) {
				levels[i] = 1
			}
		}
	}
	var err error
	switch w := cw.(type) {
	case *file.Float64ColumnChunkWriter:
		_, err = w.WriteBatch(present(c.Floats[from:to], levels), levels, nil)
	case *file.Int64ColumnChunkWriter:
		_, err = w.WriteBatch(present(c.Ints[from:to], levels), levels, nil)
	case *file.BooleanColumnChunkWriter:
		_, err = w.WriteBatch(present(c.Bools[from:to], levels), levels, nil)
	case *file.ByteArrayColumnChunkWriter:
		texts := make([]parquet.ByteArray, to-from)
		for i, s := range c.Strings[from:to] {
			texts[i] = parquet.ByteArray(s)
		}
		_, err = w.WriteBatch(present(texts, levels), levels, nil)
	default:
		err = fmt.Errorf("tables: column %s: no writer for %T", c.Name, cw)
	}
	return err
}

// present keeps the values whose level is 1; all of them where there are no levels.
func present[T any](values []T, levels []int16) []T {
	if levels == nil {
		return values
	}
	out := make([]T, 0, len(values))
	for i, l := range levels {
		if l == 1 {
			out = append(out, values[i])
		}
	}
	return out
}

// validate checks what Write refuses; first is the number of the first row in the whole table.
func (t *Table) validate(first int) error {
	seen := map[string]bool{}
	for i := range t.Columns {
		c := &t.Columns[i]
		switch {
		case c.Name == "" || seen[c.Name]:
			return fmt.Errorf("tables: table %s: column name %q empty or given twice", t.Name, c.Name)
		case c.Len() != t.Rows():
			return fmt.Errorf("tables: table %s: column %s has %d rows, the first has %d", t.Name, c.Name, c.Len(), t.Rows())
		case c.Valid != nil && (len(c.Valid) != c.Len() || !c.Nullable):
			return fmt.Errorf("tables: table %s: column %s: flags of validity do not fit", t.Name, c.Name)
		case c.Decimals < 0 || c.Decimals > 18 || (c.Decimals > 0 && c.Type != Int64):
			return fmt.Errorf("tables: table %s: column %s: %d decimals", t.Name, c.Name, c.Decimals)
		}
		seen[c.Name] = true
		for r, v := range c.Floats {
			if (c.Valid == nil || c.Valid[r]) && (math.IsNaN(v) || math.IsInf(v, 0)) {
				return fmt.Errorf("tables: table %s: column %s, row %d: %v is no result", t.Name, c.Name, first+r, v)
			}
		}
	}
	return nil
}

// Text is one cell as text, numbers to the last bit; a gap is "gap".
func (c *Column) Text(row int) string {
	if c.Valid != nil && !c.Valid[row] {
		return "gap"
	}
	switch c.Type {
	case Float64:
		return strconv.FormatFloat(c.Floats[row], 'g', -1, 64)
	case Int64:
		return strconv.FormatInt(c.Ints[row], 10)
	case String:
		return c.Strings[row]
	default:
		return strconv.FormatBool(c.Bools[row])
	}
}
