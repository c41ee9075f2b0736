package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"

	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/stages/ingest"
	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// described is a recording whose files were hashed.
type described struct {
	work *Recording
	// in is what its stage is given, still without rows.
	in     ingest.Input
	inputs []provenance.Input
}

// ingested is one recording after its stage.
type ingested struct {
	described
	done[spin.Recording]
	// fault is what kept it from being read.
	fault error
}

// ingest reads every recording, several at once.
func (c *computation) ingest() error {
	all := make([]ingested, len(c.w.Recordings))
	err := each(len(all), c.res.gate, func(i int) error {
		r := &all[i]
		r.fault = c.ingestOne(&c.w.Recordings[i], r)
		c.res.held.put(c.w.Recordings[i].Declared.ID(), r.out.Samples)
		r.out.Samples = nil
		var unwritten *store.Unwritten
		if errors.Is(r.fault, errDoubt) || errors.As(r.fault, &unwritten) {
			return r.fault
		}
		return nil
	})
	if err != nil {
		return err
	}
	c.recStep = map[string]int{}
	for i := range all {
		r := &all[i]
		id := c.w.Recordings[i].Declared.ID()
		if r.fault != nil {
			c.out.Refusals = append(c.out.Refusals, unreadable(id, r.fault)...)
			continue
		}
		r.step.Inputs = r.inputs
		step := r.add(c.log, []int{c.declared}, codes(r.out.Warnings))
		c.recStep[id] = step
		for _, in := range r.inputs {
			c.out.Inputs = append(c.out.Inputs, FileDigest(in))
		}
		c.loaded = append(c.loaded, loaded{r.described, r.out, step})
		c.out.Recordings = append(c.out.Recordings, r.out)
		c.out.Refusals = append(c.out.Refusals, r.out.Refusals...)
		c.out.Warnings = append(c.out.Warnings, r.out.Warnings...)
	}
	return nil
}

// unreadable turns errors of a recording into refusals: what depends on it fails, the rest is computed.
func unreadable(id string, err error) []spin.Refusal {
	var out []spin.Refusal
	for _, e := range positioned.All(err) {
		out = append(out, spin.Refusal{Stage: "ingest", Code: "unreadable", Subject: id, Text: e.Error()})
	}
	if len(out) == 0 {
		out = append(out, spin.Refusal{Stage: "ingest", Code: "unreadable", Subject: id, Text: err.Error()})
	}
	return out
}

// ingestOne hashes a recording's files and ingests what is not remembered. Samples
// that a remembered recording has lost from its folder are written again.
func (c *computation) ingestOne(r *Recording, out *ingested) (err error) {
	if out.described, err = c.describe(r); err != nil {
		return err
	}
	var outputs []provenance.Output
	out.done, err = do(c.around.past, "ingest", r.Declared.ID(), ingest.Method, c.w.Options.Ingest, out.in, func() (rec spin.Recording, err error) {
		rec, outputs, err = c.scan(&out.described, c.around.sink)
		return rec, err
	})
	if err != nil {
		return err
	}
	switch {
	case c.around.sink == nil:
		outputs = nil
	case out.remembered && c.hasAll(r, out.step.Outputs):
		outputs = out.step.Outputs
	case out.remembered:
		out.out, outputs, err = c.again(&out.described, out.json, c.around.sink)
	}
	out.step.Outputs = outputs
	return err
}

// readAlone ingests one recording outside of any job, with default options; its samples are set.
func readAlone(fsys fs.FS, r *Recording) (spin.Recording, error) {
	hash := func(name string) (store.Digest, error) { return store.Hash(fsys, name) }
	c := &computation{fsys: fsys, w: Work{Options: DefaultOptions()}, around: surroundings{hash: hash}}
	d, err := c.describe(r)
	if err != nil {
		return spin.Recording{}, err
	}
	rec, _, err := c.scan(&d, nil)
	return rec, err
}

// hasAll is true where the samples of a recording stand in the job's folder.
func (c *computation) hasAll(r *Recording, outputs []provenance.Output) bool {
	if len(outputs) != len(r.Files) || c.around.has == nil {
		return false
	}
	for i, o := range outputs {
		if o.Name != samplesFile(sampleName(r, i)) || !c.around.has(o) {
			return false
		}
	}
	return true
}

// describe hashes a recording's files and makes the input of its stage.
func (c *computation) describe(r *Recording) (described, error) {
	scale, err := r.scale()
	if err != nil {
		return described{}, r.ScaleAt.of(err)
	}
	d := described{work: r, in: ingest.Input{Declared: r.Declared, Bench: r.Bench.Name, Torque: scale}}
	all := sha256.New()
	for _, f := range r.Files {
		sum, err := c.around.hash(f.Path)
		if err != nil {
			return d, err
		}
		if f.Pin != "" && f.Pin != sum.SHA256 {
			return d, &positioned.Error{File: f.Where.File, Line: f.Where.Line, Col: f.Where.Col, Field: f.Where.Key,
				Got: fmt.Sprintf("%q, but %s has %s", f.Pin, f.Path, sum.SHA256), Want: "the SHA-256 of the file as it was pinned"}
		}
		io.WriteString(all, sum.SHA256)
		d.inputs = append(d.inputs, provenance.Input{Name: f.Path, SHA256: sum.SHA256, Size: sum.Size})
		d.in.Files = append(d.in.Files, ingest.File{Name: f.Path, Logger: f.Logger, OffsetS: f.OffsetS})
	}
	d.in.Digest = d.inputs[0].SHA256
	if len(d.inputs) > 1 {
		d.in.Digest = hex.EncodeToString(all.Sum(nil))
	}
	return d, nil
}

