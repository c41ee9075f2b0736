package subtract

import (
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// pool is the inertia of one rotor from its chosen, not excluded step runs.
func pool(in Input, rotor spin.Rotor, opt Options, out *Output) (spin.RotorInertia, bool) {
	p := pooling{in: in, rotor: rotor, opt: opt}
	all := 0
	sum := 0.0
	for _, f := range in.Fits {
		if f.Rotor != rotor.ID || !f.Chosen || f.Kind != spin.Step {
			continue
		}
		all++
		sum += f.JKgM2.Mean
		if f.Excluded == "" {
			p.runs = append(p.runs, f)
		}
	}
	if len(p.runs) == 0 {
		return spin.RotorInertia{}, false
	}
	p.groups = conditions(p.runs)
	p.mounts = mountings(p.runs)
	p.r = spin.RotorInertia{
		Rotor: rotor.ID, Source: p.runs[0].Source, Runs: len(p.runs),
		Conditions: len(p.groups), Mountings: len(p.mounts), ConditionP: 1,
	}
	for _, f := range p.runs {
		if f.Source != p.r.Source {
			p.r.Source = "mixed"
		}
	}
	if all > len(p.runs) {
		p.r.WithExcluded = sum / float64(all)
	}
	p.scatter()
	p.remounting()
	p.excess()
	p.resolution()
	p.combine()
	p.flag()
	p.body()
	out.Warnings = append(out.Warnings, p.warnings...)
	return p.r, true
}

// pooling is the state of one pool.
type pooling struct {
	in       Input
	rotor    spin.Rotor
	opt      Options
	runs     []spin.RunFit
	groups   [][]int // runs by condition
	mounts   []mount
	r        spin.RotorInertia
	weights  []float64 // of each run in the mean, sum 1
	own      []uncertain.Part
	warnings []spin.Warning
}

type mount struct {
	name string
	runs []int
}

// conditions groups runs by duty and supply; order of first appearance.
func conditions(runs []spin.RunFit) [][]int {
	var groups [][]int
	for i, f := range runs {
		k := slices.IndexFunc(groups, func(g []int) bool {
			return spin.SameCondition(runs[g[0]], f)
		})
		if k < 0 {
			groups = append(groups, []int{i})
		} else {
			groups[k] = append(groups[k], i)
		}
	}
	return groups
}

func mountings(runs []spin.RunFit) []mount {
	var out []mount
	for i, f := range runs {
		k := slices.IndexFunc(out, func(m mount) bool { return m.name == f.Mounting })
		if k < 0 {
			out = append(out, mount{f.Mounting, []int{i}})
		} else {
			out[k].runs = append(out[k].runs, i)
		}
	}
	return out
}

func (p *pooling) j(idx []int) []float64 {
	out := make([]float64, len(idx))
	for k, i := range idx {
		out[k] = p.runs[i].JKgM2.Mean
	}
	return out
}

func (p *pooling) all() []int {
	out := make([]int, len(p.runs))
	for i := range out {
		out[i] = i
	}
	return out
}

func (p *pooling) source(name string) string { return p.in.Job + "/rotor:" + p.r.Rotor + "/" + name }

// scatter sets the weights of the runs and the statistical part of the mean.
func (p *pooling) scatter() {
	n, k := len(p.runs), len(p.groups)
	all := p.j(p.all())
	mean := numeric.Mean(all)
	p.weights = make([]float64, n)
	for i := range p.weights {
		p.weights[i] = 1 / float64(n)
	}
	p.r.Pooled = true
	if n <= 2 {
		p.few(mean)
		return
	}
	s2 := numeric.Variance(all)
	within, wdof := p.within()
	p.r.ScatterRel, p.r.ScatterDoF = math.Sqrt(s2)/mean, float64(n-1)
	variances := make([]float64, n)
	for i, f := range p.runs {
		variances[i] = math.Max(f.RandomU*f.RandomU, 1e-12*mean*mean)
	}
	p.r.Birge = numeric.FixedMean(all, variances).Birge
	u2, dof := s2/float64(n), float64(n-1)
	if k > 1 {
		means := make([]float64, k)
		between := 0.0
		for g, idx := range p.groups {
			means[g] = numeric.Mean(p.j(idx))
			between += float64(len(idx)) * (means[g] - mean) * (means[g] - mean)
		}
		p.r.ConditionSpreadRel = math.Sqrt(numeric.Variance(means)) / mean
		if wdof > 0 && within > 0 {
			p.r.ScatterRel, p.r.ScatterDoF = math.Sqrt(within)/mean, wdof
			p.r.ConditionF = between / float64(k-1) / within
			p.r.ConditionP = numeric.FTail(p.r.ConditionF, float64(k-1), wdof)
		}
		if wdof > 0 && p.r.ConditionP <= p.opt.PoolP {
			p.r.Pooled = false
			for _, idx := range p.groups {
				for _, i := range idx {
					p.weights[i] = 1 / float64(k*len(idx))
				}
			}
			u2, dof = numeric.Variance(means)/float64(k), float64(k-1)
			if p.r.ConditionP < p.opt.SpreadP && p.r.ConditionSpreadRel > p.opt.SpreadRel {
				u2 = numeric.Variance(means)
			}
			// The conditions' spread cannot be known better than the runs' own
			// scatter allows: a lucky agreement of few means must not sharpen the result.
			if floor := within / float64(n); u2 < floor {
				u2, dof = floor, wdof
			}
		}
	}
	p.own = append(p.own, uncertain.Part{Source: p.source("scatter"), Contribution: math.Sqrt(u2), DoF: dof})
}

// within is the pooled variance inside conditions and its degrees of freedom.
func (p *pooling) within() (variance, dof float64) {
	ss := 0.0
	for _, idx := range p.groups {
		if len(idx) < 2 {
			continue
		}
		ss += numeric.Variance(p.j(idx)) * float64(len(idx)-1)
		dof += float64(len(idx) - 1)
	}
	if dof == 0 {
		return 0, 0
	}
	return ss / dof, dof
}

// unknownRunRel stands for the scatter of a single run on a bench that
// declares no repeatability: 1 % with one degree of freedom, whose interval of
// ± 12.7 % says what is known. Runs scatter by 0.02 to 3 % by rotor and rate.
const unknownRunRel = 0.01

// few is the statistical part of one or two runs.
func (p *pooling) few(mean float64) {
	n := float64(len(p.runs))
	if d, ok := spin.ClassOf(p.in.Repeatability, mean); ok && d.RunRel > 0 {
		p.r.DeclaredRunRel = d.RunRel
		rel, dof := d.RunRel, d.DoF
		// What the bench repeats to says nothing of runs sampled too coarsely; their witness does.
		if a := p.aliasing(); a > rel {
			rel, dof = a, n
		}
		p.r.ScatterRel, p.r.ScatterDoF = rel, dof
		p.own = append(p.own, uncertain.Part{Source: p.source("scatter"), Contribution: mean * rel / math.Sqrt(n), DoF: dof})
		return
	}
	rel := unknownRunRel
	if len(p.runs) == 2 {
		rel = math.Sqrt(numeric.Variance(p.j(p.all()))) / mean
	}
	p.r.ScatterRel, p.r.ScatterDoF = rel, 1
	p.own = append(p.own, uncertain.Part{Source: p.source("scatter"), Contribution: mean * rel / math.Sqrt(n), DoF: 1})
	p.warn("no-repeatability", fmt.Sprintf("%d run(s) and no repeatability declared for rotors of this size: the interval rests on one degree of freedom; record at least six runs, or declare the bench's repeatability", len(p.runs)))
}

// aliasing is what sampling leaves in a run, relative, by the runs' own witness: even and
// odd samples are twice as far apart as all of them, and err at least twice as much.
func (p *pooling) aliasing() float64 {
	sum := 0.0
	for _, f := range p.runs {
		sum += f.Aliasing * f.Aliasing
	}
	return math.Sqrt(sum/float64(len(p.runs))) / 2
}

func (p *pooling) warn(code, text string) {
	p.warnings = append(p.warnings, spin.Warning{Stage: "subtract", Code: code, Subject: p.in.Job + "/rotor:" + p.r.Rotor, Text: text})
}

// remounting adds what the act of mounting contributes: the declared value,
// or the spread of the mountings where there are several and either nothing is
// declared or they spread significantly more than declared.
func (p *pooling) remounting() {
	mean := p.mean()
	d, declared := spin.ClassOf(p.in.Repeatability, mean)
	m := len(p.mounts)
	if m > 1 {
		means := make([]float64, m)
		for i, mt := range p.mounts {
			means[i] = numeric.Mean(p.j(mt.runs))
			for _, k := range mt.runs {
				p.weights[k] = 1 / float64(m*len(mt.runs))
			}
		}
		s2 := numeric.Variance(means)
		want := mean*mean*d.MountRel*d.MountRel + s2within(p)
		if !declared || numeric.FTail(s2/want, float64(m-1), 1e6) < 0.01 {
			// The spread of mounting means holds the runs' scatter too.
			p.own = []uncertain.Part{{Source: p.source("scatter"), Contribution: math.Sqrt(s2 / float64(m)), DoF: float64(m - 1)}}
			return
		}
	}
	if !declared || d.MountRel == 0 {
		if m == 1 {
			p.warn("no-remounting", "one mounting and no remounting contribution declared on the bench: what mounting it again would change is not in the uncertainty")
		}
		return
	}
	for _, mt := range p.mounts {
		p.own = append(p.own, uncertain.Part{
			Source: p.in.Job + "/mounting:" + mt.name + "/remount", Contribution: mean * d.MountRel / float64(m), DoF: d.DoF,
		})
	}
}

// excess adds what runs that scatter more than the bench repeats may all be wrong by: the cause
// (a wandering lag, edges missed, a clock that jitters) need not have mean zero. Over every
// fault of the virtual bench at once the mean of twelve runs was off by 0.45 to 0.65 of the
// single runs' scatter, where 0.29 is chance (20 sessions a cell, virtualbench campaign -fault together).
func (p *pooling) excess() {
	mean := p.mean()
	d, ok := spin.ClassOf(p.in.Repeatability, mean)
	if !ok || d.RunRel == 0 || len(p.runs) < 3 || p.r.ScatterRel <= d.RunRel || p.r.ScatterDoF == 0 {
		return
	}
	if d.Chance(p.r.ScatterRel, p.r.ScatterDoF) >= p.opt.ExcessP {
		return
	}
	beyond := math.Sqrt(p.r.ScatterRel*p.r.ScatterRel - d.RunRel*d.RunRel)
	p.own = append(p.own, uncertain.Part{
		Source: p.source("excess-scatter"), Contribution: p.opt.ExcessShare * beyond * mean, DoF: p.r.ScatterDoF,
	})
	p.warn("excess-scatter", fmt.Sprintf("runs scatter by %.2g %%, the bench repeats to %.2g %%: what makes them scatter may shift them alike, and %.2g of it is in the uncertainty",
		100*p.r.ScatterRel, 100*d.RunRel, p.opt.ExcessShare))
}

// resolution adds what the steps of the torque's and the speed's channel leave: one error for runs of a condition, whose plateaus are the
// same, and, since idle is the same in all of them, not averaged over conditions either. A speed of a decimal more than it needs leaves
// next to nothing, which no budget names.
func (p *pooling) resolution() {
	const nothing = 1e-5
	torque, speed := 0.0, 0.0
	for i, f := range p.runs {
		torque += float64(p.weights[i] * f.ResolutionU)
		speed += float64(p.weights[i] * f.SpeedResolutionU)
	}
	if torque > 0 {
		p.own = append(p.own, uncertain.Part{Source: p.source("torque-resolution"), Contribution: torque})
	}
	if speed > nothing*math.Abs(p.mean()) {
		p.own = append(p.own, uncertain.Part{Source: p.source("speed-resolution"), Contribution: speed})
	}
}

// s2within is the variance that the runs' scatter gives a mounting's mean.
func s2within(p *pooling) float64 {
	per := float64(len(p.runs)) / float64(len(p.mounts))
	s := p.r.ScatterRel * p.mean()
	return s * s / per
}

func (p *pooling) mean() float64 {
	return numeric.Dot(p.weights, p.j(p.all()))
}

// combine forms the mean with shared parts averaged by the runs' weights.
func (p *pooling) combine() {
	mean := p.mean()
	terms := make([]uncertain.Term, len(p.runs))
	for i, f := range p.runs {
		terms[i] = uncertain.Term{Sensitivity: p.weights[i], Value: f.JKgM2}
	}
	floor := uncertain.Part{Source: p.source("floor"), Contribution: math.Max(p.opt.FloorRel, p.passageGap()) * mean}
	p.r.JKgM2 = uncertain.Combine(mean, terms...).With(append(p.own, floor)...)
}

// passageGap is the standard uncertainty that the mean difference d of the
// inertias on the way up and on the way down stands for: d/2 either way of their
// middle, rectangular, (d/2)/√3. Without a return there is nothing to compare,
// and the load's doubt is a part of its own.
func (p *pooling) passageGap() float64 {
	sum, n := 0.0, 0.0
	for i, f := range p.runs {
		if f.JUp > 0 && f.JDown > 0 {
			sum += p.weights[i] * (f.JUp - f.JDown) / f.JKgM2.Mean
			n += p.weights[i]
		}
	}
	if n == 0 {
		return 0
	}
	return math.Abs(sum/n) / (2 * math.Sqrt(3))
}

// flag names runs more than four robust deviations from the median. They stay
// in: removing them automatically costs coverage.
func (p *pooling) flag() {
	all := p.j(p.all())
	if len(all) < 5 {
		return
	}
	m, s := numeric.Median(all), numeric.MAD(all)
	for i, v := range all {
		if s > 0 && math.Abs(v-m) > 4*s {
			p.r.Flagged = append(p.r.Flagged, p.runs[i].Run)
		}
	}
}

// body takes inflow and entrained air out of a rotor that carries a propeller.
//
// The inflow lags the blades by c radians and carries the share f of the load,
// so that during a spin-up the load is below its static curve by f·k·c·dω/dt
// with k = L/ω²: a virtual inertia −f·k·c, the same at every throttle. The
// middle of the range of f·c corrects it, half the range over √3 is its
// uncertainty.
func (p *pooling) body() {
	p.r.JBodyKgM2 = p.r.JKgM2
	diameter := 0.0
	for _, id := range p.rotor.Parts {
		for _, part := range p.in.Parts {
			if part.ID == id && part.Shape == "propeller" {
				diameter = math.Max(diameter, 2*part.RadiusM)
				if part.RadiusM == 0 {
					diameter = math.Max(diameter, 1e-9)
				}
			}
		}
	}
	if diameter == 0 {
		return
	}
	k := make([]float64, len(p.runs))
	for i, f := range p.runs {
		k[i] = f.LoadCoefNmS2
	}
	mid, half := (p.opt.InflowHigh+p.opt.InflowLow)/2, (p.opt.InflowHigh-p.opt.InflowLow)/2
	load := numeric.Mean(k)
	// Entrained air: between nothing and ρ·D⁵ scaled from one estimate, or the
	// same share of the rotor, whichever is more: small propellers are thick for their size.
	air := math.Max(p.opt.EntrainedKgM2*math.Pow(diameter/0.33, 5), p.opt.EntrainedRel*p.r.JKgM2.Mean)
	p.r.JBodyKgM2 = p.r.JKgM2.Add(uncertain.Exact(mid*load-air/2)).With(
		uncertain.Part{Source: p.source("inflow"), Contribution: half / math.Sqrt(3) * load},
		uncertain.Part{Source: p.source("entrained-air"), Contribution: air / 2 / math.Sqrt(3)},
	)
}
