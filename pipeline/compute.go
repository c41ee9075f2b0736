package pipeline

import (
	"fmt"
	"io"
	"io/fs"
	"slices"
	"sync"

	"spinledger/pipeline/provenance"
	"spinledger/stages/crosscheck"
	"spinledger/stages/drag"
	"spinledger/stages/fit"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/subtract"
	"spinledger/stages/torque"
)

// SampleSink is told where to write a recording's samples as they pass by; nil
// to write none. It is called from several goroutines.
type SampleSink func(recording, file string, fill func(io.Writer) error) error

// Compute runs one job. workers bounds how many recordings are read at once.
// What cannot be read of a recording becomes a refusal; the error is for what
// stops the whole job.
func Compute(fsys fs.FS, w Work, workers int, sink SampleSink) (*Findings, *provenance.Log, error) {
	c := &computation{fsys: fsys, w: w, workers: max(1, workers), sink: sink, log: &provenance.Log{}, out: &Findings{Job: w.Job}}
	for _, step := range []func() error{c.declare, c.ingest, c.drag, c.torque, c.fit, c.subtract, c.crosscheck, c.trace} {
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
	fsys    fs.FS
	w       Work
	workers int
	sink    SampleSink
	log     *provenance.Log
	out     *Findings

	loaded []loaded
	curves map[string]*spin.LoadCurve
	// Step numbers by what they are about; declared is what the job says.
	declared            int
	recStep, rotorStep  map[string]int
	choiceStep, subStep int
	fitSteps            []int
}

// loaded is one recording that could be read.
type loaded struct {
	rec     spin.Recording
	density float64
}

// each calls f for 0 ≤ i < n on the job's workers and returns the error of the lowest i.
func each(n, workers int, f func(i int) error) error {
	errs := make([]error, n)
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(workers, n) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				errs[i] = f(i)
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
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
				Recording: l.rec.Declared.ID(), Kind: l.rec.Declared.Kind, Plateaus: l.rec.Plateaus, DensityKgM3: l.density,
			})
			from = append(from, c.recStep[l.rec.Declared.ID()])
		}
		if len(in.Sets) == 0 {
			continue
		}
		out, err := drag.Run(in, c.w.Options.Drag)
		if err != nil {
			return err
		}
		n, err := c.log.Add("drag", c.w.Job+"/rotor:"+rotor.ID, drag.Method, c.w.Options.Drag, in, out, from, nil, codes(out.Warnings))
		if err != nil {
			return err
		}
		c.rotorStep[rotor.ID] = n
		c.out.Refusals = append(c.out.Refusals, out.Refusals...)
		c.out.Warnings = append(c.out.Warnings, out.Warnings...)
		if out.Curve != nil {
			c.curves[rotor.ID] = out.Curve
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
	evidence := make([]spin.Evidence, len(c.loaded))
	inputs := make([]torque.Input, len(c.loaded))
	err := each(len(c.loaded), c.workers, func(i int) error {
		inputs[i] = torque.Input{Recording: c.loaded[i].rec, Curve: c.curves[c.loaded[i].rec.Declared.Rotor.ID]}
		var err error
		evidence[i], err = torque.Examine(inputs[i], c.w.Options.Torque)
		return err
	})
	if err != nil {
		return err
	}
	var from []int
	for i := range evidence {
		n, err := c.log.Add("torque", evidence[i].Recording, torque.Method, c.w.Options.Torque, inputs[i], evidence[i], c.stepsOf(&c.loaded[i].rec), nil, codes(evidence[i].Warnings))
		if err != nil {
			return err
		}
		from = append(from, n)
	}
	c.out.Evidence = evidence
	in := torque.ChooseInput{Job: c.w.Job, Evidence: evidence}
	c.out.Choice, err = torque.Choose(in, c.w.Options.Torque)
	if err != nil {
		return err
	}
	c.out.Warnings = append(c.out.Warnings, c.out.Choice.Warnings...)
	c.choiceStep, err = c.log.Add("choose", c.w.Job, torque.Method, c.w.Options.Torque, in, c.out.Choice, from, nil, codes(c.out.Choice.Warnings))
	return err
}

