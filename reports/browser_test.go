//go:build external

package reports

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// manyJobs is a catalogue of n numbers with spin-up curves.
func manyJobs(n int) Catalogue {
	var c Catalogue
	for len(c.Jobs)*10 < n {
		job := Job{Name: fmt.Sprintf("motor-%04d", len(c.Jobs))}
		for i := range 10 {
			part := fmt.Sprintf("prop-%d.%c", 3+i, 'A'+len(c.Jobs)%20)
			x := 1e-7 * (1 + float64((7919*(10*len(c.Jobs)+i))%1000)/10)
			job.Numbers = append(job.Numbers, spin.Number{
				ID: job.Name + "/" + part + "/inertia", Job: job.Name, Subject: part, Quantity: spin.Inertia, Value: uncertain.New(x, x/200, 0, "s"),
				Scale: spin.ScaleBoth, Runs: 9, Release: i%7 != 0,
			})
			s := figure.Series{Name: part, Mark: figure.Line, Role: figure.Measured}
			for k := range 49 {
				s.X, s.Y = append(s.X, float64(k)/100), append(s.Y, 900+float64(k*i))
			}
			f := figure.Figure{ID: part, Kind: figure.SpinUp, Panels: []figure.Panel{{Name: "14.8 V, 30 → 70 %", Series: []figure.Series{s}}}}
			job.Curves = append(job.Curves, CurvesOf(job.Name, job.Numbers, []figure.Figure{f})...)
		}
		c.Jobs = append(c.Jobs, job)
	}
	return c
}

func save(t *testing.T, name string, b *bytes.Buffer) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestPagesInBrowser opens and uses the pages of the demonstration, of the
// faulty job, of a job whose every text is hostile, and of 5,000 numbers, in
// headless Chromium with an accessibility checker. It needs node, Chromium and
// `npm install` in .ci/pages; a missing one fails it.
func TestPagesInBrowser(t *testing.T) {
	dir := t.TempDir()
	run := exec.Command("go", "run", "./cmd/spinledger", "run", "jobs", "jobs/faulty/hot-sweep.yaml", "--out", filepath.Join(dir, "demo"))
	run.Dir = ".."
	var exit *exec.ExitError
	if out, err := run.CombinedOutput(); err != nil && !errors.As(err, &exit) {
		t.Fatalf("%v\n%s", err, out)
	}
	audit := exec.Command("go", "run", "./cmd/spinledger", "audit", "weir-1104/prop-3x2.A/inertia", "--page", "--in", filepath.Join(dir, "demo"))
	audit.Dir = ".."
	page, err := audit.Output()
	if err != nil {
		t.Fatalf("audit: %v\n%s", err, page)
	}
	save(t, filepath.Join(dir, "demo", "audit.html"), bytes.NewBuffer(page))
	var hostile, many bytes.Buffer
	if err := WriteJob(&hostile, hostilePage()); err != nil {
		t.Fatal(err)
	}
	save(t, filepath.Join(dir, "demo", "hostile", "report.html"), &hostile)
	for _, log := range []string{"provenance.jsonl", "results.jsonl"} {
		save(t, filepath.Join(dir, "demo", "hostile", log), &bytes.Buffer{})
	}
	big := manyJobs(5000)
	if err := WriteCatalogue(&many, big); err != nil {
		t.Fatal(err)
	}
	t.Logf("5,000 numbers: %d bytes", many.Len())
	save(t, filepath.Join(dir, "many", "index.html"), &many)
	for _, j := range big.Jobs {
		var b bytes.Buffer
		b.WriteString("<!doctype html><html lang=en><title>stand-in</title>")
		for _, n := range j.Numbers {
			fmt.Fprintf(&b, `<p id="%s">`, Anchor("n", n.ID))
		}
		save(t, filepath.Join(dir, "many", j.Name, "report.html"), &b)
	}
	faults, seconds := browse(t, dir)
	for page, said := range faults {
		for _, s := range said {
			t.Errorf("%s: %s", page, s)
		}
	}
	if len(faults) != 8 {
		t.Errorf("%d pages were opened, want 8", len(faults))
	}
	t.Logf("ms from click to drawn: %v", seconds)
}

// browse runs the checks; pages that stand in for others are left out.
func browse(t *testing.T, dir string) (faults map[string][]string, seconds map[string]float64) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	c := exec.Command("node", filepath.Join("..", ".ci", "pages", "check.mjs"), dir)
	c.Stdout, c.Stderr = &stdout, &stderr
	if err := c.Run(); err != nil {
		t.Fatalf("node check.mjs: %v\n%s\nwant node 20 or later, Chromium, and `npm install` in .ci/pages", err, stderr.Bytes())
	}
	var got struct {
		Faults  map[string][]string
		Seconds map[string]float64
	}
	if err := json.Unmarshal(stdout.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	return got.Faults, got.Seconds
}
