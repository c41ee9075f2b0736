package pipeline

import (
	"cmp"
	"io"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/reports"
)

// RunOptions of a catalogue run.
type RunOptions struct {
	// Workers bounds what is read and computed at once; it changes no result.
	Workers int
	// Rehash reads every recording and output instead of trusting what the file
	// system says of them.
	Rehash bool
	// SampleBytes bounds the samples held between stages; 0: the default.
	SampleBytes int64
	// Ledger is the name below the root of the ledger file, which the catalogue's page is compared with and
	// which is only read; empty, or a name of no file: none.
	Ledger string
	// Progress is told how many recordings of how many are done; nil: nobody is.
	Progress func(done, total int)
	// Now is the clock, by which files too new to be known by their stamps are told; nil:
	// the computer's.
	Now func() time.Time
}

func (o RunOptions) resources() resources {
	return resources{gate: newGate(o.Workers), held: newSampleSet(cmp.Or(o.SampleBytes, defaultSampleBytes))}
}

// Run brings an output folder up to date with the job files named: jobs that
// changed in anything are computed, from what their logs remember; of the others
// nothing but digests and stamps is looked at. Files named twice count once, and their order
// is that of their names. What is lost or damaged below the folder is
// made again. What was written stays whole whatever happens, and the jobs finished before
// an error need not be computed again. The caller closes the outcome.
func Run(root *store.Root, names []string, dir string, disk store.Disk, opt RunOptions) (*Outcome, error) {
	names = slices.Compact(slices.Sorted(slices.Values(names)))
	if opt.Now == nil {
		opt.Now = time.Now
	}
	r := &runner{root: root, names: names, opt: opt, res: opt.resources()}
	if opt.Ledger != "" {
		var err error
		if r.ledger, err = ledger.Open(root, opt.Ledger); err != nil {
			return nil, err
		}
	}
	// A folder that does not exist yet is made only once all files are good.
	// Of one that does, the inputs of jobs that changed are compared with it before anything is written.
	var inputs []string
	fresh := !store.IsOutput(dir)
	if fresh {
		var err error
		if r.jobs, err = ReadJobs(root, names); err != nil {
			return nil, err
		}
		inputs = jobInputs(r.jobs)
	}
	var err error
	if r.out, err = store.OpenOutput(dir, disk, store.OutputOptions{Inputs: onDisk(root, inputs)}); err != nil {
		return nil, err
	}
	if err = r.run(fresh); err != nil {
		r.out.Close()
		return nil, err
	}
	o := &Outcome{Computed: len(r.jobs), out: r.out, receipts: r.done, together: r.together}
	for _, d := range append(r.done, r.together) {
		o.Failed = o.Failed || d.failed
	}
	return o, nil
}

// jobInputs are the names of all that jobs read.
func jobInputs(jobs []*job.Job) []string {
	var out []string
	for _, j := range jobs {
		for _, f := range j.Files {
			out = append(out, f.File)
		}
		for _, r := range j.Recordings {
			for _, f := range r.Files {
				out = append(out, f.Path)
			}
		}
	}
	return out
}

func onDisk(root *store.Root, names []string) []string {
	var out []string
	for _, n := range names {
		out = append(out, root.Path(n))
	}
	return out
}

// runner is one run.
type runner struct {
	root  *store.Root
	names []string
	out   *store.Output
	opt   RunOptions
	res   resources
	me    identity
	had   *receipts
	book  *book
	// ledger is nil where none was named.
	ledger *ledger.Ledger
	// jobs were read; done holds a receipt for each name, together that of the catalogue.
	jobs     []*job.Job
	done     []*receipt
	together *receipt

	mu            sync.Mutex
	finished, all int
}

