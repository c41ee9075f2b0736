//go:build unix

package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func sum(text string) string {
	s := sha256.Sum256([]byte(text))
	return hex.EncodeToString(s[:])
}

func TestReadAndHash(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "rec", "a.csv"), "t,x\n1,2\n")
	root, err := OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	memory := fstest.MapFS{"rec/a.csv": {Data: []byte("t,x\n1,2\n")}}
	for _, fsys := range []fs.FS{root, memory} {
		s, err := Open(fsys, "rec/a.csv")
		if err != nil {
			t.Fatal(err)
		}
		// Only part is read by the consumer; the digest is of the whole.
		if _, err := io.ReadFull(s, make([]byte, 3)); err != nil {
			t.Fatal(err)
		}
		d, err := s.Close()
		if err != nil || d.SHA256 != sum("t,x\n1,2\n") || d.Size != 8 {
			t.Errorf("%T: %+v, %v", fsys, d, err)
		}
		data, d2, err := ReadFile(fsys, "rec/a.csv", 100)
		if err != nil || string(data) != "t,x\n1,2\n" || d2 != d {
			t.Errorf("%T: ReadFile: %q %+v %v", fsys, data, d2, err)
		}
		r, err := OpenRandom(fsys, "rec/a.csv")
		if err != nil {
			t.Fatal(err)
		}
		b := make([]byte, 3)
		if _, err := r.ReadAt(b, 4); err != nil || string(b) != "1,2" || r.Size() != 8 {
			t.Errorf("%T: ReadAt: %q %v", fsys, b, err)
		}
		r.Close()
	}
	if err := fstest.TestFS(root, "rec/a.csv"); err != nil {
		t.Error(err)
	}
}

