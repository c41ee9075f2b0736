package scan

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/klauspost/compress/zstd"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

func threeColumns() []Column {
	return []Column{{Name: "time", Header: "t_ms"}, {Name: "speed", Header: "erpm"}, {Name: "torque", Header: "torque_mNm"}}
}

// result is a whole recording read.
type result struct {
	stream  *Stream
	cols    [][]float64
	missing [][]bool
	lines   []int
	cut     *Cut
	ints    bool
}

// readAll walks a stream to its end.
func readAll(r io.Reader, d spin.Dialect, cols []Column, lim Limits) (result, error) {
	s, err := Text(r, "rec.csv", d, cols, lim)
	if err != nil {
		return result{}, err
	}
	out := result{stream: s, cols: make([][]float64, len(cols)), missing: make([][]bool, len(cols)), ints: true}
	for b, err := range s.Blocks {
		if err != nil {
			return result{}, err
		}
		out.add(b)
	}
	out.cut = s.Cut()
	return out, nil
}

func (out *result) add(b *series.Block) {
	for r := range b.Rows {
		line := b.FirstLine + r
		if b.Lines != nil {
			line = b.Lines[r]
		}
		out.lines = append(out.lines, line)
		for k := range out.cols {
			var v float64
			if b.Floats[k] != nil {
				v, out.ints = b.Floats[k][r], false
			} else {
				v = Value(b.Mantissa[k][r], b.Exponent[k])
			}
			out.cols[k] = append(out.cols[k], v)
			out.missing[k] = append(out.missing[k], b.Missing[k] != nil && b.Missing[k][r])
		}
	}
}

func gz(text string) string {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write([]byte(text))
	w.Close()
	return b.String()
}

func zst(text string) string {
	var b bytes.Buffer
	w, err := zstd.NewWriter(&b)
	if err != nil {
		panic(err)
	}
	w.Write([]byte(text))
	w.Close()
	return b.String()
}

const plain = "t_ms,erpm,torque_mNm\n0.0,1000,1.25\n0.5,1010,-1.5\n1.0,1020,0.125\n"

func TestAccepted(t *testing.T) {
	semicolon := spin.Dialect{Delimiter: ";", Decimal: ",", HeaderRows: 1}
	tab := spin.Dialect{Delimiter: "\t", Decimal: ".", HeaderRows: 1, Comment: "//"}
	space := spin.Dialect{Delimiter: " ", Decimal: ".", HeaderRows: 1}
	units := spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1, UnitRows: 1, SkipLines: 2}
	for _, c := range []struct {
		name string
		d    spin.Dialect
		text string
	}{
		{"plain", plainDialect, plain},
		{"no newline at the end", plainDialect, strings.TrimSuffix(plain, "\n")},
		{"CRLF", plainDialect, strings.ReplaceAll(plain, "\n", "\r\n")},
		{"mixed line ends", plainDialect, strings.Replace(plain, "\n", "\r\n", 2)},
		{"byte order mark", plainDialect, "\xef\xbb\xbf" + plain},
		{"comments and blank lines", plainDialect, "# made by a logger\n\n" + strings.ReplaceAll(plain, "\n0.5", "\n\n  # a note\n0.5")},
		{"trailing delimiter", plainDialect, strings.ReplaceAll(plain, "\n", ",\n")},
		{"trailing delimiter in rows only", plainDialect, "t_ms,erpm,torque_mNm\n0.0,1000,1.25,\n0.5,1010,-1.5,\n1.0,1020,0.125,\n"},
		{"padding", plainDialect, strings.ReplaceAll(plain, ",", " ,  ")},
		{"quotes", plainDialect, "\"t_ms\",\"erpm\",\"torque_mNm\"\n\"0.0\",\"1000\",\"1.25\"\n0.5,1010,-1.5\n1.0,\"1020\",0.125\n"},
		{"other order and more columns", plainDialect, "note,torque_mNm,\"a, b\",erpm,t_ms,x\nhello,1.25,,1000,0.0,1\n\"a,b\",-1.5,,1010,0.5,\n,0.125,,1020,1.0,\n"},
		{"plus, exponent, bare points", plainDialect, "t_ms,erpm,torque_mNm\n0,+1e3,12.5e-1\n.5,101.E1,-1.5\n1.,1.02E+3,0.125\n"},
		{"decimal comma", semicolon, strings.ReplaceAll(strings.ReplaceAll(plain, ",", ";"), ".", ",")},
		{"tabs", tab, "// logger\n" + strings.ReplaceAll(plain, ",", "\t")},
		{"spaces", space, "  t_ms   erpm torque_mNm \n 0.0 1000  1.25\n0.5 1010 -1.5  \n   1.0 1020 0.125\n"},
		{"units and skipped lines", units, "first\nsecond\nt_ms,erpm,torque_mNm\nms,rpm,mN·m\n0.0,1000,1.25\n0.5,1010,-1.5\n1.0,1020,0.125\n"},
		{"gzip", plainDialect, gz(plain)},
		{"zstd", plainDialect, zst(plain)},
	} {
		for _, reader := range []io.Reader{strings.NewReader(c.text), iotest.OneByteReader(strings.NewReader(c.text)), iotest.DataErrReader(strings.NewReader(c.text))} {
			got, err := readAll(reader, c.d, threeColumns(), DefaultLimits())
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			want := [][]float64{{0, 0.5, 1}, {1000, 1010, 1020}, {1.25, -1.5, 0.125}}
			for k := range want {
				if !slices.Equal(got.cols[k], want[k]) || slices.Contains(got.missing[k], true) {
					t.Errorf("%s: column %d: got %v (missing %v), want %v", c.name, k, got.cols[k], got.missing[k], want[k])
				}
			}
			if got.cut != nil || !got.ints {
				t.Errorf("%s: cut %v, integers %v", c.name, got.cut, got.ints)
			}
		}
	}
}

