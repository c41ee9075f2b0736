package pipeline

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"

	"spinledger/pipeline/provenance"
	"spinledger/pipeline/store"
	"spinledger/stages/crosscheck"
	"spinledger/stages/drag"
	"spinledger/stages/fit"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/subtract"
	"spinledger/stages/torque"
)

// SampleSink is told where to write a recording's samples as they pass by, and
// says what was written; nil to write none. The name is a path below the job's folder.
// It is called from several goroutines.
type SampleSink func(name string, fill func(io.Writer) error) (provenance.Output, error)

// Compute runs one job without memory of earlier runs. workers bounds how many
// recordings are read at once. What cannot be read of a recording becomes a refusal;
// the error is for what stops the whole job.
func Compute(fsys fs.FS, w Work, workers int, sink SampleSink) (*Findings, *provenance.Log, error) {
	return compute(fsys, w, resources{gate: newGate(workers), held: newSampleSet(defaultSampleBytes)}, surroundings{sink: sink})
}

// resources are what the jobs of one run share.
type resources struct {
	// gate is passed by everything that takes a processor or a recording's memory.
	gate gate
	// held are samples kept between stages.
	held *sampleSet
}

// surroundings are what a job finds around it; all of them may be nil.
type surroundings struct {
	past *provenance.Past
	// hash is the digest of a file below the root, which may be remembered.
	hash func(name string) (store.Digest, error)
	// anew is hash with the bytes read again; nil: store.Hash.
	anew func(name string) (store.Digest, error)
	// has is true where the file of that name and digest stands in the job's folder.
	has  func(provenance.Output) bool
	sink SampleSink
}

// compute runs one job. A doubt about what is remembered is answered by computing without memory.
func compute(fsys fs.FS, w Work, res resources, s surroundings) (*Findings, *provenance.Log, error) {
	f, log, err := attempt(fsys, w, res, s, s.hash != nil)
	if errors.Is(err, errDoubt) {
		f, log, err = attempt(fsys, w, res, surroundings{sink: s.sink, hash: s.anew}, false)
	}
	return f, log, err
}

func attempt(fsys fs.FS, w Work, res resources, s surroundings, remembers bool) (*Findings, *provenance.Log, error) {
	if s.hash == nil {
		s.hash = func(name string) (store.Digest, error) { return store.Hash(fsys, name) }
	}
	c := &computation{fsys: fsys, w: w, res: res, around: s, remembers: remembers, log: &provenance.Log{}, out: &Findings{Job: w.Job}}
	defer func() {
		for i := range w.Recordings {
			res.held.drop(w.Recordings[i].Declared.ID())
		}
	}()
	for _, step := range []func() error{c.declare, c.ingest, c.drag, c.torque, c.fit, c.subtract, c.crosscheck, c.respond, c.trace} {
		if err := step(); err != nil {
			if len(positioned.All(err)) > 0 {
				return nil, nil, err
			}
			return nil, nil, fmt.Errorf("job %s: %w", w.Job, err)
		}
	}
	return c.out, c.log, nil
}

type computation struct {
	fsys   fs.FS
	w      Work
	res    resources
	around surroundings
	// remembers is true where digests of files may be remembered ones.
	remembers bool
	log       *provenance.Log
	out       *Findings

	loaded []loaded
	// curves are the rotors' laws for later stages, without the levels behind them.
	curves map[string]*spin.LoadCurve
	// Step numbers by what they are about; declared is what the job says.
	declared            int
	recStep, rotorStep  map[string]int
	choiceStep, subStep int
	checkStep           int
	fitSteps            []int
}

// loaded is one recording that could be read, without its samples.
type loaded struct {
	described
	rec spin.Recording
	// step of the log that holds what ingest found.
	step int
}

func codes(w []spin.Warning) []string {
	var out []string
	for _, x := range w {
		out = append(out, x.Code)
	}
	return out
}