func TestInputsRefused(t *testing.T) {
	dir := t.TempDir()
	inside, outside := filepath.Join(dir, "root"), filepath.Join(dir, "secret.csv")
	write(t, filepath.Join(inside, "a.csv"), "1")
	write(t, filepath.Join(inside, "big.yaml"), "123456789")
	write(t, outside, "secret")
	link := func(to, from string) {
		if err := os.Symlink(to, filepath.Join(inside, from)); err != nil {
			t.Fatal(err)
		}
	}
	link(outside, "out.csv")
	link("../secret.csv", "up.csv")
	link("a.csv", "good.csv")
	link("loop2.csv", "loop1.csv")
	link("loop1.csv", "loop2.csv")
	link("nothing.csv", "dangling.csv")
	if err := syscall.Mkfifo(filepath.Join(inside, "pipe.csv"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(inside, "folder.csv"), 0o777); err != nil {
		t.Fatal(err)
	}
	root, err := OpenRoot(inside)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	if d, err := Hash(root, "good.csv"); err != nil || d.SHA256 != sum("1") {
		t.Errorf("a link that stays inside: %+v, %v", d, err)
	}
	for name, want := range map[string]string{
		"missing.csv":    "missing.csv: got no such file; want an existing one",
		"dangling.csv":   "dangling.csv: got no such file; want an existing one",
		"folder.csv":     "folder.csv: got a folder; want a regular file",
		"pipe.csv":       "pipe.csv: got a pipe; want a regular file",
		"out.csv":        "out.csv: got a link that leaves the root folder; want a file inside it",
		"up.csv":         "up.csv: got a link that leaves the root folder; want a file inside it",
		"../secret.csv":  "../secret.csv: got a name that leaves the root folder; want a name inside it, with / and without ..",
		"/etc/hostname":  "/etc/hostname: got a name that leaves the root folder; want a name inside it, with / and without ..",
		"loop1.csv":      "loop1.csv: got an error: too many levels of symbolic links; want a readable file",
		"a.csv/more.csv": "a.csv/more.csv: got an error: not a directory; want a readable file",
	} {
		if _, err := Open(root, name); err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
	if _, _, err := ReadFile(root, "big.yaml", 8); err == nil || err.Error() != "big.yaml: got 9 bytes; want at most 8" {
		t.Error(err)
	}
	if _, err := OpenRoot(filepath.Join(inside, "a.csv")); err == nil || !strings.HasSuffix(err.Error(), "a.csv: got a file; want a folder") {
		t.Error(err)
	}
	if _, err := OpenRoot(filepath.Join(inside, "none")); err == nil || !strings.HasSuffix(err.Error(), "none: got no such file; want an existing one") {
		t.Error(err)
	}
}

// A file that changes while it is read is no evidence.
func TestChangedWhileRead(t *testing.T) {
	dir := t.TempDir()
	root, err := OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	path := filepath.Join(dir, "a.csv")
	for name, c := range map[string]struct {
		change func()
		want   string
	}{
		"grown":  {func() { write(t, path, "0123456789+") }, "a.csv: got more than the 10 bytes it had when it was opened; want a file that does not change while it is read (is the logger still writing?)"},
		"shrunk": {func() { write(t, path, "0123") }, "a.csv: got 4 bytes where it had 10 when it was opened; want a file that does not change while it is read (is the logger still writing?)"},
	} {
		write(t, path, "0123456789")
		s, err := Open(root, "a.csv")
		if err != nil {
			t.Fatal(err)
		}
		c.change()
		if _, err := s.Close(); err == nil || err.Error() != c.want {
			t.Errorf("%s: got %v\nwant %s", name, err, c.want)
		}
	}
}

func fill(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		// Many small writes, as table writers make.
		for _, c := range []byte(text) {
			if _, err := w.Write([]byte{c}); err != nil {
				return err
			}
		}
		return nil
	}
}

// list names all files below dir.
func list(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, p)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestWriteWhole(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out", "deep")
	for round := range 2 {
		o, err := OpenOutput(dir, RealDisk(), OutputOptions{Quick: round == 1})
		if err != nil {
			t.Fatal(err)
		}
		d, err := o.Write("samples/a.parquet", fill("rows"))
		if err != nil || d.SHA256 != sum("rows") || d.Size != 4 {
			t.Errorf("%+v, %v", d, err)
		}
		if _, err := o.Write("report.html", fill(fmt.Sprint("round ", round))); err != nil {
			t.Error(err)
		}
		if _, err := o.Write("old.html", fill("x")); err != nil {
			t.Error(err)
		}
		if err := errors.Join(o.Remove("old.html"), o.Remove("old.html"), o.Close()); err != nil {
			t.Error(err)
		}
	}
	if got := list(t, dir); !slices.Equal(got, []string{Marker, "report.html", "samples/a.parquet"}) {
		t.Errorf("files %v", got)
	}
	if b, err := os.ReadFile(filepath.Join(dir, "report.html")); err != nil || string(b) != "round 1" {
		t.Errorf("%q, %v", b, err)
	}
}

func TestOutputRefused(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "job", "a.yaml"), "format: 1")
	write(t, filepath.Join(dir, "photos", "cat.jpg"), "meow")
	write(t, filepath.Join(dir, "file"), "x")
	if err := os.Symlink("job", filepath.Join(dir, "alias")); err != nil {
		t.Fatal(err)
	}
	locked, err := OpenOutput(filepath.Join(dir, "busy"), RealDisk(), OutputOptions{})
	if err != nil {
		t.Fatal(err)
	}
	inputs := []string{filepath.Join(dir, "job", "a.yaml")}
	for name, want := range map[string]string{
		"job":    "job: got an output folder that holds the input a.yaml; want a folder apart from what is read",
		"alias":  "alias: got an output folder that holds the input a.yaml; want a folder apart from what is read",
		".":      ".: got an output folder that holds the input job/a.yaml; want a folder apart from what is read",
		"photos": "photos: got a folder with 1 entries that spinledger did not write; want a new or empty folder, or one written by an earlier run (name another folder)",
		"busy":   "busy: got an output folder in use by another run; want one run at a time",
		"file":   "file: got a file where a folder is due; want a folder",
	} {
		full := filepath.Join(dir, name)
		_, err := OpenOutput(full, RealDisk(), OutputOptions{Inputs: inputs})
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		if got := strings.TrimPrefix(strings.TrimPrefix(err.Error(), dir), string(filepath.Separator)); name != "." && got != want {
			t.Errorf("got %s\nwant %s", got, want)
		} else if name == "." && got != strings.TrimPrefix(want, ".") {
			t.Errorf("got %s\nwant %s", got, want)
		}
	}
	if err := locked.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := OpenOutput(filepath.Join(dir, "busy"), RealDisk(), OutputOptions{})
	if err != nil {
		t.Fatalf("after the lock was given free: %v", err)
	}
	defer again.Close()
	for _, name := range []string{"../x", "/x", ".", "a/../../x", Marker, "sub/" + Marker} {
		if _, err := again.Write(name, fill("x")); err == nil || err.Error() != name+": got a name that leaves the output folder; want a name inside it" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got := list(t, filepath.Join(dir, "job")); !slices.Equal(got, []string{"a.yaml"}) {
		t.Errorf("inputs touched: %v", got)
	}
}

// faulty is a real disk on which operation number fail returns err.
type faulty struct {
	Disk
	n, fail int
	err     error
	name    string
}

func (f *faulty) step(name string) error {
	f.n++
	if f.n-1 == f.fail {
		f.name = name
		return f.err
	}
	return nil
}

func (f *faulty) MkdirAll(p string) error {
	if err := f.step("mkdir"); err != nil {
		return err
	}
	return f.Disk.MkdirAll(p)
}

