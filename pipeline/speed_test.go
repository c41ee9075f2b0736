//go:build external && unix

package pipeline_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// spent is what one conversion took: seconds of wall and processor, bytes of memory at the peak.
type spent struct{ Wall, CPU, RSS float64 }

// BenchmarkAgainstDuckDB compares the program with DuckDB's conversion of the same files to Parquet
// with zstd, both on two threads, in paired rounds; it reports medians of the
// rounds' ratios. One op is one round:
//
//	go test ./pipeline -tags external -run xxx -bench AgainstDuckDB -benchtime 5x
func BenchmarkAgainstDuckDB(b *testing.B) {
	program := filepath.Join(b.TempDir(), "spinledger")
	if out, err := exec.Command("go", "build", "-o", program, "../cmd/spinledger").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	b.Run("large", func(b *testing.B) {
		dir := b.TempDir()
		writeLarge(b, filepath.Join(dir, "large.csv"), 5_000_000)
		writeJob(b, dir, "large", []string{"levels: {mounting: bare, file: large.csv, kind: steady, supply: 14.8 V}"})
		rounds(b, dir, program, "each", []string{filepath.Join(dir, "large.csv")})
	})
	for _, how := range []string{"each", "glob"} {
		b.Run("many-"+how, func(b *testing.B) {
			dir := b.TempDir()
			files := writeMany(b, dir, 2000, 6000)
			if how == "glob" {
				files = []string{filepath.Join(dir, "r*.csv")}
			}
			rounds(b, dir, program, how, files)
		})
	}
}

const channelNames = "t,erpm,torque,thrust,duty,volts,amps"

// rounds runs both programs once an op.
func rounds(b *testing.B, dir, program, how string, files []string) {
	var walls, cpus []float64
	var own, duck spent
	for b.Loop() {
		out := b.TempDir()
		duck = convert(b, out, how, files)
		own = timed(b, exec.Command(program, "run", "--root", dir, "--out", filepath.Join(out, "own"), "--workers", "2", dir))
		walls, cpus = append(walls, own.Wall/duck.Wall), append(cpus, own.CPU/duck.CPU)
		os.RemoveAll(out)
	}
	b.ReportMetric(median(walls), "wall-ratio")
	b.ReportMetric(median(cpus), "cpu-ratio")
	b.ReportMetric(own.Wall, "own-s")
	b.ReportMetric(own.CPU, "own-cpu-s")
	b.ReportMetric(duck.Wall, "duckdb-s")
	b.ReportMetric(duck.CPU, "duckdb-cpu-s")
	b.ReportMetric(own.RSS/(1<<20), "own-MiB")
	b.ReportMetric(duck.RSS/(1<<20), "duckdb-MiB")
	b.ReportMetric(0, "ns/op")
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return (s[len(s)/2] + s[(len(s)-1)/2]) / 2
}

func convert(b *testing.B, out, how string, files []string) (s spent) {
	b.Helper()
	c := exec.Command("node", append([]string{"convert.mjs", "2", how, out, channelNames}, files...)...)
	c.Dir = "../.ci/duckdb"
	c.Stderr = os.Stderr
	text, err := c.Output()
	if err != nil {
		b.Fatal(err)
	}
	if err := json.Unmarshal(text, &s); err != nil {
		b.Fatal(err)
	}
	return s
}

// timed runs the program. Checks may fail on made-up recordings: exit code 1 is fine.
func timed(b *testing.B, c *exec.Cmd) spent {
	b.Helper()
	c.Env = append(os.Environ(), "GOMAXPROCS=2")
	var stderr bytes.Buffer
	c.Stderr = &stderr
	start := time.Now()
	err := c.Run()
	wall := time.Since(start).Seconds()
	if err != nil && c.ProcessState.ExitCode() != 1 {
		b.Fatalf("%v: %s", err, &stderr)
	}
	u := c.ProcessState.SysUsage().(*syscall.Rusage)
	return spent{wall, c.ProcessState.UserTime().Seconds() + c.ProcessState.SystemTime().Seconds(), float64(u.Maxrss) * 1024}
}

