//go:build external

package pipeline_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
)

// foreignRel is how far a number of another processor may be off, relative: it fuses products and sums
// that this one rounds twice, and gonum has its own kernels for each. 6e-12 of an expanded
// uncertainty and 1e-15 of an inertia were found on the demo (linux/arm64 against linux/amd64).
const foreignRel = 1e-9

// TestOtherProcessor computes the demo on the other of amd64 and arm64, emulated: what is published reads
// the same, and every number of the catalogue is the same within foreignRel.
func TestOtherProcessor(t *testing.T) {
	other, emulator := "arm64", "qemu-aarch64"
	if runtime.GOARCH == "arm64" {
		other, emulator = "amd64", "qemu-x86_64"
	}
	root, dir := filepath.Join(".."), t.TempDir()
	compute := func(arch string, run ...string) (printed, table []byte) {
		t.Helper()
		program := filepath.Join(dir, arch)
		build := exec.Command("go", "build", "-o", program, "./cmd/spinledger")
		build.Dir, build.Env = root, append(os.Environ(), "GOOS=linux", "GOARCH="+arch, "CGO_ENABLED=0")
		if text, err := build.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		out := filepath.Join(dir, "out-"+arch)
		args := append(run, program, "run", "jobs", "--out", out)
		c := exec.Command(args[0], args[1:]...)
		var errors bytes.Buffer
		c.Dir, c.Stderr = root, &errors
		printed, err := c.Output()
		if err != nil {
			t.Fatalf("%v: %v\n%s", args, err, errors.Bytes())
		}
		if table, err = os.ReadFile(filepath.Join(out, "catalogue.csv")); err != nil {
			t.Fatal(err)
		}
		return printed, table
	}
	here, a := compute(runtime.GOARCH)
	there, b := compute(other, emulator)
	if !bytes.Equal(here, there) {
		t.Errorf("printed on %s:\n%s\non %s:\n%s", runtime.GOARCH, here, other, there)
	}
	x, err := csv.NewReader(bytes.NewReader(a)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	y, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil || len(x) != len(y) || len(x) < 20 {
		t.Fatalf("%d and %d lines, %v", len(x), len(y), err)
	}
	worst := 0.0
	for i, row := range x {
		for k, p := range row {
			q := y[i][k]
			if p == q {
				continue
			}
			u, err1 := strconv.ParseFloat(p, 64)
			v, err2 := strconv.ParseFloat(q, 64)
			d := math.Abs(u-v) / math.Abs(u)
			if worst = math.Max(worst, d); err1 != nil || err2 != nil || !(d <= foreignRel) {
				t.Errorf("%s, %s: %s on %s, %s on %s", row[0], x[0][k], p, runtime.GOARCH, q, other)
			}
		}
	}
	t.Logf("largest relative difference %.2g", worst)
}
