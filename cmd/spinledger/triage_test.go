package main

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// benchFolder is a root with one motor's recordings in it, as a logger left them.
func benchFolder(t *testing.T) string {
	t.Helper()
	root := t.TempDir()
	if err := os.CopyFS(filepath.Join(root, "weir"), os.DirFS("../../testdata/demo/weir-1104")); err != nil {
		t.Fatal(err)
	}
	return root
}

// TestDraftThenRun goes from a folder of recordings to numbers without a line
// written by hand: none of them is fit for release before the guesses are taken out of
// unsettled. It never touches a file that is there.
func TestDraftThenRun(t *testing.T) {
	root := benchFolder(t)
	call := func(want int, args ...string) (stdout, stderr string) {
		t.Helper()
		var out, err bytes.Buffer
		if got := run(append(args, "--root", root), &out, &err); got != want {
			t.Fatalf("%v: exit %d, want %d\n%s%s", args, got, want, out.String(), err.String())
		}
		return out.String(), err.String()
	}
	out, _ := call(0, "draft", filepath.Join(root, "weir"), "--to", root, "--pole-pairs", "6")
	if got := strings.Count(out, "\n"); got != 3 {
		t.Errorf("files written:\n%s", out)
	}
	job := filepath.Join(root, "weir.yaml")
	call(0, "check", job)
	text, _ := call(1, "run", job, "--out", filepath.Join(root, "out"))
	if strings.Contains(text, "FIT FOR RELEASE") || !strings.Contains(text, "NOT FIT: unsettled;") || !strings.Contains(text, "torque_scale is a guess") {
		t.Errorf("guesses were released:\n%s", text)
	}
	for _, name := range []string{job, filepath.Join(root, "weir-bench.yaml")} {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		decided, _, found := strings.Cut(string(data), "# No number is fit for release while")
		if !found {
			t.Fatalf("%s lists no guesses:\n%s", name, data)
		}
		if err := os.WriteFile(name, []byte(decided), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, _ = call(0, "run", job, "--out", filepath.Join(root, "out"))
	if strings.Contains(text, "NOT FIT") || !strings.Contains(text, "bare/inertia") || !strings.Contains(text, "disk/inertia") {
		t.Errorf("run after draft:\n%s", text)
	}
	before := listing(t, root)
	_, fault := call(2, "draft", filepath.Join(root, "weir"), "--to", root)
	if !strings.Contains(fault, "weir.yaml: got a file that is there already; want a new name; nothing was written") {
		t.Errorf("second draft: %s", fault)
	}
	if after := listing(t, root); after != before {
		t.Errorf("second draft changed files:\n%s\n%s", before, after)
	}
}

func listing(t *testing.T, root string) string {
	t.Helper()
	var b strings.Builder
	err := fs.WalkDir(os.DirFS(root), ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			b.WriteString(p + " " + info.ModTime().String() + "\n")
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestTriageText: what a tester reads fits his terminal and says what was guessed.
func TestTriageText(t *testing.T) {
	root := benchFolder(t)
	var out, fault bytes.Buffer
	if got := run([]string{"triage", filepath.Join(root, "weir/bare-a.csv.gz"), "--root", root}, &out, &fault); got != 0 {
		t.Fatalf("exit %d: %s", got, fault.String())
	}
	text := out.String()
	for _, want := range []string{"weir/bare-a.csv.gz (step): use it", "▁", "4355 rows at 2000 Hz", "fastest 10 % to 90 %", "guessed: 7 pole pairs", "guessed: torque in mN·m, by the size of its numbers"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, line := range strings.Split(text, "\n") {
		if utf8.RuneCountInString(line) > 80 {
			t.Errorf("wider than 80: %q", line)
		}
	}
	for _, c := range []struct{ arg, want string }{
		{"nothing.csv", "got nothing of that name; want a recording, a folder of them or a job file"},
		{".", "got a folder without recordings"},
	} {
		out.Reset()
		fault.Reset()
		if got := run([]string{"triage", filepath.Join(root, c.arg), "--root", root}, &out, &fault); got != 2 || !strings.Contains(fault.String(), c.want) {
			t.Errorf("triage %s: exit %d, %s%s", c.arg, got, out.String(), fault.String())
		}
	}
}
