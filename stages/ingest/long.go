package ingest

import (
	"fmt"
	"runtime/debug"
	"slices"
	"sync"

	"spinledger/stages/ingest/segment"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// bounds of memory, in rows.
type bounds struct {
	// whole is the length from which a recording is no longer held in memory from end to
	// end. Nothing of this file has a part in shorter ones.
	whole int
	// full samples around transients, and means samples that stand for several rows, are kept.
	full, means int
}

// memory: four minutes at 2 kHz are taken whole. In eight columns they are 34 MB, the samples kept of a
// longer recording at most 80 MB.
var memory = bounds{whole: 1 << 19, full: 1 << 20, means: 1 << 18}

const (
	// keepS of plateau on either side of a transient stay at the full rate: a fit reads
	// 0.8 s, a lag search half a second, each with a margin for the lag.
	keepS = 1.0
	// cutS is the shortest plateau that may be cut in two: its halves are still as long as a
	// run's plateaus must be (package segment, MinIdleS).
	cutS = 0.3
	// leastSpan: with less change of speed than a quarter of its top a stretch has no steps.
	leastSpan = 0.25
)

// long takes a recording in stretches of about memory.whole rows. Each is cleaned and
// divided into segments like a whole one and ends in the middle of a plateau, at idle or rest where it
// can, so that no transient is cut; the rows behind the cut begin the next one. Of its samples the
// neighbourhoods of transients are kept as they are, the rest as means of
// neighbouring rows. Plateaus are summarised before that, from all their rows.
type long struct {
	*run
	stretches int
	rows      int
	kept      thinned
	// missing rows of stretches.
	missing       float64
	steps, jitter []float64
	// said is, by code of a warning, where it was given.
	said map[string]*heard
	// nothing is the refusal of the first stretch without a run: it counts where no stretch has one.
	nothing *spin.Refusal
	lean    bool
}

// lean counts the long recordings being read. Meanwhile garbage may grow to leanPercent of what lives, not to as much again:
// a stretch is a few large blocks without pointers, cheap to mark and dear to leave lying.
var lean struct {
	sync.Mutex
	readers, before int
}

const leanPercent = 25

func (l *long) collectOften() {
	if l.lean {
		return
	}
	l.lean = true
	lean.Lock()
	defer lean.Unlock()
	if lean.readers++; lean.readers > 1 {
		return
	}
	if lean.before = debug.SetGCPercent(leanPercent); lean.before < leanPercent { // asked for, or off (-1)
		debug.SetGCPercent(lean.before)
	}
}

// release ends what collectOften began.
func (l *long) release() {
	if !l.lean {
		return
	}
	lean.Lock()
	defer lean.Unlock()
	if lean.readers--; lean.readers == 0 {
		debug.SetGCPercent(lean.before)
	}
}

// heard is a warning's first stretch, its last one and how many others there were.
type heard struct{ first, last, more int }

// stretch takes the first rows out of t, up to a cut.
func (l *long) stretch(t *table) error {
	l.collectOften()
	p, work, err := l.part(t)
	if err != nil {
		return err
	}
	cut, err := p.cut(t)
	if err != nil {
		return err
	}
	p.rec.Samples = window(p.rec.Samples, 0, cut)
	if err := l.take(p, false); err != nil {
		return err
	}
	// The cut row may stand elsewhere in the raw rows, where some were dropped.
	at := t.row(work.line(cut))
	if work.stamps.floats == nil {
		l.clock.offset = work.stamps.ints[cut] - t.stamps.ints[at]
	}
	t.drop(at)
	l.stretches++
	return nil
}

// part cleans a copy of t's rows and makes samples of them.
func (l *long) part(t *table) (*run, *table, error) {
	p := &run{in: l.in, opt: l.opt, bounds: l.bounds, clock: l.clock, found: l.found, lowest: l.lowest, highest: l.highest,
		rec: &spin.Recording{Declared: l.in.Declared, TorqueScale: l.in.Torque.Scale}}
	p.found.SpanShare = leastSpan
	work := t.copy()
	err := p.cleanTable(work)
	if err == nil {
		err = p.samples([]*table{work})
	}
	l.clock, l.lowest, l.highest = p.clock, p.lowest, p.highest
	if n := len(l.kept.counts); err == nil && n > 0 {
		// Within a stretch the rows were compared with each other.
		if back := l.kept.samples.TimeS[n-1] - p.rec.Samples.TimeS[0]; back > l.opt.ReorderSteps*p.rec.StepS {
			return nil, nil, backwards(work, 0, back)
		}
	}
	return p, work, err
}

// cut is the sample at which a stretch ends: the middle of the longest plateau in its last
// quarter, of one that no run needs whole if there is one; failing that of the longest anywhere.
func (p *run) cut(t *table) (int, error) {
	s := p.rec.Samples
	found := segment.FindWithin(s, p.in.Declared, p.found)
	best, rank, longest := 0, 0, 0.0
	for _, q := range found.Plateaus {
		seg := found.Segments[q.Segment]
		length, r := seg.ToS-seg.FromS, 1
		if q.Kind != spin.Settled {
			r += 2
		}
		if seg.From > s.Len()/4*3 {
			r++
		}
		if length >= cutS && (r > rank || r == rank && length > longest) {
			best, rank, longest = (seg.From+seg.To)/2, r, length
		}
	}
	if best > 0 {
		return best, nil
	}
	if slices.ContainsFunc(found.Refusals, func(r spin.Refusal) bool { return r.Code == "no-motion" }) {
		// At rest there is nothing to cut; the end may be where it stops.
		return s.Len() - s.Len()/8, nil
	}
	return 0, &positioned.Error{File: t.file.Name, Line: t.line(0), Field: t.field(t.channel("speed")),
		Got:  fmt.Sprintf("no settled speed of %.1f s in %d rows from here on", cutS, t.rows),
		Want: "a long recording with plateaus between its transients", Hint: "cut it into recordings of a few runs each"}
}

// take adds a stretch's findings to the recording.
func (l *long) take(p *run, last bool) error {
	p.segments()
	p.torqueSpikes()
	first := l.rows == 0
	l.found = p.found
	rec, all := p.rec, l.rec
	l.rows += rec.Samples.Len()
	l.steps, l.jitter = append(l.steps, rec.StepS), append(l.jitter, rec.Jitter)
	if m := rec.MissingRel; m > 0 {
		l.missing += m / (1 - m) * float64(rec.Samples.Len())
	}
	if first {
		all.Channels, all.Converter, all.MeanS = rec.Channels, rec.Converter, rec.MeanS
		all.SpeedTiming, all.EdgesPerTurn, all.TorqueScale = rec.SpeedTiming, rec.EdgesPerTurn, rec.TorqueScale
	}
	all.HeldS = max(all.HeldS, rec.HeldS)
	if all.TorqueRenewedS == 0 {
		all.TorqueRenewedS, all.TorqueRenewedAtS = rec.TorqueRenewedS, rec.TorqueRenewedAtS
	}
	all.TorqueStepNm = max(all.TorqueStepNm, rec.TorqueStepNm)
	all.SpeedStepRadPerS = max(all.SpeedStepRadPerS, rec.SpeedStepRadPerS)
	l.say(rec.Warnings)
	l.refuse(rec.Refusals, first, last)

	before := len(all.Segments)
	segments := l.kept.add(rec, fullRate(rec))
	if l.kept.full > l.bounds.full {
		return &positioned.Error{File: l.in.Files[0].Name, Got: fmt.Sprintf("%d rows around %d transients", l.kept.full, len(all.Runs)+len(rec.Runs)),
			Want: fmt.Sprintf("at most %d in one recording", l.bounds.full), Hint: "cut it into recordings of fewer runs"}
	}
	for i, g := range rec.Segments {
		g.From, g.To = segments[i][0], segments[i][1]
		all.Segments = append(all.Segments, g)
	}
	if l.kept.means > l.bounds.means {
		l.kept.halve(all.Segments)
	}
	for _, q := range rec.Plateaus {
		q.Segment += before
		all.Plateaus = append(all.Plateaus, q)
	}
	for _, run := range rec.Runs {
		for _, i := range []*int{&run.A, &run.B, &run.C} {
			if *i >= 0 {
				*i += before
			}
		}
		all.Runs = append(all.Runs, run)
	}
	return nil
}

// say keeps what the first stretch with a warning of a code says, and counts the others.
func (l *long) say(warnings []spin.Warning) {
	if l.said == nil {
		l.said = map[string]*heard{}
	}
	for _, w := range warnings {
		at := l.said[w.Code]
		switch {
		case slices.Contains(l.rec.Warnings, w):
		case at == nil:
			l.said[w.Code] = &heard{first: l.stretches, last: l.stretches}
			l.rec.Warnings = append(l.rec.Warnings, w)
		case at.first == l.stretches:
			l.rec.Warnings = append(l.rec.Warnings, w)
		case at.last < l.stretches:
			at.last, at.more = l.stretches, at.more+1
		}
	}
}

// refuse keeps what is no matter of where the recording was cut.
func (l *long) refuse(refusals []spin.Refusal, first, last bool) {
	for _, f := range refusals {
		switch f.Code {
		case "no-step", "no-plateau", "no-run-down", "no-motion":
			if l.nothing == nil {
				l.nothing = &f
			}
			continue
		case "no-idle":
			if !first {
				continue
			}
		case "never-settles":
			if !last {
				continue
			}
		}
		same := func(o spin.Refusal) bool { return o.Code == f.Code && o.Subject == f.Subject }
		if !slices.ContainsFunc(l.rec.Refusals, same) {
			l.rec.Refusals = append(l.rec.Refusals, f)
		}
	}
}

// finish takes the last rows and sums up.
func (l *long) finish(t *table) (spin.Recording, error) {
	p, _, err := l.part(t)
	if err != nil {
		return spin.Recording{}, err
	}
	if err := l.take(p, true); err != nil {
		return spin.Recording{}, err
	}
	rec := l.rec
	rec.Rows, rec.Samples = l.rows, &l.kept.samples
	rec.StepS, rec.Jitter = numeric.Median(l.steps), numeric.Median(l.jitter)
	rec.MissingRel = l.missing / (l.missing + float64(l.rows))
	for i := range rec.Warnings {
		if at := l.said[rec.Warnings[i].Code]; at != nil && at.more > 0 {
			rec.Warnings[i].Text += fmt.Sprintf("; the like in %d later stretches of the recording", at.more)
		}
	}
	if l.nothing != nil && len(rec.Runs) == 0 && (rec.Declared.Kind != spin.Steady || len(rec.Plateaus) == 0) {
		rec.Refusals = append(rec.Refusals, *l.nothing)
	}
	l.warn("long", "%d rows are taken in %d stretches; samples more than %.1f s from a transient are kept as means of %d rows", l.rows, l.stretches+1, keepS, l.kept.every())
	l.excluded()
	return *rec, nil
}

// fullRate marks the samples near transients.
func fullRate(rec *spin.Recording) []bool {
	s := rec.Samples
	out := make([]bool, s.Len())
	mark := func(from, to float64) {
		i, _ := slices.BinarySearch(s.TimeS, from)
		for ; i < len(out) && s.TimeS[i] <= to; i++ {
			out[i] = true
		}
	}
	for _, run := range rec.Runs {
		in := []int{run.A, run.B, run.C}
		for k := 0; k+1 < len(in); k++ {
			if in[k] >= 0 && in[k+1] >= 0 {
				mark(rec.Segments[in[k]].ToS-keepS, rec.Segments[in[k+1]].FromS+keepS)
			}
		}
		if run.Kind == spin.Coast && run.B >= 0 {
			mark(rec.Segments[run.B].FromS, rec.Segments[run.B].ToS)
		}
	}
	return out
}

// window is the samples from ≤ i < to.
func window(s *series.Samples, from, to int) *series.Samples {
	out := &series.Samples{}
	for c, col := range columns(s) {
		if *col != nil {
			*columns(out)[c] = (*col)[from:to]
		}
	}
	return out
}

// columns of samples, time first.
func columns(s *series.Samples) [8]*[]float64 {
	return [8]*[]float64{&s.TimeS, &s.SpeedRadPerS, &s.TorqueNm, &s.ThrustN, &s.Duty, &s.VoltageV, &s.CurrentA, &s.TemperatureK}
}

// copy is a table of its own with the same raw rows.
func (t *table) copy() *table {
	c := *t
	c.stamps = stamps{ints: slices.Clone(t.stamps.ints), exp: t.stamps.exp, floats: slices.Clone(t.stamps.floats)}
	c.cols, c.missing = make([][]float64, len(t.cols)), make([][]bool, len(t.missing))
	for k := range t.cols {
		c.cols[k], c.missing[k] = slices.Clone(t.cols[k]), slices.Clone(t.missing[k])
	}
	c.breaks = slices.Clone(t.breaks)
	return &c
}

// row is the first row on the given line or a later one.
func (t *table) row(line int) int {
	from, to := 0, t.rows
	for from < to {
		if mid := (from + to) / 2; t.line(mid) < line {
			from = mid + 1
		} else {
			to = mid
		}
	}
	return from
}

// drop takes out the rows before row n.
func (t *table) drop(n int) {
	var lines []linebreak
	for i, b := range t.breaks {
		if i+1 < len(t.breaks) && t.breaks[i+1].row <= n {
			continue
		}
		if b.row < n {
			b.line, b.row = b.line+n-b.row, n
		}
		lines = append(lines, linebreak{b.row - n, b.line})
	}
	t.breaks = lines
	for k := range t.cols {
		t.cols[k], t.missing[k] = shifted(t.cols[k], n), shifted(t.missing[k], n)
	}
	t.stamps.ints, t.stamps.floats = shifted(t.stamps.ints, n), shifted(t.stamps.floats, n)
	t.rows -= n
}

// shifted moves what follows the first n to the front of the same memory.
func shifted[T any](x []T, n int) []T {
	if x == nil {
		return nil
	}
	return x[:copy(x, x[n:])]
}
