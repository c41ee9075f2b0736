//go:build unix

package pipeline

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"spinledger/pipeline/store"
)

const smallBench = `format: 1
bench: stall
gravity: 9.81 m/s2
torque_scale: 1.000(5) 1
logger:
  converter: point
  channels:
    time: {column: t, unit: ms}
    speed: {column: erpm, unit: rpm, reading: electrical, timing: period}
    torque: {column: torque, unit: mN·m}
`

const smallJob = `format: 1
job: %s
motor: {pole_pairs: 6}
session: {bench: stall.yaml, date: 2026-03-05}
mountings: {bare: {}}
recordings:
  a: {mounting: bare, file: rec/%[1]s-a.csv, kind: step, supply: 7.4 V}
  b: {mounting: bare, file: rec/%[1]s-b.csv, kind: step, supply: 7.4 V}
options: {drag: {form: square}}
`

// smallRows are the first run of the smallest demonstration recording, its lines.
func smallRows(t testing.TB) []string {
	t.Helper()
	f, err := os.Open("../testdata/smallest/a.csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return strings.SplitAfter(string(data), "\n")[:1500]
}

// smallCatalogue writes a root folder with that many jobs of two short recordings each, no
// two of them equal, and gives the names of the job files.
func smallCatalogue(t testing.TB, root string, jobs int) []string {
	t.Helper()
	rows := smallRows(t)
	put(t, filepath.Join(root, "stall.yaml"), smallBench)
	var names []string
	for i := range jobs {
		id := fmt.Sprintf("job-%d", i)
		put(t, filepath.Join(root, id+".yaml"), fmt.Sprintf(smallJob, id))
		put(t, filepath.Join(root, "rec", id+"-a.csv"), strings.Join(rows[:len(rows)-1-2*i], ""))
		put(t, filepath.Join(root, "rec", id+"-b.csv"), strings.Join(rows[:len(rows)-2-2*i], ""))
		names = append(names, id+".yaml")
	}
	return names
}

func put(t testing.TB, name, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// unsynced is the real disk without waiting for it: tests lose no power.
type unsynced struct{ store.Disk }

func (d unsynced) SyncDir(string) error { return nil }

func (d unsynced) Create(p string) (store.File, error) {
	f, err := d.Disk.Create(p)
	return unsyncedFile{f}, err
}

type unsyncedFile struct{ store.File }

func (unsyncedFile) Sync() error { return nil }

// state is what a run leaves: bytes of every file that is not about the run itself, and what it prints.
type state struct {
	files    map[string]string
	text     string
	computed int
	failed   bool
}

func runOnce(t testing.TB, root, out string, names []string, disk store.Disk, opt RunOptions) (state, error) {
	t.Helper()
	r, err := store.OpenRoot(root)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	o, err := Run(r, names, out, disk, opt)
	if err != nil {
		return state{}, err
	}
	defer o.Close()
	var b bytes.Buffer
	for _, f := range []func() error{
		func() error { return o.Summary(&b, false) }, func() error { return o.Summary(&b, true) }, func() error { return o.JSON(&b) },
	} {
		if err := f(); err != nil {
			return state{}, err
		}
	}
	return state{files: contents(t, out), text: b.String(), computed: o.Computed, failed: o.Failed}, nil
}

// contents are the files of an output folder but side files.
func contents(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || SideFile(name) {
			return err
		}
		data, err := os.ReadFile(filepath.Join(dir, name))
		files[name] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func must(t testing.TB) func(s state, err error) state {
	return func(s state, err error) state {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
}

// same compares files and what is printed.
func same(t testing.TB, what string, got, want state) {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(want.files)) {
		if text, ok := got.files[name]; !ok {
			t.Errorf("%s: %s is missing", what, name)
		} else if text != want.files[name] {
			t.Errorf("%s: %s differs", what, name)
		}
	}
	for name := range got.files {
		if _, ok := want.files[name]; !ok {
			t.Errorf("%s: %s should not be there", what, name)
		}
	}
	if got.text != want.text || got.failed != want.failed {
		t.Errorf("%s: prints\n%s\nwant\n%s", what, got.text, want.text)
	}
}

// readOnly is a disk that takes nothing.
type readOnly struct{ store.Disk }

func (readOnly) Create(p string) (store.File, error) { return nil, errors.New("created " + p) }
func (readOnly) Append(p string) (store.File, error) { return nil, errors.New("appended to " + p) }
func (readOnly) Rename(_, to string) error           { return errors.New("renamed to " + to) }
func (readOnly) Remove(p string) error               { return errors.New("removed " + p) }

// Nothing changed: nothing is computed and nothing written, and the same is printed. With
// --rehash everything is read, and nothing more is written than when it was.
func TestNothingChanged(t *testing.T) {
	root, out := t.TempDir(), filepath.Join(t.TempDir(), "out")
	names := smallCatalogue(t, root, 3)
	disk := unsynced{store.RealDisk()}
	// Files too new to be known by their stamps would be hashed and noted once more.
	later := RunOptions{Workers: 2, Now: func() time.Time { return time.Now().Add(time.Hour) }}
	first := must(t)(runOnce(t, root, out, names, disk, later))
	if first.computed != 3 {
		t.Fatalf("%d jobs computed", first.computed)
	}
	again := must(t)(runOnce(t, root, out, names, readOnly{disk}, later))
	same(t, "again", again, first)
	if again.computed != 0 {
		t.Errorf("%d jobs computed again", again.computed)
	}
	same(t, "rehash", must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2, Rehash: true})), first)

	// Moved to another place, where every stamp is another: everything is read once, nothing computed.
	moved := filepath.Join(t.TempDir(), "moved")
	if err := os.CopyFS(moved, os.DirFS(out)); err != nil {
		t.Fatal(err)
	}
	there := must(t)(runOnce(t, root, moved, names, disk, RunOptions{Workers: 2}))
	if same(t, "moved", there, first); there.computed != 0 {
		t.Errorf("%d jobs computed after the folder was moved", there.computed)
	}
}

