package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
)

// fullDisk has room for some writes; every one after them fails.
type fullDisk struct {
	store.Disk
	room int
	full bool
}

func (d *fullDisk) Create(path string) (store.File, error) {
	f, err := d.Disk.Create(path)
	return &fullFile{f, d}, err
}

func (d *fullDisk) Append(path string) (store.File, error) {
	f, err := d.Disk.Append(path)
	return &fullFile{f, d}, err
}

type fullFile struct {
	store.File
	disk *fullDisk
}

func (f *fullFile) Write(p []byte) (int, error) {
	if f.disk.room--; f.disk.room < 0 {
		f.disk.full = true
		return 0, &fs.PathError{Op: "write", Path: "/somewhere", Err: syscall.ENOSPC}
	}
	return f.File.Write(p)
}

// badFolder holds the good recording and its files.
func badFolder(t *testing.T) (dir, job string) {
	t.Helper()
	dir = t.TempDir()
	put(t, dir, "stall.yaml", badBench)
	put(t, dir, "bad.yaml", badJob)
	put(t, dir, "a.csv", text(rows(2000, 0, 1.7, 7)))
	return dir, filepath.Join(dir, "bad.yaml")
}

func transcript(code int, stdout, stderr string) string {
	return fmt.Sprintf("exit %d\n--- stdout\n%s--- stderr\n%s", code, stdout, stderr)
}

// contents lists a folder's files with their bytes, but those about the run itself.
func contents(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !pipeline.SideFile(name) {
			var data []byte
			data, err = os.ReadFile(filepath.Join(dir, name))
			out = append(out, name+": "+string(data))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestBadOutputFolder: an output folder that cannot be one. A file stands in its
// way, or on the way to it; the disk gives no permission, or can only be read.
func TestBadOutputFolder(t *testing.T) {
	dir, job := badFolder(t)
	t.Chdir(t.TempDir())
	put(t, ".", "taken", "mine\n")
	var got strings.Builder
	for _, out := range []string{"taken", "taken/out"} {
		got.WriteString(transcript(invoke("run", "--root", dir, "--out", out, job)))
	}
	for _, err := range []error{syscall.EACCES, syscall.EROFS} {
		var stdout, stderr bytes.Buffer
		disk := refusing{store.RealDisk(), &fs.PathError{Op: "mkdir", Path: "/somewhere", Err: err}}
		code := runOn(disk, []string{"run", "--root", dir, "--out", "out", job}, &stdout, &stderr)
		got.WriteString(transcript(code, stdout.String(), stderr.String()))
	}
	compare(t, filepath.Join(repository, "testdata/bad/output-not-writable.want.txt"), got.String())
	if now := contents(t, "."); !slices.Equal(now, []string{"taken: mine\n"}) {
		t.Errorf("the folder now holds %q", now)
	}
}

// refusing makes no folders.
type refusing struct {
	store.Disk
	err error
}

func (d refusing) MkdirAll(string) error { return d.err }

// TestBadFullDisk: the disk is full at the first write, the second, and so on,
// until there is room for a whole run. Each time the exit code and the error say so, the
// number is not printed as if it were kept, an earlier run's files stay whole or
// are replaced whole, and nothing half-written remains.
func TestBadFullDisk(t *testing.T) {
	dir, job := badFolder(t)
	t.Chdir(t.TempDir())
	args := []string{"run", "--root", dir, "--out", "out", job}
	if code, _, stderr := invoke(args...); code != 0 {
		t.Fatal(stderr)
	}
	whole := contents(t, "out")
	tried := 0
	// Every write in turn at first, then every so many.
	for room := 0; ; room += 1 + room/10 {
		tried++
		// Without its receipts the folder's files are all written again.
		if err := os.Remove("out/.spinledger-receipts"); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		disk := &fullDisk{Disk: store.RealDisk(), room: room}
		var stdout, stderr bytes.Buffer
		code := runOn(disk, args, &stdout, &stderr)
		if now := contents(t, "out"); !slices.Equal(now, whole) {
			t.Fatalf("write %d: the folder has changed", room)
		}
		if !disk.full {
			if code != 0 {
				t.Fatalf("exit %d: %s", code, stderr.String())
			}
			break
		}
		if room == 0 {
			compare(t, filepath.Join(repository, "testdata/bad/disk-full.want.txt"), transcript(code, stdout.String(), stderr.String()))
		}
		if code != 2 || stdout.Len() > 0 || !strings.HasSuffix(stderr.String(), ": got no space left on the disk; want room for the whole file\n") || strings.Count(stderr.String(), "\n") != 1 {
			t.Fatalf("write %d: exit %d, stdout %q, stderr %q", room, code, stdout.String(), stderr.String())
		}
	}
	if tried < 20 {
		t.Errorf("only %d writes were tried", tried)
	}
}
