package pipeline

import (
	"math"
	"testing"

	"spinledger/pipeline/job"
	"spinledger/reports"
)

// The editions drawn are those of the ledger, in per cent of the latest, and beside them what is computed now.
func TestEditionsAreDrawn(t *testing.T) {
	lines, err := job.ParseLedger("l.yaml", []byte(`format: 1
lines:
  - {number: a/bare/inertia, edition: 1, value: "1.02 ± 0.04 g·cm² (k=2)", source: notebook, day: 2024-05-17, by: KA}
  - {number: a/bare/inertia, edition: 2, value: "1.000 ± 0.002 g·cm² (k=2)", source: notebook, replaces: 1, because: anew, day: 2024-05-27, by: KA}
`))
	if err != nil {
		t.Fatal(err)
	}
	now := reports.ReleasedLine{Moved: reports.Moved{Number: "a/bare/inertia", Kind: reports.Recomputed, ShiftRel: 1e-3, After: &reports.Stated{Value: 1.001e-7, U: 3e-10, K: 2}}}
	f, ok := editionsFigure(lines, now)
	if !ok || len(f.Panels) != 1 || len(f.Panels[0].Series) != 2 {
		t.Fatalf("%v %+v", ok, f)
	}
	was, is := f.Panels[0].Series[0], f.Panels[0].Series[1]
	for _, x := range []struct {
		name      string
		got, want float64
	}{
		{"day of edition 2", was.X[1], 10}, {"edition 1", was.Y[0], 2}, {"its low end", was.Low[0], -2}, {"its high end", was.High[0], 6},
		{"edition 2", was.Y[1], 0}, {"its high end", was.High[1], 0.2}, {"now", is.Y[0], 0.1}, {"its low end", is.Low[0], -0.2},
	} {
		if math.Abs(x.got-x.want) > 0.01 {
			t.Errorf("%s: got %g, want %g", x.name, x.got, x.want)
		}
	}
	if _, ok := editionsFigure(lines[:1], now); ok {
		t.Error("one edition alone is drawn")
	}
}
