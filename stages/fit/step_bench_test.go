package fit

import (
	"slices"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// BenchmarkStep fits one step run with all second opinions, at 2 kHz (6,800 rows, 3.4 s) and at three times that; ms/10k-rows is what
// 10,000 rows of one take:
//
//	go test ./stages/fit -run xxx -bench Step
func BenchmarkStep(b *testing.B) {
	for _, c := range []struct {
		name  string
		times int
	}{{"2kHz", 1}, {"6kHz", 3}} {
		b.Run(c.name, func(b *testing.B) {
			in := input(1, 0, 1e-3, 0.005)
			if c.times > 1 {
				in.Recording.Samples = finer(in.Recording.Samples, c.times)
				in.Recording.StepS /= float64(c.times)
				for i := range in.Recording.Segments {
					g := &in.Recording.Segments[i]
					g.From, g.To = g.From*c.times, g.To*c.times
				}
				in.Recording.Runs = slices.Clone(in.Recording.Runs)
				in.Recording.Runs[0].SamplesInRise *= float64(c.times)
			}
			rows := len(in.Recording.Samples.TimeS)
			for b.Loop() {
				if out, err := Run(in, DefaultOptions()); err != nil || len(out.Fits) != 1 || out.Fits[0].JEnergy == 0 || out.Fits[0].Kind != spin.Step {
					b.Fatal(err, out.Refusals)
				}
			}
			b.ReportMetric(b.Elapsed().Seconds()*1e3/float64(b.N)*10_000/float64(rows), "ms/10k-rows")
		})
	}
}

// finer puts points on straight lines between samples.
func finer(s *series.Samples, times int) *series.Samples {
	between := func(x []float64) []float64 {
		var out []float64
		for i := 0; i+1 < len(x); i++ {
			for k := range times {
				out = append(out, x[i]+(x[i+1]-x[i])*float64(k)/float64(times))
			}
		}
		return append(out, x[len(x)-1])
	}
	return &series.Samples{TimeS: between(s.TimeS), SpeedRadPerS: between(s.SpeedRadPerS), TorqueNm: between(s.TorqueNm)}
}