func TestUnitsLinesAndMissing(t *testing.T) {
	d := spin.Dialect{Delimiter: ",", Decimal: ".", Comment: "#", HeaderRows: 1, UnitRows: 1}
	text := "t_ms,x,erpm,torque_mNm\nms,,rpm,mN·m\n0,,1000,1.25\n#\n1,,,2\n2,,1020,\n"
	got, err := readAll(strings.NewReader(text), d, threeColumns(), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"ms", "rpm", "mN·m"}; !slices.Equal(got.stream.Units, want) || got.stream.UnitLine != 2 || got.stream.HeaderLine != 1 {
		t.Errorf("units %q on line %d, header on line %d", got.stream.Units, got.stream.UnitLine, got.stream.HeaderLine)
	}
	if want := []int{3, 5, 6}; !slices.Equal(got.lines, want) {
		t.Errorf("lines %v, want %v", got.lines, want)
	}
	if want := []int{1, 3, 4}; !slices.Equal(got.stream.Found, want) {
		t.Errorf("found %v, want %v", got.stream.Found, want)
	}
	if !got.missing[1][1] || !got.missing[2][2] || got.missing[1][0] || got.missing[2][1] {
		t.Errorf("missing %v", got.missing)
	}
}

func TestRefused(t *testing.T) {
	noHeader := spin.Dialect{Delimiter: ",", Decimal: "."}
	comma := spin.Dialect{Delimiter: ";", Decimal: ",", HeaderRows: 1}
	skip := spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1, SkipLines: 3}
	units := spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1, UnitRows: 1}
	narrow := DefaultLimits()
	narrow.LineBytes, narrow.Columns = 64, 5
	numbered := []Column{{Name: "time", Index: 1}, {Name: "speed", Index: 9}}
	const head = "t_ms,erpm,torque_mNm\n"
	row := func(r string) string { return head + "0,1,2\n" + r + "\n3,4,5\n" }
	for _, c := range []struct {
		name, text, want string
		d                spin.Dialect
		cols             []Column
		lim              Limits
	}{
		{name: "empty file", text: "", want: `rec.csv: got an empty file; want a recording`},
		{name: "only comments", text: "# a\n# b\n", want: `rec.csv:2: got no rows at all; want a header row and rows of numbers`},
		{name: "header only", text: head, want: `rec.csv:1: got no rows of numbers; want at least one row`},
		{name: "header missing", text: "0.0,1000,1.25\n0.5,1010,1.5\n",
			want: `rec.csv:1: got a row of numbers, "0.0,1000,1.25"; want a header row (set the dialect's header_rows to 0 and give columns by number where the file has none)`},
		{name: "column missing", text: "t_ms,erpm,torqe_mNm,volt\n1,2,3,4\n",
			want: `rec.csv:1: torque: got no column "torque_mNm"; want one of "t_ms", "erpm", "torqe_mNm", "volt" (did you mean "torqe_mNm"?)`},
		{name: "other delimiter", text: "t_ms;erpm;torque_mNm\n1;2;3\n",
			cols: []Column{{Name: "time", Header: "t_ms"}},
			want: `rec.csv:1: time: got no column "t_ms"; want one of "t_ms;erpm;torque_mNm" (is the delimiter a semicolon?)`},
		{name: "two columns missing", text: "a,b\n1,2\n", cols: threeColumns()[:2],
			want: "rec.csv:1: speed: got no column \"erpm\"; want one of \"a\", \"b\"\nrec.csv:1: time: got no column \"t_ms\"; want one of \"a\", \"b\""},
		{name: "column twice", text: "t_ms,erpm,erpm\n1,2,3\n", cols: threeColumns()[:2],
			want: `rec.csv:1: speed: got two columns "erpm", 2 and 3; want one (give the column by its number)`},
		{name: "one column for two channels", text: "t_ms,erpm\n1,2\n", cols: []Column{{Name: "speed", Header: "erpm"}, {Name: "torque", Index: 2}},
			want: `rec.csv:1: torque: got column 2, which is speed already; want a column of its own`},
		{name: "column number", d: noHeader, text: "1,2,3\n", cols: numbered, want: `rec.csv:1: speed: got no column 9; want a column from 1 to 3`},
		{name: "name without header", d: noHeader, text: "1,2,3\n", cols: threeColumns()[:1],
			want: `rec.csv:1: time: got no column "t_ms"; want columns given by number, since the dialect has no header row`},
		{name: "too few lines to skip", d: skip, text: "a\nb\n", want: `rec.csv:2: got a file of 2 lines; want more than the 3 lines to skip`},
		{name: "no unit row", d: units, text: head, want: `rec.csv:1: got no unit row; want 1 of them after the header`},
		{name: "text in a number", text: row("1, abc,2"), want: `rec.csv:3:4: erpm: got "abc"; want a decimal number written with "."`},
		{name: "text without header", d: noHeader, text: "1,2\nx,3\n", cols: []Column{{Name: "time", Index: 1}},
			want: `rec.csv:2:1: column 1 (time): got "x"; want a decimal number written with "."`},
		{name: "NaN", text: row("1,NaN,2"), want: `rec.csv:3:3: erpm: got "NaN"; want a decimal number written with "." (not a number is no reading; leave the cell empty where a value is missing)`},
		{name: "infinity", text: row("1,2,-inf"), want: `rec.csv:3:5: torque_mNm: got "-inf"; want a decimal number written with "." (infinity is no reading; leave the cell empty where a value is missing)`},
		{name: "hex", text: row("1,0x1p4,2"), want: `rec.csv:3:3: erpm: got "0x1p4"; want a decimal number written with "." (hexadecimal numbers are not read)`},
		{name: "underscore", text: row("1,1_000,2"), want: `rec.csv:3:3: erpm: got "1_000"; want a decimal number written with "." (thousands separators are not read; write the digits without them)`},
		{name: "thousands", d: comma, text: "t_ms;erpm;torque_mNm\n1;1.234,5;2\n",
			want: `rec.csv:2:3: erpm: got "1.234,5"; want a decimal number written with "," (thousands separators are not read; write the digits without them)`},
		{name: "thousands in quotes", text: row(`1,"1,234.5",2`), want: `rec.csv:3:3: erpm: got "1,234.5"; want a decimal number written with "." (thousands separators are not read; write the digits without them)`},
		{name: "decimal comma in quotes", text: row(`1,"1,25",2`), want: `rec.csv:3:3: erpm: got "1,25"; want a decimal number written with "." (decimal comma? set the dialect's decimal to comma)`},
		{name: "decimal point", d: comma, text: "t_ms;erpm;torque_mNm\n1;1.5;2\n",
			want: `rec.csv:2:3: erpm: got "1.5"; want a decimal number written with "," (decimal point? set the dialect's decimal to point)`},
		{name: "beyond doubles", text: row("1,1e400,2"), want: `rec.csv:3:3: erpm: got "1e400"; want a number between -1.8e308 and 1.8e308`},
		{name: "half an exponent", text: row("1,1e,2"), want: `rec.csv:3:3: erpm: got "1e"; want a decimal number written with "."`},
		{name: "locale digits", text: row("1,١٢,2"), want: `rec.csv:3:3: erpm: got "١٢"; want a decimal number written with "."`},
		{name: "minus alone", text: row("1,-,2"), want: `rec.csv:3:3: erpm: got "-"; want a decimal number written with "."`},
		{name: "two points", text: row("1,1.2.3,2"), want: `rec.csv:3:3: erpm: got "1.2.3"; want a decimal number written with "."`},
		{name: "too few columns", text: row("1,2"), want: `rec.csv:3: got 2 columns; want 3, as the header on line 1`},
		{name: "too many columns", text: row("1,2,3,4"), want: `rec.csv:3: got 4 columns; want 3, as the header on line 1 (decimal commas or thousands separators among comma delimiters are not read)`},
		{name: "ragged without header", d: noHeader, text: "1,2\n3\n", cols: []Column{{Name: "time", Index: 1}}, want: `rec.csv:2: got 1 column; want 2, as the rows before`},
		{name: "open quote", text: row(`1,"2,3`), want: `rec.csv:3:3: erpm: got a quote that does not end on its line; want a closing "`},
		{name: "open quote in the header", text: "t_ms,\"erpm\n1,2\n", want: `rec.csv:1:6: got a quote that does not end on its line; want a closing "`},
		{name: "text after a quote", text: row(`1,"2"3,4`), want: `rec.csv:3:6: erpm: got text after a closing quote; want the delimiter ","`},
		{name: "NUL", text: row("1,2,\x003"), want: `rec.csv:3:5: got a NUL byte; want plain text (UTF-16 or binary data? write UTF-8)`},
		{name: "UTF-16", text: "\xff\xfet\x00,\x00", want: `rec.csv:1: got UTF-16 text; want UTF-8 or ASCII text (save the file as UTF-8)`},
		{name: "UTF-16 without mark", text: "t\x00,\x00e\x00\n\x00", want: `rec.csv:1:2: got a NUL byte; want plain text (UTF-16 or binary data? write UTF-8)`},
		{name: "carriage returns only", text: row("1,2\r3,4"), want: `rec.csv:3:3: erpm: got "2\r3"; want a decimal number written with "." (a carriage return without a line feed does not end a line; write LF or CRLF)`},
		{name: "long line", lim: narrow, text: head + "1,2," + strings.Repeat("0", 100) + "\n", want: `rec.csv:2: got a line of more than 64 bytes; want lines of a table of numbers`},
		{name: "long line without end", lim: narrow, text: strings.Repeat("0", 10_000), want: `rec.csv:1: got a line of more than 64 bytes; want lines of a table of numbers`},
		{name: "many columns", lim: narrow, text: "a,b,c,d,e,f\n", want: `rec.csv:1: got more than 5 columns; want a table of a few channels`},
		{name: "Parquet", text: "PAR1 whatever", want: `rec.csv: got a Parquet file; want text (name the file *.parquet)`},
		{name: "damaged gzip", text: "\x1f\x8b rubbish", want: `rec.csv: got a read error: gzip: gzip: invalid header; want a readable file`},
		{name: "gzip cut before the first row", text: gz(plain)[:14], want: `rec.csv: got a compressed file that breaks off before its first row; want a whole file`},
	} {
		d, cols, lim := c.d, c.cols, c.lim
		if d.Delimiter == "" {
			d = plainDialect
		}
		if cols == nil {
			cols = threeColumns()
		}
		if lim.LineBytes == 0 {
			lim = DefaultLimits()
		}
		_, err := readAll(strings.NewReader(c.text), d, cols, lim)
		if err == nil {
			t.Errorf("%s: accepted", c.name)
		} else if err.Error() != c.want {
			t.Errorf("%s:\n got  %s\n want %s", c.name, err, c.want)
		}
	}
}