func (r *runner) run(fresh bool) error {
	if err := r.remember(); err != nil {
		return err
	}
	r.done = make([]*receipt, len(r.names))
	if !fresh {
		err := each(len(r.names), newGate(r.opt.Workers), func(i int) (err error) {
			r.done[i], err = r.unchanged(r.names[i])
			return err
		})
		if err != nil {
			return err
		}
		if err := r.readChanged(); err != nil {
			return err
		}
	}
	var at []int
	for i, d := range r.done {
		if d != nil {
			r.all += d.recordings
			r.finished += d.recordings
			continue
		}
		r.all += len(r.jobs[len(at)].Recordings)
		at = append(at, i)
	}
	r.progress(0)
	// What a killed run was writing beside the jobs' folders is in nobody's way, but nobody's either.
	if err := r.out.Sweep(".", func(string) bool { return false }); err != nil {
		return err
	}
	err := each(len(r.jobs), newGate(r.opt.Workers), func(k int) error {
		j := r.jobs[k]
		rec, err := r.job(j)
		if err != nil {
			return err
		}
		r.jobs[k] = nil // of many jobs, one at a time is held
		r.done[at[k]] = rec
		r.progress(len(j.Recordings))
		return r.append(rec)
	})
	if err != nil {
		return err
	}
	if len(r.jobs) > 0 {
		if err := r.machine(); err != nil {
			return err
		}
	}
	return r.catalogue()
}

func (r *runner) progress(n int) {
	if r.opt.Progress == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.finished += n
	r.opt.Progress(r.finished, r.all)
}

// remember reads the receipts and says what they must hold against. A damaged file is
// replaced by what is good in it, so that new records can be added at its end.
func (r *runner) remember() error {
	data, err := r.out.Load(receiptsFile, maxReceipts)
	if err != nil {
		// Not there or not to be read: nothing is remembered.
		data = nil
	}
	r.had = parseReceipts(data, newGate(r.opt.Workers))
	r.me = identify(r.had)
	r.book = newBook(r.root, r.opt, r.had)
	if !r.had.whole || r.had.size-r.had.live > r.had.live/4+1<<20 {
		return r.compact()
	}
	return nil
}

// compact writes the records that count to a new file.
func (r *runner) compact() error {
	_, err := r.out.Write(receiptsFile, func(w io.Writer) error {
		if _, err := io.WriteString(w, receiptsHead); err != nil {
			return err
		}
		for _, id := range r.had.order {
			if _, err := w.Write(r.had.byJob[id].encode()); err != nil {
				return err
			}
		}
		if r.had.catalogue != nil {
			_, err := w.Write(r.had.catalogue.encode())
			return err
		}
		return nil
	})
	return err
}

