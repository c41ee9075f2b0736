package pipeline_test

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/pipeline"
	"spinledger/pipeline/archive"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/reports"
)

func regenerate(t *testing.T, e pipeline.Evidence) reports.RegeneratedJob {
	t.Helper()
	r, err := e.Regenerate(filepath.Join(t.TempDir(), "clean"), store.RealDisk(), pipeline.RegenerateOptions{Jobs: []string{"mini"}, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	return r.Jobs[0]
}

func TestRegenerateTheSameBytes(t *testing.T) {
	e, _, _ := demo(t)
	if r := regenerate(t, e); r.First != nil || r.Steps < 8 || r.Files < 10 {
		t.Errorf("%+v, first %+v", r, r.First)
	}
}

// zipped is an archive as a zip file that holds to the rules.
func zipped(t *testing.T, c archive.Crate) *zip.Reader {
	t.Helper()
	var b bytes.Buffer
	if err := c.Zip(&b); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	if err := archive.Check(z); err != nil {
		t.Error(err)
	}
	return z
}

// A stranger has the archive and the program, nothing else.
func TestRegenerateFromArchive(t *testing.T) {
	e, _, _ := demo(t)
	for _, jobs := range [][]string{nil, {"mini"}} {
		c, err := e.Crate(pipeline.CrateOptions{Jobs: jobs})
		if err != nil {
			t.Fatal(err)
		}
		if c.Date != "2026-03-05" || c.Version == "" || len(c.Actions) != max(1, 2-len(jobs)) {
			t.Errorf("%+v", c)
		}
		z := zipped(t, c)
		out, in, err := archive.Split(z)
		if err != nil {
			t.Fatal(err)
		}
		alone := pipeline.Evidence{Name: "a.zip", Out: out, Tree: in}
		if r := regenerate(t, alone); r.First != nil {
			t.Errorf("%+v", r.First)
		}
		if a := audit(t, alone, "mini/bare/inertia"); len(a.Faults) > 0 {
			t.Errorf("%q", a.Faults)
		}
		statement, err := z.Open(archive.OutputsFolder + "/" + pipeline.AttestationFile)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(statement)
		if err != nil {
			t.Fatal(err)
		}
		if err := alone.Attested(text); err != nil {
			t.Error(err)
		}
	}
}

func TestArchiveRefusesWhatDoesNotMatch(t *testing.T) {
	e, out, tree := demo(t)
	tree["testdata/smallest/stall.yaml"] = &fstest.MapFile{Data: []byte("x")}
	delete(tree, "testdata/smallest/a.csv.gz")
	delete(out, "mini/fits.parquet")
	_, err := e.Crate(pipeline.CrateOptions{Jobs: []string{"mini"}})
	for _, want := range []string{
		"testdata/smallest/stall.yaml: got SHA-256 2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881; want ",
		"testdata/smallest/a.csv.gz: got no such file; want an existing one",
		"mini/fits.parquet: got no such file; want the table that the log of mini says was written",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
}

// The first step or cell that differs is named, and why.
func TestRegenerateNamesTheFirstDifference(t *testing.T) {
	edit := func(f fstest.MapFS, name, from, to string) {
		t.Helper()
		text := string(f[name].Data)
		if !strings.Contains(text, from) {
			t.Fatalf("%s has no %s", name, from)
		}
		f[name] = &fstest.MapFile{Data: []byte(strings.Replace(text, from, to, 1)), Mode: 0o644}
	}
	for name, c := range map[string]struct {
		change func(out, tree fstest.MapFS)
		want   reports.Difference
	}{
		"recording": {func(_, tree fstest.MapFS) {
			tree["testdata/smallest/a.csv.gz"] = warmer(t, tree["testdata/smallest/a.csv.gz"])
		},
			reports.Difference{Where: "ingest of mini/a (step 2)", Field: "digest", Because: "inputs", Why: "testdata/smallest/a.csv.gz has other bytes than then"}},
		"bench file": {func(_, tree fstest.MapFS) { edit(tree, "testdata/smallest/stall.yaml", "1.000(5) 1", "1.010(5) 1") },
			reports.Difference{Where: "declare of mini (step 1)", Field: "quantities.0.text", Was: `"1.000(5) 1"`, Is: `"1.010(5) 1"`, Because: "inputs", Why: "testdata/smallest/stall.yaml has other bytes than then"}},
		"method": {func(out, _ fstest.MapFS) {
			edit(out, "mini/provenance.jsonl", `"method":"drag/`, `"method":"drag/old-`)
		},
			reports.Difference{Where: "drag of mini/rotor:bare (step 3)", Field: "method", Because: "program"}},
		"options": {func(out, _ fstest.MapFS) {
			edit(out, "mini/provenance.jsonl", `"floor_rel":0.0002`, `"floor_rel":0.0003`)
		},
			reports.Difference{Where: "drag of mini/rotor:bare (step 3)", Field: "options.floor_rel", Was: "0.0003", Is: "0.0002", Because: "options", Why: "floor_rel of drag was 0.0003 and is 0.0002"}},
		"version": {func(out, _ fstest.MapFS) {
			edit(out, "mini/provenance.jsonl", `"program":{"version":"`, `"program":{"version":"0.0-`)
		},
			reports.Difference{Where: "declare of mini (step 1)", Field: "program.version", Because: "program"}},
		"platform": {func(out, _ fstest.MapFS) {
			out["machine.json"] = &fstest.MapFile{Data: []byte(`{"go": "go1.0", "os": "plan9", "arch": "mips"}`), Mode: 0o644}
			edit(out, "mini/provenance.jsonl", `"warnings":[`, `"warnings":["x",`)
		}, reports.Difference{Because: "platform"}},
		"table": {func(out, _ fstest.MapFS) { out["mini/inertias.parquet"] = heavier(t, out["mini/inertias.parquet"]) },
			reports.Difference{Where: "mini/inertias.parquet", Field: "column inertia_kgm2, row 1", Because: "unknown"}},
		"page": {func(out, _ fstest.MapFS) { edit(out, "mini/report.html", "</html>", "</htm>") },
			reports.Difference{Where: "mini/report.html", Because: "unknown"}},
		"gone": {func(out, _ fstest.MapFS) { delete(out, "mini/runs.parquet") },
			reports.Difference{Where: "mini/runs.parquet", Was: "not there", Because: "unknown"}},
	} {
		e, out, tree := demo(t)
		c.change(out, tree)
		r := regenerate(t, e)
		if r.First == nil {
			t.Errorf("%s: no difference found", name)
			continue
		}
		got, want := *r.First, c.want
		for _, p := range [][2]*string{{&got.Where, &want.Where}, {&got.Field, &want.Field}, {&got.Was, &want.Was}, {&got.Is, &want.Is}, {&got.Why, &want.Why}} {
			if *p[1] == "" {
				*p[0] = ""
			}
		}
		if got != want {
			t.Errorf("%s: got %+v\nwant %+v", name, *r.First, c.want)
		}
	}
}

// warmer is a recording with one digit changed.
func warmer(t *testing.T, f *fstest.MapFile) *fstest.MapFile {
	t.Helper()
	r, err := gzip.NewReader(bytes.NewReader(f.Data))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	at := len(text)/2 + bytes.IndexAny(text[len(text)/2:], "1234")
	text[at]++
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write(text)
	w.Close()
	return &fstest.MapFile{Data: b.Bytes(), Mode: 0o644}
}

// heavier is a table of inertias with one of them raised.
func heavier(t *testing.T, f *fstest.MapFile) *fstest.MapFile {
	t.Helper()
	x, err := tables.Read(bytes.NewReader(f.Data), int64(len(f.Data)))
	if err != nil {
		t.Fatal(err)
	}
	k := slices.IndexFunc(x.Columns, func(c tables.Column) bool { return c.Name == "inertia_kgm2" })
	x.Columns[k].Floats[0] *= 1.01
	var b bytes.Buffer
	if err := tables.Write(&b, x); err != nil {
		t.Fatal(err)
	}
	return &fstest.MapFile{Data: b.Bytes(), Mode: 0o644}
}

// A byte changed in any file of the output folder is named by the attestation, and
// one changed in the attestation too.
func TestAttestationNamesTheFlippedByte(t *testing.T) {
	e, out, _ := demo(t)
	good := out[pipeline.AttestationFile].Data
	if err := e.Attested(good); err != nil {
		t.Fatal(err)
	}
	kinds := 0
	for name := range out {
		if name == "machine.json" || name == pipeline.AttestationFile || strings.HasPrefix(name, ".") {
			continue
		}
		kinds++
		was := out[name]
		data := slices.Clone(was.Data)
		data[len(data)/3] ^= 1
		out[name] = &fstest.MapFile{Data: data, Mode: 0o644}
		if err := e.Attested(good); err == nil || !strings.HasPrefix(err.Error(), name+": got SHA-256 ") {
			t.Errorf("%s: %v", name, err)
		}
		delete(out, name)
		if err := e.Attested(good); err == nil || !strings.HasPrefix(err.Error(), name+": got no such file") {
			t.Errorf("%s deleted: %v", name, err)
		}
		out[name] = was
	}
	if kinds < 40 {
		t.Errorf("%d files", kinds)
	}
	for _, at := range []int{len(good) / 4, len(good) / 2, 3 * len(good) / 4} {
		data := slices.Clone(good)
		for data[at] < '0' || data[at] > '8' {
			at++
		}
		data[at]++
		if err := e.Attested(data); err == nil {
			t.Errorf("byte %d of the attestation is another, and nothing is said", at)
		}
	}
	out["mini/extra.csv"] = &fstest.MapFile{Data: []byte("x")}
	if err := e.Attested(good); err == nil || !strings.Contains(err.Error(), pipeline.AttestationFile+":") || !strings.Contains(err.Error(), "mini/extra.csv") {
		t.Errorf("a file that nobody attested: %v", err)
	}
}

// The ledger goes along, with what is kept of the archived jobs' released numbers and of no others.
func TestArchiveHoldsTheLedger(t *testing.T) {
	e, _, tree := demo(t)
	var err error
	if e.Ledger, err = ledger.Read(tree, "jobs/ledger.yaml"); err != nil {
		t.Fatal(err)
	}
	c, err := e.Crate(pipeline.CrateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	_, in, err := archive.Split(zipped(t, c))
	if err != nil {
		t.Fatal(err)
	}
	again, err := ledger.Read(in, "jobs/ledger.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(again.Lines) != len(e.Ledger.Lines) {
		t.Errorf("%d lines, want %d", len(again.Lines), len(e.Ledger.Lines))
	}
	kept := 0
	for _, line := range again.Lines {
		_, ok, err := again.Kept(in, line)
		if err != nil {
			t.Error(err)
		}
		if want := line.Result != "" && strings.HasPrefix(line.Number, "weir-1104/"); ok != want {
			t.Errorf("%s, edition %d: kept %t, want %t", line.Number, line.Edition, ok, want)
		}
		if ok {
			kept++
		}
	}
	if kept != 2 {
		t.Errorf("%d kept", kept)
	}
}
