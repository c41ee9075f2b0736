package scan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
)

// blocks walks the rows; it is Stream.Blocks.
func (s *scanner) blocks(yield func(*series.Block, error) bool) {
	b := &block{s: s}
	for {
		more, err := b.fill()
		if err != nil {
			yield(nil, err)
			return
		}
		if b.rows > 0 && !yield(b.out(), nil) {
			return
		}
		if !more {
			break
		}
	}
	if s.rows == 0 {
		yield(nil, s.ended("no rows of numbers", "at least one row"))
	}
}

// block collects rows until it is full.
type block struct {
	s     *scanner
	rows  int
	first int
	// lines is used once rows and lines run out of step.
	lines  []int
	uneven bool
}

// fill reads one block; more is false at the end of the file.
func (b *block) fill() (more bool, err error) {
	s := b.s
	b.rows, b.uneven = 0, false
	for k := range s.cols {
		s.cols[k].reset()
	}
	for b.rows < s.lim.BlockRows {
		if s.pending == nil {
			if n := s.fast(b.rows); n > 0 {
				b.place(n)
				continue
			}
		}
		line, newline, ok, fault := s.nextRow()
		if fault != nil {
			return false, fault
		}
		if !ok {
			return false, s.finish()
		}
		if !newline && s.stop != nil {
			// What a broken stream left of its last line may still look like a number.
			return false, s.finish()
		}
		if fault := s.row(line, b.rows); fault != nil {
			if !newline && s.atEnd() && s.rows > 0 {
				s.cut = &Cut{Line: s.line, Reason: "an incomplete last line"}
				return false, s.finish()
			}
			return false, fault
		}
		if !newline && s.atEnd() && s.shortLastCell(line) {
			s.cut = &Cut{Line: s.line, Reason: "a last line without its end, its last number shorter than the others"}
			return false, s.finish()
		}
		b.place(1)
		s.rows++
	}
	return true, nil
}

// nextRow gives the row that head looked at, then the lines of the file.
func (s *scanner) nextRow() (line []byte, newline, ok bool, err *positioned.Error) {
	if s.pending != nil {
		line, newline = s.pending, s.pendNL
		s.pending = nil
		return line, newline, true, nil
	}
	return s.data()
}

// atEnd tells whether the stream has ended behind the line last given.
func (s *scanner) atEnd() bool { return s.done && s.lines.start == s.end }

// finish judges how the stream ended: a compressed file that breaks off is
// cut, other read errors are errors.
func (s *scanner) finish() error {
	switch {
	case s.stop == nil:
		return nil
	case errors.Is(s.stop, io.ErrUnexpectedEOF) && s.rows > 0:
		if s.cut == nil {
			s.cut = &Cut{Line: s.line}
		}
		s.cut.Reason = "a compressed file that breaks off"
		return nil
	default:
		return readFault(s.file, s.line+1, s.stop)
	}
}

// shortLastCell tells whether the row's very last cell has fewer decimals than
// its column had so far: a number that breaks off is still a number.
func (s *scanner) shortLastCell(line []byte) bool {
	if len(s.order) == 0 || s.rows == 0 {
		return false
	}
	k := s.order[len(s.order)-1]
	c := &s.cols[k]
	if s.out.Found[k] != s.width || c.floats != nil {
		return false
	}
	last := line[bytes.LastIndexByte(line, s.delim)+1:]
	if last = bytes.TrimSpace(last); len(last) == 0 {
		return false
	}
	v, fault := parse(last, s.point)
	return fault == nil && !v.isFloat && v.exponent > -c.decimals
}

// place adds n rows on successive lines, the last of them the line just read.
func (b *block) place(n int) {
	line := b.s.line - n + 1
	switch {
	case b.rows == 0:
		b.first = line
	case !b.uneven && line != b.first+b.rows:
		b.uneven = true
		b.lines = b.lines[:0]
		for r := range b.rows {
			b.lines = append(b.lines, b.first+r)
		}
	}
	for i := 0; b.uneven && i < n; i++ {
		b.lines = append(b.lines, line+i)
	}
	b.rows += n
}

// out is the block as consumers see it.
func (b *block) out() *series.Block {
	n := len(b.s.cols)
	out := &series.Block{FirstLine: b.first, Rows: b.rows, Mantissa: make([][]int64, n), Exponent: make([]int8, n),
		Floats: make([][]float64, n), Missing: make([][]bool, n)}
	if b.uneven {
		out.Lines = b.lines
	}
	for k := range b.s.cols {
		c := &b.s.cols[k]
		if c.floats != nil {
			out.Floats[k] = c.floats[:b.rows]
		} else {
			out.Mantissa[k] = c.man[:b.rows]
			out.Exponent[k] = int8(c.exp)
		}
		if c.anyMissing {
			out.Missing[k] = c.missing[:b.rows]
		}
	}
	return out
}

// row parses one line into row r of the block.
func (s *scanner) row(line []byte, r int) *positioned.Error {
	pos, at := 0, 1
	for _, k := range s.order {
		want := s.out.Found[k]
		for ; at < want; at++ {
			next, err := s.skip(line, pos)
			if err != nil {
				return err
			}
			if next < 0 {
				return s.ragged(at)
			}
			pos = next
		}
		next, err := s.slowNumber(line, pos, k, r)
		if err != nil {
			return err
		}
		pos, at = next, at+1
		if next < 0 {
			if k != s.order[len(s.order)-1] || at-1 < s.width {
				return s.ragged(at - 1)
			}
			s.layout.trailing = false
			return nil
		}
	}
	return s.rest(line, pos, at)
}

