package pipeline

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/reports"
)

// smallest is the smallest job with its torque times factor and an option changed.
func smallest(t *testing.T, factor float64, option string) fstest.MapFS {
	t.Helper()
	tree := fstest.MapFS{}
	for _, name := range []string{"mini.yaml", "stall.yaml", "a.csv.gz"} {
		data, err := os.ReadFile("../testdata/smallest/" + name)
		if err != nil {
			t.Fatal(err)
		}
		tree[name] = &fstest.MapFile{Data: data}
	}
	tree["mini.yaml"].Data = bytes.Replace(tree["mini.yaml"].Data, []byte("form: square}"), []byte("form: square}"+option), 1)
	if factor == 1 {
		return tree
	}
	z, err := gzip.NewReader(bytes.NewReader(tree["a.csv.gz"].Data))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	at := slices.Index(strings.Split(lines[0], ","), "torque")
	for i, l := range lines[1:] {
		cells := strings.Split(l, ",")
		x, err := strconv.ParseFloat(cells[at], 64)
		if err != nil {
			t.Fatal(err)
		}
		cells[at] = strconv.FormatFloat(x*factor, 'f', 7, 64)
		lines[i+1] = strings.Join(cells, ",")
	}
	tree["a.csv.gz"].Data = []byte(strings.Join(lines, "\n") + "\n")
	return tree
}

// outputOf computes the job of a tree.
func outputOf(t *testing.T, tree fstest.MapFS) *ledger.Output {
	t.Helper()
	j, err := job.Read(tree, "mini.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, log, err := Compute(tree, Plan(j), 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	var results []ledger.Result
	for _, n := range f.Numbers {
		text, err := json.Marshal(n)
		if err != nil {
			t.Fatal(err)
		}
		results = append(results, ledger.Result{Number: n, JSON: text, Basis: ledger.BasisOf(log, "mini")})
	}
	return ledger.NewOutput(results)
}

// Recording (torque 2 % up) and job file changed at once: computed one at a time, each share is
// what the change alone makes, and the two make the whole.
func TestDriftOneChangeAtATime(t *testing.T) {
	const option = ", fit: {load_prior: 30 %, plateau: 0.1 s}"
	a, b := smallest(t, 1, ""), smallest(t, 1.02, option)
	before, after := FromOutput(outputOf(t, a)), outputOf(t, b)
	onlyFile := outputOf(t, smallest(t, 1, option))
	moved, _ := Drift(before, after, DefaultDrift())
	empty := fstest.MapFS{}
	Separate(moved, before, after, &Inputs{Tree: empty}, &Inputs{Tree: b})
	if !slices.Contains(moved[0].Why, notSeparable) || moved[0].Shares != nil {
		t.Errorf("without the earlier inputs: %+v", moved[0])
	}
	// The earlier inputs lie in an archive under other names.
	archive := fstest.MapFS{}
	for name, f := range a {
		archive["data/"+name+".kept"] = f
	}
	Separate(moved, before, after, &Inputs{Tree: empty, Archives: nil}, &Inputs{Tree: b})
	Separate(moved, before, after, &Inputs{Tree: empty, Archives: []fs.FS{archive}}, &Inputs{Tree: b})
	for _, m := range moved {
		if slices.Contains(m.Why, notSeparable) || len(m.Shares) != 2 || m.Shares[0].Cause != "job file" || m.Shares[1].Cause != "recording" {
			t.Fatalf("%+v", m)
		}
		alone, _ := onlyFile.Find(m.Number)
		if got, want := m.Shares[0].Shift, alone.Number.Value.Mean-m.Before.Value; math.Abs(got-want) > 1e-15*m.Before.Value {
			t.Errorf("%s: job file %g, alone %g", m.Number, got, want)
		}
		if got := m.Shares[1].Shift / m.Before.Value; math.Abs(got-0.02) > 2e-3 {
			t.Errorf("%s: recording %+.4f, want +0.02", m.Number, got)
		}
		if sum := m.Shares[0].Shift + m.Shares[1].Shift; math.Abs(sum-(m.After.Value-m.Before.Value)) > 1e-12*m.Before.Value {
			t.Errorf("%s: shares make %g of %g", m.Number, sum, m.After.Value-m.Before.Value)
		}
	}
	var text strings.Builder
	if err := reports.Drift(&text, moved); err != nil || !strings.Contains(text.String(), "% from recording\n") {
		t.Errorf("%v\n%s", err, text.String())
	}
}