// One recording changed: that job and the catalogue are written anew, nothing else is
// touched, and the bytes are those of a run that remembers nothing.
func TestOneRecordingChanged(t *testing.T) {
	root, out := t.TempDir(), filepath.Join(t.TempDir(), "out")
	names := smallCatalogue(t, root, 3)
	disk := unsynced{store.RealDisk()}
	must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2}))
	before := inodes(t, out)
	rows := smallRows(t)
	put(t, filepath.Join(root, "rec", "job-1-b.csv"), strings.Join(rows[:len(rows)-20], ""))
	got := must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2}))
	if got.computed != 1 {
		t.Errorf("%d jobs computed", got.computed)
	}
	same(t, "one changed", got, must(t)(runOnce(t, root, filepath.Join(t.TempDir(), "new"), names, disk, RunOptions{Workers: 1})))
	for name, inode := range inodes(t, out) {
		touched := inode != before[name]
		if may := strings.HasPrefix(name, "job-1/") && name != "job-1/samples/a.parquet" || strings.HasPrefix(name, "catalogue") || name == AttestationFile; touched && !may {
			t.Errorf("%s was written again", name)
		}
	}
	// A recording taken out of the job takes its table along.
	put(t, filepath.Join(root, "job-1.yaml"), strings.Replace(fmt.Sprintf(smallJob, "job-1"), "  b: {mounting: bare, file: rec/job-1-b.csv, kind: step, supply: 7.4 V}\n", "", 1))
	got = must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2}))
	same(t, "one taken out", got, must(t)(runOnce(t, root, filepath.Join(t.TempDir(), "new"), names, disk, RunOptions{Workers: 1})))
}

func inodes(t testing.TB, dir string) map[string]uint64 {
	t.Helper()
	out := map[string]uint64{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || SideFile(name) {
			return err
		}
		info, err := d.Info()
		if err == nil {
			out[name] = info.Sys().(*syscall.Stat_t).Ino
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Outputs that are lost, cut, altered, exchanged or hidden are made again.
func TestDamagedOutputsAreRestored(t *testing.T) {
	root, out := t.TempDir(), filepath.Join(t.TempDir(), "out")
	names := smallCatalogue(t, root, 2)
	disk := unsynced{store.RealDisk()}
	want := must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2}))
	at := func(name string) string { return filepath.Join(out, filepath.FromSlash(name)) }
	for what, damage := range map[string]func() error{
		"a table lost":    func() error { return os.Remove(at("job-0/fits.parquet")) },
		"samples lost":    func() error { return os.Remove(at("job-1/samples/a.parquet")) },
		"log lost":        func() error { return os.Remove(at("job-0/provenance.jsonl")) },
		"results lost":    func() error { return os.Remove(at("job-0/results.jsonl")) },
		"folder lost":     func() error { return os.RemoveAll(at("job-1")) },
		"catalogue lost":  func() error { return os.Remove(at("catalogue.csv")) },
		"receipts lost":   func() error { return os.Remove(at(receiptsFile)) },
		"receipts cut":    func() error { return os.Truncate(at(receiptsFile), 1000) },
		"table cut":       func() error { return os.Truncate(at("job-0/budget.parquet"), 10) },
		"samples altered": func() error { return flip(at("job-0/samples/b.parquet"), 100, 1) },
		"results altered": func() error { return flip(at("job-0/results.jsonl"), 1000, 1) },
		"summary altered": func() error { return flip(at("job-1/summary.json"), 100, 1) },
		"two exchanged": func() error {
			return errors.Join(os.Rename(at("job-0/fits.parquet"), at("x")), os.Rename(at("job-1/fits.parquet"), at("job-0/fits.parquet")), os.Rename(at("x"), at("job-1/fits.parquet")))
		},
		"another's log": func() error { return copyFile(at("job-0/provenance.jsonl"), at("job-1/provenance.jsonl")) },
		"a leftover": func() error {
			return errors.Join(os.WriteFile(at("job-0/.fits.parquet.part"), []byte("half"), 0o666), os.Remove(at("job-0/fits.parquet")))
		},
		"table now a link": func() error {
			return errors.Join(os.Remove(at("job-0/fits.parquet")), os.Symlink(at("job-1/fits.parquet"), at("job-0/fits.parquet")))
		},
	} {
		if err := damage(); err != nil {
			t.Fatal(what, err)
		}
		same(t, what, must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2})), want)
	}
}

