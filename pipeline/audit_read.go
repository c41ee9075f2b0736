package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// Evidence is what a run left and what it read: an output folder with the tree
// that its inputs lie in, or both out of an archive.
type Evidence struct {
	// Name of the output folder or archive, for messages.
	Name string
	// Out holds the outputs, Tree the inputs under the names of the log.
	Out, Tree fs.FS
	// Ledger of released numbers; nil where none is at hand.
	Ledger *ledger.Ledger
}

// logged is one job's log with what is asked of it again and again.
type logged struct {
	job  string
	log  *provenance.Log
	said Declarations
	// numbers as the last step that names them has them, and the text of each.
	numbers []spin.Number
	texts   map[string][]byte
	// at is the step that each number comes from.
	at     map[string]int
	checks []spin.Check
}

// maxLogBytes bounds a job's log and results.
const maxLogBytes = 1 << 30

// Jobs are the folders of the output that hold a log, sorted.
func (e Evidence) Jobs() ([]string, error) {
	entries, err := fs.ReadDir(e.Out, ".")
	if err != nil {
		return nil, &positioned.Error{File: e.Name, Got: "nothing that can be read", Want: "an output folder or an archive"}
	}
	var out []string
	for _, d := range entries {
		if _, err := fs.Stat(e.Out, path.Join(d.Name(), provenance.StepsFile)); d.IsDir() && err == nil {
			out = append(out, d.Name())
		}
	}
	if len(out) == 0 {
		return nil, &positioned.Error{File: e.Name, Got: "no log of any job (" + provenance.StepsFile + ")", Want: "the output folder of a run, or an archive"}
	}
	slices.Sort(out)
	return out, nil
}

// Log reads one job's log and results, with every digest checked.
func (e Evidence) Log(jobID string) (*provenance.Log, error) {
	var data [2][]byte
	for i, name := range []string{provenance.StepsFile, provenance.ResultsFile} {
		var err error
		if data[i], _, err = store.ReadFile(e.Out, path.Join(jobID, name), maxLogBytes); err != nil {
			return nil, err
		}
	}
	log, err := provenance.Read(path.Join(jobID, provenance.StepsFile), data[0], path.Join(jobID, provenance.ResultsFile), data[1])
	if err != nil {
		return nil, &Mismatch{err}
	}
	return log, nil
}

// Mismatch is evidence that does not match itself: a line of a log or of its results was
// altered, a file is not what the log says.
type Mismatch struct{ err error }

func mismatch(err error) error {
	if err == nil {
		return nil
	}
	return &Mismatch{err}
}

func (b *Mismatch) Error() string { return b.err.Error() }

// Unwrap gives the positioned errors.
func (b *Mismatch) Unwrap() error { return b.err }

// read is Log with what the results say.
func (e Evidence) read(jobID string) (*logged, error) {
	log, err := e.Log(jobID)
	if err != nil {
		return nil, err
	}
	l := &logged{job: jobID, log: log, texts: map[string][]byte{}, at: map[string]int{}}
	if log.Steps[0].Stage != "declare" {
		return nil, &positioned.Error{File: path.Join(jobID, provenance.StepsFile), Line: 1, Field: "stage", Got: log.Steps[0].Stage, Want: "declare, with which a log begins"}
	}
	if err := log.Result(1, &l.said); err != nil {
		return nil, err
	}
	for i, line := range log.Results {
		numbers, checks := ledger.NumbersIn(line)
		if checks != nil {
			l.checks = checks
		}
		for _, raw := range numbers {
			var n spin.Number
			if json.Unmarshal(raw, &n) == nil && n.ID != "" && n.Unit != "" {
				l.add(n, raw, i+1)
			}
		}
	}
	return l, nil
}

// add notes a number; that of a later step stands, since cross-checks add the release state.
func (l *logged) add(n spin.Number, raw []byte, step int) {
	if k := slices.IndexFunc(l.numbers, func(o spin.Number) bool { return o.ID == n.ID }); k >= 0 {
		l.numbers[k] = n
	} else {
		l.numbers = append(l.numbers, n)
	}
	l.texts[n.ID], l.at[n.ID] = raw, step
}

// find is the job and index of a number. The job's id is the first name of the number's.
func (e Evidence) find(number string) (*logged, spin.Number, error) {
	jobs, err := e.Jobs()
	if err != nil {
		return nil, spin.Number{}, err
	}
	jobID, _, _ := strings.Cut(number, "/")
	if !slices.Contains(jobs, jobID) {
		return nil, spin.Number{}, &positioned.Error{File: e.Name, Got: "the number " + number, Want: "one of the jobs " + strings.Join(jobs, ", "), Hint: near(jobID, jobs)}
	}
	l, err := e.read(jobID)
	if err != nil {
		return nil, spin.Number{}, err
	}
	var ids []string
	for _, n := range l.numbers {
		if n.ID == number {
			return l, n, nil
		}
		ids = append(ids, n.ID)
	}
	return nil, spin.Number{}, &positioned.Error{File: path.Join(e.Name, jobID), Got: "the number " + number, Want: "one of " + strings.Join(ids, ", "), Hint: near(number, ids)}
}

func near(name string, of []string) string {
	if n := quantity.Nearest(name, of); n != "" {
		return "did you mean " + n + "?"
	}
	return ""
}

// textDigest is the SHA-256 of a number's text within the results.
func (l *logged) textDigest(number string) string { return hashOf(l.texts[number]) }

func hashOf(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// place of something with a name, by its key.
func (d *Declarations) place(key string) string {
	for _, p := range d.Places {
		if p.Key == key {
			return place(p.File, p.Line, p.Col)
		}
	}
	return ""
}

// belongs says where the source of an uncertainty stands: as a quantity written by
// somebody, or what the effect belongs to (the session of a lag, the mountings of a rotor).
func (d *Declarations) belongs(source string) (places []string, written string) {
	for _, q := range d.Quantities {
		if q.Source == source {
			return []string{place(q.File, q.Line, q.Col)}, q.Text
		}
	}
	if own, ok := strings.CutPrefix(source, d.Job+"/"); ok {
		owner, _, _ := strings.Cut(own, "/")
		kind, name, named := strings.Cut(owner, ":")
		switch {
		case named && kind == "rotor":
			for _, m := range d.Mountings {
				if m.Rotor.ID == name {
					places = append(places, d.place("mountings."+m.Name))
				}
			}
			return places, ""
		case named:
			return listed(d.place(kind + "s." + name)), ""
		default:
			name, _, _ := strings.Cut(owner, "#")
			return listed(d.place("recordings." + name)), ""
		}
	}
	for key := source; key != ""; key = key[:max(0, strings.LastIndexAny(key, "/."))] {
		if p := d.place(key); p != "" {
			return []string{p}, ""
		}
	}
	return nil, ""
}

func listed(p string) []string {
	if p == "" {
		return nil
	}
	return []string{p}
}