// A recording that broke off is usable to its last whole line.
func TestCut(t *testing.T) {
	rows := "t_ms,erpm,torque_mNm\n0.0,1000,1.250\n0.5,1010,1.500\n"
	for _, c := range []struct {
		name, tail, want string
		rows             int
	}{
		{"columns missing", "1.0,10", "4: an incomplete last line", 2},
		{"number broken", "1.0,1020,-", "4: an incomplete last line", 2},
		{"quote open", "1.0,1020,\"1", "4: an incomplete last line", 2},
		{"last number shorter", "1.0,1020,1.7", "4: a last line without its end, its last number shorter than the others", 2},
		{"whole, without newline", "1.0,1020,1.750", "", 3},
	} {
		got, err := readAll(strings.NewReader(rows+c.tail), plainDialect, threeColumns(), DefaultLimits())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		cut := ""
		if got.cut != nil {
			cut = fmt.Sprintf("%d: %s", got.cut.Line, got.cut.Reason)
		}
		if cut != c.want || len(got.lines) != c.rows {
			t.Errorf("%s: cut %q and %d rows, want %q and %d", c.name, cut, len(got.lines), c.want, c.rows)
		}
	}
	// The same broken line in the middle is an error.
	if _, err := readAll(strings.NewReader(rows+"1.0,10\n"), plainDialect, threeColumns(), DefaultLimits()); err == nil {
		t.Error("a short line with its end was accepted")
	}
	// A compressed recording that breaks off gives the rows before the break.
	var many strings.Builder
	many.WriteString("t_ms,erpm,torque_mNm\n")
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 20_000 {
		fmt.Fprintf(&many, "%d,%d,%d\n", i, rng.IntN(100_000), rng.IntN(100_000))
	}
	for name, whole := range map[string]string{"gzip": gz(many.String()), "zstd": zst(many.String())} {
		got, err := readAll(strings.NewReader(whole[:len(whole)*2/3]), plainDialect, threeColumns(), DefaultLimits())
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got.cut == nil || got.cut.Reason != "a compressed file that breaks off" || len(got.lines) < 1000 || len(got.lines) >= 20_000 {
			t.Errorf("%s: cut %+v after %d rows", name, got.cut, len(got.lines))
		}
		for i := range got.lines {
			if got.cols[0][i] != float64(i) {
				t.Fatalf("%s: row %d has time %v", name, i, got.cols[0][i])
			}
		}
	}
}

