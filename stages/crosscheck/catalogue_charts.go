package crosscheck

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// SessionSummary is what a session says of its bench.
type SessionSummary struct {
	Session string `json:"session"`
	Bench   string `json:"bench"`
	Date    string `json:"date"`
	// Scales are the reference disks run in it, measured on the weights' scale over declared less one.
	Scales []Scale `json:"scales,omitempty"`
	// LagS of the torque channel, nil where no run told it.
	LagS *uncertain.Value `json:"lag_s,omitempty"`
	// DriftNmPerS of the zero: mean over runs of three plateaus with the standard error of
	// that mean; DriftRuns 0: not seen.
	DriftNmPerS float64 `json:"drift_nmps"`
	DriftSE     float64 `json:"drift_se"`
	DriftRuns   int     `json:"drift_runs"`
	// Repeat holds each rotor's scatter against what the bench declares.
	Repeat []Repeat `json:"repeat,omitempty"`
}

// Repeat is the scatter of one rotor's runs.
type Repeat struct {
	Rotor string `json:"rotor"`
	// ScatterRel with DoF, and the declared value with its own (0: many).
	ScatterRel  float64 `json:"scatter_rel"`
	DoF         float64 `json:"dof"`
	DeclaredRel float64 `json:"declared_rel"`
	DeclaredDoF float64 `json:"declared_dof"`
}

// Charts.
const (
	ChartScale  = "disk-to-weights scale"
	ChartLag    = "lag"
	ChartDrift  = "zero drift"
	ChartRepeat = "repeatability"
)

