package guess

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"spinledger/stages/kit/spin"
)

// Layout is how a text seems to be laid out.
type Layout struct {
	Dialect spin.Dialect
	// Headers and Units are the cells of the header and unit row, empty where there is none.
	Headers, Units []string
	// Columns are the numbers of the rows seen, column by column; a cell that is empty is left out.
	Columns [][]float64
	Notes   []Note
}

// maxPreamble is how many lines may stand before the first row of numbers.
const maxPreamble = 200

// Text finds the layout of the beginning of a text: delimiter, decimal mark,
// header, unit row, comments. The last line may be cut. It fails where no
// delimiter gives rows of at least two numbers.
func Text(head []byte) (Layout, error) {
	lines := split(head)
	best, score := Layout{}, 0
	for _, delimiter := range []string{"\t", ";", ",", "|", " "} {
		for _, decimal := range []string{".", ","} {
			if delimiter == "," && decimal == "," {
				continue
			}
			l, n := try(lines, delimiter, decimal)
			if n > score {
				best, score = l, n
			}
		}
	}
	if score == 0 {
		first := ""
		if len(lines) > 0 {
			first = lines[0]
		}
		return Layout{}, fmt.Errorf("no rows of numbers found with a tab, semicolon, comma, pipe or space between columns; the text begins %s", strconv.Quote(shorten(first)))
	}
	return best, nil
}

func shorten(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}

// split gives whole lines without their ends, without a byte order mark.
func split(head []byte) []string {
	head = bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))
	if end := bytes.LastIndexByte(head, '\n'); end >= 0 {
		head = head[:end]
	}
	lines := strings.Split(string(head), "\n")
	for i := range lines {
		lines[i] = strings.TrimSuffix(lines[i], "\r")
	}
	return lines
}

// try reads lines with one delimiter and decimal mark. The score is the number
// of numeric cells in the longest run of rows of one width.
func try(lines []string, delimiter, decimal string) (Layout, int) {
	first, width := -1, 0
	for i := 0; i < len(lines) && i <= maxPreamble; i++ {
		if n := numericCells(lines[i], delimiter, decimal); n >= 2 {
			// One row of numbers in a preamble is no table: the next must be like it.
			if i+1 >= len(lines) || strings.TrimSpace(lines[i+1]) == "" || len(cells(lines[i+1], delimiter)) == len(cells(lines[i], delimiter)) {
				first, width = i, len(cells(lines[i], delimiter))
				break
			}
		}
	}
	if first < 0 {
		return Layout{}, 0
	}
	l := Layout{Dialect: spin.Dialect{Delimiter: delimiter, Decimal: decimal}, Columns: make([][]float64, width)}
	score := 0
	for _, line := range lines[first:] {
		c := cells(line, delimiter)
		if len(c) != width {
			continue
		}
		for k, text := range c {
			if v, ok := number(text, decimal); ok {
				l.Columns[k] = append(l.Columns[k], v)
				score++
			}
		}
	}
	l.above(lines[:first], width)
	return l, score
}

// above finds header, unit row, comments and lines to pass over.
func (l *Layout) above(lines []string, width int) {
	keep := len(lines)
	for keep > 0 && keep > len(lines)-2 && len(cells(lines[keep-1], l.Dialect.Delimiter)) == width && !comment(lines[keep-1]) {
		keep--
	}
	top := lines[keep:]
	switch {
	case len(top) == 2 && unitRow(cells(top[1], l.Dialect.Delimiter)):
		l.Units = cells(top[1], l.Dialect.Delimiter)
		l.Dialect.UnitRows = 1
		top = top[:1]
	case len(top) == 2:
		// The upper of two is not a header: it is passed over.
		keep++
		top = top[1:]
	}
	if len(top) == 1 {
		l.Headers = cells(top[0], l.Dialect.Delimiter)
		l.Dialect.HeaderRows = 1
	}
	l.preamble(lines[:keep])
}

// preamble decides between a comment sign and a number of lines to pass over.
func (l *Layout) preamble(lines []string) {
	sign := ""
	for _, line := range lines {
		text := strings.TrimSpace(line)
		if text == "" {
			continue
		}
		own := ""
		for _, s := range []string{"#", "%", "//"} {
			if strings.HasPrefix(text, s) {
				own = s
			}
		}
		if own == "" || (sign != "" && own != sign) {
			l.Dialect.SkipLines = len(lines)
			l.Notes = append(l.Notes, Note{About: "skip_lines", Text: fmt.Sprintf("%d lines before the table are passed over", len(lines)), Sure: false})
			return
		}
		sign = own
	}
	l.Dialect.Comment = sign
}

func comment(line string) bool {
	t := strings.TrimSpace(line)
	return strings.HasPrefix(t, "#") || strings.HasPrefix(t, "//")
}

// unitRow is true where every filled cell looks like a unit.
func unitRow(c []string) bool {
	filled := 0
	for _, x := range c {
		u := bare(x)
		if u == "" || u == "-" {
			continue
		}
		if _, ok := lookup(u); !ok {
			return false
		}
		filled++
	}
	return filled >= 1
}

// cells divides a line; a trailing delimiter adds none.
func cells(line, delimiter string) []string {
	var c []string
	if delimiter == " " {
		return strings.Fields(line)
	}
	c = strings.Split(line, delimiter)
	if n := len(c); n > 1 && strings.TrimSpace(c[n-1]) == "" {
		c = c[:n-1]
	}
	for i := range c {
		c[i] = strings.Trim(strings.TrimSpace(c[i]), `"`)
	}
	return c
}

// numericCells counts the numbers of a line, 0 where a filled cell is none.
func numericCells(line, delimiter, decimal string) int {
	n := 0
	for _, c := range cells(line, delimiter) {
		if c == "" {
			continue
		}
		if _, ok := number(c, decimal); !ok {
			return 0
		}
		n++
	}
	return n
}

// number reads a plain decimal; words that Go takes for numbers (inf, nan, hex) are none.
func number(text, decimal string) (float64, bool) {
	if text == "" || strings.ContainsAny(text, "xXpPnN_") {
		return 0, false
	}
	if decimal == "," {
		if strings.Contains(text, ".") {
			return 0, false
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil
}
