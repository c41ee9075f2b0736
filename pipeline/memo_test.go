package pipeline

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"testing"

	"spinledger/pipeline/job"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
)

// demoRoot is the repository, with the demonstration catalogue in it.
func demoRoot(t testing.TB) *store.Root {
	t.Helper()
	root, err := store.OpenRoot("..")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	return root
}

func readJob(t testing.TB, fsys fs.FS, name string) *job.Job {
	t.Helper()
	jobs, err := ReadJobs(fsys, []string{name})
	if err != nil {
		t.Fatal(err)
	}
	return jobs[0]
}

// opens counts what is opened below testdata.
type opens struct {
	fs.FS
	mu    sync.Mutex
	names []string
}

func (o *opens) Open(name string) (fs.File, error) {
	if strings.HasPrefix(name, "testdata/") {
		o.mu.Lock()
		o.names = append(o.names, name)
		o.mu.Unlock()
	}
	return o.FS.Open(name)
}

func throwAway(name string, fill func(io.Writer) error) (provenance.Output, error) {
	var b bytes.Buffer
	err := fill(&b)
	return provenance.Output{Name: name, SHA256: fmt.Sprintf("%x", sha256.Sum256(b.Bytes())), Size: int64(b.Len())}, err
}

func lines(t testing.TB, log *provenance.Log) (steps, results []byte) {
	t.Helper()
	steps, results, err := log.Lines()
	if err != nil {
		t.Fatal(err)
	}
	return steps, results
}

// A hit and a miss log the same bytes, and what nothing changed of is not even opened.
func TestRememberedLogIsEqual(t *testing.T) {
	fsys := &opens{FS: demoRoot(t)}
	w := Plan(readJob(t, fsys, "jobs/weir-1104.yaml"))
	w.Recordings = slices.DeleteFunc(w.Recordings, func(r Recording) bool {
		return !slices.Contains([]string{"bare-a", "bare-levels", "disk-a", "disk-b", "disk-levels"}, r.Declared.Name)
	})
	res := resources{gate: newGate(2), held: newSampleSet(defaultSampleBytes)}
	_, log, err := compute(fsys, w, res, surroundings{sink: throwAway})
	if err != nil {
		t.Fatal(err)
	}
	steps, results := lines(t, log)
	digests := map[string]store.Digest{}
	for _, s := range log.Steps {
		for _, in := range s.Inputs {
			digests[in.Name] = store.Digest{SHA256: in.SHA256, Size: in.Size}
		}
	}
	known := surroundings{
		past: provenance.Recall(steps, results),
		hash: func(name string) (store.Digest, error) { return digests[name], nil },
		has:  func(provenance.Output) bool { return true },
		sink: throwAway,
	}
	check := func(what string, s surroundings, room int64, opened int) {
		t.Helper()
		fsys.names = nil
		res.held = newSampleSet(room)
		_, log, err := compute(fsys, w, res, s)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		got, gotResults := lines(t, log)
		if !bytes.Equal(got, steps) || !bytes.Equal(gotResults, results) {
			t.Errorf("%s: another log", what)
		}
		if len(fsys.names) != opened {
			t.Errorf("%s: %d recordings opened, want %d: %v", what, len(fsys.names), opened, fsys.names)
		}
		if len(res.held.held) != 0 || res.held.room != room {
			t.Errorf("%s: samples held after the job", what)
		}
	}
	check("all remembered", known, defaultSampleBytes, 0)

	one := known
	one.has = func(o provenance.Output) bool { return o.Name != "samples/disk-b.parquet" }
	check("one table of samples lost", one, defaultSampleBytes, 1)

	// The fit of one recording is not remembered: its samples are read again, the others' not.
	n := slices.IndexFunc(log.Steps, func(s provenance.Step) bool { return s.Stage == "fit" && s.Subject == "weir-1104/disk-b" })
	less := &provenance.Log{Steps: slices.Clone(log.Steps), Results: log.Results}
	less.Steps[n].Key = strings.Repeat("0", 64)
	forgot := known
	forgot.past = provenance.Recall(lines(t, less))
	check("one fit forgotten", forgot, defaultSampleBytes, 1)

	// Without room every stage reads its recording again: ingest, torque and trace all, fit those with runs.
	fits := 0
	for _, s := range log.Steps {
		if s.Stage == "fit" {
			fits++
		}
	}
	check("no memory, no room", surroundings{hash: known.hash, sink: throwAway}, 0, 3*len(w.Recordings)+fits)

	// A remembered digest that is not that of the bytes is found out and costs nothing but time.
	lied := known
	lied.past = nil
	lied.hash = func(name string) (store.Digest, error) { return store.Digest{SHA256: strings.Repeat("0", 64)}, nil }
	fsys.names = nil
	_, again, err := compute(fsys, w, res, lied)
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := lines(t, again); !bytes.Equal(got, steps) {
		t.Error("a wrong digest was believed")
	}
}
