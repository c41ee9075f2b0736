package pipeline

import (
	"slices"
	"testing"
	"testing/fstest"
)

// A folder holds jobs: parts, benches and ledger beside them are none, but whatever
// may be a job with a fault is one, so that the fault is reported.
func TestJobsOfAFolder(t *testing.T) {
	tree := fstest.MapFS{}
	for name, text := range map[string]string{
		"a.yaml": "format: 1\njob: a\n", "b.yml": "format: 1\nmountings: {}\n", "parts.yaml": "format: 1\ndisk-a: {mass: 1 g}\n",
		"ledger.yaml": "format: 1\nlines: []\n", "no-format.yaml": "rotor: 1\n", "broken.yaml": "format: 1\n\tx: [", "list.yaml": "- format\n",
		"empty.yaml": "", "notes.txt": "job: x\n", "below/c.yaml": "job: c\n",
	} {
		tree["jobs/"+name] = &fstest.MapFile{Data: []byte(text)}
	}
	got, err := FindJobs(tree, "jobs")
	want := []string{"jobs/a.yaml", "jobs/b.yml", "jobs/broken.yaml", "jobs/empty.yaml", "jobs/list.yaml", "jobs/no-format.yaml"}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
}
