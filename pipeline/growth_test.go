//go:build external && unix

package pipeline_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// BenchmarkGrowth shows how time and memory of a run grow over three decades of rows in one recording, and of
// recordings in a catalogue and in one job: processor time a row or recording, memory at the peak, and how many processors were busy on average.
// One op is one run:
//
//	go test ./pipeline -tags external -run xxx -bench Growth -benchtime 1x -timeout 60m
func BenchmarkGrowth(b *testing.B) {
	program := filepath.Join(b.TempDir(), "spinledger")
	if out, err := exec.Command("go", "build", "-o", program, "../cmd/spinledger").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	measure := func(b *testing.B, dir string, n int, unit string) {
		var s spent
		for b.Loop() {
			out := filepath.Join(b.TempDir(), "out")
			s = timed(b, exec.Command(program, "run", "--root", dir, "--out", out, "--workers", "2", dir))
			os.RemoveAll(out)
		}
		b.ReportMetric(1e6*s.CPU/float64(n), "cpu-µs/"+unit)
		b.ReportMetric(s.RSS/(1<<20), "MiB")
		b.ReportMetric(s.CPU/s.Wall, "processors")
		b.ReportMetric(0, "ns/op")
	}
	for _, rows := range []int{10_000, 100_000, 1_000_000, 10_000_000} {
		b.Run(fmt.Sprintf("rows=%d", rows), func(b *testing.B) {
			dir := b.TempDir()
			writeLarge(b, filepath.Join(dir, "large.csv"), rows)
			writeJob(b, dir, "large", []string{"levels: {mounting: bare, file: large.csv, kind: steady, supply: 14.8 V}"})
			measure(b, dir, rows, "row")
		})
	}
	for _, files := range []int{2, 20, 200, 2000} {
		b.Run(fmt.Sprintf("recordings=%d", files), func(b *testing.B) {
			dir := b.TempDir()
			writeMany(b, dir, files, 6000)
			measure(b, dir, files, "recording")
		})
	}
	for _, files := range []int{100, 200, 400, 800} {
		b.Run(fmt.Sprintf("in-one-job=%d", files), func(b *testing.B) {
			dir := b.TempDir()
			writeJobs(b, dir, files, 6000, files)
			measure(b, dir, files, "recording")
		})
	}
	for _, jobs := range []int{1, 10, 100, 1000} {
		b.Run(fmt.Sprintf("jobs=%d", jobs), func(b *testing.B) {
			dir := b.TempDir()
			writeMany(b, dir, 1, 6000)
			text, err := os.ReadFile(filepath.Join(dir, "job00.yaml"))
			if err != nil {
				b.Fatal(err)
			}
			for i := 1; i < jobs; i++ {
				id := fmt.Sprintf("copy%03d", i)
				if err := os.WriteFile(filepath.Join(dir, id+".yaml"), []byte(strings.Replace(string(text), "job: job00", "job: "+id, 1)), 0o644); err != nil {
					b.Fatal(err)
				}
			}
			measure(b, dir, jobs, "job")
		})
	}
}