// drag finds the load curve of every rotor.
func (c *computation) drag() error {
	c.curves, c.rotorStep = map[string]*spin.LoadCurve{}, map[string]int{}
	for _, rotor := range c.w.Rotors {
		in := drag.Input{Job: c.w.Job, Rotor: rotor.ID}
		var from []int
		for _, l := range c.loaded {
			if l.rec.Declared.Rotor.ID != rotor.ID || len(l.rec.Plateaus) == 0 || !slices.Contains(l.rec.Channels, "TorqueNm") || !l.rec.Declared.TorqueUsable {
				continue
			}
			in.Sets = append(in.Sets, drag.Set{
				Recording: l.rec.Declared.ID(), Kind: l.rec.Declared.Kind, Plateaus: l.rec.Plateaus, DensityKgM3: l.work.DensityKgM3,
			})
			from = append(from, c.recStep[l.rec.Declared.ID()])
		}
		if len(in.Sets) == 0 {
			continue
		}
		d, err := do(c.around.past, "drag", c.w.Job+"/rotor:"+rotor.ID, drag.Method, c.w.Options.Drag, in, func() (drag.Output, error) {
			return drag.Run(in, c.w.Options.Drag)
		})
		if err != nil {
			return err
		}
		out := d.out
		c.rotorStep[rotor.ID] = d.add(c.log, from, codes(out.Warnings))
		c.out.Refusals = append(c.out.Refusals, out.Refusals...)
		c.out.Warnings = append(c.out.Warnings, out.Warnings...)
		if out.Curve != nil {
			law := *out.Curve
			law.Points, law.Candidates = nil, nil
			c.curves[rotor.ID] = &law
			c.out.Curves = append(c.out.Curves, *out.Curve)
		}
	}
	return nil
}

// stepsOf are the log's steps behind a recording and its rotor's curve.
func (c *computation) stepsOf(rec *spin.Recording) []int {
	from := []int{c.recStep[rec.Declared.ID()]}
	if n, ok := c.rotorStep[rec.Declared.Rotor.ID]; ok {
		from = append(from, n)
	}
	return from
}

// torque examines every recording and chooses sources for the job.
func (c *computation) torque() error {
	opt := c.w.Options.Torque
	all := make([]done[spin.Evidence], len(c.loaded))
	err := each(len(c.loaded), c.res.gate, func(i int) (err error) {
		l := &c.loaded[i]
		in := torque.Input{Recording: l.rec, Curve: c.curves[l.rec.Declared.Rotor.ID]}
		all[i], err = do(c.around.past, "torque", l.rec.Declared.ID(), torque.Method, opt, in, func() (spin.Evidence, error) {
			if in.Recording.Samples, err = c.samples(l); err != nil {
				return spin.Evidence{}, err
			}
			return torque.Examine(in, opt)
		})
		return err
	})
	if err != nil {
		return err
	}
	var from []int
	for i := range all {
		from = append(from, all[i].add(c.log, c.stepsOf(&c.loaded[i].rec), codes(all[i].out.Warnings)))
		c.out.Evidence = append(c.out.Evidence, all[i].out)
	}
	in := torque.ChooseInput{Job: c.w.Job, Evidence: c.out.Evidence}
	choice, err := do(c.around.past, "choose", c.w.Job, torque.Method, opt, in, func() (spin.Choice, error) { return torque.Choose(in, opt) })
	if err != nil {
		return err
	}
	c.out.Choice = choice.out
	c.out.Warnings = append(c.out.Warnings, choice.out.Warnings...)
	c.choiceStep = choice.add(c.log, from, codes(choice.out.Warnings))
	return nil
}

