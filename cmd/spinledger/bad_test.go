package main

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the expected texts of testdata/bad anew")

// bench of the bad recordings: nothing but a declared torque scale.
const badBench = `format: 1
bench: stall
gravity: 9.81 m/s2
torque_scale: 1.000(3) 1
repeatability: [{run: 0.5 %, mounting: 0.1 %, dof: 20}]
logger:
  converter: point
  channels:
    time: {column: t, unit: s}
    speed: {column: erpm, unit: rpm, reading: electrical, timing: instant}
    torque: {column: torque, unit: N·m}
    throttle: {column: duty, unit: "%"}
    voltage: {column: volts, unit: V}
    current: {column: amps, unit: A}
`

const badJob = `format: 1
job: bad
motor: {pole_pairs: 7}
session: {bench: stall.yaml, date: 2026-03-05}
mountings: {bare: {}}
recordings:
  a: {mounting: bare, file: a.csv, kind: step, supply: 14.8 V}
options: {drag: {form: square}}
`

// rows writes a recording by closed form: J = 25 g·cm², load 4e-9·ω², idle 600
// and settled 1400 rad/s with time constants of 8 ms (mechanical) and 2 ms
// (electrical), three steps. The six changes fall at evenly spread phases of a
// 2 kHz grid.
func rows(hz float64, from, to float64, pairs float64) []string {
	const j, k, rise, lag = 25e-7, 4e-9, 0.008, 0.002
	out := []string{"t,erpm,torque,duty,volts,amps"}
	for i := 0; ; i++ {
		t := from + float64(i)/hz
		if t > to {
			return out
		}
		w, dw, duty := 600.0, 0.0, 30.0
		for n := range 3 {
			phase := (float64(2*n) + 0.5) / 6 / 2000
			for _, step := range []struct{ at, change, duty float64 }{{0.5 + phase + 1.2*float64(n), 800, 70}, {1.1 + phase + 1.0/12000 + 1.2*float64(n), -800, 30}} {
				if s := t - step.at; s >= 0 {
					w += step.change * (1 - (rise*math.Exp(-s/rise)-lag*math.Exp(-s/lag))/(rise-lag))
					dw += step.change * (math.Exp(-s/rise) - math.Exp(-s/lag)) / (rise - lag)
					duty = step.duty
				}
			}
		}
		torque := j*dw + k*w*w
		amps := math.Max(0.2, (torque+0.004)*w/14.8*1.1)
		out = append(out, fmt.Sprintf("%.5f,%.1f,%.7f,%.0f,14.800,%.3f", t, w*pairs*30/math.Pi, torque, duty, amps))
	}
}

func text(lines []string) string { return strings.Join(lines, "\n") + "\n" }

// edited is the good recording with one line changed.
func edited(line int, change func(string) string) string {
	r := rows(2000, 0, 4.2, 7)
	r[line-1] = change(r[line-1])
	return text(r)
}

func cell(k int, with string) func(string) string {
	return func(s string) string {
		c := strings.Split(s, ",")
		c[k] = with
		return strings.Join(c, ",")
	}
}

// negated is a recording with the torque column's sign turned.
func negated(lines []string) []string {
	for i, l := range lines[1:] {
		c := strings.Split(l, ",")
		if c[2] = "-" + c[2]; strings.HasPrefix(c[2], "--") {
			c[2] = c[2][2:]
		}
		lines[i+1] = strings.Join(c, ",")
	}
	return lines
}

