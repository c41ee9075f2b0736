package pipeline

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"spinledger/reports"
	"spinledger/stages/crosscheck"
	"spinledger/stages/kit/figure"
)

// Every point of a bench's charts is drawn once, at its day and value, with its limits; what
// lies outside them is told apart, and the page says it in words.
func TestCharts(t *testing.T) {
	at := func(bench, chart, date, limits string, value, low, high float64) crosscheck.ChartPoint {
		return crosscheck.ChartPoint{Bench: bench, Chart: chart, Date: date, Job: "weir-1104", Session: "s", Unit: "1", Value: value, U: 0.001,
			Low: low, High: high, Centre: (low + high) / 2, Limits: limits, Outside: value < low || value > high}
	}
	points := []crosscheck.ChartPoint{
		at("loft", crosscheck.ChartLag, "2026-03-04", crosscheck.LimitsNone, 0.4, 0, 1),
		at("loft", crosscheck.ChartLag, "2026-03-05", crosscheck.LimitsNone, 0.5, 0, 1),
		at("loft", crosscheck.ChartScale, "2026-02-26", crosscheck.LimitsRange, 0.001, -0.005, 0.005),
		at("loft", crosscheck.ChartScale, "2026-03-05", crosscheck.LimitsRange, 0.009, -0.005, 0.005),
		at("shed", crosscheck.ChartLag, "2026-03-05", crosscheck.LimitsNone, 0.4, 0, 1), // alone: not drawn
		at("shed", crosscheck.ChartScale, "2026-03-05", crosscheck.LimitsStated, 0.002, -0.005, 0.005),
	}
	figures := chartFigures(points)
	if len(figures) != 3 {
		t.Fatalf("%d figures, want 3", len(figures))
	}
	series := func(f figure.Figure, name string) figure.Series {
		for _, s := range f.Panels[0].Series {
			if s.Name == name {
				return s
			}
		}
		return figure.Series{}
	}
	scale := figures[1]
	in, out, band := series(scale, "session ± 2 u"), series(scale, "outside the limits"), series(scale, "limits")
	if !slices.Equal(in.X, []float64{0}) || !slices.Equal(in.Y, []float64{0.001}) || !slices.Equal(out.X, []float64{7}) || !slices.Equal(out.Y, []float64{0.009}) {
		t.Errorf("inside %+v, outside %+v", in, out)
	}
	if !slices.Equal(band.X, []float64{-0.5, 7.5}) || !slices.Equal(band.High, []float64{0.005, 0.005}) {
		t.Errorf("band %+v", band)
	}
	if len(figures[0].Panels[0].Series) != 1 {
		t.Errorf("limits are drawn where there are none: %+v", figures[0].Panels[0].Series)
	}
	var page bytes.Buffer
	if err := reports.WriteCatalogue(&page, reports.Catalogue{Charts: figures}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"bench loft: disk-to-weights scale", "1 outside the limits by median moving range", "too few for limits"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}
