package ledger

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// Basis is what a number was computed from.
type Basis struct {
	Job string `json:"job"`
	// Recordings and Files (job, bench and parts files) that the job read, by name.
	Recordings []provenance.Input `json:"recordings"`
	Files      []provenance.Input `json:"files"`
	// Methods of the stages, each once, sorted.
	Methods []string `json:"methods"`
	// Program is the version of the program, empty where the log does not say.
	Program string `json:"program,omitempty"`
}

// Result is one number as an output folder holds it.
type Result struct {
	Number spin.Number
	// JSON is the number's text within the results; its SHA-256 names the result.
	JSON  []byte
	Basis Basis
	// Against are failed checks of the whole catalogue that name the number.
	Against []string
}

// Digest is the SHA-256 of the number's text in the results.
func (r Result) Digest() string { return digest(r.JSON) }

func digest(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// Output is what an output folder or an archive holds: numbers by id.
type Output struct {
	Results []Result
	byID    map[string]int
	// checks of the catalogue step.
	checks []spin.Check
}

// NewOutput is an output of results at hand, each number once.
func NewOutput(results []Result) *Output {
	o := &Output{Results: slices.Clone(results), byID: map[string]int{}}
	o.index()
	return o
}

// index sorts the results and notes where each is; it gives a number that is there twice.
func (o *Output) index() (twice string) {
	slices.SortStableFunc(o.Results, func(a, b Result) int { return cmp.Compare(a.Number.ID, b.Number.ID) })
	for i, r := range o.Results {
		if _, ok := o.byID[r.Number.ID]; ok {
			twice = r.Number.ID
		}
		o.byID[r.Number.ID] = i
	}
	return twice
}

// Find is the result of a number.
func (o *Output) Find(number string) (Result, bool) {
	i, ok := o.byID[number]
	if !ok {
		return Result{}, false
	}
	return o.Results[i], true
}

// Jobs whose numbers the output holds, sorted.
func (o *Output) Jobs() []string {
	var out []string
	for _, r := range o.Results {
		out = append(out, r.Basis.Job)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// The log of the catalogue step lies beside the folders of the jobs.
const (
	CatalogueSteps   = "catalogue-" + provenance.StepsFile
	CatalogueResults = "catalogue-" + provenance.ResultsFile
)

// logBytes bounds a job's log and results.
const logBytes = 1 << 30

// ReadOutput reads the numbers of all jobs whose logs lie in fsys, at most a few folders
// deep. Every log is checked against its own digests. name is for messages.
func ReadOutput(fsys fs.FS, name string) (*Output, error) {
	o := &Output{byID: map[string]int{}}
	var faults positioned.List
	err := fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "samples" || strings.Count(p, "/") > 4) {
			return fs.SkipDir
		}
		switch {
		case d.Name() == provenance.StepsFile:
			err = o.log(fsys, p, path.Join(path.Dir(p), provenance.ResultsFile), name)
		case d.Name() == CatalogueSteps:
			err = o.log(fsys, p, path.Join(path.Dir(p), CatalogueResults), name)
		default:
			return nil
		}
		all := positioned.All(err)
		for _, e := range all {
			faults.Add(e)
		}
		if len(all) == 0 {
			return err
		}
		return nil
	})
	if err == nil {
		err = faults.Err()
	}
	if err != nil {
		return nil, err
	}
	if len(o.Results) == 0 {
		return nil, &positioned.Error{File: name, Got: "no log of a job in it", Want: "the output folder of a run, or an archive of one"}
	}
	if twice := o.index(); twice != "" {
		return nil, &positioned.Error{File: name, Got: "the number " + twice + " in two logs", Want: "each number once"}
	}
	o.across()
	return o, nil
}

// ReadJobs is ReadOutput of some jobs, whose folders lie in fsys, and of the catalogue step.
func ReadJobs(fsys fs.FS, jobs []string) (*Output, error) {
	o := &Output{byID: map[string]int{}}
	for _, id := range jobs {
		if err := o.log(fsys, path.Join(id, provenance.StepsFile), path.Join(id, provenance.ResultsFile), "."); err != nil {
			return nil, err
		}
	}
	if err := o.log(fsys, CatalogueSteps, CatalogueResults, "."); err != nil {
		return nil, err
	}
	if twice := o.index(); twice != "" {
		return nil, &positioned.Error{File: ".", Got: "the number " + twice + " in two logs", Want: "each number once"}
	}
	o.across()
	return o, nil
}

// across brings what the catalogue step says to the numbers: failed checks stand against
// those that they name, and a number of several jobs rests on what those rest on.
func (o *Output) across() {
	for _, k := range o.checks {
		if !k.Gates || k.Verdict != spin.Fail || k.WaivedBecause != "" {
			continue
		}
		for _, id := range k.Numbers {
			if i, ok := o.byID[id]; ok {
				o.Results[i].Against = append(o.Results[i].Against, k.Name+" "+k.Subject)
			}
		}
	}
	bases := map[string]Basis{}
	for _, r := range o.Results {
		bases[r.Basis.Job] = r.Basis
	}
	for i := range o.Results {
		if o.Results[i].Basis.Job != catalogueJob {
			continue
		}
		b := o.Results[i].Basis
		b.Job = o.Results[i].Number.Job
		seen := map[string]bool{catalogueJob: true}
		for _, p := range o.Results[i].Number.Value.Parts {
			id, _, _ := strings.Cut(p.Source, "/")
			of, ok := bases[id]
			if !ok || seen[id] {
				continue
			}
			seen[id] = true
			b.Program = of.Program
			b.Recordings, b.Files, b.Methods = append(b.Recordings, of.Recordings...), append(b.Files, of.Files...), append(b.Methods, of.Methods...)
		}
		o.Results[i].Basis = b.tidy()
	}
}