func (r *runner) append(rec *receipt) error {
	if rec.program == "" {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.Append(receiptsFile, rec.encode())
}

// unchanged is the receipt of a job file that needs nothing: its digest and those of
// its bench and parts files are as they were, and so is every recording and output, by stamp or by
// digest. Nil where the job has to be looked at.
func (r *runner) unchanged(name string) (*receipt, error) {
	old := r.had.byFile[name]
	if old == nil || old.partial || old.program != r.me.digest.SHA256 {
		return nil, nil
	}
	for _, f := range old.files {
		if d, err := r.book.small(f.name); err != nil || d != f.digest {
			return nil, nil
		}
	}
	// Both lists are copied only when something in them is not as it was.
	now, same := *old, true
	for i, stamp := range r.root.Stamps(namesOf(old.recs)) {
		f := old.recs[i]
		if !r.opt.Rehash && stamp.Same(f.stamp) {
			continue
		}
		s, err := r.book.look(f.name, r.opt.Rehash, false)
		if err != nil || s.digest != f.digest {
			return nil, nil
		}
		if s != f {
			now.recs, same = changed(now.recs, old.recs, i, s), false
		}
	}
	k := &kept{out: r.out, rehash: r.opt.Rehash}
	for i, stamp := range r.out.Stamps(namesOf(old.outs)) {
		f := old.outs[i]
		s, ok := k.check(f, f.digest, stamp)
		if !ok {
			return nil, nil
		}
		if s != f {
			now.outs, same = changed(now.outs, old.outs, i, s), false
		}
	}
	if same {
		return old, nil
	}
	return &now, r.append(&now)
}

// changed puts a file into a list, which is copied first while it is still the old one.
func changed(now, old []seen, i int, s seen) []seen {
	if &now[0] == &old[0] {
		now = slices.Clone(old)
	}
	now[i] = s
	return now
}

func namesOf(files []seen) []string {
	out := make([]string, len(files))
	for i, f := range files {
		out[i] = f.name
	}
	return out
}

// readChanged reads the job files that changed, all faults together.
func (r *runner) readChanged() error {
	ids := map[string]string{}
	var changed []string
	for i, d := range r.done {
		if d == nil {
			changed = append(changed, r.names[i])
			continue
		}
		ids[d.job] = d.file
	}
	var err error
	if r.jobs, err = readJobs(r.root, changed, ids); err != nil {
		return err
	}
	return r.out.Guard(onDisk(r.root, jobInputs(r.jobs)))
}

// job computes and writes one job.
func (r *runner) job(j *job.Job) (*receipt, error) {
	old := r.had.byJob[j.ID]
	s := surroundings{hash: r.book.digest, anew: r.book.fresh}
	k := newKept(r.out, r.opt.Rehash, nil)
	if old != nil && r.me.trusts(old) {
		s.past = r.past(old)
	}
	if s.past != nil && old.program == r.me.digest.SHA256 {
		k = newKept(r.out, r.opt.Rehash, old)
		s.has = func(o provenance.Output) bool {
			return k.stands(j.ID+"/"+o.Name, store.Digest{SHA256: o.SHA256, Size: o.Size})
		}
	}
	f, log, summary, err := produce(r.root, j, r.res, s, k)
	if err != nil {
		return nil, err
	}
	return r.receipt(j, f, log, k, summary)
}

// past is what a job's log remembers, if it is the log that the receipt means.
func (r *runner) past(old *receipt) *provenance.Past {
	var data [2][]byte
	for i, name := range []string{provenance.StepsFile, provenance.ResultsFile} {
		name = old.job + "/" + name
		var d store.Digest
		var err error
		if data[i], d, err = r.out.Read(name, maxLog); err != nil || !slices.ContainsFunc(old.outs, func(s seen) bool { return s.name == name && s.digest == d }) {
			return nil
		}
	}
	return provenance.Recall(data[0], data[1])
}

// maxLog bounds what is read of a log: a hundred times that of a job of ten thousand recordings.
const maxLog = 1 << 34

// receipt sums up a job that was written, and removes what earlier runs left in its folder.
func (r *runner) receipt(j *job.Job, f *Findings, log *provenance.Log, k *kept, published store.Digest) (*receipt, error) {
	var text strings.Builder
	if err := reports.Summary(&text, []reports.Job{summaryOf(f)}, false); err != nil {
		return nil, err
	}
	rec := &receipt{job: j.ID, file: j.File, program: r.me.digest.SHA256, clean: r.me.clean, recordings: len(j.Recordings),
		failed: Failed([]*Findings{f}), result: published.SHA256, text: text.String()}
	for _, d := range j.Files {
		rec.files = append(rec.files, seen{name: d.File, digest: store.Digest{SHA256: d.SHA256, Size: d.Size}})
	}
	read := 0
	for _, x := range j.Recordings {
		for _, file := range x.Files {
			if s, err := r.book.look(file.Path, false, false); err == nil {
				rec.recs = append(rec.recs, s)
			}
		}
	}
	named := map[string]bool{j.ID + "/" + provenance.StepsFile: true, j.ID + "/" + provenance.ResultsFile: true}
	for _, s := range log.Steps {
		if s.Stage == "ingest" {
			read++
		}
		for _, o := range s.Outputs {
			named[j.ID+"/"+o.Name] = true
		}
	}
	rec.partial = read < len(j.Recordings)
	for _, o := range k.files() {
		if named[o.name] {
			rec.outs = append(rec.outs, o)
		}
	}
	rec.mark = rec.marked()
	return rec, r.sweep(j.ID, named)
}

// sweep removes what a killed run left under temporary names, tables of recordings that
// the job no longer has, and what an earlier version of the program wrote.
func (r *runner) sweep(id string, named map[string]bool) error {
	earlier := map[string]bool{}
	if old := r.had.byJob[id]; old != nil {
		for _, o := range old.outs {
			earlier[o.name] = true
		}
	}
	for _, folder := range []string{id, id + "/samples"} {
		err := r.out.Sweep(folder, func(name string) bool {
			name = folder + "/" + name
			return !named[name] && (earlier[name] || folder != id && path.Ext(name) == ".parquet")
		})
		if err != nil {
			return err
		}
	}
	return nil
}
