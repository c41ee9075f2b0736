package pipeline_test

import (
	"io/fs"
	"maps"
	"os"
	"path"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
	"spinledger/reports"
)

// mapped reads a folder of the disk into memory.
func mapped(t *testing.T, dir string, below ...string) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	for _, b := range below {
		err := fs.WalkDir(os.DirFS(dir), b, func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := fs.ReadFile(os.DirFS(dir), p)
			out[p] = &fstest.MapFile{Data: data, Mode: 0o644}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// evidence runs the small motor's job and the smallest one over a tree in memory.
func evidence(t *testing.T, tree fstest.MapFS) pipeline.Evidence {
	t.Helper()
	jobs, err := pipeline.ReadJobs(tree, []string{"jobs/weir-1104.yaml", "testdata/smallest/mini.yaml"})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	out, err := store.OpenOutput(dir, store.RealDisk(), store.OutputOptions{Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if _, err := pipeline.RunJobs(tree, jobs, out, pipeline.RunOptions{Workers: 2}); err != nil {
		t.Fatal(err)
	}
	return pipeline.Evidence{Name: "out", Out: mapped(t, dir, "."), Tree: tree}
}

var first struct {
	sync.Once
	evidence pipeline.Evidence
}

// demo is the evidence of an unchanged tree, computed once, in copies that a test may change.
func demo(t *testing.T) (e pipeline.Evidence, out, tree fstest.MapFS) {
	t.Helper()
	first.Do(func() {
		first.evidence = evidence(t, mapped(t, "..", "jobs", "testdata/demo/weir-1104", "testdata/smallest"))
	})
	out, tree = maps.Clone(first.evidence.Out.(fstest.MapFS)), maps.Clone(first.evidence.Tree.(fstest.MapFS))
	return pipeline.Evidence{Name: "out", Out: out, Tree: tree}, out, tree
}

func audit(t *testing.T, e pipeline.Evidence, number string) reports.Audit {
	t.Helper()
	a, err := e.Audit(number)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// numbers of both jobs.
func numbers(t *testing.T, e pipeline.Evidence) []string {
	t.Helper()
	var out []string
	for _, file := range []string{"jobs/weir-1104.yaml", "testdata/smallest/mini.yaml"} {
		d, err := e.Dependents(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range d.Numbers {
			out = append(out, n.ID)
		}
	}
	if len(out) < 8 {
		t.Fatalf("numbers: %q", out)
	}
	return out
}

// files of an audit by name.
func files(a reports.Audit) map[string]reports.AuditFile {
	out := map[string]reports.AuditFile{}
	for _, s := range a.Steps {
		for _, f := range s.Files {
			out[f.Name] = f
		}
	}
	return out
}

// One recording changes: every number that moves has that file, with its new
// bytes, on its path, and no number of the other job does.
func TestEveryMovedNumberNamesTheRecording(t *testing.T) {
	before, _, tree := demo(t)
	const changed, other = "testdata/demo/weir-1104/disk-a.csv.gz", "testdata/demo/weir-1104/disk-b.csv.gz"
	tree[changed] = tree[other]
	after := evidence(t, tree)
	moved := 0
	for _, id := range numbers(t, before) {
		was, is := audit(t, before, id), audit(t, after, id)
		if len(was.Faults) == 0 && strings.HasPrefix(id, "weir") {
			t.Errorf("%s: the old audit does not see that %s has changed", id, changed)
		}
		f, on := files(is)[changed]
		if was.Result != is.Result {
			moved++
			if !on || f.SHA256 == files(was)[changed].SHA256 || f.SHA256 != files(is)[other].SHA256 {
				t.Errorf("%s moved, and its path has %s as %+v", id, changed, f)
			}
		}
		if strings.HasPrefix(id, "mini/") && on {
			t.Errorf("%s has a recording of another job on its path", id)
		}
		if len(is.Faults) > 0 {
			t.Errorf("%s: %q", id, is.Faults)
		}
	}
	if moved < 4 {
		t.Errorf("%d numbers moved", moved)
	}
	d, err := after.Dependents(changed)
	if err != nil || len(d.Numbers) < moved || d.What != "the file of recording weir-1104/disk-a" {
		t.Errorf("%d numbers moved; dependents %+v, %v", moved, d, err)
	}
}

// Every file on a number's path is named when one of its bytes is another.
func TestAuditNamesTheFlippedByte(t *testing.T) {
	const number = "weir-1104/weir-1104-disk/inertia"
	e, out, tree := demo(t)
	a := audit(t, e, number)
	if len(a.Faults) > 0 {
		t.Fatalf("%q", a.Faults)
	}
	flip := func(of fstest.MapFS, name string) {
		t.Helper()
		was := of[name]
		data := slices.Clone(was.Data)
		data[len(data)/2] ^= 1
		of[name] = &fstest.MapFile{Data: data, Mode: 0o644}
		found, err := e.Audit(number)
		of[name] = was
		text := strings.Join(found.Faults, "\n")
		if err != nil {
			text = err.Error()
		}
		if !strings.Contains(text, name) {
			t.Errorf("a byte of %s is another; audit says %q", name, text)
		}
	}
	for name := range files(a) {
		flip(tree, name)
	}
	for _, f := range a.Tables {
		flip(out, f.Name)
	}
	flip(out, "weir-1104/results.jsonl")
	flip(out, "weir-1104/provenance.jsonl")
	delete(tree, "testdata/demo/weir-1104/bare-a.csv.gz")
	if got := audit(t, e, number).Faults; !slices.Equal(got, []string{"testdata/demo/weir-1104/bare-a.csv.gz: got no such file; want an existing one"}) {
		t.Errorf("%q", got)
	}
}

// A declaration that reads otherwise now is named with both texts and places.
func TestAuditNamesTheChangedDeclaration(t *testing.T) {
	e, _, tree := demo(t)
	const file = "jobs/parts/weir-1104.yaml"
	text := string(tree[file].Data)
	set := func(s string) { tree[file] = &fstest.MapFile{Data: []byte(s), Mode: 0o644} }
	for _, c := range []struct{ text, want string }{
		{"# measured again\n" + strings.Replace(text, "30.500(15) mm", "30.600(15) mm", 1),
			"parts/weir-1104-disk/layers.0.outer_diameter was 30.500(15) mm at " + file + ":5:29 and is 30.600(15) mm at " + file + ":6:29"},
		{text + "# seen\n", "the declarations in the number's budget read as before; what changed is something else in these files (run the job and compare)"},
		{strings.Replace(text, "30.500(15) mm", "30.500(15)", 1), "the job cannot be read any more: " + file + ":5:39: "},
	} {
		set(c.text)
		got := audit(t, e, "weir-1104/weir-1104-disk/inertia").Faults
		if len(got) != 2 || !strings.HasPrefix(got[0], file+" changed: ") || !strings.HasPrefix(got[1], c.want) {
			t.Errorf("got %q\nwant %s", got, c.want)
		}
	}
}

func TestAuditSaysWhereCausesAreWritten(t *testing.T) {
	e, _, tree := demo(t)
	a := audit(t, e, "weir-1104/weir-1104-disk/inertia")
	share := 0.0
	for _, c := range a.Causes {
		share += c.Share
		if len(c.Places) == 0 {
			t.Errorf("%s has no place", c.Source)
		}
		for _, p := range c.Places {
			part := strings.Split(p, ":")
			line := strings.Split(string(tree[part[0]].Data), "\n")[atoi(t, part[1])-1]
			if c.Written != "" && !strings.Contains(c.Source, "2026-") && !strings.Contains(line, c.Written) {
				t.Errorf("%s is not at %s: %q", c.Written, p, line)
			}
		}
	}
	if share < 1-1e-12 || share > 1+1e-12 {
		t.Errorf("shares sum to %.15f", share)
	}
	if len(a.Checks) == 0 || a.Program == "" || len(a.Tables) == 0 {
		t.Errorf("%d checks, program %q, %d tables", len(a.Checks), a.Program, len(a.Tables))
	}
}

func atoi(t *testing.T, s string) int {
	t.Helper()
	n := 0
	for _, c := range s {
		n = 10*n + int(c-'0')
	}
	return n
}

func TestDependents(t *testing.T) {
	e, _, _ := demo(t)
	for input, want := range map[string]struct{ what, number, how string }{
		"weir-1104-disk":                        {"a part", "weir-1104/weir-1104-disk/inertia", "own"},
		"prop-3x2/A":                            {"a part", "weir-1104/prop-3x2.A/inertia", "own"},
		"prop-3x2.A":                            {"a part", "weir-1104/bare/inertia-direct", "shared"},
		"loft":                                  {"a bench", "weir-1104/bare/inertia", "own"},
		"loft/2026-03-02":                       {"a calibration", "weir-1104/bare/inertia", "own"},
		"stall":                                 {"a bench", "mini/bare/inertia", "own"},
		"weir-1104/disk-a":                      {"a recording", "weir-1104/weir-1104-disk/inertia-direct", "own"},
		"weir-1104/session:session":             {"a session", "weir-1104/bare/inertia", "own"},
		"weir-1104/mounting:disk":               {"a mounting", "weir-1104/weir-1104-disk/inertia", "own"},
		"jobs/parts/weir-1104.yaml:6":           {"the declarations of parts/weir-1104-disk/mass", "weir-1104/weir-1104-disk/inertia", "own"},
		"jobs/benches/loft.yaml":                {"a job, bench or parts file", "weir-1104/bare/inertia", "own"},
		"parts/weir-1104-disk/material.density": {"a declaration, 2700(11) kg/m3", "", ""},
		"bench/loft/gravity":                    {"a cause of uncertainty", "weir-1104/bare/inertia", "own"},
	} {
		d, err := e.Dependents(input)
		if err != nil {
			t.Errorf("%s: %v", input, err)
			continue
		}
		how := ""
		for _, n := range d.Numbers {
			if n.ID == want.number {
				how = n.How
			}
			if job, _, _ := strings.Cut(n.ID, "/"); job == "mini" && input != "stall" {
				t.Errorf("%s: %s", input, n.ID)
			}
		}
		if d.What != want.what || how != want.how {
			t.Errorf("%s: %s, %s %s; want %+v", input, d.What, want.number, how, want)
		}
	}
	if _, err := e.Dependents("weir-1104-dsk"); err == nil || !strings.HasSuffix(err.Error(), "(did you mean weir-1104-disk?)") {
		t.Error(err)
	}
}

func TestAuditRefuses(t *testing.T) {
	e, out, _ := demo(t)
	for number, want := range map[string]string{
		"weir-1104/bare/inertai": "out/weir-1104: got the number weir-1104/bare/inertai; want one of ",
		"wier-1104/bare/inertia": "out: got the number wier-1104/bare/inertia; want one of the jobs mini, weir-1104 (did you mean weir-1104?)",
	} {
		if _, err := e.Audit(number); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
	for name := range out {
		if path.Base(name) == "provenance.jsonl" {
			delete(out, name)
		}
	}
	if _, err := e.Audit("mini/bare/inertia"); err == nil || err.Error() != "out: got no log of any job (provenance.jsonl); want the output folder of a run, or an archive" {
		t.Error(err)
	}
}
