package ledger

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

func result(id string, mean float64) Result {
	n := spin.Number{ID: id, Job: "j", Subject: "bare", Quantity: spin.Inertia, Unit: "kg·m²", Release: true, Value: uncertain.New(mean, mean/100, 15, "x")}
	return Result{Number: n, JSON: []byte(`{"id":"` + id + `"}`), Basis: Basis{Job: "j", Recordings: []provenance.Input{{Name: "a.csv", SHA256: strings.Repeat("a", 64), Size: 3}}, Files: []provenance.Input{}}}
}

// breaking is a disk on which the n-th change fails.
type breaking struct {
	store.Disk
	left int
}

var errBroken = errors.New("broken")

func (b *breaking) step() error {
	if b.left--; b.left < 0 {
		return errBroken
	}
	return nil
}

func (b *breaking) MkdirAll(p string) error {
	if err := b.step(); err != nil {
		return err
	}
	return b.Disk.MkdirAll(p)
}

func (b *breaking) Create(p string) (store.File, error) {
	if err := b.step(); err != nil {
		return nil, err
	}
	f, err := b.Disk.Create(p)
	return &brokenFile{f, b}, err
}

func (b *breaking) Rename(from, to string) error {
	if err := b.step(); err != nil {
		return err
	}
	return b.Disk.Rename(from, to)
}

type brokenFile struct {
	store.File
	disk *breaking
}

// Write writes half of its bytes when its turn has come, as a full disk does.
func (f *brokenFile) Write(p []byte) (int, error) {
	if f.disk.step() != nil {
		n, _ := f.File.Write(p[:len(p)/2])
		return n, syscall.ENOSPC
	}
	return f.File.Write(p)
}

func (f *brokenFile) Sync() error {
	if err := f.disk.step(); err != nil {
		return err
	}
	return f.File.Sync()
}

func open(t *testing.T, dir string) (*store.Root, *Ledger) {
	t.Helper()
	root, err := store.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	l, err := Open(root, "jobs/ledger.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return root, l
}

// Every write fails in turn: the ledger is the old one or the new one, byte for byte, and a
// line never names what is not kept.
func TestAppendWholeOrNotAtAll(t *testing.T) {
	act := Act{By: "KA", Day: "2026-03-10", Because: "measured anew"}
	for n := 0; ; n++ {
		dir := t.TempDir()
		root, l := open(t, dir)
		first, _, err := l.Propose([]Result{result("j/bare/inertia", 1e-6)}, act)
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Append(root, store.RealDisk(), first); err != nil {
			t.Fatal(err)
		}
		before, _ := os.ReadFile(filepath.Join(dir, "jobs/ledger.yaml"))
		next := result("j/bare/inertia", 2e-6)
		next.JSON = []byte(`{"id":"j/bare/inertia","other":1}`)
		second, _, err := l.Propose([]Result{next}, act)
		if err != nil {
			t.Fatal(err)
		}
		failed := l.Append(root, &breaking{store.RealDisk(), n}, second)
		after, _ := os.ReadFile(filepath.Join(dir, "jobs/ledger.yaml"))
		if !bytes.HasPrefix(after, before) || (failed != nil) != bytes.Equal(after, before) {
			t.Fatalf("failure %d (%v): the ledger is\n%s", n, failed, after)
		}
		entries, _ := fs.Glob(os.DirFS(dir), "jobs/.*.part")
		kept, _ := fs.Glob(os.DirFS(dir), "jobs/released/.*.part")
		if len(entries)+len(kept) > 0 {
			t.Errorf("failure %d leaves %v %v", n, entries, kept)
		}
		_, again := open(t, dir)
		for _, line := range again.Lines {
			if r, ok, err := again.Kept(root, line); !ok || err != nil || r.Digest() != line.Result {
				t.Errorf("failure %d: line %d names what is not kept: %v", n, line.Line, err)
			}
		}
		if failed == nil {
			if n < 6 {
				t.Errorf("only %d changes of the disk", n)
			}
			return
		}
	}
}

// What a person wrote stands: comments, spacing, a last line without its end. Where lines
// at the end would not be ledger lines, nothing is added.
func TestAppendKeepsWhatStands(t *testing.T) {
	for text, want := range map[string]string{
		"format: 1 # ours\n\n": "", "format: 1": "",
		"format: 1\nlines:\n    # old\n  - {number: j/x/inertia, edition: 1, value: \"1 ± 1 g·cm² (k=2)\", source: x, day: 2020-01-01, by: x}": "",
		"format: 1\nlines: []\n": "want",
		"lines:\n  - {number: j/x/inertia, edition: 1, value: \"1 ± 1 g·cm² (k=2)\", source: x, day: 2020-01-01, by: x}\nformat: 1\n": "want",
	} {
		dir := t.TempDir()
		if err := os.MkdirAll(filepath.Join(dir, "jobs"), 0o777); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, "jobs/ledger.yaml")
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		root, l := open(t, dir)
		add, _, err := l.Propose([]Result{result("j/bare/inertia", 1e-6)}, Act{By: "KA", Day: "2026-03-10"})
		if err != nil {
			t.Fatal(err)
		}
		err = l.Append(root, store.RealDisk(), add)
		after, _ := os.ReadFile(file)
		switch {
		case want == "" && (err != nil || !strings.HasPrefix(string(after), text) || !strings.Contains(string(after), "j/bare/inertia")):
			t.Errorf("%q: %v\n%s", text, err, after)
		case want != "" && (err == nil || string(after) != text):
			t.Errorf("%q: added in spite of %v\n%s", text, err, after)
		}
	}
}

