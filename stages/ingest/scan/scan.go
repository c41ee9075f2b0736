package scan

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// Column asks for one column of a recording.
type Column struct {
	// Name is the channel's ("torque"); errors use it where a file has no header.
	Name string
	// Header is the column's header, or empty and Index is its number from 1.
	Header string
	Index  int
}

// Limits bound what one file may ask of the reader.
type Limits struct {
	// LineBytes is the longest line, its end not counted.
	LineBytes int
	// Columns is the largest number of cells in a line.
	Columns int
	// BlockRows is the number of rows in a block.
	BlockRows int
	// Growth is the largest ratio of decompressed to compressed bytes once
	// GrowthFree bytes came out. Text of a logger shrinks 3 to 20 times.
	Growth, GrowthFree int64
}

// DefaultLimits are far above what loggers write.
func DefaultLimits() Limits {
	return Limits{LineBytes: 1 << 20, Columns: 10_000, BlockRows: 4096, Growth: 250, GrowthFree: 64 << 20}
}

// Stream is one recording, its head read and its rows still to come.
type Stream struct {
	// File is the display name, as errors give it.
	File string
	// Headers are the header cells, trimmed; nil without a header row.
	Headers []string
	// HeaderLine is the header's line, 0 without.
	HeaderLine int
	// Found[k] is the number, from 1, of the file's column that wanted column k is.
	Found []int
	// Fields[k] names wanted column k in errors: its header, else "column 3 (torque)".
	Fields []string
	// Units[k] is wanted column k's cell of the first unit row, trimmed; nil without unit rows.
	Units    []string
	UnitLine int
	// Blocks yields the wanted columns, in the order asked for. It can be walked once.
	Blocks series.Blocks
	// Cut tells, once Blocks has ended, what was left out of a recording that
	// breaks off in the middle; nil when nothing was.
	Cut func() *Cut
}

// Cut is the end of a recording that broke off while it was written.
type Cut struct {
	// Line is the last, incomplete line; or the line after the last one read, where a
	// compressed stream breaks off.
	Line   int
	Reason string
}

// Text reads the head of a recording written as text, plain or compressed
// with gzip or zstd, and prepares its rows. name is what errors call the file. Errors
// are *positioned.Error: an empty file, UTF-16, a header or column missing, and what
// the reader behind r gives. It panics on limits or a dialect that are not
// usable (a delimiter of more than one byte): both come from this program.
func Text(r io.Reader, name string, d spin.Dialect, cols []Column, lim Limits) (*Stream, error) {
	s, err := newScanner(r, name, d, cols, lim)
	if err != nil {
		return nil, err
	}
	return s.out, nil
}

func newScanner(r io.Reader, name string, d spin.Dialect, cols []Column, lim Limits) (*scanner, error) {
	if len(d.Delimiter) != 1 || (d.Decimal != "." && d.Decimal != ",") || lim.BlockRows < 1 || lim.LineBytes < 1 {
		panic(fmt.Sprintf("scan: Text: dialect %+v, limits %+v", d, lim))
	}
	plain, err := decompress(r, lim)
	if err != nil {
		return nil, readFault(name, 0, err)
	}
	s := &scanner{
		lines: newLines(plain, name, lim.LineBytes), lim: lim, dialect: d,
		delim: d.Delimiter[0], point: d.Decimal[0], spaces: d.Delimiter == " ",
		cols: make([]column, len(cols)),
		out:  &Stream{File: name},
	}
	if e := s.head(cols); e != nil {
		return nil, e
	}
	s.out.Blocks = s.blocks
	s.out.Cut = func() *Cut { return s.cut }
	return s, nil
}

// scanner is the state of one pass over a file.
type scanner struct {
	*lines
	lim     Limits
	dialect spin.Dialect
	delim   byte
	point   byte
	spaces  bool
	out     *Stream
	// width is the number of cells of every row, 0 until the first row of a
	// file without header.
	width int
	// pending is a first row already read while its width was found.
	pending []byte
	pendNL  bool
	// cols are in the order asked for; order sorts them by place in the file.
	cols   []column
	order  []int
	layout layout
	cut    *Cut
	rows   int
	// scratch is where quoted cells of the general path go.
	scratch []byte
}

// readFault places an error of the reader behind the text.
func readFault(file string, line int, err error) *positioned.Error {
	e := &positioned.Error{File: file, Line: line, Got: "a read error: " + err.Error(), Want: "a readable file"}
	switch {
	case errors.Is(err, errBomb):
		e.Got, e.Want = "a compressed file that grows without end", "a recording that grows less than 250 times when decompressed"
	case errors.Is(err, io.ErrUnexpectedEOF):
		e.Got, e.Want = "a compressed file that breaks off before its first row", "a whole file"
	}
	return e
}

// data gives the next line that is neither blank nor a comment.
func (s *scanner) data() (line []byte, newline, ok bool, err *positioned.Error) {
	for {
		line, newline, ok, err = s.next()
		if !ok || err != nil {
			return nil, false, false, err
		}
		if len(line) > 0 && line[0] > ' ' {
			if c := s.dialect.Comment; c == "" || line[0] != c[0] || !bytes.HasPrefix(line, []byte(c)) {
				return line, newline, true, nil
			}
			continue
		}
		trimmed := bytes.TrimLeft(line, " \t")
		if len(trimmed) == 0 {
			continue
		}
		if c := s.dialect.Comment; c != "" && bytes.HasPrefix(trimmed, []byte(c)) {
			continue
		}
		return line, newline, true, nil
	}
}
