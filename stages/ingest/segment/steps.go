package segment

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/spin"
)

// transition joins two flats of different level. Indices are samples.
type transition struct {
	before, after    int // flats
	t10, t90, t95    float64
	change, duration float64 // rad/s; 10 % to 90 %, s
}

// steps finds idle–settled–return runs.
func (f *finder) steps() {
	tol := math.Max(flatShare*f.span, 6*f.noise)
	flats := f.flats(flatWindowS, tol, minFlatS)
	flats = f.mergeEqual(flats, minStepShare*f.span)
	var trans []transition
	for i := 0; i+1 < len(flats); i++ {
		trans = append(trans, f.between(flats, i))
	}
	f.ends(flats)
	if len(flats) == 0 {
		f.refuse("no-plateau", "no stretch of constant speed: a step needs an idle plateau before it and a settled one after", 0, 0)
		return
	}
	segs := f.trimmed(flats, trans)
	f.runs(flats, trans, segs)
	if len(f.out.Runs) == 0 && len(f.out.Refusals) == 0 {
		f.refuse("no-step", fmt.Sprintf("%d plateaus, none followed by a faster one", len(flats)), 0, 0)
	}
}

// mergeEqual joins neighbouring flats whose levels differ by less than minChange
// and that nothing but flat samples or a short disturbance separates.
func (f *finder) mergeEqual(in []flat, minChange float64) []flat {
	var out []flat
	for _, fl := range in {
		if k := len(out) - 1; k >= 0 && math.Abs(out[k].level-fl.level) < minChange && f.quiet(out[k].to, fl.from, fl.level, minChange) {
			out[k].to = fl.to
			out[k].level = (out[k].level + fl.level) / 2
			continue
		}
		out = append(out, fl)
	}
	return out
}

// quiet is true when no smoothed speed between two samples leaves level by more than band.
func (f *finder) quiet(from, to int, level, band float64) bool {
	for i := from; i < to; i++ {
		if math.Abs(f.smooth[i]-level) > band {
			return false
		}
	}
	return true
}

// between measures the transition from flat i to the next: the times at which
// the median-filtered speed first passes 10 %, 90 % and 95 % of the change for good.
func (f *finder) between(flats []flat, i int) transition {
	a, b := flats[i], flats[i+1]
	tr := transition{before: i, after: i + 1, change: b.level - a.level}
	at := func(share float64) float64 {
		level := a.level + share*tr.change
		// Walk back from the middle of flat b to the last sample short of the level.
		for k := (b.from + b.to) / 2; k > a.from; k-- {
			if (f.smooth[k]-level)*tr.change < 0 {
				y0, y1 := f.smooth[k], f.smooth[k+1]
				t0, t1 := f.s.TimeS[k], f.s.TimeS[k+1]
				if y1 == y0 {
					return t1
				}
				return t0 + (level-y0)/(y1-y0)*(t1-t0)
			}
		}
		return f.s.TimeS[a.to-1]
	}
	tr.t10, tr.t90, tr.t95 = at(0.10), at(0.90), at(0.95)
	tr.duration = math.Max(tr.t90-tr.t10, f.step)
	return tr
}

// trimmed makes a segment of each flat, cut away from its transitions; −1 where nothing is left.
func (f *finder) trimmed(flats []flat, trans []transition) []int {
	out := make([]int, len(flats))
	for i, fl := range flats {
		fromS, toS := f.s.TimeS[fl.from], f.s.TimeS[fl.to-1]
		if i > 0 {
			// The fixture has rung down and the exponential's tail is down to about one per cent.
			tr := trans[i-1]
			fromS = math.Max(f.s.TimeS[0], tr.t95+math.Max(0.050, 0.7*tr.duration))
		}
		if i < len(trans) {
			// The smoothing and a throttle ramp begin before the 10 % point.
			tr := trans[i]
			toS = math.Min(toS, tr.t10-(0.020+0.3*tr.duration))
		}
		from, to := f.index(fromS), f.index(toS)
		out[i] = -1
		if to-from >= 4 {
			out[i] = f.add(f.kindOf(flats, i), from, to, true)
		}
	}
	return out
}

// index is the first sample at or after time t.
func (f *finder) index(t float64) int {
	i, _ := slices.BinarySearch(f.s.TimeS, t)
	return i
}

