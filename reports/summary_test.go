package reports

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// summaryJob has one number of each state and one check of each kind.
func summaryJob() Job {
	number := func(subject string, blocked, waived []string) spin.Number {
		n := spin.Number{ID: "j/" + subject + "/inertia", Quantity: "inertia", Subject: subject, Scale: "both", Blocked: blocked, Waived: waived, Release: len(blocked) == 0}
		n.Value = uncertain.New(12.344e-7, 0.0701e-7, 15, "x")
		return n
	}
	direct := number("bare", nil, nil)
	direct.ID, direct.Quantity = "j/bare/inertia-direct", spin.InertiaDirect
	long := strings.Repeat("50.0000(0.0150) g, ", 5)
	return Job{
		Name: "j", Recordings: 1, Runs: 3,
		Numbers: []spin.Number{
			number("bare", nil, nil), direct,
			number("disk", []string{"scatter j/rotor:disk", "scatter j/rotor:bare", "second-disk j/disk"}, nil),
			number("prop", nil, []string{"power-balance j/rotor:prop"}),
		},
		Checks: []spin.Check{
			{Name: "energy", Subject: "j/rotor:bare", Verdict: spin.Pass, Gates: true},
			{Name: "scatter", Subject: "j/rotor:disk", Verdict: spin.Fail, Gates: true, Value: 0.0091, Limit: 0.0012, Unit: "1", Text: "runs scatter", Places: []string{"jobs/j.yaml:12:3"},
				Suspects: []spin.Suspect{{Source: "noise", Sigmas: 1}, {Source: "b", Sigmas: 2}, {Source: "c", Sigmas: 3}, {Source: "d", Sigmas: 4}, {Source: "e", Sigmas: 5},
					{Source: "bench/loft/arm", Sigmas: 12.34, Place: "b.yaml:2:1", Written: long}}},
			{Name: "second-disk", Subject: "j/disk", Verdict: spin.CannotTell, Gates: true, Text: "blocks"},
			{Name: "coast-against-step", Subject: "j/rotor:bare", Verdict: spin.CannotTell, Gates: true, Text: "covered by others"},
			{Name: "power-balance", Subject: "j/rotor:prop", Verdict: spin.Fail, Gates: true, Value: 3, U: 1, Limit: 2, Unit: "mN·m", Text: "too much", WaivedBecause: "a bent pin (KA, until 2026-12-31)"},
			{Name: "source-cold", Subject: "j/rotor:bare", Verdict: spin.Fail, Text: "informs"},
		},
		Warnings: []spin.Warning{{Stage: "ingest", Code: "gap", Subject: "j/a", Text: "one gap"}},
	}
}

const briefSummary = `j: 1 recording, 3 runs
  bare/inertia                 (12.34 ± 0.15) g·cm², k = 2.13, ν = 15
                               fit for release; scale: both
  disk/inertia                 (12.34 ± 0.15) g·cm², k = 2.13, ν = 15
                               NOT FIT: scatter, second-disk; scale: both
  prop/inertia                 (12.34 ± 0.15) g·cm², k = 2.13, ν = 15
                               fit, waived: power-balance; scale: both
  checks: 1 pass, 2 fail, 2 cannot tell, 1 more inform; 1 warning
  FAIL scatter of j/rotor:disk
      runs scatter
      value 0.91 %, U 0 %, limit 0.12 %
      see jobs/j.yaml:12:3
         12.3 u  bench/loft/arm at b.yaml:2:1: 50.0000(0.0150) g,
                  50.0000(0.0150) g,…
          1.0 u  noise
          2.0 u  b
          3.0 u  c
          4.0 u  d
      and 1 more effect, see the checks table
  CANNOT TELL second-disk of j/disk
      blocks
  waived power-balance of j/rotor:prop
      too much
      value 3 mN·m, U 1 mN·m, limit 2 mN·m
      because a bent pin (KA, until 2026-12-31)
`

// TestIntervals: a job as machines read it says of each number what its parts amount to, and reads back as it was.
func TestIntervals(t *testing.T) {
	j := summaryJob()
	j.Numbers[1].Value = uncertain.New(3e-7, 1e-9, 0, "without end")
	j.Responses = []spin.Response{{TimeS: uncertain.New(0.2, 0.01, 3, "x")}}
	data, err := json.Marshal(j)
	if err != nil {
		t.Fatal(err)
	}
	var back Job
	var read struct {
		Numbers, Responses []struct {
			Interval map[string]float64 `json:"interval"`
		}
	}
	if err := errors.Join(json.Unmarshal(data, &back), json.Unmarshal(data, &read)); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, j) {
		t.Errorf("read back:\n%+v\nwas\n%+v", back, j)
	}
	// Student's t at 95 %, two-sided: 2.131 at 15 degrees of freedom, 3.182 at 3, 1.960 without end (JCGM 100:2008, table G.2).
	for _, c := range []struct {
		got          map[string]float64
		u, k, dof, n float64
	}{
		{read.Numbers[0].Interval, 0.0701e-7, 2.131, 15, 3}, {read.Numbers[1].Interval, 1e-9, 1.960, 0, 2}, {read.Responses[0].Interval, 0.01, 3.182, 3, 3},
	} {
		if float64(len(c.got)) != c.n || math.Abs(c.got["k"]-c.k) > 5e-4 || c.got["dof"] != c.dof || math.Abs(c.got["half_width"]/(c.k*c.u)-1) > 1e-3 {
			t.Errorf("interval %v, want k = %g at %g", c.got, c.k, c.dof)
		}
	}
}

// TestSummary: what a user reads, word for word, short and with all.
func TestSummary(t *testing.T) {
	var b strings.Builder
	if err := Summary(&b, []Job{summaryJob()}, false); err != nil {
		t.Fatal(err)
	}
	if b.String() != briefSummary {
		t.Errorf("got\n%s\nwant\n%s", b.String(), briefSummary)
	}
	b.Reset()
	if err := Summary(&b, []Job{summaryJob(), {Name: "k"}}, true); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"  bare/inertia-direct          (12.34", "  CANNOT TELL coast-against-step of j/rotor:bare\n      covered by others\n",
		"  fail (informs) source-cold of j/rotor:bare\n      informs\n", "  warning: j/a: gap: one gap\n",
		"\n\nk: 0 recordings, 0 runs\n  checks: 0 pass, 0 fail, 0 cannot tell, 0 more inform; 0 warnings\n",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("with all, no %q in\n%s", want, b.String())
		}
	}
}
