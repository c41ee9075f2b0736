package campaign

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// Cell is the outcome of many sessions of one scenario.
type Cell struct {
	Class    string  `json:"class"`
	Hz       float64 `json:"sample_hz"`
	Plateaus int     `json:"plateaus"`
	Fault    string  `json:"fault"`
	Severity string  `json:"severity,omitempty"`
	Sessions int     `json:"sessions"`
	// Failed sessions gave an error instead of results.
	Failed  int        `json:"failed"`
	Numbers []Quantity `json:"numbers"`
	// Wrong sessions have at least one number fit for release that is wrong.
	Wrong   int             `json:"wrong_but_fit_sessions"`
	Checks  []CheckRate     `json:"checks"`
	Rotors  []RotorQuality  `json:"rotors"`
	Sources []SourceQuality `json:"sources"`
	Sweeps  SweepQuality    `json:"sweeps"`
	// LagBiasS and LagRMSES are of the lag found, s.
	LagBiasS float64 `json:"lag_bias_s"`
	LagRMSES float64 `json:"lag_rmse_s"`
}

// Quantity is one number over the sessions of a cell; errors are relative.
type Quantity struct {
	Name    string `json:"name"`
	Refused int    `json:"refused"`
	// Given numbers, those fit for release, those whose interval holds the truth, and of the fit ones those held.
	Given   int     `json:"given"`
	Fit     int     `json:"fit"`
	Held    int     `json:"held"`
	FitHeld int     `json:"fit_held"`
	Wrong   int     `json:"wrong_but_fit"`
	Bias    float64 `json:"bias"`
	BiasSE  float64 `json:"bias_se"`
	Scatter float64 `json:"robust_scatter"`
	MedianU float64 `json:"median_u"`
	// WorstFit is the largest error of a number fit for release.
	WorstFit float64 `json:"worst_fit"`
	// Blocked by: how many sessions each check kept the number back.
	Blocked map[string]int `json:"blocked,omitempty"`
}

// RotorQuality compares the mean of the runs with what noise alone allows.
type RotorQuality struct {
	Name       string  `json:"name"`
	RMSE       float64 `json:"rmse"`
	Bound      float64 `json:"cramer_rao"`
	OverBound  float64 `json:"rmse_over_cramer_rao"`
	RunScatter float64 `json:"run_scatter"`
}

// CheckRate is how often a check failed or could not tell, of the sessions that made it.
type CheckRate struct {
	Name       string `json:"name"`
	Gates      bool   `json:"gates"`
	Made       int    `json:"made"`
	Fail       int    `json:"fail"`
	CannotTell int    `json:"cannot_tell"`
	// KeptBack counts sessions in which it could not tell, and one of the three numbers was kept back for it.
	KeptBack int `json:"kept_back"`
}

// SourceQuality is a torque source against the truth.
type SourceQuality struct {
	Name string  `json:"name"`
	N    int     `json:"n"`
	Bias float64 `json:"bias"`
	RMSE float64 `json:"rmse"`
}

// SweepQuality counts sweeps whose torque was low by 2 % or more, and how many of
// them were called hot or passed as a source; and those low by less than 0.2 %, with how many were called hot.
type SweepQuality struct {
	Low        int `json:"low"`
	LowFound   int `json:"low_found"`
	LowPassed  int `json:"low_passed"`
	Sound      int `json:"sound"`
	FalseAlarm int `json:"false_alarm"`
}

// quantities in the order of reports.
var quantities = []string{"bare", "disk", "prop", "prop-in-air", "bare-direct", "disk-direct", "prop-direct"}

// Summarise counts the outcomes of one cell; what names class, fault and severity.
func Summarise(what Cell, all []Outcome) Cell {
	c := what
	c.Sessions = len(all)
	for _, q := range quantities {
		c.Numbers = append(c.Numbers, count(q, all))
	}
	for _, o := range all {
		if o.Err != "" {
			c.Failed++
		}
		if slices.ContainsFunc(slices.Collect(maps.Values(o.Numbers)), Judged.WrongButFit) {
			c.Wrong++
		}
	}
	c.Checks, c.Rotors, c.Sources = checkRates(all), rotorQualities(all), sourceQualities(all)
	for _, o := range all {
		for _, w := range o.Sweeps {
			c.Sweeps.count(w)
		}
	}
	var lag, lag2 []float64
	for _, o := range all {
		if o.Err == "" && !math.IsNaN(o.LagS) {
			lag, lag2 = append(lag, o.LagS), append(lag2, o.LagS*o.LagS)
		}
	}
	if len(lag) > 0 {
		c.LagBiasS, c.LagRMSES = numeric.Mean(lag), math.Sqrt(numeric.Mean(lag2))
	}
	return c
}

