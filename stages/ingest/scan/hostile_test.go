package scan

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
)

// endless gives head, then the same text again and again, for n bytes in all.
type endless struct {
	head, again string
	n, given    int64
}

func (e *endless) Read(p []byte) (int, error) {
	if e.given >= e.n {
		return 0, io.EOF
	}
	n := 0
	if e.given < int64(len(e.head)) {
		n = copy(p, e.head[e.given:])
	} else {
		for n < len(p) {
			n += copy(p[n:], e.again)
		}
	}
	e.given += int64(n)
	return n, nil
}

// What would fill any memory is refused after a few buffers, however much of it there is.
func TestHostileSizes(t *testing.T) {
	const gigabyte = 1 << 30
	for _, c := range []struct {
		name, want string
		in         *endless
	}{
		{"line of a gigabyte", "rec.csv:3: got a line of more than 1048576 bytes; want lines of a table of numbers",
			&endless{head: "t_ms,erpm,torque_mNm\n1,2,3\n", again: "7", n: gigabyte}},
		{"first line of a gigabyte", "rec.csv:1: got a line of more than 1048576 bytes; want lines of a table of numbers", &endless{again: "x,", n: gigabyte}},
		{"gigabyte of blanks in a line", "rec.csv:2: got a line of more than 1048576 bytes; want lines of a table of numbers",
			&endless{head: "t_ms,erpm,torque_mNm\n", again: " ", n: gigabyte}},
		{"quote without end", "rec.csv:2: got a line of more than 1048576 bytes; want lines of a table of numbers",
			&endless{head: "t_ms,erpm,torque_mNm\n1,\"", again: "22,", n: gigabyte}},
		{"half a million columns", "rec.csv:1: got more than 10000 columns; want a table of a few channels",
			&endless{head: strings.Repeat("a,", 500_000) + "a\n", again: "1,2,3\n", n: 1 << 22}},
		{"a million columns", "rec.csv:1: got a line of more than 1048576 bytes; want lines of a table of numbers",
			&endless{head: strings.Repeat("a,", 1_000_000) + "a\n", again: "1,2,3\n", n: 1 << 22}},
		{"half a million cells in a row", "rec.csv:2: got 500001 columns; want 3, as the header on line 1 (decimal commas or thousands separators among comma delimiters are not read)",
			&endless{head: "t_ms,erpm,torque_mNm\n" + strings.Repeat("1,", 500_000) + "1\n", again: "1,2,3\n", n: 1 << 22}},
	} {
		before := allocated()
		_, err := readAll(c.in, plainDialect, threeColumns(), DefaultLimits())
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got  %v\n want %s", c.name, err, c.want)
		}
		if grown := allocated() - before; grown > 16<<20 {
			t.Errorf("%s: %d bytes allocated", c.name, grown)
		}
		if c.in.given > 8<<20 {
			t.Errorf("%s: %d bytes read", c.name, c.in.given)
		}
	}
}

// Compressed streams that ask for more memory than any logger's.
func TestHostileStreams(t *testing.T) {
	bomb := func(pack func(string) string) string {
		return pack("t_ms,erpm,torque_mNm\n" + strings.Repeat("1,2,3\n", 2<<20))
	}
	lim := DefaultLimits()
	lim.GrowthFree = 8 << 20
	for _, c := range []struct{ name, data, want string }{
		{"gzip bomb", bomb(gz), "rec.csv:%d: got a compressed file that grows without end; want a recording that grows less than 250 times when decompressed"},
		{"zstd bomb", bomb(zst), "rec.csv:%d: got a compressed file that grows without end; want a recording that grows less than 250 times when decompressed"},
		// A frame of RFC 8878 whose window descriptor, 0xa8, asks for 2 GiB.
		{"zstd window of 2 GiB", "\x28\xb5\x2f\xfd\x00\xa8\x01\x00\x00", "rec.csv: got a read error: zstd: window size exceeded; want a readable file"},
		{"gzip in gzip", gz(gz(plain)), "rec.csv:1:4: got a NUL byte; want plain text (UTF-16 or binary data? write UTF-8)"},
	} {
		before := allocated()
		err := walk(strings.NewReader(c.data), lim)
		want := c.want
		if strings.Contains(want, "%d") && err != nil {
			line := 0
			fmt.Sscanf(err.Error(), "rec.csv:%d:", &line)
			want = fmt.Sprintf(want, line)
			if line < 1 || line > 2<<20 {
				t.Errorf("%s: line %d", c.name, line)
			}
		}
		if err == nil || err.Error() != want {
			t.Errorf("%s:\n got  %v\n want %s", c.name, err, want)
		}
		if grown := allocated() - before; grown > 32<<20 {
			t.Errorf("%s: %d bytes allocated", c.name, grown)
		}
	}
}

// walk reads a recording and keeps nothing.
func walk(r io.Reader, lim Limits) error {
	s, err := Text(r, "rec.csv", plainDialect, threeColumns(), lim)
	if err != nil {
		return err
	}
	for _, err := range s.Blocks {
		if err != nil {
			return err
		}
	}
	return nil
}

// Odd but clear: each is read, and as strconv.ParseFloat reads it.
func TestOddButClear(t *testing.T) {
	for _, c := range []struct {
		name, text string
		d          spin.Dialect
		want       []float64
	}{
		{"exponents", "1e3,1E-2,-1.5e+1\n", plainDialect, []float64{1000, 0.01, -15}},
		{"minus zero is zero", "-0,-0.0,-0e5\n", plainDialect, []float64{0, 0, 0}},
		{"smallest and largest", "4.9406564584124654e-324,1.7976931348623157e308,-1.7976931348623157e308\n", plainDialect,
			[]float64{math.SmallestNonzeroFloat64, math.MaxFloat64, -math.MaxFloat64}},
		{"below the smallest", "1e-400,-1e-400,2e-324\n", plainDialect, []float64{0, 0, 0}},
		{"points at the ends", ".5,5.,+.25\n", plainDialect, []float64{0.5, 5, 0.25}},
		{"leading zeros", "007,00.50,-01\n", plainDialect, []float64{7, 0.5, -1}},
		{"trailing delimiters", "1,2,3,\n4,5,6,\n", plainDialect, []float64{1, 2, 3, 4, 5, 6}},
		{"mixed line ends", "1,2,3\r\n4,5,6\n7,8,9\r\n", plainDialect, []float64{1, 2, 3, 4, 5, 6, 7, 8, 9}},
		{"quotes", "\"1\",\"2.5\",\" 3 \"\n", plainDialect, []float64{1, 2.5, 3}},
		{"decimal comma", "1,5;2;-3,25\n", spin.Dialect{Delimiter: ";", Decimal: ",", HeaderRows: 1}, []float64{1.5, 2, -3.25}},
		{"byte order mark", "1,2,3\n", plainDialect, []float64{1, 2, 3}},
	} {
		text := strings.Join([]string{"t_ms", "erpm", "torque_mNm"}, c.d.Delimiter) + "\n" + c.text
		if c.name == "byte order mark" {
			text = "\xef\xbb\xbf" + text
		}
		got, err := readAll(bytes.NewReader([]byte(text)), c.d, threeColumns(), DefaultLimits())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var all []float64
		for r := range got.lines {
			for k := range got.cols {
				all = append(all, got.cols[k][r])
			}
		}
		if !slices.Equal(all, c.want) {
			t.Errorf("%s: %v, want %v", c.name, all, c.want)
		}
		for i, v := range all {
			if v == 0 && math.Signbit(v) && c.name != "below the smallest" {
				t.Errorf("%s: number %d is a negative zero", c.name, i)
			}
		}
	}
}
