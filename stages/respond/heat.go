package respond

import (
	"fmt"
	"math"
	"slices"
)

// cool finds each run's apparent resistance, sets hot runs aside and notes how
// warm the others were. Without a current channel only the first run of each
// recording counts as cold.
func (f *fitted) cool(m *model) {
	r := m.resistances(f)
	kept := f.pieces[:0:0]
	perRun(f.pieces, func(run []piece) {
		name := run[0].run
		ohmic, known := r[name]
		switch {
		case !known && !first(name):
			f.leave(name + ": no current channel tells how warm it was")
			return
		case known && ohmic > 1+warmest:
			f.leave(fmt.Sprintf("%s: apparent resistance %.1f %% above that of the coldest run", name, 100*(ohmic-1)))
			return
		case known:
			for i := range run {
				run[i].ohmic = ohmic
			}
		}
		kept = append(kept, run...)
	})
	f.pieces = kept
}

// warmthRel is how much warmer runs are than the first, as a standard deviation: what a
// noisy resistance is held against.
const warmthRel = 0.02

// resistances are the runs' apparent resistances Σi·u/Σi² over the cold one of
// their rotor and duty: the mean of the first runs of its recordings that are
// within 1 % of the lowest, as far as their noise lets one tell: the lowest of noisy ones alone would be too low. Only this ratio is used: filters that delay voltage
// and current against the speed bend the resistance, equally in like rises. One that
// a fast rise leaves noisy is drawn towards 1 by as much as its noise exceeds warmthRel.
func (m *model) resistances(f *fitted) map[string]float64 {
	type ohmic struct{ r, se float64 }
	all := map[string]ohmic{}
	groups := map[string][]string{}
	var names []string
	perRun(f.pieces, func(run []piece) {
		r, se, ok := m.resistance(run, f.emf)
		if !ok {
			return
		}
		all[run[0].run] = ohmic{r, se}
		g := fmt.Sprintf("%s %.2f", run[0].rotor, run[0].duty)
		if groups[g] == nil {
			names = append(names, g)
		}
		groups[g] = append(groups[g], run[0].run)
	})
	out := map[string]float64{}
	for _, g := range names {
		low := math.Inf(1)
		for _, run := range groups[g] {
			if first(run) {
				low = math.Min(low, all[run].r+2*all[run].se)
			}
		}
		sum, n := 0.0, 0.0
		for _, run := range groups[g] {
			if first(run) && all[run].r-2*all[run].se <= 1.01*low {
				sum, n = sum+all[run].r, n+1
			}
		}
		if n == 0 {
			continue
		}
		for _, run := range groups[g] {
			cold, x := sum/n, all[run]
			out[run] = 1 + (x.r/cold-1)*warmthRel*warmthRel/(warmthRel*warmthRel+x.se*x.se/(cold*cold))
		}
	}
	return out
}

// resistance of one run, with its standard error.
func (m *model) resistance(run []piece, emf float64) (r, se float64, ok bool) {
	if !m.voltage || m.law == nil {
		return 0, 0, false
	}
	// The first part of a rise is left out: a filter of the current channel
	// has not caught up with the step there.
	const skip = 0.2
	for len(run) > 4 && run[0].s.TimeS < skip*run[len(run)-1].s.TimeS {
		run = run[1:]
	}
	num, den := 0.0, 0.0
	each := func(p *piece) (i, u float64) {
		return p.s.CurrentA / p.duty, p.duty*p.s.VoltageV - emf*p.s.SpeedRadPerS
	}
	for k := range run {
		i, u := each(&run[k])
		num, den = num+float64(i*u), den+float64(i*i)
	}
	if !(den > 0) || !(num > 0) || len(run) < 4 {
		return 0, 0, false
	}
	r = num / den
	// Delays of filters bend the resistance smoothly over the rise; second
	// differences leave the noise.
	rss := 0.0
	for k := 1; k+1 < len(run); k++ {
		d := 0.0
		for n, w := range []float64{1, -2, 1} {
			i, u := each(&run[k-1+n])
			d += w * (u - r*i)
		}
		rss += float64(d * d)
	}
	return r, math.Sqrt(rss / 6 / float64(len(run)-2) / den), true
}

func (f *fitted) leave(why string) {
	if !slices.Contains(f.out.Left, why) {
		f.out.Left = append(f.out.Left, why)
	}
}

// first is true for the first run of a recording, "disk-a#1".
func first(run string) bool {
	return len(run) > 2 && run[len(run)-2:] == "#1"
}