// ChartPoint is one session on one chart of a bench.
type ChartPoint struct {
	Bench   string `json:"bench"`
	Chart   string `json:"chart"`
	Date    string `json:"date"`
	Job     string `json:"job"`
	Session string `json:"session"`
	// Subject is the disk, on the scale's chart.
	Subject string `json:"subject,omitempty"`
	Unit    string `json:"unit"`
	// Value with the standard uncertainty of what it does not share with all other points.
	Value float64 `json:"value"`
	U     float64 `json:"u"`
	// Centre, Low and High where Limits says what they rest on; "none" where there are too few points.
	Centre  float64 `json:"centre"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Limits  string  `json:"limits"`
	Outside bool    `json:"outside"`

	value uncertain.Value
}

// What limits rest on.
const (
	LimitsNone   = "none"
	LimitsStated = "stated uncertainty"
	LimitsRange  = "median moving range"
	LimitsF      = "F test"
)

const (
	// chartPoints are needed before the points themselves give limits: four have three moving ranges.
	chartPoints = 4
	// rangeFactor makes a three-sigma limit of the median moving range of two: the median of
	// |x₁ − x₂| of normal values is √2·0.6745 σ = 0.9539 σ, and 3/0.9539 = 3.145 (calc). The
	// median lets one session far outside not widen its own limits.
	rangeFactor = 3.145
	// chartP is the one-sided probability beyond three sigma.
	chartP = 0.00135
)

// charts lays the sessions of each bench against their dates.
func (c *catalogue) charts() {
	var all []ChartPoint
	for _, j := range c.in.Jobs {
		for _, s := range j.Sessions {
			all = append(all, points(j.Job, s)...)
		}
	}
	slices.SortStableFunc(all, func(a, b ChartPoint) int {
		return cmp.Or(cmp.Compare(a.Bench, b.Bench), cmp.Compare(a.Chart, b.Chart), cmp.Compare(a.Date, b.Date),
			cmp.Compare(a.Job, b.Job), cmp.Compare(a.Session, b.Session), cmp.Compare(a.Subject, b.Subject))
	})
	for from := 0; from < len(all); {
		to := from
		for to < len(all) && all[to].Bench == all[from].Bench && all[to].Chart == all[from].Chart {
			to++
		}
		limits(all[from:to])
		from = to
	}
	for _, p := range all {
		if p.Outside {
			c.flag(p)
		}
	}
	c.out.Charts = all
}

// points of one session.
func points(job string, s SessionSummary) []ChartPoint {
	at := func(chart, subject, unit string, v uncertain.Value) ChartPoint {
		return ChartPoint{Bench: s.Bench, Chart: chart, Date: s.Date, Job: job, Session: s.Session, Subject: subject, Unit: unit, Value: v.Mean, Limits: LimitsNone, value: v}
	}
	var out []ChartPoint
	for _, d := range s.Scales {
		out = append(out, at(ChartScale, d.Disk, "1", d.Ratio))
	}
	if s.LagS != nil {
		out = append(out, at(ChartLag, "", "s", *s.LagS))
	}
	if s.DriftRuns > 1 {
		out = append(out, at(ChartDrift, "", "N·m/s", uncertain.New(s.DriftNmPerS, s.DriftSE, float64(s.DriftRuns-1), job+"/session:"+s.Session+"/drift")))
	}
	if p, ok := repeatability(s); ok {
		q := at(ChartRepeat, "", "1", uncertain.Exact(p.Value))
		q.Centre, q.Low, q.High, q.Limits, q.Outside = 1, 0, p.High, LimitsF, p.Outside
		out = append(out, q)
	}
	return out
}

// repeatability pools the rotors of a session: √(Σν(s/d)²/Σν), which is 1 on a bench that
// repeats as declared; its upper limit is where an F test with Σν degrees of freedom has p = 0.00135.
func repeatability(s SessionSummary) (ChartPoint, bool) {
	sum, dof, declared := 0.0, 0.0, 0.0
	for _, r := range s.Repeat {
		if r.DoF <= 0 || r.DeclaredRel <= 0 {
			continue
		}
		q := r.ScatterRel / r.DeclaredRel
		sum += float64(r.DoF * q * q)
		dof += r.DoF
		if r.DeclaredDoF > 0 && (declared == 0 || r.DeclaredDoF < declared) {
			declared = r.DeclaredDoF
		}
	}
	if dof == 0 {
		return ChartPoint{}, false
	}
	if declared == 0 {
		declared = 1e6
	}
	f := sum / dof
	low, high := 1.0, 1e6
	for range 200 {
		if mid := math.Sqrt(low * high); numeric.FTail(mid, dof, declared) > chartP {
			low = mid
		} else {
			high = mid
		}
	}
	return ChartPoint{Value: math.Sqrt(f), High: math.Sqrt(high), Outside: f > high}, true
}

// limits of one chart: median of its points ± the larger of 3.145 median moving ranges and
// three standard uncertainties of the point's own. With few points only the scale has
// limits: disk and weights should agree within what both are known to.
func limits(chart []ChartPoint) {
	name := chart[0].Chart
	if name == ChartRepeat {
		return
	}
	count := map[string]int{}
	for _, p := range chart {
		for _, x := range p.value.Parts {
			count[x.Source]++
		}
	}
	values := make([]float64, len(chart))
	var ranges []float64
	for i := range chart {
		p := &chart[i]
		values[i] = p.Value
		if i > 0 {
			ranges = append(ranges, math.Abs(p.Value-chart[i-1].Value))
		}
		own := 0.0
		for _, x := range p.value.Parts {
			if len(chart) == 1 || count[x.Source] < len(chart) {
				own += float64(x.Contribution * x.Contribution)
			}
		}
		p.U = math.Sqrt(own)
	}
	if len(chart) < chartPoints && name != ChartScale {
		return
	}
	for i := range chart {
		p := &chart[i]
		half := 3 * p.value.Std()
		p.Limits = LimitsStated
		if len(chart) >= chartPoints {
			p.Centre, p.Limits, half = numeric.Median(values), LimitsRange, math.Max(rangeFactor*numeric.Median(ranges), 3*p.U)
		}
		p.Low, p.High = p.Centre-half, p.Centre+half
		p.Outside = p.Value < p.Low || p.Value > p.High
	}
}

// flag files a session outside the limits; it informs, and names all numbers of its job.
func (c *catalogue) flag(p ChartPoint) {
	k := spin.Check{
		Name: SessionOutside, Job: p.Job, Subject: p.Job + "/session:" + p.Session + "/" + p.Chart, Value: p.Value - p.Centre, U: 2 * p.U, Limit: p.High - p.Centre, Unit: p.Unit,
		Verdict: spin.Fail, Text: fmt.Sprintf("%s of bench %s on %s is %.3g; limits %.3g to %.3g by %s", p.Chart, p.Bench, p.Date, p.Value, p.Low, p.High, p.Limits),
	}
	if p.Subject != "" {
		k.Subject += "/" + spin.DotID(p.Subject)
	}
	if p.Chart != ChartScale {
		k.Sees = map[string][]string{ChartLag: {faultLag}, ChartDrift: {faultDrift}, ChartRepeat: {faultMounting, faultAlias}}[p.Chart]
	} else {
		k.Sees = []string{faultScale, faultDrawing}
	}
	for _, j := range c.in.Jobs {
		if j.Job == p.Job {
			for _, n := range j.Numbers {
				k.Numbers = append(k.Numbers, n.ID)
			}
		}
	}
	slices.Sort(k.Numbers)
	c.out.Checks = append(c.out.Checks, k)
}
