// Package figure is plots as data: panels with axes, series of points, and
// shaded spans, all in SI. What draws them decides nothing but the look; the
// table of traces holds every point that a page shows.
package figure

import "math"

// Kinds of figure, in the order of the argument.
const (
	// Recording: channels over time with segments.
	Recording = "recording"
	// Load: a rotor's load curve with residuals.
	Load = "load"
	// Plane: torque over speed of steps and sweeps.
	Plane = "plane"
	// Apparent: (T − L)/(dω/dt) over time and over speed.
	Apparent = "apparent"
	// Runs: every run's inertia by condition and source.
	Runs = "runs"
	// Adjustment: rotors against the sum of their parts.
	Adjustment = "adjustment"
	// Disk: a reference disk measured against its geometry.
	Disk = "disk"
	// SpinUp: speed over time of recorded spin-ups at one condition, a series a rotor.
	SpinUp = "spin-up"
	// Response: speed over time of predicted spin-ups.
	Response = "response"
	// Prediction: recorded rises against those predicted without them.
	Prediction = "prediction"
	// Chart: a bench's sessions over days with control limits.
	Chart = "chart"
)

// Marks: how a series is drawn.
const (
	// Line joins the points.
	Line = "line"
	// Dots stand alone, with a bar from Low to High where these are given.
	Dots = "dots"
	// Band fills from Low to High along X.
	Band = "band"
	// Bars fill from Low to High in each row of a panel whose y has rows.
	Bars = "bars"
)

// Roles say what a series means; a page gives each role one colour, dash and
// marker, the same in every figure.
const (
	Measured = "measured"
	Second   = "second"
	Third    = "third"
	Fourth   = "fourth"
	Fifth    = "fifth"
	Sixth    = "sixth"
	Fitted   = "fitted"
	Declared = "declared"
	Doubt    = "doubt"
	Faint    = "faint"
	Deficit  = "deficit"
)

// Axis of a panel. Unit is that of the data. With Rows the data are indices
// into them: 0 is the first.
type Axis struct {
	Name string   `json:"name"`
	Unit string   `json:"unit"`
	Rows []string `json:"rows,omitempty"`
}

// Series is one set of points. Low and High, where given, are as long as X and
// bound y (x on a panel whose y has rows). Labels name points.
type Series struct {
	Name   string    `json:"name"`
	Mark   string    `json:"mark"`
	Role   string    `json:"role"`
	X      []float64 `json:"x"`
	Y      []float64 `json:"y"`
	Low    []float64 `json:"low,omitempty"`
	High   []float64 `json:"high,omitempty"`
	Labels []string  `json:"labels,omitempty"`
}

// Span shades a stretch of x.
type Span struct {
	Name string  `json:"name"`
	Kind string  `json:"kind"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Panel is one pair of axes. Zero asks for y = 0 to be in view.
type Panel struct {
	Name   string   `json:"name"`
	X      Axis     `json:"x"`
	Y      Axis     `json:"y"`
	Zero   bool     `json:"zero,omitempty"`
	Series []Series `json:"series"`
	Spans  []Span   `json:"spans,omitempty"`
}

// Figure is panels above each other; with equal x they share its axis.
type Figure struct {
	// ID is kind/subject, unique in a job.
	ID      string `json:"id"`
	Kind    string `json:"kind"`
	Subject string `json:"subject"`
	// See says in one sentence what to look for, with its numbers.
	See    string  `json:"see"`
	Panels []Panel `json:"panels"`
}

// digits is the number of significant digits, relative to a panel's range, that
// points keep: ten thousandths of a plot are finer than any screen.
const digits = 4

// Trim rounds every point to what a drawing can show, so that tables and
// pages stay small. Rows and labels stay as they are.
func (f *Figure) Trim() {
	for i := range f.Panels {
		p := &f.Panels[i]
		if p.X.Rows == nil {
			trim(p, func(s *Series) [][]float64 {
				if p.Y.Rows != nil {
					return [][]float64{s.X, s.Low, s.High}
				}
				return [][]float64{s.X}
			})
		}
		if p.Y.Rows == nil {
			trim(p, func(s *Series) [][]float64 { return [][]float64{s.Y, s.Low, s.High} })
		}
	}
}

func trim(p *Panel, of func(*Series) [][]float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range p.Series {
		for _, x := range of(&p.Series[i]) {
			for _, v := range x {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
		}
	}
	if !(hi > lo) {
		return
	}
	unit := math.Pow(10, math.Floor(math.Log10(hi-lo))-digits)
	for i := range p.Series {
		for _, x := range of(&p.Series[i]) {
			for k, v := range x {
				x[k] = round(v, unit)
			}
		}
	}
}

// round to a whole number of units, in the decimal that is nearest.
func round(v, unit float64) float64 {
	n := math.Round(v / unit)
	if unit < 1 {
		return n / math.Round(1/unit)
	}
	return n * unit
}