// fit derives inertias from every recording with runs.
func (c *computation) fit() error {
	inputs := make([]fit.Input, len(c.loaded))
	outputs := make([]fit.Output, len(c.loaded))
	err := each(len(c.loaded), c.workers, func(i int) error {
		rec := c.loaded[i].rec
		in := fit.Input{Recording: rec, Curve: c.curves[rec.Declared.Rotor.ID]}
		in.Lag, _ = c.out.Choice.LagOf(rec.Declared.Session)
		for _, ch := range c.out.Choice.Runs {
			if ch.Recording == rec.Declared.ID() {
				in.Choices = append(in.Choices, ch)
			}
		}
		inputs[i] = in
		var err error
		outputs[i], err = fit.Run(in, c.w.Options.Fit)
		return err
	})
	if err != nil {
		return err
	}
	for i, out := range outputs {
		rec := &c.loaded[i].rec
		if len(rec.Runs) == 0 {
			continue
		}
		n, err := c.log.Add("fit", rec.Declared.ID(), fit.Method, c.w.Options.Fit, inputs[i], out, append(c.stepsOf(rec), c.choiceStep), nil, codes(out.Warnings))
		if err != nil {
			return err
		}
		c.fitSteps = append(c.fitSteps, n)
		c.out.Fits = append(c.out.Fits, out.Fits...)
		c.out.Refusals = append(c.out.Refusals, out.Refusals...)
		c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	}
	return nil
}

func (c *computation) subtract() error {
	in := subtract.Input{Job: c.w.Job, Fits: c.out.Fits, Rotors: c.w.Rotors, Parts: c.w.Parts, Repeatability: c.w.Repeatability}
	out, err := subtract.Run(in, c.w.Options.Subtract)
	if err != nil {
		return err
	}
	c.subStep, err = c.log.Add("subtract", c.w.Job, subtract.Method, c.w.Options.Subtract, in, out, append([]int{c.declared}, c.fitSteps...), nil, codes(out.Warnings))
	if err != nil {
		return err
	}
	c.out.Rotors, c.out.Numbers, c.out.Scales = out.Rotors, out.Numbers, out.Scales
	c.out.Refusals = append(c.out.Refusals, out.Refusals...)
	c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	return nil
}

func (c *computation) crosscheck() error {
	in := crosscheck.Input{
		Job: c.w.Job, Choice: c.out.Choice, Fits: c.out.Fits, Curves: c.out.Curves, Rotors: c.out.Rotors, Bodies: c.w.Rotors,
		Numbers: c.out.Numbers, Parts: c.w.Parts, Classes: c.w.Repeatability, Refusals: c.out.Refusals, Waivers: c.w.Waivers, Day: c.w.Day,
	}
	for _, s := range c.out.Scales {
		in.Scales = append(in.Scales, crosscheck.Scale{Disk: s.Disk, Role: s.Role, Ratio: s.Ratio})
	}
	for _, l := range c.loaded {
		if slices.ContainsFunc(l.rec.Warnings, func(w spin.Warning) bool { return w.Code == "scale-unstated" }) {
			in.Unscaled = append(in.Unscaled, l.rec.Declared.ID())
		}
	}
	out, err := crosscheck.Run(in, c.w.Options.Crosscheck)
	if err != nil {
		return err
	}
	c.out.Checks, c.out.Numbers = out.Checks, out.Numbers
	c.out.Warnings = append(c.out.Warnings, out.Warnings...)
	n, err := c.log.Add("crosscheck", c.w.Job, crosscheck.Method, c.w.Options.Crosscheck, in, out, append([]int{c.declared, c.choiceStep, c.subStep}, c.fitSteps...), nil, codes(out.Warnings))
	if err != nil {
		return err
	}
	c.log.Steps[n-1].Waived = waived(out.Checks)
	return nil
}