func copyFile(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o666)
}

// flip changes one bit of a file in place.
func flip(name string, at int, bit byte) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	b := make([]byte, 1)
	if _, err := f.ReadAt(b, int64(at)); err != nil {
		return err
	}
	b[0] ^= bit
	_, err = f.WriteAt(b, int64(at))
	return err
}

// The bytes do not depend on workers, processors, place, order of the files, room for samples,
// or on what an earlier run left.
func TestBytesDependOnNothingElse(t *testing.T) {
	root := t.TempDir()
	names := smallCatalogue(t, root, 3)
	disk := unsynced{store.RealDisk()}
	want := must(t)(runOnce(t, root, filepath.Join(t.TempDir(), "out"), names, disk, RunOptions{Workers: 1}))
	other := t.TempDir()
	if err := os.CopyFS(other, os.DirFS(root)); err != nil {
		t.Fatal(err)
	}
	turned := slices.Clone(names)
	slices.Reverse(turned)
	for what, run := range map[string]func() (state, error){
		"8 workers": func() (state, error) {
			return runOnce(t, root, filepath.Join(t.TempDir(), "o"), names, disk, RunOptions{Workers: 8})
		},
		"another place": func() (state, error) {
			return runOnce(t, other, filepath.Join(t.TempDir(), "a", "deep", "o"), names, disk, RunOptions{Workers: 2})
		},
		"other order": func() (state, error) {
			return runOnce(t, root, filepath.Join(t.TempDir(), "o"), append(turned, names[1]), disk, RunOptions{Workers: 2})
		},
		"no room": func() (state, error) {
			return runOnce(t, root, filepath.Join(t.TempDir(), "o"), names, disk, RunOptions{Workers: 2, SampleBytes: 1})
		},
		"8 processors": func() (state, error) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(8))
			return runOnce(t, root, filepath.Join(t.TempDir(), "o"), names, disk, RunOptions{Workers: 3})
		},
		"in parts": func() (state, error) {
			out := filepath.Join(t.TempDir(), "o")
			if _, err := runOnce(t, root, out, names[1:2], disk, RunOptions{Workers: 2}); err != nil {
				return state{}, err
			}
			return runOnce(t, root, out, names, disk, RunOptions{Workers: 2})
		},
	} {
		same(t, what, must(t)(run()), want)
	}
}

// Any bit of the store flipped: never another number, never another byte.
func TestFlippedBits(t *testing.T) { flipBits(t, 15) }

func flipBits(t *testing.T, times int) {
	root, out := t.TempDir(), filepath.Join(t.TempDir(), "out")
	names := smallCatalogue(t, root, 1)
	disk := unsynced{store.RealDisk()}
	want := must(t)(runOnce(t, root, out, names, disk, RunOptions{Workers: 2}))
	rnd := rand.New(rand.NewPCG(4, 2026))
	for range times {
		// Files by their size, so that every byte is as likely as any other; then the bit.
		var files []string
		var ends []int
		total := 0
		err := fs.WalkDir(os.DirFS(out), ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || name == store.Marker {
				return err
			}
			info, err := d.Info()
			if err == nil {
				total += int(info.Size())
				files, ends = append(files, name), append(ends, total)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		at := rnd.IntN(total)
		k, _ := slices.BinarySearch(ends, at+1)
		start := 0
		if k > 0 {
			start = ends[k-1]
		}
		bit := byte(1) << rnd.IntN(8)
		if err := flip(filepath.Join(out, files[k]), at-start, bit); err != nil {
			t.Fatal(err)
		}
		got, err := runOnce(t, root, out, names, disk, RunOptions{Workers: 2})
		if err != nil {
			t.Fatalf("%s, byte %d, bit %d: %v", files[k], at-start, bit, err)
		}
		same(t, fmt.Sprintf("%s, byte %d, bit %d", files[k], at-start, bit), got, want)
	}
}