// log reads one log with its results.
func (o *Output) log(fsys fs.FS, stepsFile, resultsFile, name string) error {
	steps, _, err := store.ReadFile(fsys, stepsFile, logBytes)
	if err != nil {
		return err
	}
	results, _, err := store.ReadFile(fsys, resultsFile, logBytes)
	if err != nil {
		return err
	}
	log, err := provenance.Read(path.Join(name, stepsFile), steps, path.Join(name, resultsFile), results)
	if err != nil {
		return err
	}
	if path.Base(stepsFile) == CatalogueSteps {
		return o.numbers(log, BasisOf(log, catalogueJob), path.Join(name, resultsFile))
	}
	return o.numbers(log, BasisOf(log, path.Base(path.Dir(stepsFile))), path.Join(name, resultsFile))
}

// catalogueJob stands for the catalogue step in a basis until the jobs are known.
const catalogueJob = "catalogue"

// numbers takes the numbers of a log.
func (o *Output) numbers(log *provenance.Log, basis Basis, name string) error {
	// A later step's number replaces an earlier one's: cross-checks add the release state.
	last := map[string]json.RawMessage{}
	for _, line := range log.Results {
		numbers, checks := NumbersIn(line)
		if basis.Job == catalogueJob {
			o.checks = append(o.checks, checks...)
		}
		for _, raw := range numbers {
			var n struct {
				ID       string `json:"id"`
				Quantity string `json:"quantity"`
			}
			if json.Unmarshal(raw, &n) == nil && n.ID != "" && n.Quantity != "" {
				last[n.ID] = raw
			}
		}
	}
	for _, raw := range last {
		r := Result{JSON: raw, Basis: basis}
		if err := json.Unmarshal(raw, &r.Number); err != nil {
			return &positioned.Error{File: name, Got: "no number: " + err.Error(), Want: "numbers as this program writes them"}
		}
		o.Results = append(o.Results, r)
	}
	return nil
}

// NumbersIn are the numbers of one logged result, each as it stands there, and the checks beside
// them; none where the result is of a step that gives no numbers.
func NumbersIn(line []byte) ([]json.RawMessage, []spin.Check) {
	var with struct {
		Numbers []json.RawMessage `json:"numbers"`
		Checks  []spin.Check      `json:"checks"`
	}
	if !bytes.Contains(line, []byte(`"numbers":[`)) || json.Unmarshal(line, &with) != nil {
		return nil, nil
	}
	return with.Numbers, with.Checks
}

// BasisOf is what a log says that its numbers were computed from. Inputs of the ingest
// steps are recordings, those of other steps the files that a user wrote.
func BasisOf(log *provenance.Log, jobID string) Basis {
	b := Basis{Job: jobID, Recordings: []provenance.Input{}, Files: []provenance.Input{}}
	for _, s := range log.Steps {
		if s.Program != nil {
			b.Program = s.Program.Version
		}
		if s.Stage == "ingest" {
			b.Recordings = append(b.Recordings, s.Inputs...)
		} else {
			b.Files = append(b.Files, s.Inputs...)
		}
		if s.Stage != "publish" { // writes tables of what is known by then
			b.Methods = append(b.Methods, s.Method)
		}
	}
	return b.tidy()
}

// tidy sorts what a basis lists, each once.
func (b Basis) tidy() Basis {
	for _, list := range []*[]provenance.Input{&b.Recordings, &b.Files} {
		slices.SortFunc(*list, func(x, y provenance.Input) int {
			return cmp.Or(cmp.Compare(x.Name, y.Name), cmp.Compare(x.SHA256, y.SHA256))
		})
		*list = slices.Compact(*list)
	}
	slices.Sort(b.Methods)
	b.Methods = slices.Compact(b.Methods)
	return b
}

// Verify reads the bytes of all that a result rests on and compares their digests; every
// file that does not match is a fault.
func Verify(fsys fs.FS, results []Result) error {
	var faults positioned.List
	seen := map[provenance.Input]bool{}
	for _, r := range results {
		for _, in := range slices.Concat(r.Basis.Recordings, r.Basis.Files) {
			if seen[in] {
				continue
			}
			seen[in] = true
			got, err := store.Hash(fsys, in.Name)
			if err != nil {
				for _, e := range positioned.All(err) {
					faults.Add(e)
				}
				continue
			}
			if got.SHA256 != in.SHA256 {
				faults.Add(&positioned.Error{File: in.Name, Got: "a file with SHA-256 " + got.SHA256, Want: in.SHA256 + ", which job " + r.Basis.Job + " was computed from", Hint: "run the job again"})
			}
		}
	}
	return faults.Err()
}

// Quantity writes a number as ledgers do: U to four digits, the value to the same place,
// inertias in g·cm².
func Quantity(n spin.Number) string {
	unit, factor := n.Unit, 1.0
	if unit == "kg·m²" {
		unit, factor = "g·cm²", quantity.GCm2
	}
	e := n.Value.Expanded()
	value, u := fixed(n.Value.Mean/factor, e.U/factor)
	dof := ""
	if e.DoF < 1e6 {
		dof = ", dof=" + digits(e.DoF, 0)
	}
	return value + " ± " + u + " " + unit + " (k=" + digits(e.K, 3) + dof + ")"
}
