package scan

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"spinledger/stages/kit/positioned"
)

// head reads everything before the first row and finds the wanted columns.
func (s *scanner) head(cols []Column) error {
	if err := s.start(); err != nil {
		return err
	}
	for range s.dialect.SkipLines {
		if _, _, ok, err := s.next(); err != nil {
			return err
		} else if !ok {
			return s.ended(fmt.Sprintf("a file of %d lines", s.line), fmt.Sprintf("more than the %d lines to skip", s.dialect.SkipLines))
		}
	}
	line, newline, ok, err := s.data()
	if err != nil {
		return err
	}
	if !ok {
		want := "a header row and rows of numbers"
		if s.dialect.HeaderRows == 0 {
			want = "rows of numbers"
		}
		return s.ended("no rows at all", want)
	}
	if s.dialect.HeaderRows == 0 {
		if s.width, err = s.count(line); err != nil {
			return err
		}
		s.pending, s.pendNL = line, newline
		if err := s.find(cols); err != nil {
			return err
		}
		return nil
	}
	if err := s.header(line); err != nil {
		return err
	}
	if err := s.find(cols); err != nil {
		return err
	}
	return s.unitRows()
}

// start refuses an empty file and UTF-16, and passes over a byte order mark.
func (s *scanner) start() error {
	for s.end < 3 && !s.done {
		s.fill()
	}
	first := s.buf[:s.end]
	switch {
	case len(first) == 0 && s.stop != nil:
		return readFault(s.file, 0, s.stop)
	case len(first) == 0:
		return &positioned.Error{File: s.file, Got: "an empty file", Want: "a recording"}
	case bytes.HasPrefix(first, []byte{0xff, 0xfe}) || bytes.HasPrefix(first, []byte{0xfe, 0xff}):
		return &positioned.Error{File: s.file, Line: 1, Got: "UTF-16 text", Want: "UTF-8 or ASCII text", Hint: "save the file as UTF-8"}
	case IsParquet(first) || bytes.HasPrefix(first, []byte("PAR")):
		return &positioned.Error{File: s.file, Got: "a Parquet file", Want: "text", Hint: "name the file *.parquet"}
	case bytes.HasPrefix(first, []byte("\xef\xbb\xbf")):
		s.lines.start = 3
	}
	return nil
}

// ended is the fault of a file that has no rows.
func (s *scanner) ended(got, want string) error {
	if s.stop != nil {
		return readFault(s.file, s.line, s.stop)
	}
	return &positioned.Error{File: s.file, Line: max(s.line, 1), Got: got, Want: want}
}

// header takes the names, and notices a row of numbers in their place.
func (s *scanner) header(line []byte) error {
	s.out.HeaderLine = s.line
	numbers, cells := 0, 0
	for pos := 0; pos >= 0; {
		text, next, err := s.cell(line, pos)
		if err != nil {
			return err
		}
		if cells++; cells > s.lim.Columns {
			return s.tooWide()
		}
		if len(text) > 0 {
			if _, fault := parse(text, s.point); fault == nil {
				numbers++
			}
		}
		s.out.Headers = append(s.out.Headers, string(text))
		pos = next
	}
	if n := len(s.out.Headers); n > 1 && s.out.Headers[n-1] == "" {
		s.out.Headers = s.out.Headers[:n-1]
	}
	s.width = len(s.out.Headers)
	if numbers > 0 && numbers == len(s.out.Headers) {
		return &positioned.Error{File: s.file, Line: s.line, Got: "a row of numbers, " + quote(line), Want: "a header row",
			Hint: "set the dialect's header_rows to 0 and give columns by number where the file has none"}
	}
	return nil
}

func (s *scanner) tooWide() *positioned.Error {
	return &positioned.Error{File: s.file, Line: s.line, Got: fmt.Sprintf("more than %d columns", s.lim.Columns), Want: "a table of a few channels"}
}

// count is the number of cells in a row without header, an empty last one left out.
func (s *scanner) count(line []byte) (int, *positioned.Error) {
	n, last := 0, 0
	for pos := 0; pos >= 0; {
		text, next, err := s.cell(line, pos)
		if err != nil {
			return 0, err
		}
		if n++; n > s.lim.Columns {
			return 0, s.tooWide()
		}
		last, pos = len(text), next
	}
	if n > 1 && last == 0 {
		n--
	}
	return n, nil
}

