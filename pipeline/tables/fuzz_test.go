package tables

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// parquetLimits keep a fuzzer's inputs small.
var parquetLimits = scan.Limits{LineBytes: 1 << 12, Columns: 64, BlockRows: 50, Growth: 250, GrowthFree: 1 << 20}

// readParquet reads three columns of fullTable's.
func readParquet(data []byte) (rows [][3]float64, err error) {
	s, err := Recording(bytes.NewReader(data), int64(len(data)), "rec.parquet",
		[]scan.Column{{Name: "time", Header: "rows"}, {Name: "torque", Header: "torque"}, {Name: "speed", Header: "inertia_kgm2"}}, parquetLimits)
	if err != nil {
		return nil, err
	}
	for b, err := range s.Blocks {
		if err != nil {
			return nil, err
		}
		for r := range b.Rows {
			var row [3]float64
			for k := range row {
				row[k] = value(b, k, r)
			}
			rows = append(rows, row)
		}
	}
	return rows, nil
}

func value(b *series.Block, k, r int) float64 {
	switch {
	case b.Missing[k] != nil && b.Missing[k][r]:
		return math.Inf(1)
	case b.Floats[k] != nil:
		return b.Floats[k][r]
	}
	return scan.Value(b.Mantissa[k][r], b.Exponent[k])
}

// FuzzParquet reads any bytes, and a good file damaged in two places and cut: nothing panics, memory
// is bounded, what fails says where, in the same words each time.
func FuzzParquet(f *testing.F) {
	var b bytes.Buffer
	if err := Write(&b, fullTable(200)); err != nil {
		f.Fatal(err)
	}
	good := b.Bytes()
	f.Add([]byte(nil), uint16(0), byte(0), uint16(0), byte(0), uint16(0))
	f.Add([]byte(nil), uint16(len(good)-5), byte(0xff), uint16(9), byte(1), uint16(0))
	f.Add([]byte(nil), uint16(10), byte(7), uint16(0), byte(0), uint16(30))
	f.Add(good, uint16(0), byte(0), uint16(0), byte(0), uint16(0))
	f.Add([]byte("PAR1PAR1"), uint16(0), byte(0), uint16(0), byte(0), uint16(0))
	f.Add([]byte("PAR1\xff\xff\xff\x7fPAR1"), uint16(0), byte(0), uint16(0), byte(0), uint16(0))
	f.Fuzz(func(t *testing.T, own []byte, at uint16, by byte, at2 uint16, by2 byte, cut uint16) {
		data := own
		if len(own) == 0 {
			data = bytes.Clone(good)
			data[int(at)%len(data)] ^= by
			data[len(data)-1-int(at2)%len(data)] ^= by2
			data = data[:len(data)-int(cut)%len(data)]
		}
		before := allocatedBytes()
		rows, err := readParquet(data)
		// A page may say that it holds up to Growth times its bytes, and each of three columns has such pages.
		if grown := allocatedBytes() - before; grown > 512<<20 {
			t.Fatalf("%d bytes allocated for a file of %d", grown, len(data))
		}
		again, err2 := readParquet(data)
		if err == nil {
			if err2 != nil || !slices.Equal(rows, again) {
				t.Fatalf("two readings differ: %v", err2)
			}
			return
		}
		if err2 == nil || err.Error() != err2.Error() {
			t.Fatalf("errors differ:\n%v\n%v", err, err2)
		}
		if len(positioned.All(err)) == 0 {
			t.Fatalf("an error without a place: %v", err)
		}
	})
}

func allocatedBytes() int64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.TotalAlloc)
}

// FuzzSamples: what a recording's text says, its samples table says again: parse, write and parse give the same numbers, gaps and lines.
func FuzzSamples(f *testing.F) {
	for _, seed := range []string{"t_ms,tq\n0.5,1.25\n1.0,-2\n", "t_ms,tq\n1,\n2,1e300\n3,0.001\n", "t_ms,tq\n1,123456789012345678901\n\n2,1e-18\n", "t_ms,tq\n-0,999999999999999999\n1,0.5\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 1<<14 {
			return
		}
		cols := []scan.Column{{Name: "time", Header: "t_ms"}, {Name: "torque", Header: "tq"}}
		st, err := scan.Text(strings.NewReader(text), "rec.csv", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, cols, parquetLimits)
		if err != nil {
			return
		}
		var want [3][]float64
		var b bytes.Buffer
		kept := func(yield func(*series.Block, error) bool) {
			for blk, err := range st.Blocks {
				if err == nil {
					for r := range blk.Rows {
						line := blk.FirstLine + r
						if blk.Lines != nil {
							line = blk.Lines[r]
						}
						want[0], want[1], want[2] = append(want[0], float64(line)), append(want[1], value(blk, 0, r)), append(want[2], value(blk, 1, r))
					}
				}
				if !yield(blk, err) {
					return
				}
			}
		}
		if err := writeSamples(&b, kept); err != nil {
			if p := (*positioned.Error)(nil); !errors.As(err, &p) {
				t.Fatal(err)
			}
			return
		}
		cols = []scan.Column{{Name: "line", Header: "line"}, {Name: "time", Header: "time"}, {Name: "torque", Header: "torque"}}
		back, err := Recording(bytes.NewReader(b.Bytes()), int64(b.Len()), "rec.parquet", cols, parquetLimits)
		if err != nil {
			t.Fatal(err)
		}
		var got [3][]float64
		for blk, err := range back.Blocks {
			if err != nil {
				t.Fatal(err)
			}
			for r := range blk.Rows {
				for k := range got {
					got[k] = append(got[k], value(blk, k, r))
				}
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%q\nread back %v\nwant      %v", text, got, want)
		}
	})
}
