package job

import (
	"flag"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/stages/kit/positioned"
)

var update = flag.Bool("update", false, "write golden and generated files anew")

const (
	testdata = "../../testdata/job"
	// A bench or parts file is read through one of these.
	benchJob = "format: 1\njob: weir-2207\nsession: {bench: %, date: 2026-03-05}\nmountings: {bare: {}}\nrecordings:\n  a: {mounting: bare, file: a.csv, kind: step}\n"
	partsJob = "format: 1\njob: weir-2207\nparts: [%]\nmotor: {pole_pairs: 7}\nsession: {bench: good/benches/mini.yaml, date: 2026-03-05}\nmountings: {bare: {}}\nrecordings:\n  a: {mounting: bare, file: a.csv, kind: step}\n"
)

// through is the job that reads the named file, in a tree with the good files.
func through(t testing.TB, name string, data []byte) (fs.FS, string) {
	t.Helper()
	return throughTree(goodTree(t), name, data)
}

// throughTree adds the file to a tree of the good files.
func throughTree(tree fstest.MapFS, name string, data []byte) (fs.FS, string) {
	tree[name] = &fstest.MapFile{Data: data}
	wrap := map[string]string{"bench": benchJob, "parts": partsJob}[strings.SplitN(name, "-", 2)[0]]
	if wrap == "" {
		return tree, name
	}
	tree["job.yaml"] = &fstest.MapFile{Data: []byte(strings.Replace(wrap, "%", name, 1))}
	return tree, "job.yaml"
}

// goodTree is testdata/job/good in memory, below good/.
func goodTree(t testing.TB) fstest.MapFS {
	t.Helper()
	tree := fstest.MapFS{}
	root := os.DirFS(testdata)
	err := fs.WalkDir(root, "good", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(root, p)
		tree[p] = &fstest.MapFile{Data: data}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

// Each testdata/job/<what>.bad.yaml has one thing wrong (the one named several, several), and its
// whole message beside it.
func TestBadFiles(t *testing.T) {
	names, err := filepath.Glob(filepath.Join(testdata, "*.bad.yaml"))
	if err != nil || len(names) < 90 {
		t.Fatalf("%d bad files, %v", len(names), err)
	}
	for _, name := range names {
		what := strings.TrimSuffix(filepath.Base(name), ".bad.yaml")
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		tree, job := through(t, what+".bad.yaml", data)
		j, err := Read(tree, job)
		if err == nil {
			t.Errorf("%s: read without a fault", what)
			continue
		}
		if j != nil {
			t.Errorf("%s: a job in spite of a fault", what)
		}
		got := err.Error() + "\n"
		wantFile := filepath.Join(testdata, what+".want.txt")
		if *update {
			if err := os.WriteFile(wantFile, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(wantFile)
		if err != nil || got != string(want) {
			t.Errorf("%s: got\n%swant\n%s%v", what, got, want, err)
		}
		if !strings.Contains(what, "several") && strings.Count(got, "\n") != 1 {
			t.Errorf("%s: one fault gives several messages:\n%s", what, got)
		}
	}
}

// Files that cannot be had at all.
func TestUnreadable(t *testing.T) {
	tree := goodTree(t)
	tree["big.yaml"] = &fstest.MapFile{Data: make([]byte, MaxBytes+1)}
	tree["utf16.yaml"] = &fstest.MapFile{Data: []byte("\xff\xfef\x00o\x00")}
	tree["cr.yaml"] = &fstest.MapFile{Data: []byte("format: 1\rjob: x\n")}
	for name, want := range map[string]string{
		"good/jobs/minj.yaml": `good/jobs/minj.yaml: got "good/jobs/minj.yaml"; want a job file: a file that exists (did you mean "mini.yaml"?)`,
		"good/jobs":           `good/jobs: got "good/jobs", a folder; want a job file: a file`,
		"../x.yaml":           `../x.yaml: got "../x.yaml"; want a job file: a path below the root folder, with / between names`,
		"big.yaml":            `big.yaml: got more than 1048576 bytes; want a job file: a smaller file`,
		"utf16.yaml":          `utf16.yaml:1:1: got byte 0xff, which is not UTF-8; want UTF-8 text with ordinary line ends`,
		"cr.yaml":             `cr.yaml:1:10: got a lone carriage return; want UTF-8 text with ordinary line ends`,
	} {
		_, err := Read(tree, name)
		if err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
}

// Every message says where, what was given and what is allowed.
func TestMessagesAreWhole(t *testing.T) {
	names, _ := filepath.Glob(filepath.Join(testdata, "*.bad.yaml"))
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		tree, job := through(t, path.Base(filepath.ToSlash(name)), data)
		_, err = Read(tree, job)
		checkErrors(t, tree, err)
	}
}

// checkErrors asserts that an error is made of positioned ones whose line and column lie in their file.
func checkErrors(t *testing.T, tree fs.FS, err error) {
	t.Helper()
	all := positioned.All(err)
	if err != nil && len(all) == 0 {
		t.Fatalf("an error without a place: %v", err)
	}
	for _, e := range all {
		data, rerr := fs.ReadFile(tree, e.File)
		if rerr != nil {
			continue
		}
		lines := strings.Split(strings.TrimPrefix(string(data), "\ufeff"), "\n")
		switch {
		case e.Got == "" || e.Want == "":
			t.Fatalf("half an error: %v", e)
		case e.Line < 0 || e.Line > len(lines), e.Line == 0 && e.Col != 0:
			t.Fatalf("%v: the file has %d lines", e, len(lines))
		case e.Line > 0 && e.Col > len([]rune(lines[e.Line-1]))+1:
			t.Fatalf("%v: the line has %d characters", e, len([]rune(lines[e.Line-1])))
		}
	}
}
