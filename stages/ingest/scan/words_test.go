package scan

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// everyBlock copies all that a reading gives. general turns the path of whole words off.
func everyBlock(r io.Reader, d spin.Dialect, cols []Column, lim Limits, general bool) (out []series.Block, cut *Cut, err error) {
	s, err := newScanner(r, "rec.csv", d, cols, lim)
	if err != nil {
		return nil, nil, err
	}
	if general {
		s.layout.usable = false
	}
	for b, err := range s.blocks {
		if err != nil {
			return out, s.cut, err
		}
		c := series.Block{FirstLine: b.FirstLine, Lines: slices.Clone(b.Lines), Rows: b.Rows, Exponent: slices.Clone(b.Exponent)}
		for k := range b.Mantissa {
			c.Mantissa = append(c.Mantissa, slices.Clone(b.Mantissa[k]))
			c.Floats = append(c.Floats, slices.Clone(b.Floats[k]))
			c.Missing = append(c.Missing, slices.Clone(b.Missing[k]))
		}
		out = append(out, c)
	}
	return out, s.cut, nil
}

// compareWays reads a text by words and by the general path and says where they differ.
func compareWays(text []byte, d spin.Dialect, cols []Column, lim Limits) string {
	words, cutW, errW := everyBlock(bytes.NewReader(text), d, cols, lim, false)
	plain, cutP, errP := everyBlock(bytes.NewReader(text), d, cols, lim, true)
	switch {
	case fmt.Sprint(errW) != fmt.Sprint(errP):
		return fmt.Sprintf("error %v, the general path's %v", errW, errP)
	case !reflect.DeepEqual(words, plain):
		return fmt.Sprintf("blocks %+v, the general path's %+v", words, plain)
	case !reflect.DeepEqual(cutW, cutP):
		return fmt.Sprintf("cut %+v, the general path's %+v", cutW, cutP)
	}
	return ""
}

// randomCell is a number as loggers write them, and now and then anything else.
func randomCell(rng *rand.Rand, decimals int, point string) string {
	digits := func(n int) string {
		var b strings.Builder
		for range n {
			b.WriteByte(byte('0' + rng.IntN(10)))
		}
		return b.String()
	}
	sign := []string{"", "", "", "-", "-", "+"}[rng.IntN(6)]
	switch rng.IntN(40) {
	case 0:
		return ""
	case 1:
		return `"` + digits(3) + `"`
	case 2:
		return sign + digits(1+rng.IntN(20)) + point + digits(rng.IntN(20))
	case 3:
		return sign + digits(2) + point + digits(3) + "e" + []string{"", "-", "+"}[rng.IntN(3)] + digits(1)
	case 4:
		return " " + digits(3) + " "
	case 5:
		return sign + point + digits(1+rng.IntN(4))
	case 6:
		return "-0"
	}
	if decimals == 0 {
		return sign + digits(1+rng.IntN(9))
	}
	return sign + digits(rng.IntN(8)+1) + point + digits(decimals)
}

// Rows of every kind that is accepted read alike by both ways, whatever the width, dialect and buffer.
func TestWordsAgreeWithGeneralPath(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for trial := range 1500 {
		d := []spin.Dialect{{Delimiter: ",", Decimal: "."}, {Delimiter: ";", Decimal: ","}, {Delimiter: "\t", Decimal: "."}, {Delimiter: "|", Decimal: "."}}[rng.IntN(4)]
		d.Comment = []string{"", "#", "//"}[rng.IntN(3)]
		width := 1 + rng.IntN(5)
		var cols []Column
		for c := range width {
			if rng.IntN(3) > 0 {
				cols = append(cols, Column{Name: fmt.Sprint("c", c), Index: c + 1})
			}
		}
		rng.Shuffle(len(cols), func(i, j int) { cols[i], cols[j] = cols[j], cols[i] })
		var b strings.Builder
		end := []string{"\n", "\r\n", d.Delimiter + "\n", d.Delimiter + "\r\n"}[rng.IntN(4)]
		for range rng.IntN(12) + 1 {
			short := rng.IntN(25) == 0
			for c := range width {
				if short && c == width-1 {
					break
				}
				if c > 0 {
					b.WriteString(d.Delimiter)
				}
				cell := randomCell(rng, c, d.Decimal)
				// A row of one empty cell would be a blank line.
				if width == 1 && strings.TrimSpace(cell) == "" {
					cell = "1"
				}
				b.WriteString(cell)
			}
			switch rng.IntN(25) {
			case 0:
				b.WriteString("\n\n")
			case 1:
				b.WriteString("\n" + d.Comment + "\n")
			case 2:
				b.WriteString(d.Delimiter + "\n")
			default:
				b.WriteString(end)
			}
		}
		text := b.String()
		if rng.IntN(3) == 0 {
			text = text[:rng.IntN(len(text)+1)]
		}
		lim := DefaultLimits()
		lim.BlockRows = 1 + rng.IntN(9)
		if rng.IntN(2) == 0 {
			lim.LineBytes = 30 + rng.IntN(60)
		}
		if diff := compareWays([]byte(text), d, cols, lim); diff != "" {
			t.Fatalf("trial %d, dialect %+v, columns %+v:\n%q\n%s", trial, d, cols, text, diff)
		}
	}
}

