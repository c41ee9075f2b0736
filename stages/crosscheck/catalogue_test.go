package crosscheck

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

func close(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

// measures is a job that measured a propeller as x g·cm² with an own standard uncertainty u,
// on weights that all jobs share (0.2 %) and with the propeller's inflow (1 %).
func measures(job, part string, x, u float64) CatalogueJob {
	subject := spin.DotID(part)
	x, u = x*1e-7, u*1e-7
	v := uncertain.New(x, u, 20, job+"/rotor:bare+"+subject+"/scatter").With(
		uncertain.Part{Source: "bench/loft/2026-03-02/masses", Contribution: 0.002 * x},
		uncertain.Part{Source: job + "/rotor:bare+" + subject + "/inflow", Contribution: 0.01 * x})
	model, _, _ := strings.Cut(part, "/")
	return CatalogueJob{
		Job: job, Day: "2026-03-05", Parts: []spin.Part{{ID: part, Model: model, Shape: "propeller"}},
		Numbers: []spin.Number{{ID: job + "/" + subject + "/inertia", Job: job, Subject: subject, Quantity: spin.Inertia, Unit: "kg·m²", Value: v, Release: true, Runs: 9}},
	}
}

func catalogueOf(t *testing.T, jobs ...CatalogueJob) CatalogueOutput {
	t.Helper()
	out, err := Catalogue(CatalogueInput{Jobs: jobs}, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Two motors measured one propeller: weights and inflow cancel in the difference to the
// share of the values' difference, and stand whole in the mean.
func TestPartOnTwoMotors(t *testing.T) {
	out := catalogueOf(t, measures("a", "prop-5x4/A", 38.0, 0.05), measures("b", "prop-5x4/A", 38.2, 0.10))
	if len(out.Checks) != 1 || len(out.Numbers) != 1 {
		t.Fatalf("%+v", out)
	}
	k := out.Checks[0]
	// Weights 4:1, mean 38.04; (38.2 − 38.0)/38.04 = 0.526 %.
	close(t, "difference", k.Value, 0.2/38.04, 1e-9)
	u := uncertain.New(0, 0.05, 20, "a").Add(uncertain.New(0, 0.10, 20, "b")).Expanded()
	close(t, "its U", k.U, u.U/38.04, 0.01)
	if k.Verdict != spin.Pass || !k.Gates || k.Name != PartBetweenJobs || len(k.Numbers) != 2 {
		t.Errorf("%+v", k)
	}
	n := out.Numbers[0]
	if n.ID != "parts/prop-5x4.A/inertia" || !n.Release || n.Runs != 18 || n.Note != "mean of a, b" {
		t.Errorf("%+v", n)
	}
	close(t, "mean", n.Value.Mean, 38.04e-7, 1e-12)
	own := math.Hypot(0.8*0.05, 0.2*0.10)
	close(t, "u of the mean", n.Value.Std(), 1e-7*math.Sqrt(own*own+math.Pow(0.002*38.04, 2)+math.Pow(0.01*38.04, 2)), 1e-9)
	if p := n.Value.Part("models/prop-5x4/inflow"); p == 0 {
		t.Error("inflow is not the propeller's")
	}
}

// Two that do not agree: both numbers are named, nothing is combined, and a waiver of one
// of the jobs puts the deviation into the budget of the mean.
func TestPartThatMotorsDisagreeOn(t *testing.T) {
	a, b := measures("a", "prop-5x4/A", 38.0, 0.05), measures("b", "prop-5x4/A", 40.0, 0.05)
	out := catalogueOf(t, a, b)
	if k := out.Checks[0]; k.Verdict != spin.Fail || strings.Join(k.Numbers, " ") != "a/prop-5x4.A/inertia b/prop-5x4.A/inertia" {
		t.Errorf("%+v", k)
	}
	if len(out.Numbers) != 0 {
		t.Errorf("combined: %+v", out.Numbers)
	}
	a.Waivers = []Waiver{{Check: PartBetweenJobs, Subject: "b/prop-5x4.A/inertia", UpTo: 0.06, Because: "nick in a blade", By: "KA", Until: "2026-12-31", Method: CatalogueMethod}}
	out = catalogueOf(t, a, b)
	if len(out.Numbers) != 1 || len(out.Numbers[0].Waived) != 1 || out.Numbers[0].Value.Std() < 1.9e-7 {
		t.Errorf("waived: %+v", out.Numbers)
	}
	for what, change := range map[string]func(w *Waiver){
		"grown": func(w *Waiver) { w.UpTo = 0.05 }, "past its day": func(w *Waiver) { w.Until = "2026-03-04" }, "another method": func(w *Waiver) { w.Method = "catalogue/0" },
	} {
		c := a
		c.Waivers = []Waiver{a.Waivers[0]}
		change(&c.Waivers[0])
		if out := catalogueOf(t, c, b); len(out.Numbers) != 0 || out.Checks[0].WaivedBecause != "" {
			t.Errorf("%s: %+v", what, out.Checks[0])
		}
	}
}

// One measurement in ten is off: it is named, the others are not. Numbers that are not fit do not enter.
func TestPartOnManyMotors(t *testing.T) {
	var jobs []CatalogueJob
	for i := range 10 {
		jobs = append(jobs, measures(fmt.Sprintf("job%d", i), "prop-5x4/A", 38+0.02*float64(i%3), 0.05))
	}
	jobs[4] = measures("job4", "prop-5x4/A", 41, 0.05)
	out := catalogueOf(t, jobs...)
	for _, k := range out.Checks {
		if want := k.Subject == "job4/prop-5x4.A/inertia"; (k.Verdict == spin.Fail) != want {
			t.Errorf("%s: %s %.3g ± %.3g, limit %.3g", k.Subject, k.Verdict, k.Value, k.U, k.Limit)
		}
	}
	jobs[4].Numbers[0].Release = false
	out = catalogueOf(t, jobs...)
	if len(out.Checks) != 9 || len(out.Numbers) != 1 || math.Abs(out.Numbers[0].Value.Mean-38.02e-7) > 0.02e-7 {
		t.Errorf("%d checks, %+v", len(out.Checks), out.Numbers)
	}
}

// Hahn and Meeker, Statistical Intervals (1991), example of five output voltages, sections 4.2
// and 4.7: mean 50.10, s = 1.31, 95 % confidence interval 48.47 to 51.73, prediction
// interval for one further unit 46.1 to 54.1. Mark: memory, recomputed.
func TestNextSpecimen(t *testing.T) {
	var values []uncertain.Value
	for i, x := range []float64{50.3, 48.3, 49.6, 50.4, 51.9} {
		values = append(values, uncertain.New(x, 0.01, 0, fmt.Sprintf("own%d", i)))
	}
	mean, next, scatter := overSpecimens(values, "models/m")
	close(t, "mean", mean.Mean, 50.10, 1e-6)
	close(t, "s", scatter*mean.Mean, 1.31, 2e-3)
	m, n := mean.Expanded(), next.Expanded()
	for _, x := range []struct {
		what      string
		got, want float64
		tolerance float64
	}{
		{"low of the mean", mean.Mean - m.U, 48.47, 0.006}, {"high of the mean", mean.Mean + m.U, 51.73, 0.006},
		{"low of the next", next.Mean - n.U, 46.1, 0.06}, {"high of the next", next.Mean + n.U, 54.1, 0.06},
	} {
		if math.Abs(x.got-x.want) > x.tolerance {
			t.Errorf("%s: got %.3f, published %.2f", x.what, x.got, x.want)
		}
	}
	// What all share is not in the scatter and stands in both.
	for i := range values {
		values[i] = values[i].With(uncertain.Part{Source: "bench/x/scale", Contribution: 0.5})
	}
	mean, next, _ = overSpecimens(values, "models/m")
	close(t, "shared part of the mean", mean.Part("bench/x/scale"), 0.5, 1e-12)
	close(t, "shared part of the next", next.Part("bench/x/scale"), 0.5, 1e-12)
}

func TestModels(t *testing.T) {
	out := catalogueOf(t, measures("a", "prop-5x4/A", 38.0, 0.05), measures("b", "prop-5x4/B", 38.4, 0.05), measures("c", "prop-5x4/A.2", 30, 0.05), measures("d", "prop-6x3/A", 60, 0.1))
	if len(out.Models) != 1 {
		t.Fatalf("%+v", out.Models)
	}
	m := out.Models[0]
	if m.Model != "prop-5x4" || strings.Join(m.Specimens, " ") != "a/prop-5x4.A/inertia b/prop-5x4.B/inertia" {
		t.Errorf("%+v", m)
	}
	close(t, "scatter", m.ScatterRel, 0.4/math.Sqrt2/38.2, 1e-9)
	// s·√(1 + 1/2) on one degree of freedom; of one shape, so the inflow is shared; so are the weights.
	close(t, "next alone", m.Next.Part("models/prop-5x4/next"), 0.4e-7*math.Sqrt(0.75), 1e-9)
	close(t, "inflow", m.Next.Part("models/prop-5x4/inflow"), 0.01*38.2e-7, 1e-9)
	close(t, "weights", m.Mean.Part("bench/loft/2026-03-02/masses"), 0.002*38.2e-7, 1e-9)
	if p := m.Mean.Part("a/rotor:bare+prop-5x4.A/scatter"); p != 0 {
		t.Errorf("a specimen's own scatter is counted beside the specimens' scatter: %g", p)
	}
}

// on is a job with one session on bench loft.
func on(job, date string, s SessionSummary) CatalogueJob {
	s.Session, s.Bench, s.Date = "session", "loft", date
	return CatalogueJob{Job: job, Day: date, Sessions: []SessionSummary{s}, Numbers: []spin.Number{{ID: job + "/bare/inertia"}}}
}

// A bench whose disk reads steadily and then is off by 1 %: the last session is outside, its
// job is flagged, and its own distance does not widen its limits.
func TestChartScale(t *testing.T) {
	var jobs []CatalogueJob
	for i, d := range []float64{0.0005, -0.0004, 0.0002, 0.0006, -0.0001, 0.0100} {
		ratio := uncertain.New(d, 0.0005, 0, fmt.Sprintf("j%d/rotor:bare+disk/scatter", i)).With(uncertain.Part{Source: "parts/disk/mass", Contribution: 0.004})
		jobs = append(jobs, on(fmt.Sprintf("j%d", i), fmt.Sprintf("2026-03-%02d", i+1), SessionSummary{Scales: []Scale{{Disk: "disk", Role: "both", Ratio: ratio}}}))
	}
	out := catalogueOf(t, jobs...)
	if len(out.Charts) != 6 {
		t.Fatalf("%+v", out.Charts)
	}
	// Moving ranges 0.9, 0.6, 0.4, 0.7, 10.1 of 1e-3: median 0.7; median of the points 0.35.
	p := out.Charts[0]
	close(t, "centre", p.Centre, 0.00035, 1e-9)
	close(t, "half width", p.High-p.Centre, rangeFactor*0.0007, 1e-9)
	if p.Limits != LimitsRange || math.Abs(p.U-0.0005) > 1e-12 {
		t.Errorf("%+v", p)
	}
	for i, p := range out.Charts {
		if p.Outside != (i == 5) {
			t.Errorf("%s %s: outside %v", p.Job, p.Date, p.Outside)
		}
	}
	if len(out.Checks) != 1 || out.Checks[0].Name != SessionOutside || out.Checks[0].Gates || out.Checks[0].Numbers[0] != "j5/bare/inertia" {
		t.Errorf("%+v", out.Checks)
	}
	// One session alone: disk and weights within three of their standard uncertainty.
	one := catalogueOf(t, jobs[5]).Charts[0]
	if one.Limits != LimitsStated || one.Centre != 0 || one.Outside {
		t.Errorf("%+v", one)
	}
	close(t, "half width of one", one.High, 3*math.Hypot(0.0005, 0.004), 1e-9)
}

// Runs that scatter as declared are inside, three times as much outside; the limit is where the F
// distribution says. F(0.99865; 20, 30) from numeric.FTail; and χ² for a declared value
// of many degrees of freedom: χ²(20) is 43.3 at p = 0.00186, 45.3 at 0.001 (handbook table; mark: memory).
func TestChartRepeatability(t *testing.T) {
	job := func(scatter, dof float64) CatalogueJob {
		return on("j", "2026-03-05", SessionSummary{Repeat: []Repeat{{Rotor: "bare", ScatterRel: scatter, DoF: 8, DeclaredRel: 0.002, DeclaredDoF: dof}, {Rotor: "bare+d", ScatterRel: scatter, DoF: 12, DeclaredRel: 0.002}}})
	}
	p := catalogueOf(t, job(0.002, 0)).Charts[0]
	if p.Outside || math.Abs(p.Value-1) > 1e-12 || p.Centre != 1 {
		t.Errorf("%+v", p)
	}
	if chi2 := 20 * p.High * p.High; chi2 < 43.3 || chi2 > 45.3 {
		t.Errorf("limit at χ² = %.2f", chi2)
	}
	q := catalogueOf(t, job(0.006, 30)).Charts[0]
	if !q.Outside {
		t.Errorf("%+v", q)
	}
	close(t, "p at the limit", numeric.FTail(q.High*q.High, 20, 30), chartP, 1e-6)
}

// Lag and drift have no limits before there are four sessions.
func TestChartFewSessions(t *testing.T) {
	lag := uncertain.New(0.001, 1e-5, 0, "j/session:session/lag")
	jobs := []CatalogueJob{}
	for i := range 4 {
		jobs = append(jobs, on(fmt.Sprintf("j%d", i), fmt.Sprintf("2026-03-%02d", i+1), SessionSummary{LagS: &lag, DriftNmPerS: 1e-6 * float64(i), DriftSE: 1e-6, DriftRuns: 9}))
		for _, p := range catalogueOf(t, jobs...).Charts {
			if want := map[bool]string{true: LimitsNone, false: LimitsRange}[i < 3]; p.Limits != want || p.Outside {
				t.Errorf("%d sessions: %+v", i+1, p)
			}
		}
	}
}
