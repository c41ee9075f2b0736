package campaign

import (
	"fmt"
	"math"
	"runtime"
	"strings"
	"sync"

	"spinledger/pipeline"
	"spinledger/stages/kit/spin"
	"spinledger/stages/torque"
)

// Outcome is what the pipeline made of one session.
type Outcome struct {
	// Numbers by quantity; a quantity that is missing was refused.
	Numbers map[string]Judged
	// Rotors by name: the mean of the runs in air against what a perfect bench would find.
	Rotors map[string]RotorOutcome
	// Checks by name: the worst verdict over its subjects.
	Checks map[string]string
	// Gates names the checks of which one stood against release.
	Gates map[string]bool
	// Limits by name of the check: the largest value over its subjects, in limits.
	Limits map[string]float64
	// Other sources, relative to the truth: "cold", "sweep", "current", "coast", by rotor.
	Sources map[string]float64
	// Sweeps that were recorded.
	Sweeps []SweepOutcome
	// LagS is the lag found less the true one, s; NaN where none was found.
	LagS float64
	Err  string
}

// Judged is a number beside its truth, relative.
type Judged struct {
	Error, U float64
	Release  bool
	Blocked  []string
}

// Held is true where the interval holds the truth.
func (j Judged) Held() bool { return math.Abs(j.Error) <= j.U }

// WrongButFit is a number that passes for good and is not: outside its
// interval, and by more than half a percent or twice its interval.
func (j Judged) WrongButFit() bool {
	return j.Release && math.Abs(j.Error) > math.Max(0.005, 2*j.U)
}

// RotorOutcome is the mean of a rotor's runs: its error, the Cramér–Rao bound of that error, and
// the scatter of single runs, all relative.
type RotorOutcome struct{ Error, Bound, RunScatter float64 }

// SweepOutcome is a sweep's true torque deficit beside what was said of it: hot, or usable as a source.
type SweepOutcome struct {
	Deficit     float64
	Hot, Usable bool
}

// Measure computes n sessions of a scenario with seeds from first on, on all
// processors. Outcomes are in the order of their seeds.
func Measure(s Scenario, first uint64, n int) []Outcome {
	out := make([]Outcome, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				out[i] = one(s, first+uint64(i))
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	return out
}

func one(s Scenario, seed uint64) Outcome {
	session, err := Build(s, seed)
	if err != nil {
		return Outcome{Err: err.Error()}
	}
	f, _, err := pipeline.Compute(session.Files, session.Work, 1, nil)
	if err != nil {
		return Outcome{Err: err.Error()}
	}
	return judge(session, f)
}

// quantity names a number as Session.Truth does; direct numbers have a suffix.
func quantity(n spin.Number) string {
	switch n.Quantity {
	case spin.InertiaInAir:
		return n.Subject + "-in-air"
	case spin.InertiaDirect:
		return n.Subject + "-direct"
	}
	return n.Subject
}

func judge(session Session, f *pipeline.Findings) Outcome {
	out := Outcome{Numbers: map[string]Judged{}, Rotors: map[string]RotorOutcome{}, Checks: map[string]string{}, Gates: map[string]bool{}, Limits: map[string]float64{}, Sources: map[string]float64{}}
	for _, n := range f.Numbers {
		q := quantity(n)
		truth, ok := session.Truth[strings.TrimSuffix(q, "-direct")]
		if !ok {
			continue
		}
		out.Numbers[q] = Judged{
			Error: n.Value.Mean/truth - 1, U: n.Value.Expanded().U / truth, Release: n.Release, Blocked: n.Blocked,
		}
	}
	for _, r := range f.Rotors {
		name := strings.TrimPrefix(r.Rotor, "bare+")
		t := session.Rotor[name]
		out.Rotors[name] = RotorOutcome{Error: r.JKgM2.Mean/t.InAir - 1, Bound: t.Bound / t.InAir, RunScatter: r.ScatterRel}
	}
	for _, k := range f.Checks {
		if worse(k.Verdict, out.Checks[k.Name]) {
			out.Checks[k.Name] = k.Verdict
		}
		out.Gates[k.Name] = out.Gates[k.Name] || k.Gates
		if k.Limit > 0 {
			out.Limits[k.Name] = math.Max(out.Limits[k.Name], math.Abs(k.Value)/k.Limit)
		}
	}
	out.LagS = math.NaN()
	for _, l := range f.Choice.Lags {
		if l.Runs > 0 {
			out.LagS = l.TauS.Mean - session.LagS
		}
	}
	for _, w := range f.Choice.Sweeps {
		hot, told, _ := torque.Heat(w, torque.DefaultOptions().SweepLimitRel)
		deficit := session.Sweeps[strings.TrimPrefix(w.Recording, "virtual/")]
		out.Sweeps = append(out.Sweeps, SweepOutcome{Deficit: deficit, Hot: hot, Usable: told && !hot})
	}
	out.sources(session, f)
	return out
}

func worse(a, b string) bool {
	rank := map[string]int{"": 0, spin.Pass: 1, spin.CannotTell: 2, spin.Fail: 3}
	return rank[a] > rank[b]
}

// sources compares every torque source's inertia with the truth, over the runs that have it.
func (o *Outcome) sources(session Session, f *pipeline.Findings) {
	sum, n := map[string]float64{}, map[string]float64{}
	for _, x := range f.Fits {
		kind := x.Source
		if x.Kind == spin.Coast {
			kind = "coast"
		}
		name := strings.TrimPrefix(x.Rotor, "bare+")
		key := fmt.Sprintf("%s/%s", kind, name)
		sum[key] += x.JKgM2.Mean/session.Rotor[name].InAir - 1
		n[key]++
	}
	for key := range sum {
		o.Sources[key] = sum[key] / n[key]
	}
	for _, k := range f.Checks {
		if bare, ok := o.Rotors["bare"]; ok && k.Name == "added-body" {
			o.Sources["added/bare"] = (1+k.Value)*(1+bare.Error) - 1
		}
	}
}