// fit derives inertias from every recording with runs.
func (c *computation) fit() error {
	var with []*loaded
	for i := range c.loaded {
		if len(c.loaded[i].rec.Runs) > 0 {
			with = append(with, &c.loaded[i])
		}
	}
	all := make([]done[fit.Output], len(with))
	err := each(len(with), c.res.gate, func(i int) (err error) {
		rec := with[i].rec
		rotor := rec.Declared.Rotor
		in := fit.Input{Recording: rec, Curve: c.curves[rotor.ID], Propeller: spin.HasPropeller(rotor.Parts, c.w.Parts)}
		in.Lag, _ = c.out.Choice.LagOf(rec.Declared.Session)
		for _, ch := range c.out.Choice.Runs {
			if ch.Recording == rec.Declared.ID() {
				in.Choices = append(in.Choices, ch)
			}
		}
		all[i], err = do(c.around.past, "fit", rec.Declared.ID(), fit.Method, c.w.Options.Fit, in, func() (fit.Output, error) {
			if in.Recording.Samples, err = c.samples(with[i]); err != nil {
				return fit.Output{}, err
			}
			return fit.Run(in, c.w.Options.Fit)
		})
		return err
	})
	if err != nil {
		return err
	}
	for i := range all {
		out := all[i].out
		c.fitSteps = append(c.fitSteps, all[i].add(c.log, append(c.stepsOf(&with[i].rec), c.choiceStep), codes(out.Warnings)))
		c.out.Fits = append(c.out.Fits, out.Fits...)
		c.out.Refusals = append(c.out.Refusals, out.Refusals...)
		c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	}
	return nil
}

func (c *computation) subtract() error {
	in := subtract.Input{Job: c.w.Job, Fits: c.out.Fits, Rotors: c.w.Rotors, Parts: c.w.Parts, Repeatability: c.w.Repeatability}
	d, err := do(c.around.past, "subtract", c.w.Job, subtract.Method, c.w.Options.Subtract, in, func() (subtract.Output, error) {
		return subtract.Run(in, c.w.Options.Subtract)
	})
	if err != nil {
		return err
	}
	out := d.out
	c.subStep = d.add(c.log, append([]int{c.declared}, c.fitSteps...), codes(out.Warnings))
	c.out.Rotors, c.out.Numbers, c.out.Scales = out.Rotors, out.Numbers, out.Scales
	c.out.Refusals = append(c.out.Refusals, out.Refusals...)
	c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	return nil
}

// weighed are the job's sessions with weights before and after them. A session in which rotors turn both ways has two answers.
func (c *computation) weighed() []crosscheck.Weighed {
	var out []crosscheck.Weighed
	seen := map[string]bool{}
	for i := range c.w.Recordings {
		r := &c.w.Recordings[i]
		if r.WeighedAfter == "" {
			continue
		}
		scale, err := r.scale()
		key := r.Declared.Session + "/scale." + string(scale.Sense)
		// Weights that make no line have had their recordings refused.
		if err != nil || seen[key] {
			continue
		}
		seen[key] = true
		out = append(out, crosscheck.Weighed{Session: r.Declared.Session, Sense: scale.Sense, Before: scale.ID, After: r.WeighedAfter, Moved: *scale.Moved})
	}
	return out
}

func (c *computation) crosscheck() error {
	in := crosscheck.Input{
		Job: c.w.Job, Choice: c.out.Choice, Fits: c.out.Fits, Curves: c.out.Curves, Rotors: c.out.Rotors, Bodies: c.w.Rotors,
		Numbers: c.out.Numbers, Parts: c.w.Parts, Classes: c.w.Repeatability, Refusals: c.out.Refusals, Waivers: c.w.Waivers, Unsettled: c.w.Unsettled, Day: c.w.Day,
	}
	for _, s := range c.out.Scales {
		in.Scales = append(in.Scales, crosscheck.Scale{Disk: s.Disk, Role: s.Role, Ratio: s.Ratio})
	}
	in.Weighed = c.weighed()
	for _, l := range c.loaded {
		if slices.ContainsFunc(l.rec.Warnings, func(w spin.Warning) bool { return w.Code == "scale-unstated" }) {
			in.Unscaled = append(in.Unscaled, l.rec.Declared.ID())
		}
	}
	d, err := do(c.around.past, "crosscheck", c.w.Job, crosscheck.Method, c.w.Options.Crosscheck, in, func() (crosscheck.Output, error) {
		return crosscheck.Run(in, c.w.Options.Crosscheck)
	})
	if err != nil {
		return err
	}
	out := d.out
	c.out.Checks, c.out.Numbers = out.Checks, out.Numbers
	c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	d.step.Waived = waived(out.Checks)
	c.checkStep = d.add(c.log, append([]int{c.declared, c.choiceStep, c.subStep}, c.fitSteps...), codes(out.Warnings))
	return nil
}