// scale is that of the recording's torque channel.
func (r *Recording) scale() (ingest.TorqueScale, error) {
	if r.WeighedAfter == "" {
		return ingest.Calibrate(r.Bench, r.Calibration, r.Declared.Turns)
	}
	return ingest.CalibrateTwice(r.Bench, r.Calibration, r.WeighedAfter, r.Declared.Turns, r.Declared.Job+"/mounting:"+r.Declared.Mounting+"/scale-drift")
}

// of puts a place into errors that have no file yet, and keeps a line that they have.
func (p Position) of(err error) error {
	e := (*positioned.Error)(nil)
	if !errors.As(err, &e) || e.File != "" {
		return err
	}
	placed := *e
	placed.File = p.File
	if placed.Line == 0 {
		placed.Line, placed.Col = p.Line, p.Col
	}
	return &placed
}

// scan ingests one recording, its samples written as they pass by. The bytes that
// are parsed are hashed and must be those that were described.
func (c *computation) scan(d *described, sink SampleSink) (rec spin.Recording, outputs []provenance.Output, err error) {
	in := d.in
	in.Files = slices.Clone(in.Files)
	open := make([]*opened, 0, len(in.Files))
	defer func() {
		for _, o := range open {
			o.close()
		}
	}()
	for i := range d.work.Files {
		o, err := c.open(&d.work.Files[i])
		if err != nil {
			return rec, nil, err
		}
		o.want = store.Digest{SHA256: d.inputs[i].SHA256, Size: d.inputs[i].Size}
		open = append(open, o)
		in.Files[i].Stream = o.stream
	}
	run := func() error {
		if rec, err = ingest.Run(in, c.w.Options.Ingest); err != nil {
			return err
		}
		for _, o := range open {
			if err := o.verify(); err != nil && c.remembers {
				return errDoubt
			} else if err != nil {
				return err
			}
		}
		return nil
	}
	if sink == nil {
		err = run()
		return rec, nil, err
	}
	// One samples table a file; they nest, so that each is written while its rows are read.
	outputs = make([]provenance.Output, len(open))
	for i := len(open) - 1; i >= 0; i-- {
		inner, o, f := run, open[i], &d.work.Files[i]
		run = func() (err error) {
			outputs[i], err = sink(samplesFile(sampleName(d.work, i)), func(w io.Writer) error {
				s := tables.NewSamples(w, sampleInfo(d.work, f, o.stream))
				o.stream.Blocks = s.Tee(o.stream.Blocks)
				if err := inner(); err != nil {
					s.Close()
					return err
				}
				return s.Close()
			})
			return err
		}
	}
	err = run()
	return rec, outputs, err
}

// samplesFile is the place of a table of samples below the job's folder.
func samplesFile(name string) string { return "samples/" + name + ".parquet" }

// sampleName is the table of a recording's file i: the recording's name, with the logger's where there are several.
func sampleName(r *Recording, i int) string {
	if len(r.Files) == 1 {
		return r.Declared.Name
	}
	return r.Declared.Name + "." + r.Files[i].Logger.Name
}

func sampleInfo(r *Recording, f *File, st *scan.Stream) tables.SampleInfo {
	info := tables.SampleInfo{Recording: r.Declared.ID(), File: f.Path}
	for k, ch := range f.Logger.Channels {
		col := tables.SampleColumn{Name: ch.Name, Unit: ch.Unit, Factor: ch.Factor, Offset: ch.Offset}
		if k < len(st.Found) && st.Found[k] > 0 && st.Found[k] <= len(st.Headers) {
			col.Header = st.Headers[st.Found[k]-1]
		}
		info.Columns = append(info.Columns, col)
	}
	return info
}

// opened is a file being scanned.
type opened struct {
	stream *scan.Stream
	src    *store.Source
	random *store.RandomAccess
	want   store.Digest
	done   bool
}

// open finds out by its first bytes whether a file is text or Parquet.
func (c *computation) open(f *File) (*opened, error) {
	src, err := store.Open(c.fsys, f.Path)
	if err != nil {
		return nil, err
	}
	head := make([]byte, 4)
	n, err := io.ReadFull(src, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		src.Abandon()
		return nil, err
	}
	head = head[:n]
	cols, lim := ingest.Columns(f.Logger), scan.DefaultLimits()
	if scan.IsParquet(head) {
		src.Abandon()
		ra, err := store.OpenRandom(c.fsys, f.Path)
		if err != nil {
			return nil, err
		}
		st, err := tables.Recording(ra, ra.Size(), f.Path, cols, lim)
		if err != nil {
			ra.Close()
			return nil, err
		}
		return &opened{stream: st, random: ra}, nil
	}
	st, err := scan.Text(io.MultiReader(bytes.NewReader(head), src), f.Path, f.Logger.Dialect, cols, lim)
	if err != nil {
		src.Abandon()
		return nil, err
	}
	return &opened{stream: st, src: src}, nil
}

// verify compares the bytes that were parsed with those that were hashed.
func (o *opened) verify() error {
	if o.done {
		return nil
	}
	o.done = true
	var got store.Digest
	var err error
	if o.random != nil {
		got, err = o.random.Digest()
	} else {
		got, err = o.src.Close()
	}
	if err != nil {
		return err
	}
	if got != o.want {
		return &positioned.Error{File: o.stream.File, Got: "other bytes on the second read (" + got.SHA256 + ")", Want: "a file that does not change while it is read"}
	}
	return nil
}

func (o *opened) close() {
	if o.random != nil {
		o.random.Close()
	}
	if o.src != nil && !o.done {
		o.done = true
		o.src.Abandon()
	}
}
