package scan

import (
	"bytes"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// FuzzRecording feeds any bytes in every dialect. Nothing panics, both ways of reading agree, the rows
// given out have the lines they say, an error's line and column exist in the plain
// text, and the same bytes give the same error.
func FuzzRecording(f *testing.F) {
	for _, seed := range []string{plain, strings.ReplaceAll(plain, "\n", "\r\n"), "\xef\xbb\xbf" + plain, gz(plain), zst(plain), gz(plain)[:30],
		"t_ms;erpm;torque_mNm\n0,5;1000;-1,25\n", "t_ms\terpm\ttorque_mNm\n1\t2\t3\n", "t_ms erpm torque_mNm\n 1  2 3 \n",
		"t_ms|erpm|torque_mNm\n1|\"2\"|3|\n", "t_ms,erpm,torque_mNm\n1,1e400,2\n", "t_ms,erpm,torque_mNm\n1,-0,\"\"\"\n",
		"t_ms,erpm,torque_mNm\n# note\n\n1,2,3\n1,,\n1,2", "\xff\xfet\x00", "a,b\n\x00", "t_ms,erpm,torque_mNm\n1e-300,1e18,123456789012345678901234567890\n0,0,0\n"} {
		for dialect := range 6 {
			f.Add([]byte(seed), byte(dialect))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, dialect byte) {
		const longest = 1 << 16
		if len(data) > longest {
			return
		}
		d := spin.Dialect{Delimiter: [...]string{",", ";", "\t", " ", "|", ","}[dialect%6], Decimal: [...]string{".", ",", ".", ".", ".", "."}[dialect%6],
			Comment: "#", HeaderRows: 1}
		cols := threeColumns()
		if dialect%6 == 5 {
			d.HeaderRows = 0
			cols = []Column{{Name: "time", Index: 1}, {Name: "speed", Index: 3}}
		}
		lim := Limits{LineBytes: 4096, Columns: 64, BlockRows: 7, Growth: 250, GrowthFree: 1 << 20}
		before := allocated()
		got, err := readAll(bytes.NewReader(data), d, cols, lim)
		// What comes out is kept here at 50 bytes a row; the reader itself needs some buffers.
		if grown := allocated() - before; grown > 64<<20+200*lim.GrowthFree {
			t.Fatalf("%d bytes allocated for %d", grown, len(data))
		}
		_, again := readAll(bytes.NewReader(data), d, cols, lim)
		if (err == nil) != (again == nil) || (err != nil && err.Error() != again.Error()) {
			t.Fatalf("errors differ: %v, then %v", err, again)
		}
		if diff := compareWays(data, d, cols, lim); diff != "" {
			t.Fatal(diff)
		}
		if err == nil {
			if len(got.lines) == 0 {
				t.Fatal("neither rows nor an error")
			}
			for i := 1; i < len(got.lines); i++ {
				if got.lines[i] <= got.lines[i-1] {
					t.Fatalf("line %d after line %d", got.lines[i], got.lines[i-1])
				}
			}
			sameCompressed(t, data, got, d, cols, lim)
			return
		}
		faults := positioned.All(err)
		if len(faults) == 0 {
			t.Fatalf("an error without a place: %v", err)
		}
		if compressed := bytes.HasPrefix(data, gzipMagic) || bytes.HasPrefix(data, zstdMagic); compressed {
			return
		}
		lines := bytes.Split(data, []byte("\n"))
		for _, e := range faults {
			if e.Line < 0 || e.Line > len(lines) {
				t.Fatalf("%v: the file has %d lines", e, len(lines))
			}
			if e.Col < 0 || (e.Col > 0 && e.Col > len(lines[e.Line-1])+1) {
				t.Fatalf("%v: the line has %d bytes", e, len(lines[e.Line-1]))
			}
			if e.Got == "" || e.Want == "" {
				t.Fatalf("%v: says too little", e)
			}
		}
	})
}

// allocated is the number of bytes this process has allocated so far.
func allocated() int64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.TotalAlloc)
}

// sameCompressed: a plain text and the same text in gzip and zstd read alike.
func sameCompressed(t *testing.T, data []byte, want result, d spin.Dialect, cols []Column, lim Limits) {
	t.Helper()
	if bytes.HasPrefix(data, gzipMagic) || bytes.HasPrefix(data, zstdMagic) {
		return
	}
	for _, packed := range []string{gz(string(data)), zst(string(data))} {
		got, err := readAll(strings.NewReader(packed), d, cols, lim)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got.cols, want.cols) || !reflect.DeepEqual(got.lines, want.lines) || !reflect.DeepEqual(got.missing, want.missing) || !reflect.DeepEqual(got.cut, want.cut) {
			t.Fatalf("compressed %+v, plain %+v", got, want)
		}
	}
}