func (q *SweepQuality) count(w SweepOutcome) {
	switch {
	case w.Deficit >= 0.02:
		q.Low++
		if w.Hot {
			q.LowFound++
		}
		if w.Usable {
			q.LowPassed++
		}
	case math.Abs(w.Deficit) < 0.002:
		q.Sound++
		if w.Hot {
			q.FalseAlarm++
		}
	}
}

func count(name string, all []Outcome) Quantity {
	q := Quantity{Name: name, Blocked: map[string]int{}}
	var e, u []float64
	for _, o := range all {
		j, ok := o.Numbers[name]
		if !ok {
			q.Refused++
			continue
		}
		q.Given++
		e, u = append(e, j.Error), append(u, j.U)
		if j.Held() {
			q.Held++
		}
		if j.Release {
			q.Fit++
			if j.Held() {
				q.FitHeld++
			}
			if math.Abs(j.Error) > math.Abs(q.WorstFit) {
				q.WorstFit = j.Error
			}
		}
		if j.WrongButFit() {
			q.Wrong++
		}
		for _, b := range j.Blocked {
			q.Blocked[checkName(b)]++
		}
	}
	if len(e) > 1 {
		q.Bias, q.Scatter, q.MedianU = numeric.Mean(e), numeric.MAD(e), numeric.Median(u)
		q.BiasSE = math.Sqrt(numeric.Variance(e) / float64(len(e)))
	}
	return q
}

// checkName is the first word of "name subject".
func checkName(blocked string) string {
	for i, r := range blocked {
		if r == ' ' {
			return blocked[:i]
		}
	}
	return blocked
}

func checkRates(all []Outcome) []CheckRate {
	rates := map[string]*CheckRate{}
	for _, o := range all {
		for name, verdict := range o.Checks {
			r := rates[name]
			if r == nil {
				r = &CheckRate{Name: name}
				rates[name] = r
			}
			r.Made++
			r.Gates = r.Gates || o.Gates[name]
			switch verdict {
			case spin.Fail:
				r.Fail++
			case spin.CannotTell:
				r.CannotTell++
				if o.keptBack(name) {
					r.KeptBack++
				}
			}
		}
	}
	var out []CheckRate
	for _, name := range slices.Sorted(maps.Keys(rates)) {
		out = append(out, *rates[name])
	}
	return out
}

func rotorQualities(all []Outcome) []RotorQuality {
	var out []RotorQuality
	for _, name := range []string{"bare", "disk", "prop"} {
		var e2, bound, scatter []float64
		for _, o := range all {
			if r, ok := o.Rotors[name]; ok {
				e2, bound, scatter = append(e2, r.Error*r.Error), append(bound, r.Bound), append(scatter, r.RunScatter)
			}
		}
		if len(e2) == 0 {
			continue
		}
		q := RotorQuality{Name: name, RMSE: math.Sqrt(numeric.Mean(e2)), Bound: numeric.Median(bound), RunScatter: numeric.Median(scatter)}
		q.OverBound = q.RMSE / q.Bound
		out = append(out, q)
	}
	return out
}

func sourceQualities(all []Outcome) []SourceQuality {
	errs := map[string][]float64{}
	for _, o := range all {
		for name, e := range o.Sources {
			errs[name] = append(errs[name], e)
		}
	}
	var out []SourceQuality
	for _, name := range slices.Sorted(maps.Keys(errs)) {
		// Summed in rising order, so that the order of sessions in a map cannot matter.
		e := slices.Sorted(slices.Values(errs[name]))
		sq := make([]float64, len(e))
		for i, x := range e {
			sq[i] = x * x
		}
		out = append(out, SourceQuality{Name: name, N: len(e), Bias: numeric.Mean(e), RMSE: math.Sqrt(numeric.Mean(sq))})
	}
	return out
}