func writeJob(b *testing.B, dir, name string, recordings []string) {
	b.Helper()
	bench := `format: 1
bench: speed
gravity: 9.81 m/s2
torque_scale: 1.000(5) 1
logger:
  converter: point
  channels:
    time: {column: t, unit: ms}
    speed: {column: erpm, unit: rpm, reading: electrical, timing: period}
    torque: {column: torque, unit: mN·m}
    thrust: {column: thrust, unit: mN}
    throttle: {column: duty, unit: "%"}
    voltage: {column: volts, unit: V}
    current: {column: amps, unit: A}
`
	if err := os.MkdirAll(filepath.Join(dir, "benches"), 0o755); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "benches", "speed.yaml"), []byte(bench), 0o644); err != nil {
		b.Fatal(err)
	}
	job := fmt.Sprintf("format: 1\njob: %s\nmotor: {pole_pairs: 6}\nsession: {bench: benches/speed.yaml, date: 2026-03-05}\nmountings: {bare: {}}\nrecordings:\n  %s\noptions: {drag: {form: square}}\n",
		name, strings.Join(recordings, "\n  "))
	if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(job), 0o644); err != nil {
		b.Fatal(err)
	}
}

// writeLarge makes a staircase of speeds at 2 kHz, a level every 4 s, about 52 bytes a row.
func writeLarge(b *testing.B, name string, rows int) {
	b.Helper()
	f, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	rng := rand.New(rand.NewPCG(7, 5))
	w.WriteString(channelNames + "\n")
	speed := 0.0
	var line []byte
	for i := range rows {
		level := 20_000 + 10_000*float64((i/8000)%9)
		speed += (level - speed) * 0.01
		decimal := func(v float64, n int, stop byte) { line = append(strconv.AppendFloat(line, v, 'f', n, 64), stop) }
		line = line[:0]
		decimal(float64(i)/2, 3, ',')
		decimal(speed*(1+2e-4*rng.NormFloat64()), 1, ',')
		decimal(speed*speed*1e-9+0.25*rng.NormFloat64(), 3, ',')
		decimal(speed*speed*1.5e-7+2*rng.NormFloat64(), 2, ',')
		decimal(math.Round(level/1000), 0, ',')
		decimal(14.8-speed*1e-5+0.01*rng.NormFloat64(), 3, ',')
		decimal(speed*1e-4+0.1*rng.NormFloat64(), 3, '\n')
		w.Write(line)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
}

// writeMany is writeJobs with a hundred files to a job.
func writeMany(b *testing.B, dir string, files, rows int) (names []string) {
	b.Helper()
	return writeJobs(b, dir, files, rows, 100)
}

// writeJobs writes files of a step recording of the demonstration, its rows repeated to the length wanted, so many
// to a job. They differ in three channels that no inertia rests on.
func writeJobs(b *testing.B, dir string, files, rows, inJob int) (names []string) {
	b.Helper()
	f, err := os.Open("../testdata/smallest/a.csv.gz")
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		b.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		b.Fatal(err)
	}
	recorded := strings.Split(strings.TrimSpace(string(text)), "\n")[1:]
	step, _ := strconv.ParseFloat(strings.Split(recorded[len(recorded)-1], ",")[0], 64)
	step /= float64(len(recorded) - 1)
	rng := rand.New(rand.NewPCG(7, 6))
	var jobRows []string
	for i := range files {
		var w bytes.Buffer
		w.WriteString(channelNames + "\n")
		for r := range rows {
			cells := strings.Split(recorded[r%len(recorded)], ",")
			fmt.Fprintf(&w, "%.3f,%s,%s,%.2f,%s,%.3f,%.3f\n", float64(r)*step, cells[1], cells[2], 100+rng.NormFloat64(), "50", 7.4+0.01*rng.NormFloat64(), 3+0.1*rng.NormFloat64())
		}
		name := fmt.Sprintf("r%04d.csv", i)
		names = append(names, filepath.Join(dir, name))
		if err := os.WriteFile(filepath.Join(dir, name), w.Bytes(), 0o644); err != nil {
			b.Fatal(err)
		}
		jobRows = append(jobRows, fmt.Sprintf("r%04d: {mounting: bare, file: %s, kind: step, supply: 7.4 V}", i, name))
		if len(jobRows) == inJob || i == files-1 {
			writeJob(b, dir, fmt.Sprintf("job%02d", i/inJob), jobRows)
			jobRows = nil
		}
	}
	return names
}
