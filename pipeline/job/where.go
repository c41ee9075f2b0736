package job

import (
	"strings"

	"spinledger/stages/kit/positioned"
)

// Declaration is a quantity that a user wrote with an uncertainty, or what a
// calibration's numbers are made of.
type Declaration struct {
	// Source is the name under which it acts in uncertain values.
	Source string `json:"source"`
	// Key is its path in its file, "layers.0.outer_diameter" below a part.
	Key  string `json:"key"`
	File string `json:"file"`
	Line int    `json:"line"`
	Col  int    `json:"col"`
	// Text as written.
	Text string `json:"text"`
}

// place is where a key's value stands.
type place struct {
	file      string
	line, col int
	field     string
}

// register notes where v and everything below it stand: prefix + path below v.
func (r *reader) register(prefix string, v *value) {
	r.place(prefix, v)
	sep := "."
	if prefix == "" || strings.HasSuffix(prefix, "/") {
		sep = ""
	}
	for _, list := range [][]*value{v.fields, v.items} {
		for _, c := range list {
			r.register(prefix+sep+c.name, c)
		}
	}
}

func (r *reader) place(key string, v *value) {
	r.job.places[strings.TrimSuffix(key, "/")] = place{v.file.name, v.line, v.col, v.path}
}

// declare notes a declaration and makes its source known to Where.
func (r *reader) declare(v *value, source, text string) {
	r.place(source, v)
	r.job.Declarations = append(r.job.Declarations, Declaration{Source: source, Key: v.path, File: v.file.name, Line: v.line, Col: v.col, Text: text})
}

// Where finds the place of a key or of a source of uncertainty. Keys:
//
//	recordings.disk-a.supply                key path in the job file
//	parts/disk-40/layers.0.outer_diameter   below a part, its id with a dot for the slash
//	bench/loft/gravity                      in a bench file
//	bench/loft/2026-03-02/arm               below a calibration
//
// For sources such as weir-2207/session:spring/lag or weir-2207/disk-a#3/idle it
// is the place of what they belong to. A key that is not written down has the place of the nearest one
// above it; where there is none, that of the job file, line 0.
func (j *Job) Where(key string) (file string, line, col int) {
	p := j.placeOf(key)
	return p.file, p.line, p.col
}

func (j *Job) placeOf(key string) place {
	key = j.ownKey(key)
	for key != "" {
		if p, ok := j.places[key]; ok {
			return p
		}
		key = key[:max(0, strings.LastIndexAny(key, "./#~"))]
	}
	return place{file: j.File}
}

// ownKey turns a source that begins with the job's id into the key path of what it belongs to.
func (j *Job) ownKey(source string) string {
	if _, known := j.places[source]; known {
		return source
	}
	rest, ok := strings.CutPrefix(source, j.ID+"/")
	if !ok {
		return source
	}
	owner, _, _ := strings.Cut(rest, "/")
	kind, name, ok := strings.Cut(owner, ":")
	switch {
	case !ok:
		name, _, _ = strings.Cut(owner, "#")
		return "recordings." + name
	case kind == "session" && j.places["sessions."+name] == place{}:
		return "session"
	case kind == "session", kind == "mounting":
		return kind + "s." + name
	}
	return source
}

// Declaration finds the declaration behind a source; false where the source is an
// effect (noise, lag, scatter) and nothing that anybody wrote.
func (j *Job) Declaration(source string) (Declaration, bool) {
	return find(j.Declarations, source, func(d Declaration) string { return d.Source })
}

// Fault is an error at the place of a key: what the pipeline reports about
// something that this package did not open.
func (j *Job) Fault(key, got, want, hint string) *positioned.Error {
	p := j.placeOf(key)
	field := p.field
	if field == "" {
		field = key
	}
	return &positioned.Error{File: p.file, Line: p.line, Col: p.col, Field: field, Got: got, Want: want, Hint: hint}
}
