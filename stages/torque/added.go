package torque

import (
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Passage of the rise by speed: from where the duty has its value to where a
// small difference of speeds no longer dates anything.
const (
	passageFrom   = 0.15
	passageTo     = 0.80
	passagePoints = 16
)

// passing lists when the run passes equal steps of speed, with its load there.
func passing(r *spin.Recording, run spin.Run, v *balance.View, curve *spin.LoadCurve) []spin.Passing {
	if curve == nil {
		return nil
	}
	a, b := r.Segments[run.A], r.Segments[run.B]
	low := v.MeanSpeed(balance.Window{From: a.FromS, To: a.ToS})
	high := v.MeanSpeed(balance.Window{From: b.FromS, To: b.ToS})
	var out []spin.Passing
	for k := range passagePoints {
		w := low + (passageFrom+(passageTo-passageFrom)*float64(k)/(passagePoints-1))*(high-low)
		t, ok := v.Passes(w, a.ToS, b.FromS)
		if !ok {
			return nil
		}
		out = append(out, spin.Passing{SpeedRadPerS: w, TimeS: t, LoadNm: curve.At(w)})
	}
	return out
}

// addedDoubtRel is the relative standard uncertainty of a ratio of passage times
// besides its scatter: the heavier rotor takes longer and warms the winding by up to some
// kelvin more, at 0.4 % of resistance each, of which the rise sees half.
const addedDoubtRel = 0.005

// addedBodies compares how long the bare rotor and one with parts take through the
// same speeds at the same duty and supply. The same electromagnetic torque
// less loads L₁ and L₂ gives
//
//	dt₂/dt₁ = J₂/J₁ · (T − L₁)/(T − L₂)
//
// so that the ratio of times, with a correction for what the parts add to the load, is that of
// the inertias. No torque enters but through that correction, which is small for the rotors allowed.
func addedBodies(in ChooseInput, opt Options) []spin.AddedBody {
	type group struct{ base, with []spin.RunEvidence }
	var out []spin.AddedBody
	done := map[string]bool{}
	for _, e := range in.Evidence {
		if e.Rotor == spin.Bare || done[e.Rotor] {
			continue
		}
		done[e.Rotor] = true
		var groups []group
		for _, o := range in.Evidence {
			if o.Rotor != spin.Bare && o.Rotor != e.Rotor {
				continue
			}
			for _, r := range o.Runs {
				if len(r.Passing) == 0 || r.LoadRel > lightLoad {
					continue
				}
				k := 0
				for ; k < len(groups); k++ {
					g := append(groups[k].base, groups[k].with...)
					if same(g[0].Duty, g[0].SupplyV, r.Duty, r.SupplyV, opt) {
						break
					}
				}
				if k == len(groups) {
					groups = append(groups, group{})
				}
				if o.Rotor == spin.Bare {
					groups[k].base = append(groups[k].base, r)
				} else {
					groups[k].with = append(groups[k].with, r)
				}
			}
		}
		var ratios, variances, rises []float64
		runs := 0
		for _, g := range groups {
			if r, v, ok := timeRatio(g.base, g.with); ok {
				ratios, variances = append(ratios, r), append(variances, v)
				p := g.base[0].Passing
				rises = append(rises, p[len(p)-1].TimeS-p[0].TimeS)
				runs += len(g.with)
			}
		}
		if len(ratios) == 0 {
			continue
		}
		r, k := numeric.Mean(ratios), float64(len(ratios))
		// Every passage is the shorter for the current's lag: of a bare bell's rise of 4 to 12 ms by 1 to 4 %.
		late := (r - 1) * spin.InductanceU / (numeric.Mean(rises) / math.Log((1-passageFrom)/(1-passageTo)))
		u2 := numeric.Mean(variances) / k
		if len(ratios) > 1 {
			u2 = math.Max(u2, numeric.Variance(ratios)/k)
		}
		out = append(out, spin.AddedBody{
			Rotor: e.Rotor, Conditions: len(ratios), Runs: runs,
			Ratio: uncertain.New(r, math.Sqrt(u2), 0, in.Job+"/added:"+e.Rotor+"/times").
				With(uncertain.Part{Source: in.Job + "/added:" + e.Rotor + "/heat", Contribution: addedDoubtRel * r},
					uncertain.Part{Source: in.Job + "/added:" + e.Rotor + "/inductance", Contribution: late}),
		})
	}
	return out
}

// timeRatio is the slope of the loaded rotor's times over the bare one's at equal
// speeds, with its variance from the scatter of the runs. Two runs of each at least.
func timeRatio(base, with []spin.RunEvidence) (ratio, variance float64, ok bool) {
	if len(base) < 2 || len(with) < 2 {
		return 0, 0, false
	}
	low, high := 0.0, math.Inf(1)
	for _, r := range append(append([]spin.RunEvidence(nil), base...), with...) {
		low, high = math.Max(low, r.Passing[0].SpeedRadPerS), math.Min(high, r.Passing[len(r.Passing)-1].SpeedRadPerS)
	}
	if !(high > low) {
		return 0, 0, false
	}
	speeds := make([]float64, passagePoints)
	for k := range speeds {
		speeds[k] = low + (high-low)*float64(k)/(passagePoints-1)
	}
	times := func(runs []spin.RunEvidence, share []float64) (all [][]float64, mean []float64) {
		mean = make([]float64, passagePoints)
		for _, r := range runs {
			t := centred(speeds, r.Passing, share)
			all = append(all, t)
			for k := range mean {
				mean[k] += t[k] / float64(len(runs))
			}
		}
		return all, mean
	}
	each1, t1 := times(base, nil)
	each2, t2 := times(with, loadShares(speeds, base[0], with[0]))
	den := numeric.Dot(t1, t1)
	if !(den > 0) {
		return 0, 0, false
	}
	slopes := func(all [][]float64) []float64 {
		var out []float64
		for _, t := range all {
			out = append(out, numeric.Dot(t, t1)/den)
		}
		return out
	}
	ratio = numeric.Dot(t2, t1) / den
	variance = numeric.Variance(slopes(each2))/float64(len(with)) + ratio*ratio*numeric.Variance(slopes(each1))/float64(len(base))
	return ratio, variance, true
}

// loadShares is (L₂ − L₁)/(T − L₁) at each speed, T from the bare rotor's own bins.
func loadShares(speeds []float64, base, with spin.RunEvidence) []float64 {
	out := make([]float64, len(speeds))
	for k, w := range speeds {
		t, ok := interpolate(base.Bins, w, math.Inf(1))
		l1, l2 := at(w, base.Passing).LoadNm, at(w, with.Passing).LoadNm
		if ok && t.TorqueNm > 2*l2 {
			out[k] = (l2 - l1) / (t.TorqueNm - l1)
		}
	}
	return out
}

// centred is the time of passing each speed less their mean; each step of time is
// shortened by share of it first, nil: not at all.
func centred(speeds []float64, p []spin.Passing, share []float64) []float64 {
	out := make([]float64, len(speeds))
	last := at(speeds[0], p).TimeS
	for k := 1; k < len(speeds); k++ {
		t := at(speeds[k], p).TimeS
		step := t - last
		if share != nil {
			step *= 1 - (share[k]+share[k-1])/2
		}
		out[k] = out[k-1] + step
		last = t
	}
	m := numeric.Mean(out)
	for k := range out {
		out[k] -= m
	}
	return out
}

// at reads a passage, in rising speed, at speed w.
func at(w float64, p []spin.Passing) spin.Passing {
	for i := 0; i+1 < len(p); i++ {
		if w <= p[i+1].SpeedRadPerS || i+2 == len(p) {
			f := (w - p[i].SpeedRadPerS) / (p[i+1].SpeedRadPerS - p[i].SpeedRadPerS)
			return spin.Passing{
				SpeedRadPerS: w, TimeS: p[i].TimeS + f*(p[i+1].TimeS-p[i].TimeS), LoadNm: p[i].LoadNm + f*(p[i+1].LoadNm-p[i].LoadNm),
			}
		}
	}
	return p[0]
}