// Interval is the two-sided Clopper–Pearson interval of a share k of n at the
// given confidence (Clopper and Pearson, Biometrika 26 (1934) 404).
func Interval(k, n int, confidence float64) (lo, hi float64) {
	tail := (1 - confidence) / 2
	lo, hi = 0, 1
	if k > 0 {
		lo = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		hi = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return lo, hi
}

// published are the numbers that a row counts.
var published = []string{"bare", "disk", "prop-in-air"}

// keptBack tells whether one of the published numbers is not fit for release because of the check.
func (o Outcome) keptBack(check string) bool {
	return slices.ContainsFunc(published, func(name string) bool {
		return slices.ContainsFunc(o.Numbers[name].Blocked, func(b string) bool { return checkName(b) == check })
	})
}

// RowHead is the head of the table whose rows Row gives.
const RowHead = "| fault | fit (bare, disk, propeller) | held | wrong | gating checks | informing checks |\n|---|---|---|---|---|---|"

// Row is a cell as a line of a Markdown table: sessions fit for release, intervals that hold the truth, sessions with a wrong number fit
// for release, and in how many each check failed or, with a question mark, could not tell and kept a number back.
func (c Cell) Row() string {
	var fit, held []string
	for _, name := range published {
		for _, q := range c.Numbers {
			switch {
			case q.Name != name:
			case q.Given == 0:
				fit, held = append(fit, "–"), append(held, "–")
			default:
				fit, held = append(fit, fmt.Sprint(q.Fit)), append(held, fmt.Sprintf("%d/%d", q.Held, q.Given))
			}
		}
	}
	failed := func(gating bool) string {
		var list []string
		for _, k := range c.Checks {
			if k.Gates == gating && k.Fail > 0 {
				list = append(list, fmt.Sprintf("%s %d", k.Name, k.Fail))
			}
			if k.Gates == gating && k.KeptBack > 0 {
				list = append(list, fmt.Sprintf("%s? %d", k.Name, k.KeptBack))
			}
		}
		if list == nil {
			return "—"
		}
		return strings.Join(list, ", ")
	}
	return fmt.Sprintf("| %s | %s | %s | %d | %s | %s |", strings.TrimSpace(c.Fault+" "+c.Severity), strings.Join(fit, " "), strings.Join(held, " "), c.Wrong, failed(true), failed(false))
}

// Print writes a cell as text: one line a number, then what failed and what the sources gave.
func (c Cell) Print(w io.Writer) {
	fmt.Fprintf(w, "%s, %g Hz, %d plateaus, %s %s: %d sessions, %d failed, %d with a wrong number fit for release\n",
		c.Class, c.Hz, c.Plateaus, c.Fault, c.Severity, c.Sessions, c.Failed, c.Wrong)
	fmt.Fprintf(w, "  %-12s %7s %7s %8s %15s %7s %6s %6s %8s\n", "number", "refused", "fit %", "held %", "bias %", "sd %", "U %", "wrong", "worst %")
	for _, q := range c.Numbers {
		if q.Given == 0 {
			fmt.Fprintf(w, "  %-12s %7d\n", q.Name, q.Refused)
			continue
		}
		g := float64(q.Given)
		fmt.Fprintf(w, "  %-12s %7d %7.1f %8.1f %+8.3f ± %.3f %7.3f %6.3f %6d %+8.2f\n", q.Name, q.Refused, 100*float64(q.Fit)/g, 100*float64(q.Held)/g,
			100*q.Bias, 100*q.BiasSE, 100*q.Scatter, 100*q.MedianU, q.Wrong, 100*q.WorstFit)
	}
	for _, r := range c.Rotors {
		fmt.Fprintf(w, "  rotor %-6s rmse %.3f %%, %.1f of Cramér–Rao (%.4f %%); single runs scatter %.3f %%\n", r.Name, 100*r.RMSE, r.OverBound, 100*r.Bound, 100*r.RunScatter)
	}
	fmt.Fprintf(w, "  lag %+.3f ms (rmse %.3f ms)\n", 1e3*c.LagBiasS, 1e3*c.LagRMSES)
	if q := c.Sweeps; q.Low+q.Sound > 0 {
		fmt.Fprintf(w, "  sweeps low by 2 %% or more: %d, called hot %d, passed as a source %d; sound: %d, called hot %d\n", q.Low, q.LowFound, q.LowPassed, q.Sound, q.FalseAlarm)
	}
	for _, k := range c.Checks {
		if k.Fail > 0 || k.CannotTell > 0 {
			fmt.Fprintf(w, "  check %-26s fails %5.1f %%, cannot tell %5.1f %% of %d\n", k.Name, 100*float64(k.Fail)/float64(k.Made), 100*float64(k.CannotTell)/float64(k.Made), k.Made)
		}
	}
	for _, s := range c.Sources {
		fmt.Fprintf(w, "  source %-14s %+.3f %% (rmse %.3f %%) in %d\n", s.Name, 100*s.Bias, 100*s.RMSE, s.N)
	}
}
