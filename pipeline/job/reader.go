package job

import (
	"cmp"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// reader reads one job.
type reader struct {
	fsys fs.FS
	errs positioned.List
	job  *Job
	// loaded files by rooted name; nil where one could not be read.
	loaded map[string]*value
	// benches by rooted name of their file.
	benches map[string]*bench
	// parts by id, and the ids in use.
	parts map[string]*part
	used  map[string]bool
	// broken is true where a parts file could not be read: its parts are not missed then.
	broken bool
	// noMotor is true where the motor was misread: its pole pairs are not missed then.
	noMotor bool
	// sessions and mountings by name, with what they resolve to.
	sessions  map[string]*session
	mountings map[string]*mounting
	// recorded files, to find one that is named twice.
	recorded map[string]string
}

func newReader(fsys fs.FS, name string) *reader {
	return &reader{
		fsys: fsys, job: &Job{File: name, places: map[string]place{}},
		loaded: map[string]*value{}, benches: map[string]*bench{}, parts: map[string]*part{}, used: map[string]bool{},
		sessions: map[string]*session{}, mountings: map[string]*mounting{}, recorded: map[string]string{},
	}
}

// read reads the job file and all that it names.
func (r *reader) read() {
	data, got, want := readFile(r.fsys, r.job.File, MaxBytes)
	if got != "" {
		hint := ""
		if near := nearFile(r.fsys, path.Clean(r.job.File)); near != "" && want == "a file that exists" {
			hint = "did you mean " + quote(near) + "?"
		}
		r.errs.Add(&positioned.Error{File: r.job.File, Got: got, Want: "a job file: " + want, Hint: hint})
		return
	}
	v := r.parse(r.job.File, JobFile, data)
	if v == nil {
		return
	}
	r.job.ID = v.get("job").str("")
	r.register("", v)
	for _, p := range v.get("parts").each() {
		r.partsFile(p)
	}
	r.motor(v)
	r.readSessions(v)
	r.readMountings(v)
	r.readRecordings(v)
	r.readRespond(v)
	r.readWaivers(v)
	r.readOptions(v.get("options"))
	r.unsettled(v, r.job.ID+"/")
}

// unsettled reads the guesses of a file; each must be the path of one of its keys.
func (r *reader) unsettled(root *value, prefix string) {
	list := root.get("unsettled")
	if list == nil {
		return
	}
	var paths []string
	for _, c := range root.fields {
		if c != list {
			paths = c.paths(paths)
		}
	}
	for _, c := range list.fields {
		switch {
		case !c.usable():
		case !slices.Contains(paths, c.name):
			c.faultAtKey("the path "+quote(c.name), "the path of a key that this file has", did(c.name, paths))
		default:
			r.job.Unsettled = append(r.job.Unsettled, spin.Unsettled{Subject: prefix + c.name, File: c.file.name, Key: c.name, Why: c.text})
		}
	}
}

// parse reads and remembers one file.
func (r *reader) parse(name, kind string, data []byte) *value {
	r.job.Files = append(r.job.Files, digest(name, data))
	f := &file{name: name, kind: kind, errs: &r.errs}
	return f.parse(data)
}

// open reads a file that v names, once; nil where that failed. first is true the
// first time.
func (r *reader) open(v *value, kind string) (root *value, first bool) {
	name, ok := v.rooted()
	if !ok {
		return nil, false
	}
	if root, ok := r.loaded[name]; ok {
		return root, false
	}
	data, got, want := readFile(r.fsys, name, MaxBytes)
	if got != "" {
		if want == "a file that exists" {
			want = "a " + kind + " that exists (looked for " + name + ")"
		}
		hint := ""
		if near := nearFile(r.fsys, name); near != "" && near != path.Base(name) {
			hint = "did you mean " + quote(path.Join(path.Dir(v.text), near)) + "?"
		}
		v.fault(quote(v.text), want, hint)
		return nil, false
	}
	root = r.parse(name, kind, data)
	r.loaded[name] = root
	return root, true
}

// uncertain is a quantity as an uncertain value of the given source, and notes the
// declaration. The quantity must be usable.
func (r *reader) uncertain(v *value, source string) uncertain.Value {
	q := v.quantity
	if q.U == 0 {
		return uncertain.Exact(q.Value)
	}
	r.declare(v, source, v.text)
	return uncertain.New(q.Value, q.U, q.DoF, source)
}

// optional is uncertain for a key that may be absent, nil then or when misread.
func (r *reader) optional(v *value, source string) *uncertain.Value {
	if !v.usable() {
		return nil
	}
	u := r.uncertain(v, source)
	return &u
}

// among says which names there are, for messages.
func among(what string, names []string) string {
	const most = 12
	if len(names) == 0 {
		return what + "; there is none"
	}
	list := strings.Join(names[:min(len(names), most)], ", ")
	if len(names) > most {
		list += fmt.Sprintf(" and %d more", len(names)-most)
	}
	return what + ": " + list
}

func keys[T any](m map[string]T) []string { return slices.Sorted(maps.Keys(m)) }

// finish sorts what came in the order of files.
func (r *reader) finish() {
	j := r.job
	slices.SortFunc(j.Files, func(a, b Digest) int { return cmp.Compare(a.File, b.File) })
	slices.SortFunc(j.Sessions, func(a, b spin.Session) int { return cmp.Compare(a.Name, b.Name) })
	slices.SortFunc(j.Mountings, func(a, b Mounting) int { return cmp.Compare(a.Name, b.Name) })
	slices.SortFunc(j.Recordings, func(a, b Recording) int { return cmp.Compare(a.Name, b.Name) })
	for _, id := range keys(r.used) {
		j.Parts = append(j.Parts, r.parts[id].spin)
	}
	for _, file := range keys(r.benches) {
		j.Benches = append(j.Benches, r.benches[file].spin)
	}
	slices.SortFunc(j.Benches, func(a, b spin.Bench) int { return cmp.Compare(a.Name, b.Name) })
	slices.SortFunc(j.Unsettled, func(a, b spin.Unsettled) int { return cmp.Compare(a.Subject, b.Subject) })
	slices.SortStableFunc(j.Declarations, func(a, b Declaration) int { return cmp.Compare(a.Source, b.Source) })
}
