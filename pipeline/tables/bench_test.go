package tables

import (
	"io"
	"strings"
	"testing"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/spin"
)

// Scanning a recording and writing its samples table, as ingest does.
func BenchmarkSamples(b *testing.B) {
	text := recordingText(200_000, nil)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		s, err := scan.Text(strings.NewReader(text), "rec.csv", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1},
			[]scan.Column{{Name: "time", Header: "t_ms"}, {Name: "torque", Header: "tq"}}, scan.DefaultLimits())
		if err != nil {
			b.Fatal(err)
		}
		if err := writeSamples(io.Discard, s.Blocks); err != nil {
			b.Fatal(err)
		}
	}
}