// find places every wanted column; all that are missing are reported together.
func (s *scanner) find(cols []Column) error {
	var faults positioned.List
	for _, c := range cols {
		at, err := s.place(c)
		if err != nil {
			faults.Add(err)
			s.out.Found = append(s.out.Found, 0)
			s.out.Fields = append(s.out.Fields, c.Name)
			continue
		}
		if twin := slices.Index(s.out.Found, at); twin >= 0 {
			faults.Add(&positioned.Error{File: s.file, Line: s.line, Field: c.Name,
				Got: fmt.Sprintf("column %d, which is %s already", at, cols[twin].Name), Want: "a column of its own"})
		}
		s.out.Found = append(s.out.Found, at)
		field := fmt.Sprintf("column %d (%s)", at, c.Name)
		if s.out.Headers != nil && s.out.Headers[at-1] != "" {
			field = s.out.Headers[at-1]
		}
		s.out.Fields = append(s.out.Fields, field)
	}
	if err := faults.Err(); err != nil {
		return err
	}
	for k := range s.cols {
		s.cols[k].man = make([]int64, s.lim.BlockRows)
		s.order = append(s.order, k)
	}
	slices.SortStableFunc(s.order, func(a, b int) int { return cmp.Compare(s.out.Found[a], s.out.Found[b]) })
	s.layout = s.newLayout()
	return nil
}

func (s *scanner) place(c Column) (int, *positioned.Error) {
	if c.Header == "" {
		if c.Index >= 1 && c.Index <= s.width {
			return c.Index, nil
		}
		return 0, &positioned.Error{File: s.file, Line: s.line, Field: c.Name, Got: fmt.Sprintf("no column %d", c.Index),
			Want: fmt.Sprintf("a column from 1 to %d", s.width), Hint: s.hintDelimiter()}
	}
	at := slices.Index(s.out.Headers, c.Header)
	if at < 0 {
		e := &positioned.Error{File: s.file, Line: s.line, Field: c.Name, Got: fmt.Sprintf("no column %q", c.Header), Want: "one of " + s.listHeaders()}
		if s.out.Headers == nil {
			e.Want = "columns given by number, since the dialect has no header row"
		} else if near := Nearest(c.Header, s.out.Headers); near != "" {
			e.Hint = fmt.Sprintf("did you mean %q?", near)
		} else {
			e.Hint = s.hintDelimiter()
		}
		return 0, e
	}
	if again := slices.Index(s.out.Headers[at+1:], c.Header); again >= 0 {
		return 0, &positioned.Error{File: s.file, Line: s.line, Field: c.Name,
			Got:  fmt.Sprintf("two columns %q, %d and %d", c.Header, at+1, at+2+again),
			Want: "one", Hint: "give the column by its number"}
	}
	return at + 1, nil
}

// hintDelimiter says which other delimiter the header seems to have.
func (s *scanner) hintDelimiter() string {
	if s.width != 1 || len(s.out.Headers) != 1 {
		return ""
	}
	for _, d := range []struct{ sign, name string }{{";", "semicolon"}, {"\t", "tab"}, {",", "comma"}, {"|", "pipe"}} {
		if d.sign != s.dialect.Delimiter && strings.Contains(s.out.Headers[0], d.sign) {
			return "is the delimiter a " + d.name + "?"
		}
	}
	return ""
}

// listHeaders names at most a dozen headers.
func (s *scanner) listHeaders() string {
	const most = 12
	var names []string
	for i, h := range s.out.Headers {
		if i == most {
			return strings.Join(names, ", ") + fmt.Sprintf(" … (%d columns)", len(s.out.Headers))
		}
		names = append(names, strconv.Quote(h))
	}
	return strings.Join(names, ", ")
}

// unitRows keeps the wanted cells of the first unit row and passes over the others.
func (s *scanner) unitRows() error {
	for row := range s.dialect.UnitRows {
		line, _, ok, err := s.data()
		if err != nil {
			return err
		}
		if !ok {
			return s.ended("no unit row", fmt.Sprintf("%d of them after the header", s.dialect.UnitRows))
		}
		if row > 0 {
			continue
		}
		var cells []string
		for pos := 0; pos >= 0 && len(cells) < s.lim.Columns; {
			text, next, err := s.cell(line, pos)
			if err != nil {
				return err
			}
			cells = append(cells, string(text))
			pos = next
		}
		s.out.UnitLine = s.line
		s.out.Units = make([]string, len(s.out.Found))
		for k, at := range s.out.Found {
			if at <= len(cells) {
				s.out.Units[k] = cells[at-1]
			}
		}
	}
	return nil
}
