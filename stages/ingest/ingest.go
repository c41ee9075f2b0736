package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/ingest/segment"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// File is one file of a recording.
type File struct {
	// Name as errors and warnings show it.
	Name   string      `json:"name"`
	Logger spin.Logger `json:"logger"`
	// OffsetS is added to the file's time, in seconds; 0 for a single file.
	OffsetS uncertain.Value `json:"offset_s"`
	// Stream holds the rows; it was opened with Columns(Logger). Not part of any key:
	// Input.Digest stands for it.
	Stream *scan.Stream `json:"-"`
}

// Input is one recording with all that is declared about it.
type Input struct {
	Declared spin.Declared `json:"declared"`
	// Bench is the bench's name; sources of uncertainty carry it.
	Bench string `json:"bench"`
	Files []File `json:"files"`
	// Torque is Calibrate's result for the declared sense of rotation.
	Torque TorqueScale `json:"torque"`
	// Digest names the samples: SHA-256 over the bytes of all files, in order.
	Digest string `json:"digest"`
}

// Columns lists the columns that a logger's channels need, in the order of Logger.Channels.
func Columns(l spin.Logger) []scan.Column {
	out := make([]scan.Column, len(l.Channels))
	for i, c := range l.Channels {
		out[i] = scan.Column{Name: c.Name, Header: c.Column, Index: c.Index}
	}
	return out
}

// run is the state of one Run.
type run struct {
	in     Input
	opt    Options
	bounds bounds
	rec    *spin.Recording
	// What the stretches before this one of a long recording showed; zero for a whole one.
	clock           clock
	found           segment.Range
	lowest, highest float64
}

// Run reads one recording. The error is a *positioned.Error, or a list of them, for
// what cannot be read at all.
func Run(in Input, opt Options) (spin.Recording, error) {
	return runWithin(in, opt, memory)
}

func runWithin(in Input, opt Options, b bounds) (spin.Recording, error) {
	r := &run{in: in, opt: opt, bounds: b, rec: &spin.Recording{Declared: in.Declared, Digest: in.Digest, TorqueScale: in.Torque.Scale}}
	if err := r.declared(); err != nil {
		return spin.Recording{}, err
	}
	if len(in.Files) == 1 && in.Declared.Kind != spin.Sweep {
		l := &long{run: r}
		defer l.release()
		t, err := r.read(&in.Files[0], l.stretch)
		if err != nil {
			return spin.Recording{}, err
		}
		if l.stretches > 0 {
			return l.finish(t)
		}
		if err := r.cleanTable(t); err != nil {
			return spin.Recording{}, err
		}
		return r.finish([]*table{t})
	}
	parts := make([]*table, len(in.Files))
	for i := range in.Files {
		t, err := r.read(&in.Files[i], nil)
		if err == nil {
			err = r.cleanTable(t)
		}
		if err != nil {
			return spin.Recording{}, err
		}
		parts[i] = t
	}
	return r.finish(parts)
}

// finish takes clean rows of a recording that is in memory from end to end.
func (r *run) finish(parts []*table) (spin.Recording, error) {
	if err := r.samples(parts); err != nil {
		return spin.Recording{}, err
	}
	r.segments()
	r.excluded()
	r.torqueSpikes()
	return *r.rec, nil
}

// cleanTable gives a file's rows a clock and fills their gaps.
func (r *run) cleanTable(t *table) error {
	if err := r.cleanClock(t); err != nil {
		return err
	}
	return r.fillGaps(t)
}

// samples makes them of clean rows.
func (r *run) samples(parts []*table) error {
	merged, err := r.merge(parts)
	if err != nil {
		return err
	}
	r.rec.Samples = &series.Samples{TimeS: merged.time}
	r.rec.Rows = len(merged.time)
	r.speed(merged)
	r.torque(merged)
	r.others(merged)
	return nil
}

// declared checks what no recording can mend.
func (r *run) declared() error {
	var faults positioned.List
	seen := map[string]string{}
	for _, f := range r.in.Files {
		for _, c := range f.Logger.Channels {
			key := c.Name
			if key == "time" {
				key += " in " + f.Name
			}
			if other, ok := seen[key]; ok {
				faults.Add(&positioned.Error{File: f.Name, Field: c.Name, Got: "a second " + c.Name + " channel, also in " + other, Want: "one file with it"})
			}
			seen[key] = f.Name
			if c.Name == "speed" && c.Reading == "electrical" && r.in.Declared.PolePairs < 1 {
				faults.Add(&positioned.Error{File: f.Name, Field: "motor.pole_pairs", Got: "no pole pairs and an electrical speed", Want: "the motor's number of pole pairs"})
			}
		}
		if _, ok := seen["time in "+f.Name]; !ok {
			faults.Add(&positioned.Error{File: f.Name, Field: "time", Got: "a logger without a time channel", Want: "one"})
		}
	}
	if _, ok := seen["speed"]; !ok && len(r.in.Files) > 0 {
		faults.Add(&positioned.Error{File: r.in.Files[0].Name, Field: "speed", Got: "no file with a speed channel", Want: "one"})
	}
	if len(r.in.Files) == 0 {
		faults.Add(&positioned.Error{File: r.in.Declared.ID(), Got: "no files", Want: "at least one"})
	}
	return faults.Err()
}

func (r *run) warn(code, format string, args ...any) {
	r.rec.Warnings = append(r.rec.Warnings, spin.Warning{Stage: "ingest", Code: code, Subject: r.in.Declared.ID(), Text: fmt.Sprintf(format, args...)})
}