// A few kilobytes that decompress to gigabytes stop early.
func TestBomb(t *testing.T) {
	row := strings.Repeat("1,2,3\n", 1<<20)
	lim := DefaultLimits()
	lim.GrowthFree = 1 << 20
	for name, bomb := range map[string]string{"gzip": gz(plain + row), "zstd": zst(plain + row)} {
		_, err := readAll(strings.NewReader(bomb), plainDialect, threeColumns(), lim)
		if err == nil || !strings.Contains(err.Error(), "got a compressed file that grows without end; want a recording that grows less than 250 times when decompressed") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Value and parse agree with strconv.ParseFloat, the reference for rounding
// decimals, on decimals of every length and exponent.
func TestParseFloatAgrees(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	check := func(text string) {
		t.Helper()
		want, wantErr := strconv.ParseFloat(text, 64)
		v, fault := parse([]byte(text), '.')
		if (fault != nil) != (wantErr != nil) {
			t.Fatalf("%s: fault %v, ParseFloat says %v", text, fault, wantErr)
		}
		if fault != nil {
			return
		}
		got := v.float
		if !v.isFloat {
			got = Value(v.mantissa, int8(v.exponent))
		}
		// Minus zero is read as zero; every other value has the same bits.
		if math.Float64bits(got) != math.Float64bits(want) && !(got == 0 && want == 0) {
			t.Fatalf("%s: got %b, ParseFloat %b", text, got, want)
		}
	}
	for range 200_000 {
		check(randomDecimal(rng, 1+rng.IntN(22), rng.IntN(60)-30))
	}
	for e := -345; e <= 310; e++ {
		check(fmt.Sprintf("%de%d", rng.Uint64(), e))
		check(fmt.Sprintf("-%d.%de%d", rng.IntN(10), rng.Uint64(), e))
	}
	for _, text := range []string{"0", "-0", "-0.000", "0e99999", "9007199254740993", "9223372036854775807", "9223372036854775808", "999999999999999999.5",
		"0.000000000000000001", "1e22", "1e23", "8.5e-23", "2.2250738585072011e-308", "4.9e-324", "1e-400", "1e400", "00012.50", "5.", ".5", "1.7976931348623157e308"} {
		check(text)
	}
}

func randomDecimal(rng *rand.Rand, digits, exponent int) string {
	var b strings.Builder
	if rng.IntN(2) == 0 {
		b.WriteByte('-')
	}
	point := rng.IntN(digits + 1)
	for i := range digits {
		if i == point {
			b.WriteByte('.')
		}
		b.WriteByte(byte('0' + rng.IntN(10)))
	}
	if rng.IntN(3) == 0 {
		fmt.Fprintf(&b, "e%d", exponent)
	}
	return b.String()
}

// Columns of mixed decimals keep every value through changes of the block's exponent.
func TestColumnsAgreeWithParseFloat(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	lim := DefaultLimits()
	lim.BlockRows = 16
	for trial := range 300 {
		var text strings.Builder
		text.WriteString("t_ms,erpm,torque_mNm\n")
		var want [3][]float64
		for range 100 {
			for k := range 3 {
				digits := 1 + rng.IntN(4)
				if trial%3 == 0 && rng.IntN(30) == 0 {
					digits = 1 + rng.IntN(24)
				}
				cell := randomDecimal(rng, digits, rng.IntN(20)-10)
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				want[k] = append(want[k], v)
				text.WriteString(cell)
				text.WriteByte(",,\n"[k])
			}
		}
		got, err := readAll(strings.NewReader(text.String()), plainDialect, threeColumns(), lim)
		if err != nil {
			t.Fatal(err)
		}
		for k := range want {
			if !slices.Equal(got.cols[k], want[k]) {
				t.Fatalf("trial %d, column %d: got %v, want %v", trial, k, got.cols[k], want[k])
			}
		}
	}
}

// A column of fixed decimals keeps its exponent; one odd value makes floats of its block only.
func TestExponents(t *testing.T) {
	lim := DefaultLimits()
	lim.BlockRows = 2
	text := "t_ms,erpm,torque_mNm\n0.5,1,1\n1.0,1,1\n1.5,1,1e300\n2,1,1.5\n2.5,1,1.25\n3.0,1,12\n"
	s, err := Text(strings.NewReader(text), "rec.csv", plainDialect, threeColumns(), lim)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for b, err := range s.Blocks {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, fmt.Sprint(b.FirstLine, b.Exponent, b.Mantissa, b.Floats))
	}
	want := []string{
		"2 [-1 0 0] [[5 10] [1 1] [1 1]] [[] [] []]",
		"4 [-1 0 0] [[15 20] [1 1] []] [[] [] [1e+300 1.5]]",
		"6 [-1 0 -2] [[25 30] [1 1] [125 1200]] [[] [] []]",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestNearest(t *testing.T) {
	names := []string{"t_ms", "erpm", "Torque_mNm", "volt"}
	for _, c := range [][2]string{{"torque_mNm", "Torque_mNm"}, {"torqe_mnm", "Torque_mNm"}, {"epm", "erpm"}, {"current", ""}, {strings.Repeat("x", 100), ""}} {
		if got := Nearest(c[0], names); got != c[1] {
			t.Errorf("Nearest(%q) = %q, want %q", c[0], got, c[1])
		}
	}
}
