//go:build unix

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Things that stand in place of a recording, or lead out of the tree, are refused
// before anything is opened or written.
func TestHostileFiles(t *testing.T) {
	dir, outside := t.TempDir(), t.TempDir()
	do := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	do(os.WriteFile(filepath.Join(outside, "a.csv"), []byte(text(rows(2000, 0, 4.2, 7))), 0o644))
	do(os.WriteFile(filepath.Join(dir, "stall.yaml"), []byte(badBench), 0o644))
	do(os.Mkdir(filepath.Join(dir, "folder.csv"), 0o755))
	do(syscall.Mkfifo(filepath.Join(dir, "pipe.csv"), 0o644))
	do(os.Symlink("loop2.csv", filepath.Join(dir, "loop1.csv")))
	do(os.Symlink("loop1.csv", filepath.Join(dir, "loop2.csv")))
	do(os.Symlink(filepath.Join(outside, "a.csv"), filepath.Join(dir, "away.csv")))
	do(os.Symlink("/dev/zero", filepath.Join(dir, "device.csv")))
	for _, c := range []struct{ file, want string }{
		{"folder.csv", `bad.yaml:7:29: recordings.a.file: got "folder.csv", which is not a regular file; want a file`},
		{"pipe.csv", `bad.yaml:7:29: recordings.a.file: got "pipe.csv", which is not a regular file; want a file`},
		{"loop1.csv", `bad.yaml:7:29: recordings.a.file: got "loop1.csv"; want a file that exists below the root`},
		{"away.csv", `bad.yaml:7:29: recordings.a.file: got "away.csv"; want a file that exists below the root`},
		{"device.csv", `bad.yaml:7:29: recordings.a.file: got "device.csv"; want a file that exists below the root`},
		{"../a.csv", `bad.yaml:7:29: recordings.a.file: got "../a.csv"; want a file name relative to this file, with / between folders, below the root folder (see --root) (did you mean a --root 1 folder higher?)`},
		{"/dev/zero", `bad.yaml:7:29: recordings.a.file: got "/dev/zero"; want a file name relative to this file, with / between folders, below the root folder (see --root)`},
	} {
		do(os.WriteFile(filepath.Join(dir, "bad.yaml"), []byte(strings.Replace(badJob, "file: a.csv", "file: "+c.file, 1)), 0o644))
		for _, verb := range []string{"check", "run"} {
			var stdout, stderr bytes.Buffer
			args := []string{verb, "--root", dir, filepath.Join(dir, "bad.yaml")}
			out := filepath.Join(dir, "out")
			if verb == "run" {
				args = append(args, "--out", out)
			}
			if code := run(args, &stdout, &stderr); code != 2 || stdout.Len() > 0 {
				t.Errorf("%s %s: exit code %d, stdout %q", verb, c.file, code, &stdout)
			}
			if got := strings.TrimSpace(stderr.String()); got != c.want {
				t.Errorf("%s %s:\n got  %s\n want %s", verb, c.file, got, c.want)
			}
			if _, err := os.Stat(out); err == nil {
				t.Errorf("%s %s: wrote %s", verb, c.file, out)
			}
		}
	}
}
