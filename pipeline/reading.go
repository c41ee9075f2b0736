package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/stages/ingest"
	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// ingest reads every recording, several at once.
func (c *computation) ingest() error {
	n := len(c.w.Recordings)
	type result struct {
		in     ingest.Input
		rec    spin.Recording
		inputs []provenance.Input
		fault  error
	}
	results := make([]result, n)
	err := each(n, c.workers, func(i int) error {
		r := &results[i]
		r.in, r.rec, r.inputs, r.fault = c.read(&c.w.Recordings[i])
		if unwritten := (*store.Unwritten)(nil); errors.As(r.fault, &unwritten) {
			return unwritten
		}
		return nil
	})
	if err != nil {
		return err
	}
	c.recStep = map[string]int{}
	for i := range results {
		r := &results[i]
		id := c.w.Recordings[i].Declared.ID()
		if r.fault != nil {
			c.out.Refusals = append(c.out.Refusals, unreadable(id, r.fault)...)
			continue
		}
		step, err := c.log.Add("ingest", id, ingest.Method, c.w.Options.Ingest, r.in, r.rec, []int{c.declared}, r.inputs, codes(r.rec.Warnings))
		if err != nil {
			return err
		}
		c.recStep[id] = step
		for _, in := range r.inputs {
			c.out.Inputs = append(c.out.Inputs, FileDigest(in))
		}
		c.loaded = append(c.loaded, loaded{r.rec, c.w.Recordings[i].DensityKgM3})
		c.out.Recordings = append(c.out.Recordings, r.rec)
		c.out.Refusals = append(c.out.Refusals, r.rec.Refusals...)
		c.out.Warnings = append(c.out.Warnings, r.rec.Warnings...)
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

// read opens, hashes, scans and ingests one recording.
func (c *computation) read(r *Recording) (in ingest.Input, rec spin.Recording, inputs []provenance.Input, err error) {
	scale, err := ingest.Calibrate(r.Bench, r.Calibration, r.Declared.Turns)
	if err != nil {
		return in, rec, nil, r.ScaleAt.of(err)
	}
	in = ingest.Input{Declared: r.Declared, Bench: r.Bench.Name, Torque: scale}
	var open []*opened
	defer func() {
		for _, o := range open {
			o.close()
		}
	}()
	all := sha256.New()
	for i := range r.Files {
		f := &r.Files[i]
		d, err := store.Hash(c.fsys, f.Path)
		if err != nil {
			return in, rec, nil, err
		}
		if f.Pin != "" && f.Pin != d.SHA256 {
			return in, rec, nil, &positioned.Error{File: f.Where.File, Line: f.Where.Line, Col: f.Where.Col, Field: f.Where.Key,
				Got: fmt.Sprintf("%q, but %s has %s", f.Pin, f.Path, d.SHA256), Want: "the SHA-256 of the file as it was pinned"}
		}
		io.WriteString(all, d.SHA256)
		inputs = append(inputs, provenance.Input{Name: f.Path, SHA256: d.SHA256, Size: d.Size})
		o, err := c.open(f)
		if err != nil {
			return in, rec, nil, err
		}
		o.want = d
		open = append(open, o)
		in.Files = append(in.Files, ingest.File{Name: f.Path, Logger: f.Logger, OffsetS: f.OffsetS, Stream: o.stream})
	}
	in.Digest = inputs[0].SHA256
	if len(inputs) > 1 {
		in.Digest = hex.EncodeToString(all.Sum(nil))
	}
	rec, err = c.scanned(r, in, open)
	return in, rec, inputs, err
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

// scanned runs ingest with the samples written as they pass by.
func (c *computation) scanned(r *Recording, in ingest.Input, open []*opened) (rec spin.Recording, err error) {
	run := func() error {
		rec, err = ingest.Run(in, c.w.Options.Ingest)
		if err != nil {
			return err
		}
		for _, o := range open {
			if err := o.verify(); err != nil {
				return err
			}
		}
		return nil
	}
	if c.sink == nil {
		err = run()
		return rec, err
	}
	// One samples table a file; they nest, so that each is written while its rows are read.
	for i := len(open) - 1; i >= 0; i-- {
		inner, o, f := run, open[i], &r.Files[i]
		name := r.Declared.Name
		if len(open) > 1 {
			name += "." + f.Logger.Name
		}
		run = func() error {
			return c.sink(r.Declared.ID(), name, func(w io.Writer) error {
				s := tables.NewSamples(w, sampleInfo(r, f, o.stream))
				o.stream.Blocks = s.Tee(o.stream.Blocks)
				if err := inner(); err != nil {
					s.Close()
					return err
				}
				return s.Close()
			})
		}
	}
	err = run()
	return rec, err
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
	if o.src == nil || o.done {
		return nil
	}
	o.done = true
	got, err := o.src.Close()
	if err != nil {
		return err
	}
	if got != o.want {
		return &positioned.Error{File: o.src.Name(), Got: "other bytes on the second read (" + got.SHA256 + ")", Want: "a file that does not change while it is read"}
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
