//go:build unix

package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"spinledger/pipeline/store"
)

// crashRoot is set for the process that is killed: this test's own binary, which then runs the
// catalogue below that root into the folder crashOut.
const (
	crashRoot = "SPINLEDGER_CRASH_ROOT"
	crashOut  = "SPINLEDGER_CRASH_OUT"
)

func TestMain(m *testing.M) {
	if root := os.Getenv(crashRoot); root != "" {
		os.Exit(runToBeKilled(root, os.Getenv(crashOut)))
	}
	os.Exit(m.Run())
}

func runToBeKilled(dir, out string) int {
	root, err := store.OpenRoot(dir)
	if err == nil {
		var names []string
		if names, err = FindJobs(root, "."); err == nil {
			names = withoutBench(names)
			var o *Outcome
			if o, err = Run(root, names, out, unsynced{store.RealDisk()}, RunOptions{Workers: 2}); err == nil {
				err = o.Close()
			}
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func withoutBench(names []string) []string {
	var out []string
	for _, n := range names {
		if n != "stall.yaml" {
			out = append(out, n)
		}
	}
	return out
}

// pair is a catalogue that is in one of two states, with what a run leaves of each.
type pair struct {
	root, out string
	names     []string
	texts     [2]string
	want      [2]state
	now       int
}

func newPair(t *testing.T, jobs int) *pair {
	t.Helper()
	p := &pair{root: t.TempDir(), out: filepath.Join(t.TempDir(), "out")}
	p.names = smallCatalogue(t, p.root, jobs)
	rows := smallRows(t)
	p.texts = [2]string{strings.Join(rows[:len(rows)-1], ""), strings.Join(rows[:len(rows)-30], "")}
	for i := range p.texts {
		p.turn(t)
		p.want[p.now] = must(t)(runOnce(t, p.root, filepath.Join(t.TempDir(), fmt.Sprint(i)), p.names, unsynced{store.RealDisk()}, RunOptions{Workers: 2}))
	}
	return p
}

// turn changes a recording, so that the next run has something to write.
func (p *pair) turn(t *testing.T) {
	p.now = 1 - p.now
	put(t, filepath.Join(p.root, "rec", "job-0-a.csv"), p.texts[p.now])
}

// whole fails where a file that is not under a temporary name is neither as one state has it nor
// as the other.
func (p *pair) whole(t *testing.T, what string) {
	t.Helper()
	if _, err := os.Stat(p.out); errors.Is(err, fs.ErrNotExist) {
		return
	}
	for name, text := range contents(t, p.out) {
		if base := filepath.Base(name); strings.HasPrefix(base, ".") && strings.HasSuffix(base, ".part") {
			continue
		}
		if a, b := p.want[0].files[name], p.want[1].files[name]; text != a && text != b {
			t.Errorf("%s: %s is neither as it was nor as it is to be", what, name)
		}
	}
}

// complete runs undisturbed and compares with a run that was never disturbed.
func (p *pair) complete(t *testing.T, what string) {
	t.Helper()
	same(t, what, must(t)(runOnce(t, p.root, p.out, p.names, unsynced{store.RealDisk()}, RunOptions{Workers: 2})), p.want[p.now])
}

// Killed at any moment, a run leaves whole files, and the next one completes it; recordings
// and job files are not touched.
func TestKilled(t *testing.T) { killAtRandom(t, 4) }

func killAtRandom(t *testing.T, times int) {
	p := newPair(t, 2)
	rnd := rand.New(rand.NewPCG(9, 2026))
	longest := 50 * time.Millisecond
	killed := 0
	for i := range times {
		p.turn(t)
		before := contents(t, p.root)
		if i%3 == 0 {
			// From an empty folder every third time.
			if err := os.RemoveAll(p.out); err != nil {
				t.Fatal(err)
			}
		}
		// SIGKILL comes at the end of the context.
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(rnd.Int64N(int64(longest))))
		c := exec.CommandContext(ctx, os.Args[0])
		c.Env = append(os.Environ(), crashRoot+"="+p.root, crashOut+"="+p.out)
		began := time.Now()
		text, err := c.CombinedOutput()
		cancel()
		var exit *exec.ExitError
		switch {
		case err == nil:
			// It was done first. The next ones are killed sooner on the whole.
			longest = min(longest, time.Since(began)+time.Millisecond)
		case errors.Is(ctx.Err(), context.DeadlineExceeded) && (!errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signaled()):
			killed++
			longest += longest / 4
		default:
			t.Fatalf("%v: %s", err, text)
		}
		what := fmt.Sprintf("kill %d", i)
		p.whole(t, what)
		p.complete(t, what)
		for name, text := range contents(t, p.root) {
			if text != before[name] {
				t.Errorf("%s: %s was touched", what, name)
			}
		}
	}
	if killed < times/4 {
		t.Errorf("only %d of %d runs were killed", killed, times)
	}
}

// breaking is a disk whose operation number at fails, writes by stopping half way.
type breaking struct {
	store.Disk
	n, at int
	short bool
	hit   string
}

func (d *breaking) step(name string) error {
	d.n++
	if d.n-1 != d.at {
		return nil
	}
	d.hit = name
	return &fs.PathError{Op: name, Path: "x", Err: syscall.ENOSPC}
}

func (d *breaking) MkdirAll(p string) error {
	return errors.Join(d.step("mkdir"), d.Disk.MkdirAll(p))
}

func (d *breaking) Create(p string) (store.File, error) {
	if err := d.step("create"); err != nil {
		return nil, err
	}
	f, err := d.Disk.Create(p)
	return breakingFile{f, d}, err
}

func (d *breaking) Append(p string) (store.File, error) {
	if err := d.step("append"); err != nil {
		return nil, err
	}
	f, err := d.Disk.Append(p)
	return breakingFile{f, d}, err
}

func (d *breaking) Rename(a, b string) error {
	if err := d.step("rename"); err != nil {
		return err
	}
	return d.Disk.Rename(a, b)
}

func (d *breaking) Remove(p string) error {
	if err := d.step("remove"); err != nil {
		return err
	}
	return d.Disk.Remove(p)
}

type breakingFile struct {
	store.File
	disk *breaking
}

func (f breakingFile) Write(p []byte) (int, error) {
	if err := f.disk.step("write"); err != nil {
		n, _ := f.File.Write(p[:len(p)/2])
		if f.disk.short {
			return n, nil
		}
		return n, err
	}
	return f.File.Write(p)
}

func (f breakingFile) Sync() error {
	return f.disk.step("sync")
}

func (f breakingFile) Close() error {
	return errors.Join(f.File.Close(), f.disk.step("close"))
}

// The disk fails at each operation in turn, by an error or by taking half of a
// write: the run says so, leaves whole files, and the next one completes it.
func TestEveryWriteFails(t *testing.T) { failInTurn(t, 4) }

// failInTurn fails every stride-th operation; with 1 all of them.
func failInTurn(t *testing.T, stride int) {
	p := newPair(t, 1)
	kinds := map[string]int{}
	p.turn(t)
	p.complete(t, "at first")
	for at := 0; ; at += stride {
		p.turn(t)
		d := &breaking{Disk: store.RealDisk(), at: at, short: at/stride%2 == 1}
		what := fmt.Sprintf("operation %d", at)
		_, err := runOnce(t, p.root, p.out, p.names, d, RunOptions{Workers: 1})
		if d.hit == "" {
			if err != nil {
				t.Fatal(err)
			}
			break
		}
		what += " (" + d.hit + ")"
		if kinds[d.hit]++; err == nil {
			t.Errorf("%s: no error", what)
		} else if !strings.Contains(err.Error(), "no space left on the disk") && !strings.Contains(err.Error(), "short write") {
			t.Errorf("%s: %v", what, err)
		}
		p.whole(t, what)
		p.complete(t, what)
	}
	for _, kind := range []string{"create", "write", "sync", "rename", "close"} {
		if kinds[kind] == 0 {
			t.Errorf("no %s failed: %v", kind, kinds)
		}
	}
}

// Two runs into one folder: the second is refused, and mixes nothing.
func TestTwoAtOnce(t *testing.T) {
	p := newPair(t, 1)
	root, err := store.OpenRoot(p.root)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	first, err := Run(root, p.names, p.out, unsynced{store.RealDisk()}, RunOptions{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	p.turn(t)
	_, err = Run(root, p.names, p.out, unsynced{store.RealDisk()}, RunOptions{Workers: 2})
	if err == nil || !strings.HasSuffix(err.Error(), "got an output folder in use by another run; want one run at a time") || !IsUserError(err) {
		t.Error(err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	p.complete(t, "after the first")
}