// rest counts the cells after the last wanted one; at is the number of the
// cell that starts at pos.
func (s *scanner) rest(line []byte, pos, at int) *positioned.Error {
	tail := line[pos:]
	var lastEmpty bool
	if !s.spaces && bytes.IndexByte(tail, '"') < 0 {
		n := bytes.Count(tail, []byte{s.delim})
		at += n
		if n > 0 {
			lastEmpty = len(bytes.TrimSpace(tail[bytes.LastIndexByte(tail, s.delim)+1:])) == 0
		} else {
			lastEmpty = len(bytes.TrimSpace(tail)) == 0
		}
	} else {
		for {
			text, next, err := s.cell(line, pos)
			if err != nil {
				return err
			}
			lastEmpty = len(text) == 0
			if next < 0 {
				break
			}
			pos, at = next, at+1
		}
	}
	switch {
	case at == s.width:
		s.layout.trailing = false
	case at == s.width+1 && lastEmpty:
		s.layout.trailing = true
	default:
		return s.ragged(at)
	}
	return nil
}

func (s *scanner) ragged(cells int) *positioned.Error {
	e := &positioned.Error{File: s.file, Line: s.line, Got: fmt.Sprintf("%d columns", cells), Want: fmt.Sprintf("%d, as the rows before", s.width)}
	if cells == 1 {
		e.Got = "1 column"
	}
	if s.out.Headers != nil {
		e.Want = fmt.Sprintf("%d, as the header on line %d", s.width, s.out.HeaderLine)
	}
	if s.delim == ',' && s.point == '.' && cells > s.width {
		e.Hint = "decimal commas or thousands separators among comma delimiters are not read"
	}
	return e
}

// number parses the cell at pos into column k, row r, and returns where the
// next cell starts, −1 behind the last.
func (s *scanner) slowNumber(line []byte, pos, k, r int) (int, *positioned.Error) {
	c := &s.cols[k]
	text, next, err := s.cell(line, pos)
	if err != nil {
		err.Field = s.out.Fields[k]
		return 0, err
	}
	if len(text) == 0 {
		c.miss(r, s.lim.BlockRows)
		return next, nil
	}
	v, fault := parse(text, s.point)
	if fault != nil {
		return 0, located(s.file, s.line, s.column(line, pos), s.out.Fields[k], text, fault)
	}
	c.set(r, v)
	if c.anyMissing {
		c.missing[r] = false
	}
	return next, nil
}

// column is the byte column, from 1, of the first byte of the cell at pos
// that is not padding.
func (s *scanner) column(line []byte, pos int) int {
	for pos < len(line)-1 && (line[pos] == ' ' || (line[pos] == '\t' && s.delim != '\t')) {
		pos++
	}
	return pos + 1
}

// skip passes over an unwanted cell.
func (s *scanner) skip(line []byte, pos int) (int, *positioned.Error) {
	if !s.spaces {
		i := pos
		for ; i < len(line) && line[i] != s.delim; i++ {
			if line[i] == '"' {
				break
			}
		}
		switch {
		case i == len(line):
			return -1, nil
		case line[i] == s.delim:
			return i + 1, nil
		}
	}
	_, next, err := s.cell(line, pos)
	return next, err
}

// cell is the general way to one cell: its text without padding and quotes,
// and where the next cell starts, −1 behind the last. The text is valid until
// the next call.
func (s *scanner) cell(line []byte, pos int) (text []byte, next int, err *positioned.Error) {
	padding := func(ch byte) bool { return ch == ' ' || (ch == '\t' && s.delim != '\t') }
	i := pos
	for i < len(line) && padding(line[i]) {
		i++
	}
	if i < len(line) && line[i] == '"' {
		return s.quoted(line, i)
	}
	stop := len(line)
	next = -1
	if j := bytes.IndexByte(line[i:], s.delim); j >= 0 {
		stop, next = i+j, i+j+1
	}
	text = line[i:stop]
	for len(text) > 0 && padding(text[len(text)-1]) {
		text = text[:len(text)-1]
	}
	return text, s.collapse(line, next), nil
}

// collapse passes over the rest of a run of delimiting spaces, and over
// spaces at the end of the line.
func (s *scanner) collapse(line []byte, next int) int {
	if !s.spaces || next < 0 {
		return next
	}
	for next < len(line) && line[next] == ' ' {
		next++
	}
	if next == len(line) {
		return -1
	}
	return next
}

// quoted reads a cell in quotes that start at i.
func (s *scanner) quoted(line []byte, i int) (text []byte, next int, err *positioned.Error) {
	open := i
	s.scratch = s.scratch[:0]
	for i++; ; i++ {
		if i >= len(line) {
			return nil, 0, &positioned.Error{File: s.file, Line: s.line, Col: open + 1, Got: "a quote that does not end on its line", Want: `a closing "`}
		}
		if line[i] != '"' {
			s.scratch = append(s.scratch, line[i])
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			s.scratch = append(s.scratch, '"')
			i++
			continue
		}
		break
	}
	i++
	for i < len(line) && line[i] != s.delim {
		if line[i] != ' ' && line[i] != '\t' {
			return nil, 0, &positioned.Error{File: s.file, Line: s.line, Col: i + 1, Got: "text after a closing quote", Want: fmt.Sprintf("the delimiter %q", s.dialect.Delimiter)}
		}
		i++
	}
	text = bytes.TrimSpace(slices.Clip(s.scratch))
	if i >= len(line) {
		return text, -1, nil
	}
	return text, s.collapse(line, i+1), nil
}