// A ledger that changed between reading and writing is not overwritten.
func TestAppendSeesOthersWrite(t *testing.T) {
	dir := t.TempDir()
	root, l := open(t, dir)
	act := Act{By: "KA", Day: "2026-03-10"}
	_, other := open(t, dir)
	a, _, _ := other.Propose([]Result{result("j/a/inertia", 1e-6)}, act)
	if err := other.Append(root, store.RealDisk(), a); err != nil {
		t.Fatal(err)
	}
	b, _, _ := l.Propose([]Result{result("j/b/inertia", 1e-6)}, act)
	err := l.Append(root, store.RealDisk(), b)
	if err == nil || !strings.Contains(err.Error(), "jobs/ledger.yaml: got a file of ") {
		t.Error(err)
	}
	if _, now := open(t, dir); len(now.Lines) != 1 || now.Lines[0].Number != "j/a/inertia" {
		t.Errorf("%+v", now.Lines)
	}
}

// What is kept beside the ledger is checked against the line.
func TestKeptAltered(t *testing.T) {
	dir := t.TempDir()
	root, l := open(t, dir)
	add, _, _ := l.Propose([]Result{result("j/bare/inertia", 1e-6)}, Act{By: "KA", Day: "2026-03-10"})
	if err := l.Append(root, store.RealDisk(), add); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, add[0].KeptName)
	for from, line := range map[string]string{"j/bare": ":1: ", "a.csv": ":2: "} {
		if err := os.WriteFile(file, bytes.Replace(add[0].Kept, []byte(from), []byte("other"), 1), 0o666); err != nil {
			t.Fatal(err)
		}
		_, _, err := l.Kept(root, l.Lines[0])
		if err == nil || !strings.Contains(err.Error(), add[0].KeptName+line+"got a line with SHA-256 ") {
			t.Error(err)
		}
	}
}

// Ledgers write U to four digits; what is read back is within half a unit of the last.
func TestQuantity(t *testing.T) {
	for _, c := range []struct {
		unit    string
		mean, u float64
		dof     float64
		want    string
	}{
		{"kg·m²", 1.00011234e-7, 1.3567e-10, 0, "1.000112 ± 0.002659 g·cm² (k=1.960)"},
		{"kg·m²", 5e-5, 6e-7, 12, "500.00 ± 13.07 g·cm² (k=2.179, dof=12)"},
		{"s", 0.2, 0.001, 0, "0.200000 ± 0.001960 s (k=1.960)"},
		{"J", 1234567, 54321, 0, "1234567 ± 106467 J (k=1.960)"},
		{"s", -1e-3, 0.1, 0, "-0.0010 ± 0.1960 s (k=1.960)"},
	} {
		if got := Quantity(spin.Number{Unit: c.unit, Value: uncertain.New(c.mean, c.u, c.dof, "x")}); got != c.want {
			t.Errorf("got %s, want %s", got, c.want)
		}
	}
}

// The mark of a waiver follows a number into its line.
func TestWaivedMark(t *testing.T) {
	_, l := open(t, t.TempDir())
	r := result("j/bare/inertia", 1e-6)
	r.Number.Waived = []string{"disk-against-weights", "scatter of bare"}
	add, _, err := l.Propose([]Result{r}, Act{By: "KA", Day: "2026-03-10"})
	if err != nil {
		t.Fatal(err)
	}
	data, err := l.extended(add)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := job.ParseLedger("l.yaml", data)
	if err != nil || len(lines) != 1 || lines[0].Waived != "disk-against-weights; scatter of bare" {
		t.Errorf("%+v %v", lines, err)
	}
}
