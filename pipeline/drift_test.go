package pipeline

import (
	"math"
	"slices"
	"strings"
	"testing"

	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/provenance"
	"spinledger/reports"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

func file(name, content string) provenance.Input {
	return provenance.Input{Name: name, SHA256: strings.Repeat(content, 64), Size: 1}
}

// found is a number of job j with scatter, weights and floor, from one recording and one file.
func found(mean, scatter, weights float64, rec, jobFile, method string) ledger.Result {
	v := uncertain.New(mean, scatter, 10, "j/rotor:bare/scatter").With(
		uncertain.Part{Source: "bench/loft/2026-03-02/masses", Contribution: weights},
		uncertain.Part{Source: "j/rotor:bare/floor", Contribution: 0.001 * mean})
	n := spin.Number{ID: "j/bare/inertia", Job: "j", Unit: "kg·m²", Quantity: spin.Inertia, Value: v, Release: true}
	return ledger.Result{Number: n, JSON: []byte(rec + jobFile + method), Basis: ledger.Basis{
		Job: "j", Recordings: []provenance.Input{file("a.csv", rec)}, Files: []provenance.Input{file("j.yaml", jobFile)}, Methods: []string{"fit/" + method, "ingest/1"}, Program: "0.1"}}
}

func drifted(before, after ledger.Result) reports.Moved {
	e := Earlier{Number: before.Number.ID, Edition: 1, Result: before, Known: true}
	e.fill()
	return compare(e, after, DefaultDrift())
}

// Measured anew on the same weights: they cancel, scatter does not, and neither cancels
// because two causes bear one name.
func TestDriftMeasuredAnew(t *testing.T) {
	before := found(1e-6, 1e-9, 5e-9, "a", "f", "1")
	after := found(1.004e-6, 1e-9, 5e-9, "b", "f", "1")
	m := drifted(before, after)
	if m.Kind != reports.Remeasured || len(m.Why) != 1 || m.Why[0] != "recording: a.csv changed" {
		t.Fatalf("%+v", m)
	}
	// Two scatters of ten degrees of freedom each, and the floor's share of the difference.
	u := uncertain.New(0, 1e-9, 10, "a").Add(uncertain.New(0, 1e-9, 10, "b")).Add(uncertain.New(0, 4e-12, 0, "c")).Expanded().U
	if math.Abs(m.DifferenceU/u-1) > 1e-3 {
		t.Errorf("U of the difference %g, want %g", m.DifferenceU, u)
	}
	if math.Abs(m.Score-4e-9/u) > 1e-2 || !m.Over {
		t.Errorf("score %g, want %g; over %v", m.Score, 4e-9/u, m.Over)
	}
	// Weighed anew too: the new calibration is another cause.
	for i, p := range after.Number.Value.Parts {
		after.Number.Value.Parts[i].Source = strings.Replace(p.Source, "2026-03-02", "2026-04-02", 1)
	}
	if m := drifted(before, after); m.Over || m.DifferenceU < 1.4e-8 {
		t.Errorf("with other weights: U %g, over %v", m.DifferenceU, m.Over)
	}
}

func TestDriftCauses(t *testing.T) {
	before := found(1e-6, 1e-9, 0, "a", "f", "1")
	later := func(change func(r *ledger.Result)) ledger.Result {
		r := found(1.0001e-6, 1e-9, 0, "a", "f", "1")
		r.JSON = []byte("other")
		change(&r)
		return r
	}
	for what, c := range map[string]struct {
		change func(r *ledger.Result)
		kind   string
		why    []string
	}{
		"job file": {func(r *ledger.Result) { r.Basis.Files[0] = file("j.yaml", "e") }, reports.Recomputed, []string{"job file: j.yaml changed"}},
		"method":   {func(r *ledger.Result) { r.Basis.Methods[0] = "fit/2" }, reports.Recomputed, []string{"method version: fit/1, now fit/2"}},
		"method of a new program": {func(r *ledger.Result) { r.Basis.Methods[0], r.Basis.Program = "fit/2", "0.2" }, reports.Recomputed,
			[]string{"method version: fit/1, now fit/2"}},
		"program":           {func(r *ledger.Result) { r.Basis.Program = "0.2" }, reports.Recomputed, []string{"program: 0.1, now 0.2"}},
		"recording renamed": {func(r *ledger.Result) { r.Basis.Recordings[0].Name = "b.csv" }, reports.Recomputed, []string{"nothing that is logged differs: compare the platforms in machine.json; else it is a fault of the program"}},
		"recording more":    {func(r *ledger.Result) { r.Basis.Recordings = append(r.Basis.Recordings, file("b.csv", "d")) }, reports.Remeasured, []string{"recording: b.csv added"}},
		"recording and file": {func(r *ledger.Result) {
			r.Basis.Recordings[0], r.Basis.Files[0] = file("c.csv", "c"), file("j.yaml", "e")
		}, reports.Remeasured, []string{"recording: c.csv added, a.csv gone", "job file: j.yaml changed", notSeparable}},
		"a stage that is new": {func(r *ledger.Result) { r.Basis.Methods = append(r.Basis.Methods, "trace/1") }, reports.Recomputed, []string{"method version: none, now trace/1"}},
	} {
		m := drifted(before, later(c.change))
		if m.Kind != c.kind || !slices.Equal(m.Why, c.why) {
			t.Errorf("%s: %s, %q", what, m.Kind, m.Why)
		}
	}
}

// The limit is held by the shift and by the change of U alike.
func TestDriftLimit(t *testing.T) {
	before := found(1e-6, 1e-8, 0, "a", "f", "1")
	for _, c := range []struct {
		mean, scatter float64
		over          bool
	}{
		{1e-6, 1e-8, false}, {1e-6 + 2.0e-9, 1e-8, false}, {1e-6 + 2.6e-9, 1e-8, true}, {1e-6 - 2.6e-9, 1e-8, true}, {1e-6, 1.08e-8, false}, {1e-6, 1.2e-8, true}, {1e-6, 0.8e-8, true},
	} {
		m := drifted(before, found(c.mean, c.scatter, 0, "a", "f", "2"))
		if m.Over != c.over {
			t.Errorf("%g ± %g: shift %.3g U, U changed by %.3g: over %v", c.mean, c.scatter, m.ShiftU, m.ChangeU, m.Over)
		}
	}
}

// A number that is gone is accepted only as gone, and unfit ones by nobody.
func TestDriftAccept(t *testing.T) {
	all := []reports.Moved{{Number: "j/a/inertia", Kind: reports.Gone, Over: true, Edition: 2}, {Number: "j/b/inertia", Kind: reports.Recomputed, Over: true, ShiftRel: 0.001, Unfit: []string{"scatter"}}}
	unused := accept(all, []job.Move{{Number: "j/a/inertia", UpToRel: 1}, {Number: "j/b/inertia", UpToRel: 1}})
	if len(unused) != 2 || !Drifted(all) {
		t.Errorf("%q %+v", unused, all)
	}
	if unused = accept(all, []job.Move{{Number: "j/a/inertia", Gone: true, Edition: 1}}); len(unused) != 1 {
		t.Errorf("another edition: %q", unused)
	}
	if unused = accept(all[:1], []job.Move{{Number: "j/a/inertia", Gone: true, Edition: 2, Because: "declared now", By: "KA"}}); len(unused) != 0 || Drifted(all[:1]) || all[0].Accepted != "declared now (KA)" {
		t.Errorf("%q %+v", unused, all[0])
	}
}
