package torque

import (
	"math"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// examineSweep bins loading and unloading by speed and looks for heat in the
// sweep's own channels. It is nil when no loading was found.
func examineSweep(r *spin.Recording, curve *spin.LoadCurve, opt Options) *spin.SweepEvidence {
	load, ok := segmentOf(r, spin.Loading)
	if !ok {
		return nil
	}
	e := &spin.SweepEvidence{SupplyV: r.Declared.SupplyV}
	if len(r.Declared.Command) > 0 {
		e.Duty = r.Declared.Command[0]
	}
	s := r.Samples
	if s.Duty != nil {
		e.Duty = numeric.Median(s.Duty[load.From:load.To])
	}
	if s.VoltageV != nil && e.SupplyV == 0 {
		e.SupplyV = numeric.Median(s.VoltageV[load.From:load.To])
	}
	zero, matched := sweepZero(r, curve)
	e.ZeroMatched = matched
	low, high := s.SpeedRadPerS[load.From], s.SpeedRadPerS[load.From]
	for _, w := range s.SpeedRadPerS[load.From:load.To] {
		low, high = math.Min(low, w), math.Max(high, w)
	}
	bins := 2 * opt.Bins
	e.Loading = sweepBins(r, load, zero, low, high, bins)
	if un, ok := segmentOf(r, spin.Unloading); ok {
		e.Unloading = sweepBins(r, un, zero, low, high, bins)
		e.ReturnRel, e.ReturnSE, e.ReturnBins = compare(e.Unloading, e.Loading, (high-low)/float64(bins))
	}
	e.OhmicRel, e.OhmicSE, e.OhmicBins = ohmic(r, load)
	return e
}

func segmentOf(r *spin.Recording, kind string) (spin.Segment, bool) {
	for _, s := range r.Segments {
		if s.Kind == kind {
			return s, true
		}
	}
	return spin.Segment{}, false
}

// sweepZero matches the torque zero where no brake acts: the unloaded stretch
// less the rotor's own load. Two stretches, before and after, are averaged.
func sweepZero(r *spin.Recording, curve *spin.LoadCurve) (zero float64, matched bool) {
	var z []float64
	for _, p := range r.Plateaus {
		switch {
		case p.Kind == spin.Rest:
			z = append(z, p.TorqueNm)
		case p.Kind == spin.Idle && curve != nil:
			z = append(z, p.TorqueNm-curve.At(p.SpeedRadPerS))
		}
	}
	if len(z) == 0 {
		return 0, false
	}
	return numeric.Mean(z), true
}

func sweepBins(r *spin.Recording, seg spin.Segment, zero, low, high float64, n int) []spin.Bin {
	s := r.Samples
	y := make([]float64, seg.To-seg.From)
	for i := range y {
		y[i] = s.TorqueNm[seg.From+i] - zero
	}
	var cur []float64
	if s.CurrentA != nil {
		cur = s.CurrentA[seg.From:seg.To]
	}
	return binned(s.SpeedRadPerS[seg.From:seg.To], y, cur, low, high, n)
}

// compare is the mean of a/b − 1 over bins at equal speed (within half a bin,
// b interpolated), where b carries more than a fifth of its largest torque,
// with the standard error from the scatter of the bins and their own noise.
func compare(a, b []spin.Bin, width float64) (rel, se float64, n int) {
	top := 0.0
	for _, x := range b {
		top = math.Max(top, x.TorqueNm)
	}
	var d, v []float64
	for _, x := range a {
		y, ok := interpolate(b, x.SpeedRadPerS, width)
		if !ok || y.TorqueNm < 0.2*top || top <= 0 {
			continue
		}
		d = append(d, x.TorqueNm/y.TorqueNm-1)
		v = append(v, (x.SE*x.SE+y.SE*y.SE)/(y.TorqueNm*y.TorqueNm))
	}
	if len(d) < 3 {
		return 0, 0, 0
	}
	se = math.Sqrt(math.Max(numeric.Variance(d), numeric.Mean(v)) / float64(len(d)))
	return numeric.Mean(d), se, len(d)
}

// interpolate reads bins (in rising speed) at w, no farther than width from a bin.
func interpolate(b []spin.Bin, w, width float64) (spin.Bin, bool) {
	for i := range b {
		if i+1 < len(b) && b[i].SpeedRadPerS <= w && w <= b[i+1].SpeedRadPerS && b[i+1].SpeedRadPerS-b[i].SpeedRadPerS < 3*width {
			f := (w - b[i].SpeedRadPerS) / (b[i+1].SpeedRadPerS - b[i].SpeedRadPerS)
			return spin.Bin{
				SpeedRadPerS: w, TorqueNm: b[i].TorqueNm + f*(b[i+1].TorqueNm-b[i].TorqueNm),
				SE: math.Max(b[i].SE, b[i+1].SE),
			}, true
		}
	}
	return spin.Bin{}, false
}

// ohmic is the rise of the apparent resistance from the first to the last
// third of a loading. With the unloaded point (V₀, ω₀, i₀) the back-emf
// constant drops out of duty·V = Ke·ω + R·i:
//
//	R = (V − V₀·ω/ω₀) / (i − i₀·ω/ω₀),   V = duty·supply, i = current/duty
//
// Parts of the loading with less than a third of the largest current say
// nothing and are left out.
func ohmic(r *spin.Recording, load spin.Segment) (rel, se float64, n int) {
	s := r.Samples
	if s.CurrentA == nil || s.VoltageV == nil || s.Duty == nil {
		return 0, 0, 0
	}
	var free spin.Plateau
	found := false
	for _, p := range r.Plateaus {
		if p.Kind == spin.Idle && p.MidS < load.FromS {
			free, found = p, true
		}
	}
	if !found || free.Duty <= 0 || free.SpeedRadPerS <= 0 {
		return 0, 0, 0
	}
	v0, i0 := free.Duty*free.VoltageV, free.CurrentA/free.Duty
	const batches = 30
	var res []float64
	width := (load.To - load.From) / batches
	if width < 4 {
		return 0, 0, 0
	}
	var amps, ohms []float64
	for b := range batches {
		lo, hi := load.From+b*width, load.From+(b+1)*width
		d := numeric.Mean(s.Duty[lo:hi])
		k := numeric.Mean(s.SpeedRadPerS[lo:hi]) / free.SpeedRadPerS
		i := numeric.Mean(s.CurrentA[lo:hi])/d - i0*k
		amps = append(amps, i)
		ohms = append(ohms, (d*numeric.Mean(s.VoltageV[lo:hi])-v0*k)/i)
	}
	top := numeric.Quantile(amps, 1)
	for k, i := range amps {
		if i > top/3 {
			res = append(res, ohms[k])
		}
	}
	if len(res) < 9 {
		return 0, 0, 0
	}
	third := len(res) / 3
	early, late := res[:third], res[len(res)-third:]
	m0, m1 := numeric.Mean(early), numeric.Mean(late)
	if m0 <= 0 {
		return 0, 0, 0
	}
	noise := math.Sqrt((numeric.Variance(numeric.Detrended(early)) + numeric.Variance(numeric.Detrended(late))) / float64(third))
	return m1/m0 - 1, noise / m0, len(res)
}
