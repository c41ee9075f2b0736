package scan

import (
	"bytes"
	"fmt"
	"testing"

	"spinledger/stages/kit/spin"
)

// recordingText is a recording of n rows with seven columns as a logger of small
// motors writes them, about 52 bytes a row.
func recordingText(n int) []byte {
	var b bytes.Buffer
	b.WriteString("t_ms,erpm,torque_mNm,thrust_gf,thr_pct,volt,amp\n")
	for i := range n {
		fmt.Fprintf(&b, "%d.%03d,%d.%d,%d.%03d,%d.%d,%d,%d.%02d,%d.%03d\n", i/2, i%2*500, 40000+i%97*13, i%10,
			-3+i%5, (i*37)%1000, 200+i%11, i%10, 30, 14, 70+i%9, 5+i%3, (i*91)%1000)
	}
	return b.Bytes()
}

func benchColumns() []Column {
	return []Column{{Name: "time", Header: "t_ms"}, {Name: "speed", Header: "erpm"}, {Name: "torque", Header: "torque_mNm"},
		{Name: "thrust", Header: "thrust_gf"}, {Name: "throttle", Header: "thr_pct"}, {Name: "voltage", Header: "volt"}, {Name: "current", Header: "amp"}}
}

// Plain is the dialect of a file with one header row, commas and points.
var plainDialect = spin.Dialect{Delimiter: ",", Decimal: ".", Comment: "#", HeaderRows: 1}

func BenchmarkText(b *testing.B) {
	text := recordingText(200_000)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		s, err := Text(bytes.NewReader(text), "rec.csv", plainDialect, benchColumns(), DefaultLimits())
		if err != nil {
			b.Fatal(err)
		}
		rows := 0
		for blk, err := range s.Blocks {
			if err != nil {
				b.Fatal(err)
			}
			rows += blk.Rows
		}
		if rows != 200_000 {
			b.Fatal(rows)
		}
	}
}
