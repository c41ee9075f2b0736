package pipeline

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/reports"
	"spinledger/stages/kit/positioned"
)

// RegenerateOptions of Regenerate.
type RegenerateOptions struct {
	// Jobs to compute again; none for all.
	Jobs    []string
	Workers int
}

// Regenerate computes jobs again from their logs alone and compares. dir is a new or empty
// folder: the files that the logs name are copied into it from e.Tree and the
// program runs over them there, so that nothing enters that the log does not name.
func (e Evidence) Regenerate(dir string, disk store.Disk, opt RegenerateOptions) (reports.Regenerated, error) {
	var out reports.Regenerated
	all, err := e.Jobs()
	if err != nil {
		return out, err
	}
	if len(opt.Jobs) == 0 {
		opt.Jobs = all
	}
	var logs []*logged
	for _, id := range opt.Jobs {
		if !slices.Contains(all, id) {
			return out, &positioned.Error{File: e.Name, Got: "the job " + id, Want: "one of " + strings.Join(all, ", "), Hint: near(id, all)}
		}
		l, err := e.read(id)
		if err != nil {
			return out, err
		}
		logs = append(logs, l)
	}
	made, err := e.compute(dir, disk, logs, opt.Workers)
	if err != nil {
		return out, err
	}
	defer made.Close()
	again := Evidence{Name: "outputs", Out: made}
	for _, l := range logs {
		now, err := again.read(l.job)
		if err != nil {
			return out, err
		}
		r, err := e.compare(l, again, now)
		if err != nil {
			return out, err
		}
		out.Jobs = append(out.Jobs, r)
	}
	return out, nil
}

// compute copies inputs to dir/inputs and runs the jobs to dir/outputs.
func (e Evidence) compute(dir string, disk store.Disk, logs []*logged, workers int) (*store.Root, error) {
	in, err := store.OpenOutput(filepath.Join(dir, "inputs"), disk, store.OutputOptions{Quick: true})
	if err != nil {
		return nil, err
	}
	defer in.Close()
	copied := map[string]bool{}
	var faults positioned.List
	var names []string
	for _, l := range logs {
		names = append(names, l.said.File)
		for _, s := range l.log.Steps {
			for _, f := range s.Inputs {
				if copied[f.Name] {
					continue
				}
				copied[f.Name] = true
				err := e.copy(in, f.Name)
				all := positioned.All(err)
				for _, p := range all {
					faults.Add(p)
				}
				if err != nil && len(all) == 0 {
					return nil, err
				}
			}
		}
	}
	if err := mismatch(faults.Err()); err != nil {
		return nil, err
	}
	root, err := in.FS()
	if err != nil {
		return nil, err
	}
	defer root.Close()
	jobs, err := ReadJobs(root, names)
	if err != nil {
		return nil, err
	}
	out, err := store.OpenOutput(filepath.Join(dir, "outputs"), disk, store.OutputOptions{Quick: true})
	if err != nil {
		return nil, err
	}
	defer out.Close()
	if _, err := RunJobs(root, jobs, out, RunOptions{Workers: workers}); err != nil {
		return nil, err
	}
	return out.FS()
}

func (e Evidence) copy(to *store.Output, name string) error {
	s, err := store.Open(e.Tree, name)
	if err != nil {
		return err
	}
	defer s.Abandon()
	_, err = to.Write(name, func(w io.Writer) error {
		_, err := io.Copy(w, s)
		return err
	})
	return err
}

