package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"spinledger/pipeline"
)

const root = "../.."

// repository is root from wherever a test may have changed to.
var repository, _ = filepath.Abs(root)

// invoke runs the program as typed, below the repository's root.
func invoke(args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	code = run(args, &out, &errs)
	return code, out.String(), errs.String()
}

// The demonstration catalogue gives every inertia within its interval of the
// simulator's truth, and exits 0.
func TestDemoAgainstTruth(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	code, stdout, stderr := invoke("run", "--root", root, "--out", out, "--json", root+"/jobs")
	if code != 0 {
		t.Fatalf("exit %d\n%s\n%s", code, stdout, stderr)
	}
	var found []struct {
		Numbers []struct {
			ID      string `json:"id"`
			Release bool   `json:"release"`
			Value   struct {
				Mean  float64 `json:"mean"`
				Parts []struct {
					C float64 `json:"c"`
				} `json:"parts"`
			} `json:"value"`
		} `json:"numbers"`
		Checks []struct {
			Name    string  `json:"name"`
			Subject string  `json:"subject"`
			Value   float64 `json:"value"`
		} `json:"checks"`
	}
	if err := json.Unmarshal([]byte(stdout), &found); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(root + "/testdata/demo/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	truth := map[string]float64{}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	met, disks := 0, 0
	for _, j := range found {
		for _, k := range j.Checks {
			// 2 % is enough to rank propellers (common practice, no source).
			if k.Name != "disk-against-weights" && k.Name != "second-disk" {
				continue
			}
			if disks++; math.Abs(k.Value) > 0.02 {
				t.Errorf("%s of %s is %.2f %% off its geometry", k.Name, k.Subject, 100*k.Value)
			}
		}
		for _, n := range j.Numbers {
			want, ok := truth[n.ID]
			if !ok {
				continue
			}
			u := 0.0
			for _, p := range n.Value.Parts {
				u += p.C * p.C
			}
			// Three standard uncertainties: of ten numbers one in 37 would otherwise fail by chance.
			if d := n.Value.Mean - want; math.Abs(d) > 3*math.Sqrt(u) {
				t.Errorf("%s is %.6g, truth %.6g: %.2f u off", n.ID, n.Value.Mean, want, d/math.Sqrt(u))
			}
			if !n.Release {
				t.Errorf("%s is not fit for release", n.ID)
			}
			met++
		}
	}
	if disks != 4 {
		t.Errorf("%d disks were compared with their geometry, 4 are declared", disks)
	}
	if met != len(truth) {
		t.Errorf("%d of %d true inertias were met by a number", met, len(truth))
	}
	// The released numbers of the demonstration stand. Where one moved for a reason: run jobs, then
	// release it with --because and --write, and commit the ledger.
	if code, stdout, stderr := invoke("drift", "--root", root, "--ledger", root+"/jobs/ledger.yaml", out); code != 0 || !strings.Contains(stdout, "; 0 above the limit") {
		t.Errorf("drift: exit %d\n%s%s", code, stdout, stderr)
	}
}

// The faulty job names what is wrong: the hot sweep and the disk's drawing,
// with the place of the declaration that is off.
func TestFaultyJobFailsByName(t *testing.T) {
	code, stdout, stderr := invoke("run", "--root", root, "--out", filepath.Join(t.TempDir(), "out"), root+"/jobs/faulty/hot-sweep.yaml")
	if code != 1 {
		t.Fatalf("exit %d\n%s\n%s", code, stdout, stderr)
	}
	for _, want := range []string{
		"FAIL sweep-return", "FAIL disk-against-weights", "FAIL mass-against-drawing", "outer_diameter", "jobs/faulty/parts.yaml:", "NOT FIT",
	} {
		if !strings.Contains(stdout, want) {
			t.Errorf("summary does not say %q:\n%s", want, stdout)
		}
	}
}

// The same bytes whatever the number of workers.
func TestWorkersChangeNothing(t *testing.T) {
	a, b := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")
	for out, workers := range map[string]string{a: "1", b: "8"} {
		if code, _, stderr := invoke("run", "--root", root, "--out", out, "--workers", workers, root+"/jobs/weir-1104.yaml"); code != 0 {
			t.Fatalf("exit %d: %s", code, stderr)
		}
	}
	files := 0
	err := filepath.WalkDir(a, func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(a, p)
		if pipeline.SideFile(filepath.ToSlash(rel)) {
			return nil
		}
		x, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		y, err := os.ReadFile(filepath.Join(b, rel))
		if err != nil {
			return err
		}
		if !bytes.Equal(x, y) {
			t.Errorf("%s differs between 1 and 8 workers", rel)
		}
		files++
		return nil
	})
	if err != nil || files < 20 {
		t.Fatalf("%d files compared, %v", files, err)
	}
}

