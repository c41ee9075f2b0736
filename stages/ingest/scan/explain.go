package scan

import (
	"fmt"
	"strconv"
	"strings"

	"spinledger/stages/kit/positioned"
)

// explain says what is wrong with a cell that is not a number.
func explain(text []byte, point byte) *fault {
	f := &fault{want: fmt.Sprintf("a decimal number written with %q", string(point))}
	s := strings.ToLower(strings.TrimLeft(string(text), "+-"))
	switch {
	case s == "nan" || strings.HasPrefix(s, "nan("):
		f.hint = "not a number is no reading; leave the cell empty where a value is missing"
	case s == "inf" || s == "infinity":
		f.hint = "infinity is no reading; leave the cell empty where a value is missing"
	case strings.HasPrefix(s, "0x"):
		f.hint = "hexadecimal numbers are not read"
	case strings.ContainsRune(s, '\r'):
		f.hint = "a carriage return without a line feed does not end a line; write LF or CRLF"
	case isGrouped(s, point):
		f.hint = "thousands separators are not read; write the digits without them"
	case point == '.' && isNumberWith(s, ','):
		f.hint = "decimal comma? set the dialect's decimal to comma"
	case point == ',' && isNumberWith(s, '.'):
		f.hint = "decimal point? set the dialect's decimal to point"
	}
	return f
}

// isNumberWith tells whether s would be a number with another decimal sign.
func isNumberWith(s string, point byte) bool {
	t := strings.Replace(s, string(point), "", 1)
	if len(t) == len(s) {
		return false
	}
	digits := strings.TrimLeft(t, "0123456789")
	if len(digits) == len(t) {
		return false
	}
	_, ok := parseExponent([]byte(digits))
	return ok
}

// isGrouped tells whether s has digits in groups of three: "1,234.5",
// "1.234.567", "1'234", "1 234", "1_234".
func isGrouped(s string, point byte) bool {
	whole, _, hasPoint := strings.Cut(s, string(point))
	for _, sep := range []string{",", ".", "'", " ", "_", "\u00a0", "\u202f", "\u2019"} {
		if sep == string(point) {
			continue
		}
		groups := strings.Split(whole, sep)
		if len(groups) < 2 || len(groups[0]) < 1 || len(groups[0]) > 3 {
			continue
		}
		good := true
		for i, g := range groups {
			good = good && strings.Trim(g, "0123456789") == "" && (i == 0 || len(g) == 3)
		}
		// "1,234" alone may as well be a decimal comma.
		plain := (sep == "," || sep == ".") && len(groups) == 2 && !hasPoint
		if good && !plain {
			return true
		}
	}
	return false
}

// quote shows user text in an error, short enough for one line.
func quote(text []byte) string {
	const longest = 40
	if len(text) > longest {
		return strconv.Quote(string(text[:longest])) + " …"
	}
	return strconv.Quote(string(text))
}

// Nearest is the candidate with the fewest edits to name, case apart, if that is
// no more than a third of its length (at least one, at most three edits);
// empty when none is.
func Nearest(name string, candidates []string) string {
	best, fewest := "", 1+min(3, max(1, len(name)/3))
	for _, c := range candidates {
		if d := edits(strings.ToLower(name), strings.ToLower(c)); d < fewest {
			best, fewest = c, d
		}
	}
	return best
}

// edits is the Levenshtein distance in bytes of texts of at most 64 bytes; longer ones are
// infinitely far.
func edits(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 1 << 30
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// located is a fault of a cell, placed.
func located(file string, line, col int, field string, text []byte, f *fault) *positioned.Error {
	return &positioned.Error{File: file, Line: line, Col: col, Field: field, Got: quote(text), Want: f.want, Hint: f.hint}
}