// compare holds a job's log and files against those made again.
func (e Evidence) compare(was *logged, again Evidence, is *logged) (reports.RegeneratedJob, error) {
	r := reports.RegeneratedJob{Job: was.job}
	note := func(d func() reports.Difference) {
		if r.Differs++; r.First == nil {
			first := d()
			r.First = &first
		}
	}
	for n := range max(len(was.log.Steps), len(is.log.Steps)) {
		r.Steps++
		switch {
		case n >= len(is.log.Steps):
			note(func() reports.Difference { return e.explain(was, is, n, "the step is not there any more") })
		case n >= len(was.log.Steps):
			note(func() reports.Difference { return e.explain(was, is, n, "the step was not there") })
		case !sameStep(was.log.Steps[n], is.log.Steps[n]):
			note(func() reports.Difference { return e.explain(was, is, n, "") })
		}
	}
	names, err := namesBelow(was.job, e.Out, again.Out)
	if err != nil {
		return r, err
	}
	for _, name := range names {
		r.Files++
		a, errA := fs.ReadFile(e.Out, name)
		b, errB := fs.ReadFile(again.Out, name)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			note(func() reports.Difference { return e.file(was, is, name, a, b, errA, errB) })
		}
	}
	return r, nil
}

func sameStep(a, b provenance.Step) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// namesBelow are the files in a folder of either tree, sorted, those that nobody sees left out.
func namesBelow(dir string, trees ...fs.FS) ([]string, error) {
	var out []string
	for _, t := range trees {
		err := fs.WalkDir(t, dir, func(p string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() && attestable(p) {
				out = append(out, p)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// explain says what differs at step n, from 0, and why.
func (e Evidence) explain(was, is *logged, n int, text string) reports.Difference {
	l := was
	if n >= len(was.log.Steps) {
		l = is
	}
	s := l.log.Steps[n]
	d := reports.Difference{Where: fmt.Sprintf("%s of %s (step %d)", s.Stage, s.Subject, s.N), Was: text}
	if text == "" {
		d.Field, d.Was, d.Is = firstField(was.log.Results[n], is.log.Results[n])
		if d.Field == "" {
			d.Field, d.Was, d.Is = firstField(mustJSON(s), mustJSON(is.log.Steps[n]))
		}
	}
	d.Because, d.Why = e.reason(was, is)
	return d
}

func mustJSON(v any) []byte {
	b, _ := json.Marshal(v)
	return b
}

// reason compares all that can make a result differ, in the order in which one would look.
func (e Evidence) reason(was, is *logged) (because, why string) {
	a, b := was.log, is.log
	files := map[string]string{}
	for _, s := range a.Steps {
		for _, f := range s.Inputs {
			files[f.Name] = f.SHA256
		}
	}
	for _, s := range b.Steps {
		for _, f := range s.Inputs {
			if old, ok := files[f.Name]; !ok {
				return "inputs", f.Name + " was not read then"
			} else if old != f.SHA256 {
				return "inputs", f.Name + " has other bytes than then"
			}
		}
	}
	for n := range min(len(a.Steps), len(b.Steps)) {
		x, y := a.Steps[n], b.Steps[n]
		switch {
		case x.Stage == y.Stage && x.Method != y.Method:
			return "program", "method " + x.Method + " is " + y.Method + " now"
		case x.Stage == y.Stage && x.Subject == y.Subject && !bytes.Equal(x.Options, y.Options):
			field, old, now := firstField(x.Options, y.Options)
			return "options", fmt.Sprintf("%s of %s was %s and is %s", field, x.Stage, old, now)
		}
	}
	if p, q := a.Steps[0].Program, b.Steps[0].Program; p != nil && q != nil {
		if all := differences(*p, *q); len(all) > 0 {
			return "program", strings.Join(all, "; ")
		}
	}
	if then, now := e.platform(), runtime.GOOS+"/"+runtime.GOARCH+" "+runtime.Version(); then != "" && then != now {
		return "platform", "computed on " + then + " then, on " + now + " now"
	}
	return "unknown", "inputs, options, program and platform are the same: either the log or a file was altered, or the program does not repeat itself"
}

// platform that machine.json states, or empty.
func (e Evidence) platform() string {
	var m struct{ OS, Arch, Go string }
	data, err := fs.ReadFile(e.Out, machineFile)
	if err != nil || json.Unmarshal(data, &m) != nil {
		return ""
	}
	return m.OS + "/" + m.Arch + " " + m.Go
}

// file says what differs in a file below the job's folder.
func (e Evidence) file(was, is *logged, name string, a, b []byte, errA, errB error) reports.Difference {
	d := reports.Difference{Where: name}
	d.Because, d.Why = e.reason(was, is)
	switch {
	case errA != nil:
		d.Was = "not there"
	case errB != nil:
		d.Is = "not there"
	case path.Ext(name) == ".parquet":
		d.Field, d.Was, d.Is = firstCell(a, b)
	default:
		x, y := bytes.Split(a, []byte{'\n'}), bytes.Split(b, []byte{'\n'})
		n := 0
		for n < min(len(x), len(y)) && bytes.Equal(x[n], y[n]) {
			n++
		}
		d.Field, d.Was, d.Is = fmt.Sprintf("line %d", n+1), clipped(nth(x, n)), clipped(nth(y, n))
	}
	return d
}

func clipped(s string) string {
	if r := []rune(s); len(r) > 120 {
		return string(r[:120]) + "…"
	}
	return s
}

// firstCell is the first place at which two tables differ.
func firstCell(a, b []byte) (field, was, is string) {
	x, errX := tables.Read(bytes.NewReader(a), int64(len(a)))
	y, errY := tables.Read(bytes.NewReader(b), int64(len(b)))
	if errX != nil || errY != nil {
		return "", said(errX), said(errY)
	}
	for i := range min(len(x.Columns), len(y.Columns)) {
		p, q := &x.Columns[i], &y.Columns[i]
		if p.Name != q.Name {
			return "columns", p.Name, q.Name
		}
		for row := range min(p.Len(), q.Len()) {
			if u, v := p.Text(row), q.Text(row); u != v {
				return fmt.Sprintf("column %s, row %d", p.Name, row+1), u, v
			}
		}
	}
	if x.Rows() != y.Rows() {
		return "rows", fmt.Sprint(x.Rows()), fmt.Sprint(y.Rows())
	}
	return "bytes alone; every cell is the same", "", ""
}

func said(err error) string {
	if err == nil {
		return "a table"
	}
	return err.Error()
}

// firstField is the path of the first value at which two JSON texts differ.
func firstField(a, b []byte) (field, was, is string) {
	if bytes.Equal(a, b) {
		return "", "", ""
	}
	var x, y any
	if decodeExact(a, &x) != nil || decodeExact(b, &y) != nil {
		return "", clipped(string(a)), clipped(string(b))
	}
	return differ("", x, y)
}

// decodeExact keeps numbers as they are written.
func decodeExact(data []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	return d.Decode(v)
}

func differ(at string, x, y any) (field, was, is string) {
	switch p := x.(type) {
	case map[string]any:
		q, ok := y.(map[string]any)
		if !ok {
			break
		}
		var keys []string
		for _, m := range []map[string]any{p, q} {
			for k := range m {
				keys = append(keys, k)
			}
		}
		slices.Sort(keys)
		for _, k := range slices.Compact(keys) {
			if field, was, is = differ(strings.TrimPrefix(at+"."+k, "."), p[k], q[k]); field != "" {
				return field, was, is
			}
		}
		return "", "", ""
	case []any:
		q, ok := y.([]any)
		if !ok {
			break
		}
		for i := range min(len(p), len(q)) {
			if field, was, is = differ(fmt.Sprintf("%s.%d", at, i), p[i], q[i]); field != "" {
				return field, was, is
			}
		}
		if len(p) != len(q) {
			return at, fmt.Sprintf("%d elements", len(p)), fmt.Sprintf("%d elements", len(q))
		}
		return "", "", ""
	default:
		if x == y {
			return "", "", ""
		}
	}
	return strings.TrimPrefix(at, "."), clipped(string(mustJSON(x))), clipped(string(mustJSON(y)))
}