func (r *run) refuse(code string, value, limit float64, format string, args ...any) {
	r.rec.Refusals = append(r.rec.Refusals, spin.Refusal{Stage: "ingest", Code: code, Subject: r.in.Declared.ID(),
		Text: fmt.Sprintf(format, args...), Value: value, Limit: limit, Waivable: true})
}

// others hands on the channels that need nothing but units.
func (r *run) others(m *merged) {
	s := r.rec.Samples
	s.ThrustN, s.Duty, s.VoltageV = m.take("thrust"), m.take("throttle"), m.take("voltage")
	s.CurrentA, s.TemperatureK = m.take("current"), m.take("temperature")
	for _, c := range []struct {
		name string
		col  []float64
	}{{"CurrentA", s.CurrentA}, {"Duty", s.Duty}, {"SpeedRadPerS", s.SpeedRadPerS}, {"TemperatureK", s.TemperatureK},
		{"ThrustN", s.ThrustN}, {"TimeS", s.TimeS}, {"TorqueNm", s.TorqueNm}, {"VoltageV", s.VoltageV}} {
		if c.col != nil {
			r.rec.Channels = append(r.rec.Channels, c.name)
		}
	}
}

// segments finds the runs and completes them by what is declared.
func (r *run) segments() {
	d := r.in.Declared
	found := segment.FindWithin(r.rec.Samples, d, r.found)
	r.found = found.Range
	rec := r.rec
	rec.Segments, rec.Plateaus, rec.Runs = found.Segments, found.Plateaus, found.Runs
	r.roundedSteps()
	rec.Warnings = append(rec.Warnings, found.Warnings...)
	rec.Refusals = append(rec.Refusals, found.Refusals...)
	for i := range rec.Runs {
		run := &rec.Runs[i]
		run.ID = fmt.Sprintf("%s#%d", d.Name, r.found.Runs-len(rec.Runs)+i+1)
		r.condition(run)
		if p := rec.TorqueRenewedS; p > 0 {
			run.SamplesInRise = math.Min(run.SamplesInRise, run.RiseS/p)
		}
		if at := slices.IndexFunc(d.Exclude, func(e spin.Exclusion) bool { return e.Run == run.ID }); at >= 0 {
			run.Excluded = d.Exclude[at].Reason
		}
	}
}

// coveredShare of equal neighbours is the most at which noise covers the steps of a channel.
const coveredShare = 0.1

// roundedSteps finds what rounding leaves in the torque and in the speed of plateaus.
func (r *run) roundedSteps() {
	rec := r.rec
	if x := rec.Samples.TorqueNm; x != nil {
		torque := func(s spin.Segment) []float64 {
			_, values := rec.TorqueValues(s)
			return values
		}
		rec.TorqueStepNm = r.steps(torque, func(p *spin.Plateau) *float64 { return &p.TorqueRoundingU })
	}
	speed := func(s spin.Segment) []float64 { return rec.Samples.SpeedRadPerS[s.From:s.To] }
	rec.SpeedStepRadPerS = r.steps(speed, func(p *spin.Plateau) *float64 { return &p.SpeedRoundingU })
}

// steps is the step in which a channel is written, 0 where noise covers it on every plateau; what it leaves in the plateaus' means is put where
// u points to. of gives the channel's values in a segment.
func (r *run) steps(of func(spin.Segment) []float64, u func(*spin.Plateau) *float64) float64 {
	rec := r.rec
	on := func(p spin.Plateau) []float64 { return of(rec.Segments[p.Segment]) }
	if !slices.ContainsFunc(rec.Plateaus, func(p spin.Plateau) bool { return numeric.Repeats(on(p)) > coveredShare }) {
		return 0
	}
	step := numeric.GridStep(of(spin.Segment{To: rec.Samples.Len()}))
	for i := range rec.Plateaus {
		*u(&rec.Plateaus[i]) = numeric.RoundingU(on(rec.Plateaus[i]), step)
	}
	return step
}

// excluded refuses exclusions of runs that are not there.
func (r *run) excluded() {
	d, rec := r.in.Declared, r.rec
	var ids []string
	for _, run := range rec.Runs {
		ids = append(ids, run.ID)
	}
	for _, e := range d.Exclude {
		if !slices.Contains(ids, e.Run) {
			has := "has no runs"
			if len(ids) > 0 {
				has = "has " + strings.Join(ids, ", ")
			}
			rec.Refusals = append(rec.Refusals, spin.Refusal{Stage: "ingest", Code: "exclude-unknown", Subject: d.ID(),
				Text: fmt.Sprintf("exclude names %q, but the recording %s", e.Run, has)})
		}
	}
}

// condition completes a run's duty by what is declared where segment found none, and
// compares the supply measured on the settled plateau with the declared one.
func (r *run) condition(run *spin.Run) {
	d := r.in.Declared
	if run.Duty == 0 && len(d.Command) > 0 {
		run.Duty = slices.Max(d.Command)
		if len(d.Command) > 1 {
			run.Duty = d.Command[1]
		}
	}
	p, ok := r.rec.Plateau(run.B)
	if !ok || d.SupplyV <= 0 || p.VoltageV <= 0 || math.Abs(p.VoltageV/d.SupplyV-1) <= r.opt.SupplyRel {
		return
	}
	r.warn("supply", "run %s: %.2f V measured on the settled plateau, %.2f V declared (more than %.0f %% apart); the declared value is used",
		run.ID, p.VoltageV, d.SupplyV, 100*r.opt.SupplyRel)
}