// TestBadInput gives the program one fault at a time and compares everything
// that it says and its exit code with testdata/bad/<what>.want.txt. The faults:
//
//	missing-file           recording named, not there
//	wrong-hash             SHA-256 pinned in the job file is another's
//	unknown-key            kinds for kind, with a suggestion
//	missing-unit           supply: 14.8
//	wrong-dimension        a supply voltage in ampere
//	uncertainty-negative   an offset of ± -0.01 s
//	duplicate-id           two recordings of one name
//	unknown-part           mounted, in no parts file
//	empty-file             a recording of no bytes
//	header-missing         the first row is numbers
//	column-missing         torqe for torque
//	text-in-number         overload among the torques
//	nan                    NaN among the torques
//	time-backwards         a stamp a second early
//	point-sampled-100-hz   refused: aliasing
//	no-idle                neither idle plateau nor rest before the step
//	never-settles          the recording ends in the rise
//	cut-mid-line           usable to its last whole line, with a warning
//	cut-in-the-rise        not usable: its plateaus are not complete
//	wrong-pole-pairs       7 declared, 14 in truth: more power out than in
//	swapped-sign           torque negative where the rotor speeds up
//	no-load-known          no steady recording, no form declared
//
// good and good-one-step are without a fault. TestBadOutputFolder and
// TestBadFullDisk have the output folder that is not writable, and the full disk.
// The job parser has its own, one file each, in testdata/job.
func TestBadInput(t *testing.T) {
	good := text(rows(2000, 0, 4.2, 7))
	wrongHash := fmt.Sprintf("%x", sha256.Sum256([]byte("other")))
	for _, c := range []struct {
		what, recording, job string
	}{
		{"good", good, badJob},
		{"good-one-step", text(rows(2000, 0, 1.65, 7)), badJob},
		{"missing-file", "", badJob},
		{"wrong-hash", good, strings.Replace(badJob, "file: a.csv", "file: a.csv, sha256: "+wrongHash, 1)},
		{"unknown-key", good, strings.Replace(badJob, "kind: step", "kinds: step", 1)},
		{"missing-unit", good, strings.Replace(badJob, "14.8 V", "14.8", 1)},
		{"wrong-dimension", good, strings.Replace(badJob, "14.8 V", "14.8 A", 1)},
		{"duplicate-id", good, strings.Replace(badJob, "options:", "  a: {mounting: bare, file: a.csv, kind: step}\noptions:", 1)},
		{"uncertainty-negative", good, strings.Replace(badJob, "file: a.csv, kind: step,", "files: [{file: a.csv, offset: 0.12 ± -0.01 s (k=2)}], kind: step,", 1)},
		{"unknown-part", good, strings.Replace(badJob, "bare: {}", "bare: {parts: [disk-40]}", 1)},
		{"empty-file", "\n", badJob},
		{"header-missing", strings.TrimPrefix(good, "t,erpm,torque,duty,volts,amps\n"), badJob},
		{"column-missing", strings.Replace(good, "torque", "torqe", 1), badJob},
		{"text-in-number", edited(1043, cell(2, "overload")), badJob},
		{"nan", edited(1043, cell(2, "NaN")), badJob},
		{"time-backwards", edited(2000, cell(0, "0.00100")), badJob},
		{"point-sampled-100-hz", text(rows(100, 0, 4.2, 7)), badJob},
		{"no-idle", text(rows(2000, 0.505, 1.0, 7)), badJob},
		{"never-settles", text(rows(2000, 0, 0.512, 7)), badJob},
		{"cut-mid-line", good[:len(good)-20], badJob},
		{"cut-in-the-rise", strings.Join(rows(2000, 0, 0.51, 7), "\n")[:42700], badJob},
		{"wrong-pole-pairs", text(rows(2000, 0, 4.2, 14)), badJob},
		{"swapped-sign", text(negated(rows(2000, 0, 4.2, 7))), badJob},
		{"no-load-known", good, strings.Replace(badJob, "options: {drag: {form: square}}\n", "", 1)},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := t.TempDir()
			put(t, dir, "stall.yaml", badBench)
			put(t, dir, "bad.yaml", c.job)
			if c.recording == "\n" {
				put(t, dir, "a.csv", "")
			} else if c.recording != "" {
				put(t, dir, "a.csv", c.recording)
			}
			got := transcript(invoke("run", "--root", dir, "--out", filepath.Join(t.TempDir(), "out"), "--all", filepath.Join(dir, "bad.yaml")))
			compare(t, root+"/testdata/bad/"+c.what+".want.txt", got)
		})
	}
}

// TestBadCalibration: dead weights whose readings do not follow them. The message
// names the line of the bench file.
func TestBadCalibration(t *testing.T) {
	dir, job := badFolder(t)
	put(t, dir, "stall.yaml", strings.Replace(badBench, "torque_scale: 1.000(3) 1\n", `calibrations:
  2026-03-02:
    arm: 100.0(1) mm
    ccw:
      - {mass: 0 g, reading: 0.01 N·m}
      - {mass: 20 g, reading: 0.03 N·m}
      - {mass: 50 g, reading: 0.01 N·m}
      - {mass: 90 g, reading: 0.02 N·m}
`, 1))
	put(t, dir, "bad.yaml", strings.Replace(badJob, "date:", "calibration: 2026-03-02, date:", 1))
	got := transcript(invoke("run", "--root", dir, "--out", filepath.Join(t.TempDir(), "out"), job))
	compare(t, root+"/testdata/bad/calibration-scattered.want.txt", got)
}

func put(t *testing.T, dir, name, data string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o644); err != nil {
		t.Fatal(err)
	}
}

func compare(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, []byte(got)) {
		t.Errorf("got:\n%s\nwant (%s):\n%s", got, file, want)
	}
}