// A reader that gives a byte at a time, or its error with its last bytes, changes nothing.
func TestWordsAcrossReads(t *testing.T) {
	text := recordingText(50)
	want, _, err := everyBlock(bytes.NewReader(text), plainDialect, benchColumns(), DefaultLimits(), true)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []io.Reader{iotest.OneByteReader(bytes.NewReader(text)), iotest.HalfReader(bytes.NewReader(text)), iotest.DataErrReader(bytes.NewReader(text))} {
		got, _, err := everyBlock(r, plainDialect, benchColumns(), DefaultLimits(), false)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatal("rows differ")
		}
	}
}

// Every number read is the float64 that strconv.ParseFloat gives for its cell: random
// decimals of 1 to 25 digits with the point anywhere, and exponents over all of float64's range and beyond it.
func TestWordsAgreeWithParseFloat(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 2))
	var cells []string
	for range 20_000 {
		n := 1 + rng.IntN(25)
		digits := make([]byte, n)
		for i := range digits {
			digits[i] = byte('0' + rng.IntN(10))
		}
		cell := string(digits)
		if at := rng.IntN(n + 2); at <= n {
			cell = cell[:at] + "." + cell[at:]
		}
		if rng.IntN(2) == 0 {
			cell = "-" + cell
		}
		cells = append(cells, cell)
	}
	for e := -400; e <= 320; e++ {
		for _, m := range []string{"1", "9.999", "-4.9406564584124654", "17976931348623157", "0.00001", "2.2250738585072011"} {
			cells = append(cells, fmt.Sprintf("%se%d", m, e))
		}
	}
	rng.Shuffle(len(cells), func(i, j int) { cells[i], cells[j] = cells[j], cells[i] })
	d, cols := spin.Dialect{Delimiter: ",", Decimal: "."}, []Column{{Name: "a", Index: 1}, {Name: "b", Index: 2}}
	// A block of one row: no cell shares an exponent with another.
	lim := DefaultLimits()
	lim.BlockRows = 1
	var text strings.Builder
	var want []float64
	for _, cell := range cells {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			if _, gotErr := readAll(strings.NewReader(cell+",1\n"), d, cols, lim); gotErr == nil {
				t.Fatalf("%s: no error, ParseFloat's is %v", cell, err)
			}
			continue
		}
		want = append(want, v)
		text.WriteString(cell + "," + cell + "\n")
	}
	got, err := readAll(strings.NewReader(text.String()), d, cols, lim)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range want {
		for k := range 2 {
			if v := got.cols[k][i]; math.Float64bits(v) != math.Float64bits(w) && (v != 0 || w != 0) {
				t.Fatalf("row %d: %v, ParseFloat gives %v", i+1, v, w)
			}
		}
	}
}

// The arithmetic on words against the same on bytes, for every length.
func TestEightDigits(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	for range 20_000 {
		n := 1 + rng.IntN(16)
		text := make([]byte, 32)
		for i := range text {
			text[i] = byte(rng.IntN(256))
		}
		good := rng.IntN(4) > 0
		for i := range n {
			text[i] = byte('0' + rng.IntN(10))
		}
		if !good {
			text[rng.IntN(n)] = byte(rng.IntN(256))
		}
		want, err := strconv.ParseUint(string(text[:n]), 10, 64)
		got, bad := digitsAt(text, 0, n)
		if (err == nil) != (bad == 0) || err == nil && got != int64(want) {
			t.Fatalf("%q: %d (%x), want %d (%v)", text[:n], got, bad, want, err)
		}
	}
}