func TestBadCalls(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"run"}, "requires at least 1 arg(s)"},
		{[]string{"run", "--root", root, root + "/jobs/none.yaml"}, "jobs/none.yaml: got nothing of that name below the root; want a job file, or a folder of them"},
		{[]string{"run", "--root", root, "--out", root + "/jobs", root + "/jobs"}, "got an output folder that holds the input"},
		{[]string{"fly"}, "unknown command"},
	} {
		code, stdout, stderr := invoke(c.args...)
		if code != 2 || !strings.Contains(stderr, c.want) || stdout != "" {
			t.Errorf("%v: exit %d, stdout %q, stderr %q; want %q", c.args, code, stdout, stderr, c.want)
		}
	}
}

// The README shows what the program prints: its run blocks are run.
func TestReadmeOutput(t *testing.T) {
	readme, err := os.ReadFile(root + "/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, job := range []string{"jobs", "testdata/smallest/mini.yaml"} {
		_, after, ok := strings.Cut(string(readme), "$ go run ./cmd/spinledger run "+job+"\n")
		want, _, closed := strings.Cut(after, "```")
		if !ok || !closed {
			t.Fatalf("README.md does not run %s", job)
		}
		_, got, stderr := invoke("run", "--root", root, "--out", filepath.Join(t.TempDir(), "out"), root+"/"+job)
		if strings.TrimRight(got, "\n") != strings.TrimRight(want, "\n") {
			t.Errorf("run %s prints\n%s%s\nREADME.md shows\n%s", job, got, stderr, want)
		}
	}
	for _, file := range []string{"mini.yaml", "stall.yaml"} {
		data, err := os.ReadFile(root + "/testdata/smallest/" + file)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(readme), "```yaml\n"+string(data)+"```") {
			t.Errorf("README.md does not show testdata/smallest/%s as it is", file)
		}
	}
}

// A line of the log can be checked by hand: the file's hash and the result's.
func TestLogByHand(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	if code, _, stderr := invoke("run", "--root", root, "--out", out, root+"/testdata/smallest/mini.yaml"); code != 0 {
		t.Fatal(stderr)
	}
	read := func(name string) []string {
		data, err := os.ReadFile(filepath.Join(out, "mini", name))
		if err != nil {
			t.Fatal(err)
		}
		return strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	}
	steps, results := read("provenance.jsonl"), read("results.jsonl")
	if len(steps) != len(results) || len(steps) < 6 {
		t.Fatalf("%d steps, %d results", len(steps), len(results))
	}
	var seen []string
	for i, line := range steps {
		var step struct {
			N               int
			Output          string
			Inputs, Outputs []struct{ Name, SHA256 string }
		}
		if err := json.Unmarshal([]byte(line), &step); err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprintf("%x", sha256.Sum256([]byte(results[i]))); got != step.Output || step.N != i+1 {
			t.Errorf("line %d: output %s, hash of the result %s", i+1, step.Output, got)
		}
		same := func(dir, name, want string) {
			data, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprintf("%x", sha256.Sum256(data)); got != want {
				t.Errorf("%s: logged %s, is %s", name, want, got)
			}
			seen = append(seen, name)
		}
		for _, f := range step.Inputs {
			same(root, f.Name, f.SHA256)
		}
		for _, f := range step.Outputs {
			same(filepath.Join(out, "mini"), f.Name, f.SHA256)
		}
	}
	for _, want := range []string{"testdata/smallest/mini.yaml", "testdata/smallest/stall.yaml", "testdata/smallest/a.csv.gz", "inertias.parquet", "budget.parquet"} {
		if !slices.Contains(seen, want) {
			t.Errorf("%s is nowhere in the log", want)
		}
	}
}
