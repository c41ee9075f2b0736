package pipeline

import (
	"io"
	"testing"
	"time"

	"spinledger/pipeline/store"
	"spinledger/reports"
)

// BenchmarkPages compares the time that the pages of jobs, and of their catalogue, take with that
// of computing them, on the demo's jobs:
//
//	go test ./pipeline -run '^$' -bench Pages -benchtime 7x
func BenchmarkPages(b *testing.B) {
	root, err := store.OpenRoot("..")
	if err != nil {
		b.Fatal(err)
	}
	defer root.Close()
	names, err := FindJobs(root, "jobs")
	if err != nil {
		b.Fatal(err)
	}
	jobs, err := ReadJobs(root, names)
	if err != nil {
		b.Fatal(err)
	}
	var computing, drawing time.Duration
	for b.Loop() {
		var shown []reports.Job
		for _, j := range jobs {
			out, err := store.OpenOutput(b.TempDir()+"/out", store.RealDisk(), store.OutputOptions{})
			if err != nil {
				b.Fatal(err)
			}
			began := time.Now()
			f, log, _, err := produce(root, j, RunOptions{Workers: 1}.resources(), surroundings{}, newKept(out, false, nil))
			if err != nil {
				b.Fatal(err)
			}
			done := time.Now()
			if err := reports.WriteJob(io.Discard, jobPage(j, f, log)); err != nil {
				b.Fatal(err)
			}
			// Computing as measured holds the page too.
			page := time.Since(done)
			computing, drawing = computing+done.Sub(began)-page, drawing+page
			shown = append(shown, summaryOf(f))
			if err := out.Close(); err != nil {
				b.Fatal(err)
			}
		}
		began := time.Now()
		if err := reports.WriteCatalogue(io.Discard, reports.Catalogue{Jobs: shown}); err != nil {
			b.Fatal(err)
		}
		drawing += time.Since(began)
	}
	n := float64(b.N * len(jobs))
	b.ReportMetric(computing.Seconds()/n*1e3, "computing-ms/job")
	b.ReportMetric(drawing.Seconds()/n*1e3, "drawing-ms/job")
	b.ReportMetric(drawing.Seconds()/computing.Seconds(), "drawing/computing")
}