func (f *faulty) Create(p string) (File, error) {
	if err := f.step("create"); err != nil {
		return nil, err
	}
	file, err := f.Disk.Create(p)
	return &faultyFile{file, f}, err
}

func (f *faulty) Rename(a, b string) error {
	if err := f.step("rename"); err != nil {
		return err
	}
	return f.Disk.Rename(a, b)
}

func (f *faulty) Lock(p string) (func() error, error) {
	if err := f.step("lock"); err != nil {
		return nil, err
	}
	return f.Disk.Lock(p)
}

type faultyFile struct {
	File
	disk *faulty
}

func (f *faultyFile) Write(p []byte) (int, error) {
	if err := f.disk.step("write"); err != nil {
		return 0, err
	}
	return f.File.Write(p)
}

func (f *faultyFile) Sync() error {
	if err := f.disk.step("sync"); err != nil {
		return err
	}
	return f.File.Sync()
}

func (f *faultyFile) Close() error {
	err := f.disk.step("close")
	return errors.Join(err, f.File.Close())
}

// Whatever operation finds the disk full, the error is told, the old file stays
// whole and nothing of the new one remains; also where the writer loses the error.
func TestDiskFull(t *testing.T) {
	careless := func(w io.Writer) error {
		for range 5 {
			w.Write([]byte("new "))
		}
		return nil
	}
	seen := map[string]bool{}
	for fail := 0; ; fail++ {
		dir := filepath.Join(t.TempDir(), "out")
		o, err := OpenOutput(dir, RealDisk(), OutputOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := o.Write("sub/a.txt", fill("old")); err != nil {
			t.Fatal(err)
		}
		o.Close()
		disk := &faulty{Disk: RealDisk(), fail: fail, err: &fs.PathError{Op: "x", Path: "/somewhere", Err: syscall.ENOSPC}}
		o, err = OpenOutput(dir, disk, OutputOptions{})
		if err == nil {
			_, err = o.Write("sub/a.txt", careless)
			o.Close()
		}
		if disk.name == "" {
			// All operations went well.
			if err != nil {
				t.Fatal(err)
			}
			break
		}
		seen[disk.name] = true
		if err == nil || !strings.HasSuffix(err.Error(), ": got no space left on the disk; want room for the whole file") || strings.Contains(err.Error(), "/somewhere") {
			t.Errorf("%s (%d): %v", disk.name, fail, err)
		}
		if b, err := os.ReadFile(filepath.Join(dir, "sub", "a.txt")); err != nil || string(b) != "old" {
			t.Errorf("%s (%d): old file is %q, %v", disk.name, fail, b, err)
		}
		if got := list(t, dir); !slices.Equal(got, []string{Marker, "sub/a.txt"}) {
			t.Errorf("%s (%d): files %v", disk.name, fail, got)
		}
	}
	for _, name := range []string{"mkdir", "lock", "create", "write", "sync", "close", "rename"} {
		if !seen[name] {
			t.Errorf("no failure of %s was tried", name)
		}
	}
}

// A run that was killed leaves a temporary file behind, which the next run replaces.
func TestLeftover(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	write(t, filepath.Join(dir, Marker), "")
	write(t, filepath.Join(dir, ".a.txt.part"), "half")
	o, err := OpenOutput(dir, RealDisk(), OutputOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	if _, err := o.Write("a.txt", fill("whole")); err != nil {
		t.Fatal(err)
	}
	if got := list(t, dir); !slices.Equal(got, []string{Marker, "a.txt"}) {
		t.Errorf("files %v", got)
	}
	// The writer's own error comes back as it is, and leaves nothing.
	own := errors.New("rec.csv:3: bad row")
	if _, err := o.Write("b.txt", func(w io.Writer) error { io.WriteString(w, "x"); return own }); err != own {
		t.Error(err)
	}
	if got := list(t, dir); !slices.Equal(got, []string{Marker, "a.txt"}) {
		t.Errorf("files %v", got)
	}
}

// Errors of permission and of read-only disks say so.
func TestNotWritable(t *testing.T) {
	for err, want := range map[error]string{
		syscall.EACCES:  "out: got no permission to write; want a folder that may be written to",
		syscall.EROFS:   "out: got no permission to write; want a folder that may be written to",
		syscall.EIO:     "out: got an error: input/output error; want a place to write to",
		syscall.ENOTDIR: "out: got a file where a folder is due; want a folder",
	} {
		disk := &faulty{Disk: RealDisk(), err: &fs.PathError{Op: "mkdir", Path: "/somewhere", Err: err}}
		t.Chdir(t.TempDir())
		if _, err := OpenOutput("out", disk, OutputOptions{}); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}
