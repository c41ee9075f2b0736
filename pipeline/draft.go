package pipeline

import (
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/store"
	"spinledger/stages/ingest/guess"
	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// DraftOptions say what is known beside the recordings.
type DraftOptions struct {
	// Name of the job; empty: the folder's.
	Name string
	// To is the folder, below the root, that job, parts and bench files will stand in.
	To string
	// Bench file below the root; empty: one is drafted.
	Bench string
	// PolePairs of the motor, 0 where not known.
	PolePairs int
}

// Draft is a job file that was made from recordings, and what it rests on.
type Draft struct {
	// JobFile is the name of the job file below the root; Files are all files
	// drafted, by name.
	JobFile string
	Files   map[string][]byte
	// Names of Files in the order in which they are to be written.
	Names []string
	// Notes are guesses that hold for all recordings, Left what was left out and why.
	Notes []guess.Note
	Left  []string
	// Faults are what `check` still says of the files: what only a person can fill in.
	Faults []*positioned.Error
	// Kinds of the recordings, with why, by the recording's name.
	Kinds []DraftedKind
}

// DraftedKind is what a recording was taken for.
type DraftedKind struct {
	Recording, File string
	Note            guess.Note
}

// drafted is one recording on its way into a job file.
type drafted struct {
	file   string
	name   string // id in the job file
	group  string // rotor, by the file's name
	logger string
	kind   spin.Kind
	why    guess.Note
	supply float64
	duties []float64
	hint   string
}

// extensions of files that may be recordings, before .gz and .zst.
var extensions = []string{".csv", ".tsv", ".txt", ".dat", ".log", ".parquet"}

// RecordingFiles lists the files of a folder that may be recordings, sorted.
func RecordingFiles(fsys fs.FS, folder string) ([]string, error) {
	entries, err := fs.ReadDir(fsys, folder)
	if err != nil {
		return nil, &positioned.Error{File: folder, Got: "no folder of that name below the root", Want: "a folder of recordings"}
	}
	var out []string
	for _, e := range entries {
		if !e.IsDir() && slices.Contains(extensions, path.Ext(plainName(e.Name()))) {
			out = append(out, path.Join(folder, e.Name()))
		}
	}
	if len(out) == 0 {
		return nil, &positioned.Error{File: folder, Got: "a folder without recordings", Want: "files that end in " + strings.Join(extensions, ", ") + ", plain or with .gz or .zst"}
	}
	return out, nil
}

// plainName is a file's name without the ending of its compression.
func plainName(name string) string {
	return strings.TrimSuffix(strings.TrimSuffix(name, ".gz"), ".zst")
}

// DraftJob makes a job file from the recordings named, with a bench file where
// none is given. What cannot be read of a recording is left out and said.
func DraftJob(fsys fs.FS, files []string, opt DraftOptions) (*Draft, error) {
	d := &drafting{fsys: fsys, opt: opt, out: &Draft{Files: map[string][]byte{}}}
	if opt.Bench != "" {
		b, err := job.ReadBench(fsys, opt.Bench)
		if err != nil {
			return nil, err
		}
		d.bench = &b
	}
	if d.bench == nil {
		d.survey(files)
	}
	for _, f := range files {
		if r := d.look(f); r != nil {
			d.recs = append(d.recs, r)
		}
	}
	if len(d.recs) == 0 {
		var faults positioned.List
		for _, l := range d.out.Left {
			faults.Add(&positioned.Error{Got: l, Want: "a recording"})
		}
		return nil, faults.Err()
	}
	d.group()
	d.write()
	d.weigh()
	d.write()
	_, err := job.Read(overlaid(fsys, d.out.Files), d.out.JobFile)
	d.out.Faults = positioned.All(err)
	if err != nil && len(d.out.Faults) == 0 {
		return nil, err
	}
	return d.out, nil
}

// drafting is the state of one DraftJob.
type drafting struct {
	fsys  fs.FS
	opt   DraftOptions
	out   *Draft
	bench *spin.Bench
	recs  []*drafted
	// surveyed layouts, and why the others could not be read.
	surveyed []surveyed
	unread   map[string]error
	// loggers drafted, in order of appearance.
	loggers []spin.Logger
	// smallest is the rotor of the smallest inertia where none is named bare.
	smallest string
}

// look opens one file, finds its layout or the bench's logger that fits, and
// reads its samples; nil where that cannot be done, and Left says why.
func (d *drafting) look(file string) *drafted {
	r := &drafted{file: file}
	leave := func(format string, args ...any) *drafted {
		d.out.Left = append(d.out.Left, file+": "+fmt.Sprintf(format, args...))
		return nil
	}
	logger, err := d.loggerOf(r)
	if err != nil {
		return leave("%v", err)
	}
	rec, err := d.read(r, logger)
	if err != nil {
		return leave("%v", err)
	}
	r.kind, r.why = guess.Kind(rec.Samples, rec.Declared)
	if r.kind == "" {
		return leave("%s", r.why.Text)
	}
	if r.kind != spin.Step {
		// It was read as a step: its segments are those of another kind.
		if rec, err = d.read(r, logger); err != nil {
			return leave("%v", err)
		}
	}
	r.supply, r.duties = conditionOf(rec)
	return r
}

// headBytes of a recording's text are enough to see its layout.
const headBytes = 256 << 10

// loggerOf is the bench's logger that fits, or one made from the file's own head.
func (d *drafting) loggerOf(r *drafted) (spin.Logger, error) {
	if d.bench != nil {
		var last error
		for _, l := range d.bench.Loggers {
			o, err := (&computation{fsys: d.fsys}).open(&File{Path: r.file, Logger: l})
			if err != nil {
				last = err
				continue
			}
			o.close()
			r.logger = l.Name
			return l, nil
		}
		return spin.Logger{}, fmt.Errorf("no logger of the bench fits: %v", last)
	}
	i := slices.IndexFunc(d.surveyed, func(x surveyed) bool { return slices.Contains(x.files, r.file) })
	if i < 0 {
		return spin.Logger{}, d.unread[r.file]
	}
	l := d.surveyed[i].layout
	chans, notes := guess.Channels(l)
	has := func(name string) bool {
		return slices.ContainsFunc(chans, func(c spin.Channel) bool { return c.Name == name })
	}
	if !has("time") || !has("speed") {
		return spin.Logger{}, fmt.Errorf("no column is known to be time and speed by its heading (%s): describe the columns in a bench file and give that", headings(l))
	}
	return d.enlist(r, i, chans, append(slices.Clone(l.Notes), notes...)), nil
}

// surveyed is one layout and the files that have it. Their numbers are taken
// together, because the size of numbers tells units that headings leave open.
type surveyed struct {
	layout guess.Layout
	files  []string
	logger string
}

// survey looks at the heads of all files.
func (d *drafting) survey(files []string) {
	d.unread = map[string]error{}
	for _, f := range files {
		l, err := d.head(f)
		if err != nil {
			d.unread[f] = err
			continue
		}
		i := slices.IndexFunc(d.surveyed, func(x surveyed) bool {
			return x.layout.Dialect == l.Dialect && slices.Equal(x.layout.Headers, l.Headers) && slices.Equal(x.layout.Units, l.Units) && len(x.layout.Columns) == len(l.Columns)
		})
		if i < 0 {
			d.surveyed = append(d.surveyed, surveyed{layout: l, files: []string{f}})
			continue
		}
		x := &d.surveyed[i]
		x.files = append(x.files, f)
		for k := range l.Columns {
			// A time that starts anew is no rising column; the first file's is enough.
			if k > 0 {
				x.layout.Columns[k] = append(x.layout.Columns[k], l.Columns[k]...)
			}
		}
	}
}

// head is the layout of one file's beginning.
func (d *drafting) head(file string) (guess.Layout, error) {
	src, err := store.Open(d.fsys, file)
	if err != nil {
		return guess.Layout{}, err
	}
	defer src.Abandon()
	head, err := scan.Peek(src, headBytes, scan.DefaultLimits())
	if err != nil {
		return guess.Layout{}, err
	}
	if scan.IsParquet(head) {
		return guess.Layout{}, fmt.Errorf("a Parquet file: name its columns in a bench file and give that")
	}
	return guess.Text(head)
}

func headings(l guess.Layout) string {
	if len(l.Headers) == 0 {
		return fmt.Sprintf("%d columns without headings", len(l.Columns))
	}
	return strings.Join(l.Headers, ", ")
}

// enlist gives a surveyed layout its logger, once.
func (d *drafting) enlist(r *drafted, i int, chans []spin.Channel, notes []guess.Note) spin.Logger {
	x := &d.surveyed[i]
	if x.logger != "" {
		r.logger = x.logger
		return d.loggers[slices.IndexFunc(d.loggers, func(l spin.Logger) bool { return l.Name == x.logger })]
	}
	l := spin.Logger{Name: "logger", Dialect: x.layout.Dialect, Channels: asTorque(chans), Converter: "unknown", ClockRate: uncertain.Exact(1)}
	if n := len(d.loggers); n > 0 {
		l.Name = fmt.Sprintf("logger-%d", n+1)
	}
	x.logger, r.logger = l.Name, l.Name
	d.loggers = append(d.loggers, l)
	for _, n := range notes {
		n.Logger = l.Name
		d.out.Notes = append(d.out.Notes, n)
	}
	return l
}
