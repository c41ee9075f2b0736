package pipeline

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite testdata/methods.txt")

// methodsFile holds, for every step of two demonstration jobs, stage, method, key and result.
const methodsFile = "../testdata/methods.txt"

// A key describes work whole: stage, method, options, input. Equal keys with unequal
// results mean that a stage's numbers changed and its Method did not, so that the
// memory of users would serve the old ones. Then raise the stage's Method. Afterwards, and
// whenever keys move (a stage before this one changed, a job file, a field of an input), rewrite the file:
//
//	go test ./pipeline -run Methods -update
//
// which refuses as long as a key has another result than before.
func TestMethodsChangeWithNumbers(t *testing.T) {
	now, known := methodsNow(t), methodsKnown(t)
	for _, key := range slices.Sorted(maps.Keys(now)) {
		if old, ok := known[key]; ok && old != now[key] {
			t.Errorf("%s: the result was %s and is %s: the stage's Method must change with its numbers", key, old, now[key])
		}
	}
	if !*update || t.Failed() {
		return
	}
	var lines []string
	for key, result := range now {
		lines = append(lines, key+" "+result)
	}
	slices.Sort(lines)
	if err := os.WriteFile(methodsFile, []byte(strings.Join(lines, "\n")+"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
}

// methodsNow maps "stage method key" to the result's digest, both shortened.
func methodsNow(t *testing.T) map[string]string {
	t.Helper()
	root := demoRoot(t)
	now := map[string]string{}
	for _, name := range []string{"testdata/smallest/mini.yaml", "jobs/weir-1104.yaml"} {
		_, log, err := Compute(root, Plan(readJob(t, root, name)), 2, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range log.Steps {
			now[fmt.Sprintf("%s %s %s", s.Stage, s.Method, s.Key[:20])] = s.Output[:20]
		}
	}
	return now
}

func methodsKnown(t *testing.T) map[string]string {
	t.Helper()
	data, err := os.ReadFile(methodsFile)
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]string{}
	for line := range strings.Lines(string(data)) {
		at := strings.LastIndexByte(strings.TrimSpace(line), ' ')
		known[line[:at]] = strings.TrimSpace(line[at:])
	}
	return known
}
