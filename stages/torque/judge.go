package torque

import (
	"fmt"
	"math"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// judgeSweeps compares each sweep with the cold steps at its duty and supply.
func judgeSweeps(in ChooseInput, opt Options) []spin.SweepResult {
	var out []spin.SweepResult
	for _, e := range in.Evidence {
		if e.Sweep == nil {
			continue
		}
		r := spin.SweepResult{Recording: e.Recording, Evidence: *e.Sweep}
		cold := spin.TorqueSource{}
		var bins []spin.Bin
		for _, o := range in.Evidence {
			if !o.Recorded {
				continue
			}
			for _, run := range o.Runs {
				if same(run.Duty, run.SupplyV, e.Sweep.Duty, e.Sweep.SupplyV, opt) {
					bins = append(bins, run.Bins...)
				}
			}
		}
		cold = fitCurve(cold, bins)
		r.Cold = cold
		if cold.Usable && e.Sweep.ZeroMatched {
			r.ColdRel, r.ColdSE, r.ColdBins = againstCurve(e.Sweep.Loading, cold)
		}
		out = append(out, r)
	}
	return out
}

// againstCurve is the mean of sweep torque over cold torque, less one, where
// both are known and the torque is above a fifth of its largest.
func againstCurve(bins []spin.Bin, c spin.TorqueSource) (rel, se float64, n int) {
	top := 0.0
	for _, b := range bins {
		top = math.Max(top, b.TorqueNm)
	}
	var d []float64
	for _, b := range bins {
		if b.SpeedRadPerS < c.LowRadPerS || b.SpeedRadPerS > c.HighRadPerS || b.TorqueNm < 0.2*top {
			continue
		}
		d = append(d, b.TorqueNm/c.At(b.SpeedRadPerS)-1)
	}
	if len(d) < 3 {
		return 0, 0, 0
	}
	// The curve's own misfit is common to all bins: it does not average out.
	se = math.Hypot(math.Sqrt(numeric.Variance(d)/float64(len(d))), c.RelU)
	return numeric.Mean(d), se, len(d)
}

// sweepCurve offers the sweep at the run's duty and supply, with the evidence
// of heat for and against it.
func sweepCurve(in ChooseInput, judged []spin.SweepResult, run spin.RunEvidence, opt Options) spin.TorqueSource {
	s := spin.TorqueSource{Kind: spin.SweepCurve}
	for _, j := range judged {
		if !same(j.Evidence.Duty, j.Evidence.SupplyV, run.Duty, run.SupplyV, opt) {
			continue
		}
		s.From = []string{j.Recording}
		for _, e := range in.Evidence {
			if e.Recording == j.Recording {
				s.Scale = e.Scale
			}
		}
		s = fitCurve(s, j.Evidence.Loading)
		hot, told, why := Heat(j, opt.SweepLimitRel)
		s.Usable = s.Usable && !hot && told && j.Evidence.ZeroMatched
		if hot {
			s.But = append(s.But, why)
		} else if told {
			s.For = append(s.For, why)
		} else {
			s.But = append(s.But, "nothing tells whether the winding stayed cold: no return sweep, no cold step at this duty and supply, no current channel")
		}
		if !j.Evidence.ZeroMatched {
			s.But = append(s.But, "no unloaded stretch or rest to match the torque zero")
		}
		return s
	}
	s.But = []string{fmt.Sprintf("no sweep at duty %.3g and %.4g V", run.Duty, run.SupplyV)}
	return s
}

// Signs of heat and what each means for the torque that the sweep would give.
// Measured on virtual sweeps of three motor classes whose torque fell by 2 %: return ratio −4 to −5 %, apparent
// resistance + 1.6 to 2.2 % with a noise of 0.03 to 0.14 %. The torque at a speed falls by what the
// loop's resistance rises by, less what back-emf gives back, so that 1 % is the same limit as for torque.
const (
	returnLimitRel = 0.02
	ohmicLimitRel  = 0.01
	// A sign that is clearSigmas standard errors away (99.5 %, one-sided: three signs are asked) speaks from its limit on.
	// One of likelySigmas does so from farLimits times its limit on, where no other sign speaks against it: the steps'
	// torque of fast rotors is known to 0.9 % only, so that in 200 sessions of each, 35 of 1,000 cold sweeps would be called hot by
	// them alone, and with clearSigmas everywhere 35 of 200 hot ones without a current channel would not be.
	clearSigmas, likelySigmas, farLimits = 2.58, 2, 1.5
)

// sign is one sign of heat: its value, positive where it speaks for heat, its standard error, and the limit.
type sign struct {
	value, se, limit float64
	text             string
}

// clears tells whether the sign speaks against heat: twice its standard error and it itself lie below the limit.
func (s sign) clears() bool { return 2*s.se <= s.limit && s.value <= s.limit }

// hot tells whether it speaks for heat; opposed where another sign speaks against.
func (s sign) hot(opposed bool) bool {
	return s.value > s.limit && s.value > clearSigmas*s.se ||
		!opposed && s.value > farLimits*s.limit && s.value > likelySigmas*s.se
}

// Heat says whether a sweep was hot, whether anything could tell, and why: the signs for heat where there are any, else all.
func Heat(j spin.SweepResult, limitRel float64) (hot, told bool, why string) {
	e := j.Evidence
	var signs []sign
	add := func(n int, shown, toHeat, se, limit float64, text string) {
		if n > 0 {
			signs = append(signs, sign{shown * toHeat, se, limit, fmt.Sprintf("%s: %+.2f %% (u %.2f %%)", text, 100*shown, 100*se)})
		}
	}
	add(j.ColdBins, j.ColdRel, -1, j.ColdSE, limitRel, "sweep torque against cold step torque at equal speed")
	add(e.ReturnBins, e.ReturnRel, -1, e.ReturnSE, returnLimitRel, "torque unloading against loading at equal speed")
	add(e.OhmicBins, e.OhmicRel, 1, e.OhmicSE, ohmicLimitRel, "apparent resistance late against early in the loading")
	var all, hots []string
	for i, s := range signs {
		opposed := false
		for k, o := range signs {
			opposed = opposed || k != i && o.clears()
		}
		all = append(all, s.text)
		if s.hot(opposed) {
			hots = append(hots, s.text)
		}
		told = told || s.clears()
	}
	if len(hots) > 0 {
		return true, true, strings.Join(hots, "; ")
	}
	return false, told, strings.Join(all, "; ")
}