func (f *finder) kindOf(flats []flat, i int) string {
	switch {
	case f.isRest(flats[i].level):
		return spin.Rest
	case i > 0 && flats[i-1].level < flats[i].level:
		return spin.Settled
	case i+1 < len(flats) && flats[i+1].level > flats[i].level:
		return spin.Idle
	default:
		return spin.Return
	}
}

func (f *finder) isRest(level float64) bool { return math.Abs(level) < restShare*f.top+3*f.noise }

// ends looks at what lies before the first flat and after the last: a step
// without idle, a step that never settles.
func (f *finder) ends(flats []flat) {
	n := len(f.smooth)
	if len(flats) == 0 {
		return
	}
	first, last := flats[0], flats[len(flats)-1]
	if d := first.level - f.smooth[0]; d > 0.2*f.span && first.from > 0 {
		f.refuse("no-idle", fmt.Sprintf("the speed already rises at the first sample: %.4g rad/s, %.4g rad/s when settled; neither an idle plateau nor rest before the step",
			f.smooth[0], first.level), 0, 0)
	}
	peak := 0.0
	for _, v := range f.smooth[last.to:] {
		peak = math.Max(peak, v-last.level)
	}
	if peak > 0.2*f.span && n-last.to > 3 {
		f.refuse("never-settles", fmt.Sprintf("after %.3f s the speed leaves %.4g rad/s by %.4g rad/s and reaches no plateau before the recording ends",
			f.s.TimeS[last.to], last.level, peak), 0, 0)
	}
}

// runs names every upward transition between usable plateaus.
func (f *finder) runs(flats []flat, trans []transition, segs []int) {
	for i, tr := range trans {
		if tr.change < minStepShare*f.span {
			continue
		}
		n := f.out.Range.Runs + len(f.out.Runs) + 1
		id := fmt.Sprintf("%s#%d", f.d.Name, n)
		if why := f.unusable(tr, segs); why != "" {
			f.out.Refusals = append(f.out.Refusals, spin.Refusal{
				Stage: "ingest", Code: "short-plateau", Subject: f.d.Job + "/" + id, Text: why,
			})
			// The number is spent, so that ids do not move when limits do.
			f.out.Runs = append(f.out.Runs, spin.Run{ID: id, Kind: spin.Step, A: -1, B: -1, C: -1})
			continue
		}
		run := spin.Run{
			ID: id, Kind: spin.Step, A: segs[tr.before], B: segs[tr.after], C: -1,
			FromRest: f.isRest(flats[tr.before].level),
			RiseS:    tr.duration, SamplesInRise: tr.duration / f.step,
		}
		if i+1 < len(trans) && trans[i+1].change < -0.5*tr.change {
			run.C = segs[trans[i+1].after]
			if run.C >= 0 && f.out.Segments[run.C].ToS-f.out.Segments[run.C].FromS < MinIdleS/2 {
				run.C = -1
			}
		}
		f.condition(&run)
		f.out.Runs = append(f.out.Runs, run)
	}
}

// unusable says why a transition's plateaus do not make a run, or "".
func (f *finder) unusable(tr transition, segs []int) string {
	length := func(flat int) float64 {
		if segs[flat] < 0 {
			return 0
		}
		s := f.out.Segments[segs[flat]]
		return s.ToS - s.FromS
	}
	if got := length(tr.before); got < MinIdleS {
		return fmt.Sprintf("idle plateau before the step is %.3f s long after trimming; at least %.2f s are needed", got, MinIdleS)
	}
	// Beyond a quarter of a second a longer plateau tells nothing more of the load.
	want := math.Max(MinSettledS, math.Min(tr.duration, 0.25))
	if got := length(tr.after); got < want {
		return fmt.Sprintf("settled plateau after the step is %.3f s long after trimming; at least %.2f s are needed", got, want)
	}
	return ""
}

// condition fills duty and supply from channels where they exist, else as declared.
func (f *finder) condition(run *spin.Run) {
	run.SupplyV = f.d.SupplyV
	if len(f.d.Command) >= 2 {
		run.Duty = f.d.Command[1]
	}
	seg := f.out.Segments[run.B]
	p := Summarise(f.s, seg)
	if f.s.Duty != nil {
		run.Duty = p.Duty
	}
	if f.s.VoltageV != nil && run.SupplyV == 0 {
		run.SupplyV = p.VoltageV
	}
}
