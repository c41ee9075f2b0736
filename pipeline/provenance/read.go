package provenance

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"unicode/utf8"

	"spinledger/stages/kit/positioned"
)

// File names of a job's log, below the job's folder.
const (
	StepsFile   = "provenance.jsonl"
	ResultsFile = "results.jsonl"
)

// most faults are told of one log: a file that is no log at all has one a line.
const most = 20

// Read decodes a log and its results and checks all that they say about each
// other: every line is written as Lines writes it, steps are numbered by their
// lines and rest on earlier ones, and every result has the SHA-256 that its step
// states. The names are for errors, *positioned.Error each (positioned.All), in the
// order of files and lines; the Log is nil then. A byte changed in a step's key,
// options or inputs is still a well-formed log: the attestation covers those.
func Read(stepsName string, steps []byte, resultsName string, results []byte) (*Log, error) {
	r := &logReader{steps: stepsName, results: resultsName, log: &Log{}}
	lines := r.lines(stepsName, steps, "a step of the log on each line")
	values := r.lines(resultsName, results, "the result of a step on each line")
	for i, line := range lines {
		if r.faults.Len() >= most {
			break
		}
		if s, ok := r.step(i+1, line); ok && i < len(values) {
			if got := sum(values[i]); got != s.Output {
				r.add(resultsName, i+1, 0, "", "a result with SHA-256 "+got, "the "+s.Stage+" of "+s.Subject+", which has "+s.Output+" ("+stepsName+")")
			}
		}
	}
	if len(values) != len(lines) {
		r.add(resultsName, 0, 0, "", fmt.Sprintf("%d results", len(values)), fmt.Sprintf("one for each of the %d steps in %s", len(lines), stepsName))
	}
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	r.log.Results = values
	return r.log, nil
}

type logReader struct {
	steps, results string
	log            *Log
	faults         positioned.List
}

func (r *logReader) add(file string, line, col int, field, got, want string) {
	r.faults.Add(&positioned.Error{File: file, Line: line, Col: col, Field: field, Got: got, Want: want})
}

// lines splits a file whose last line must be whole.
func (r *logReader) lines(name string, data []byte, want string) [][]byte {
	if len(data) == 0 {
		r.add(name, 0, 0, "", "an empty file", want)
		return nil
	}
	out := bytes.Split(data, []byte{'\n'})
	last := len(out) - 1
	if len(out[last]) > 0 {
		r.add(name, last+1, 0, "", "a last line that is cut off", "a newline at its end")
		return out
	}
	return out[:last]
}

// step decodes line n; false where it is no step at all.
func (r *logReader) step(n int, line []byte) (Step, bool) {
	var s Step
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		col, field, got := decodeFault(line, err)
		r.add(r.steps, n, col, field, got, "a step of the log")
		return s, false
	}
	r.log.Steps = append(r.log.Steps, s)
	again, err := json.Marshal(s)
	if err != nil || !bytes.Equal(again, line) {
		at := 0
		for at < min(len(line), len(again)) && line[at] == again[at] {
			at++
		}
		r.add(r.steps, n, column(line, at), "", near(line, at), "the step as it is written: "+near(again, at))
	}
	r.fields(n, s)
	return s, true
}

// decodeFault places what the JSON decoder says.
func decodeFault(line []byte, err error) (col int, field, got string) {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		return column(line, int(syntax.Offset)-1), "", "no JSON: " + syntax.Error()
	case errors.As(err, &kind):
		return column(line, int(kind.Offset)-1), kind.Field, "a " + kind.Value
	default:
		return 0, "", "no step: " + err.Error()
	}
}

// column counts characters from 1; at is an offset in bytes, which may lie outside.
func column(line []byte, at int) int {
	return utf8.RuneCount(line[:max(0, min(at, len(line)-1))]) + 1
}

// near is a little of a line, quoted.
func near(line []byte, at int) string {
	const shown = 24
	if at >= len(line) {
		return "nothing more"
	}
	return strconv.Quote(string(line[at:min(len(line), at+shown)]))
}

// fields checks what a step says.
func (r *logReader) fields(n int, s Step) {
	bad := func(field, got, want string) { r.add(r.steps, n, 0, field, got, want) }
	if s.N != n {
		bad("n", strconv.Itoa(s.N), fmt.Sprintf("%d, the number of the line", n))
	}
	for _, f := range []struct{ name, text string }{{"stage", s.Stage}, {"subject", s.Subject}, {"method", s.Method}} {
		if f.text == "" {
			bad(f.name, "nothing", "a text")
		}
	}
	for _, f := range []struct{ name, text string }{{"key", s.Key}, {"output", s.Output}} {
		if !isDigest(f.text) {
			bad(f.name, strconv.Quote(f.text), "a SHA-256 in 64 lower-case hexadecimal digits")
		}
	}
	seen := map[int]bool{}
	for _, k := range s.From {
		if k < 1 || k >= n || seen[k] {
			bad("from", strconv.Itoa(k), "numbers of earlier steps, each once")
		}
		seen[k] = true
	}
	for i, f := range s.Inputs {
		r.file(n, fmt.Sprintf("inputs.%d.", i), f, "a path below the root, with /")
	}
	for i, f := range s.Outputs {
		r.file(n, fmt.Sprintf("outputs.%d.", i), Input(f), "a path below the job's folder, with /")
	}
}

// file checks one file that a step read or wrote.
func (r *logReader) file(n int, at string, f Input, want string) {
	bad := func(field, got, want string) { r.add(r.steps, n, 0, at+field, got, want) }
	if !fs.ValidPath(f.Name) || f.Name == "." {
		bad("name", strconv.Quote(f.Name), want)
	}
	if !isDigest(f.SHA256) {
		bad("sha256", strconv.Quote(f.SHA256), "a SHA-256 in 64 lower-case hexadecimal digits")
	}
	if f.Size < 0 {
		bad("size", strconv.FormatInt(f.Size, 10), "a number of bytes")
	}
}

func isDigest(s string) bool {
	if len(s) != 64 {
		return false
	}
	for _, c := range []byte(s) {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// Result decodes the result of step n into v.
func (l *Log) Result(n int, v any) error {
	if n < 1 || n > len(l.Results) {
		return fmt.Errorf("step %d: the log has %d steps", n, len(l.Results))
	}
	if err := json.Unmarshal(l.Results[n-1], v); err != nil {
		s := l.Steps[n-1]
		return fmt.Errorf("step %d, %s of %s: %w", n, s.Stage, s.Subject, err)
	}
	return nil
}

// Behind are the numbers of the steps that step n rests on, itself included, ascending.
func (l *Log) Behind(n int) []int {
	need := make([]bool, len(l.Steps)+1)
	if n < 1 || n > len(l.Steps) {
		return nil
	}
	need[n] = true
	var out []int
	for k := n; k >= 1; k-- {
		if !need[k] {
			continue
		}
		out = append(out, k)
		for _, f := range l.Steps[k-1].From {
			need[f] = true
		}
	}
	slices.Reverse(out)
	return out
}
