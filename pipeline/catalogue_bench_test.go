//go:build unix

package pipeline

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"spinledger/pipeline/store"
)

// The catalogues of these benchmarks have ten short recordings a job:
//
//	go test ./pipeline -run '^$' -bench Catalogue -benchtime 20x -catalogue-jobs 1000
//
// takes some minutes to compute them first.
var benchJobs = flag.Int("catalogue-jobs", 30, "jobs of the catalogues that benchmarks generate")

const benchRecordings = 10

// largeCatalogue writes jobs of ten recordings of 500 rows, no two equal.
func largeCatalogue(b *testing.B, root string, jobs int) []string {
	b.Helper()
	all := smallRows(b)
	rows := []string{all[0]}
	for i := 1; i < len(all); i += 3 {
		rows = append(rows, all[i])
	}
	put(b, filepath.Join(root, "stall.yaml"), smallBench)
	var names []string
	for i := range jobs {
		id := fmt.Sprintf("job-%04d", i)
		var recs strings.Builder
		for k := range benchRecordings {
			name := string(rune('a' + k))
			fmt.Fprintf(&recs, "  %s: {mounting: bare, file: rec/%s/%s.csv, kind: step, supply: 7.4 V}\n", name, id, name)
			// The last digits of a stretch of torque readings make each file its own.
			text := strings.Join(rows[:len(rows)-1-(i*benchRecordings+k)%20], "")
			put(b, filepath.Join(root, "rec", id, name+".csv"), text+fmt.Sprintf("%d.5,90000,0.1%04d,60.0,7.4,0.5\n", 2000, i*benchRecordings+k))
		}
		before, _, _ := strings.Cut(smallJob, "recordings:\n")
		put(b, filepath.Join(root, id+".yaml"), fmt.Sprintf(before, id)+"recordings:\n"+recs.String()+"options: {drag: {form: square}}\n")
		names = append(names, id+".yaml")
	}
	return names
}

// look is what any program must at least do to see that nothing changed: hash the job
// files, stat the recordings.
func look(b *testing.B, root string, names []string) {
	for _, n := range names {
		data, err := os.ReadFile(filepath.Join(root, n))
		if err != nil {
			b.Fatal(err)
		}
		sha256.Sum256(data)
		for k := range benchRecordings {
			if _, err := os.Stat(filepath.Join(root, "rec", strings.TrimSuffix(n, ".yaml"), string(rune('a'+k))+".csv")); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// spent is the time that f takes, and the processor time of this process meanwhile, which
// a busy machine disturbs less.
func spent(f func()) [2]time.Duration {
	var a, b syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &a)
	began := time.Now()
	f()
	wall := time.Since(began)
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &b)
	return [2]time.Duration{wall, time.Duration(b.Utime.Nano() + b.Stime.Nano() - a.Utime.Nano() - a.Stime.Nano())}
}

// medians in ms, of wall and of processor.
func medians(all [][2]time.Duration) (wall, cpu float64) {
	var d [2][]time.Duration
	for _, x := range all {
		d[0], d[1] = append(d[0], x[0]), append(d[1], x[1])
	}
	return median(d[0]), median(d[1])
}

func median(d []time.Duration) float64 {
	slices.Sort(d)
	return float64(d[len(d)/2].Microseconds()) / 1000
}

// BenchmarkCatalogue compares a run in which nothing changed, and one in which one
// recording changed, with looking alone, in turns; medians.
func BenchmarkCatalogue(b *testing.B) {
	root, out := b.TempDir(), filepath.Join(b.TempDir(), "out")
	names := largeCatalogue(b, root, *benchJobs)
	tree, err := store.OpenRoot(root)
	if err != nil {
		b.Fatal(err)
	}
	defer tree.Close()
	disk := store.RealDisk()
	run := func(computed int, disk store.Disk) {
		o, err := Run(tree, names, out, disk, RunOptions{Workers: 2})
		if err != nil {
			b.Fatal(err)
		}
		var text strings.Builder
		if err := o.Summary(&text, false); err != nil {
			b.Fatal(err)
		}
		if o.Computed != computed {
			b.Fatalf("%d jobs computed, want %d", o.Computed, computed)
		}
		if err := o.Close(); err != nil {
			b.Fatal(err)
		}
	}
	first := spent(func() { run(*benchJobs, unsynced{disk}) })
	run(0, disk)
	var looks, nothing, one [][2]time.Duration
	changed := filepath.Join(root, "rec", "job-0003", "c.csv")
	text, err := os.ReadFile(changed)
	if err != nil {
		b.Fatal(err)
	}
	for i := 0; b.Loop(); i++ {
		looks = append(looks, spent(func() { look(b, root, names) }))
		nothing = append(nothing, spent(func() { run(0, disk) }))
		put(b, changed, string(text[:len(text)-len(fmt.Sprintf("%d.5,90000,0.1%04d,60.0,7.4,0.5\n", 2000, 32))])+fmt.Sprintf("2000.5,90000,0.2%04d,60.0,7.4,0.5\n", i))
		one = append(one, spent(func() { run(1, disk) }))
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(first[1].Seconds(), "first-cpu-s")
	lookWall, lookCPU := medians(looks)
	wall, cpu := medians(nothing)
	oneWall, oneCPU := medians(one)
	for _, m := range []struct {
		v    float64
		unit string
	}{{lookWall, "look-ms"}, {wall, "nothing-ms"}, {wall / lookWall, "nothing/look"}, {lookCPU, "look-cpu-ms"}, {cpu, "nothing-cpu-ms"},
		{cpu / lookCPU, "nothing/look-cpu"}, {oneWall, "one-changed-ms"}, {oneCPU, "one-changed-cpu-ms"}} {
		b.ReportMetric(m.v, m.unit)
	}
}

// BenchmarkCataloguePeakMemory is the largest resident size of a process that computes a
// catalogue from nothing, and of one that finds nothing changed.
func BenchmarkCataloguePeakMemory(b *testing.B) {
	for _, jobs := range []int{*benchJobs / 10, *benchJobs} {
		b.Run(fmt.Sprintf("jobs=%d", jobs), func(b *testing.B) {
			root, out := b.TempDir(), filepath.Join(b.TempDir(), "out")
			largeCatalogue(b, root, jobs)
			peak := func() float64 {
				c := exec.Command(os.Args[0])
				c.Env = append(os.Environ(), crashRoot+"="+root, crashOut+"="+out)
				if text, err := c.CombinedOutput(); err != nil {
					b.Fatalf("%v: %s", err, text)
				}
				return float64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss) / 1024
			}
			for b.Loop() {
				if err := os.RemoveAll(out); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(peak(), "computing-MB")
				b.ReportMetric(peak(), "nothing-MB")
			}
		})
	}
}
