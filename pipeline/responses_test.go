package pipeline_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
)

// demoTree is the small demonstration motor's job, every torque sample multiplied by factor.
func demoTree(t *testing.T, factor float64) fstest.MapFS {
	t.Helper()
	tree := fstest.MapFS{}
	for _, pattern := range []string{"jobs/weir-1104.yaml", "jobs/parts/*.yaml", "jobs/benches/loft.yaml", "testdata/demo/weir-1104/*"} {
		names, err := filepath.Glob(filepath.Join("..", filepath.FromSlash(pattern)))
		if err != nil || len(names) == 0 {
			t.Fatal(pattern, err)
		}
		for _, n := range names {
			data, err := os.ReadFile(n)
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasSuffix(n, ".csv.gz") {
				data = louder(t, data, factor)
			}
			tree[strings.TrimPrefix(filepath.ToSlash(n), "../")] = &fstest.MapFile{Data: data}
		}
	}
	return tree
}

func louder(t *testing.T, packed []byte, factor float64) []byte {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	at := -1
	for i, name := range strings.Split(lines[0], ",") {
		if name == "torque" {
			at = i
		}
	}
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	for n, line := range lines {
		cells := strings.Split(line, ",")
		if n > 0 {
			x, err := strconv.ParseFloat(cells[at], 64)
			if err != nil {
				t.Fatal(err)
			}
			cells[at] = strconv.FormatFloat(x*factor, 'f', 8, 64)
		}
		fmt.Fprintln(w, strings.Join(cells, ","))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestTorqueScaleLeavesTimes: with every torque sample of every recording
// multiplied by 1.02 inertias rise by 2 %, and times and races move by less than 1e-4.
func TestTorqueScaleLeavesTimes(t *testing.T) {
	var found [2]*pipeline.Findings
	for i, factor := range []float64{1, 1.02} {
		tree := demoTree(t, factor)
		j, err := job.Read(tree, "jobs/weir-1104.yaml")
		if err != nil {
			t.Fatal(err)
		}
		if found[i], _, err = pipeline.Compute(tree, pipeline.Plan(j), 2, nil); err != nil {
			t.Fatal(err)
		}
	}
	if got := found[1].Rotors[0].JKgM2.Mean / found[0].Rotors[0].JKgM2.Mean; math.Abs(got-1.02) > 1e-4 {
		t.Errorf("inertia times %v, want 1.02", got)
	}
	var times [2][]float64
	for i := range found {
		for _, r := range found[i].Responses {
			if r.Refused != "" || r.Stalled {
				t.Fatal(r.Request.ID, r.Refused)
			}
			times[i] = append(times[i], r.TimeS.Mean)
		}
	}
	for k, a := range times[0] {
		if b := times[1][k]; math.Abs(b/a-1) > 1e-4 {
			t.Errorf("%s: %v s becomes %v s, %+.2g", found[0].Responses[k].Request.ID, a, b, b/a-1)
		}
		// A race of it against the first.
		if d0, d1 := a-times[0][0], times[1][k]-times[1][0]; math.Abs(d1-d0) > 1e-4*math.Max(math.Abs(a), times[0][0]) {
			t.Errorf("difference %v s becomes %v s", d0, d1)
		}
	}
	// Every recorded rise is foretold without it within 2 %.
	for _, p := range found[0].Predictions {
		if e := p.PredictedS.Mean/p.RecordedS - 1; p.Refused == "" && math.Abs(e) > 0.02 {
			t.Errorf("%s: predicted %v s, recorded %v s", p.Run, p.PredictedS.Mean, p.RecordedS)
		}
	}
}
