package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// TorqueScale is how a torque channel's cells become N·m, and how well that is known.
type TorqueScale struct {
	// ID of the calibration ("loft/2026-03-02"), empty without one.
	ID string `json:"id,omitempty"`
	// Logger whose torque channel was calibrated.
	Logger string `json:"logger,omitempty"`
	// GainNm is N·m per cell unit, > 0; 0 without a calibration: the channel's
	// own unit holds.
	GainNm float64 `json:"gain_nm,omitempty"`
	// Scale is 1 ± u: what is not known of the gain, relative.
	Scale uncertain.Value `json:"scale"`
	// CrosstalkM is torque shown per thrust, N·m/N, nil when not measured.
	CrosstalkM *uncertain.Value `json:"crosstalk_m,omitempty"`
	// Sense whose weights were used.
	Sense spin.Sense `json:"sense,omitempty"`
	// ZeroCell is the reading at no load, in cell units.
	ZeroCell float64 `json:"zero_cell,omitempty"`
	// Readings, ResidualRel and CurvatureRel describe the line: their number,
	// the largest residual and the largest departure of a fitted parabola from its
	// chord's line, both over the largest reading.
	Readings     int     `json:"readings,omitempty"`
	ResidualRel  float64 `json:"residual_rel,omitempty"`
	CurvatureRel float64 `json:"curvature_rel,omitempty"`
	// Moved is by how much the scale had changed when weights were hung again after the session, relative; nil where they were not.
	Moved *uncertain.Value `json:"moved,omitempty"`
	// Bend is the parabola where the readings show one.
	Bend *spin.Bend `json:"bend,omitempty"`
	// Warnings belong to every recording that uses this scale.
	Warnings []spin.Warning `json:"warnings,omitempty"`
}

// Relative limits where nothing better is known, all common practice, no source.
const (
	// otherSenseRel: half-width of what a cell's scale differs between its
	// senses, used when only the other sense was calibrated.
	otherSenseRel = 0.01
	// unstatedRel: standard uncertainty of a torque scale about which nothing is declared.
	unstatedRel = 0.05
	// curvatureRel: a bend of the calibration line, over full range, that is worth a word.
	curvatureRel = 0.001
)

// Calibrate evaluates a calibration by dead weights for one sense of rotation.
//
// The weights mᵢ on the arm r give true torques Tᵢ = mᵢ·g·r and cell readings
// yᵢ = a + b·Tᵢ + eᵢ. The line is fitted by ordinary least squares; the readings'
// scatter s² = Σeᵢ²/(n−2) gives u(b) (JCGM 100:2008, H.3), and the gain is 1/|b|. To
// its relative uncertainty are added, by name,
//
//	bench/<id>/scale.<sense>   u(b)/b, n−2 degrees of freedom
//	the sources of g and of the arm as the bench file has them
//	bench/<id>/masses          the masses, taken from one set and so in error
//	                           together: the slope of u(mᵢ) over mᵢ
//
// Where five readings or more show a bend, the fit adds bench/<id>/linearity to each run.
//
// Where the sense has no readings the other sense's line is used, with
// bench/<id>/other-sense of 1 %/√3 besides. Without a calibration (calID empty) the
// bench's declared torque_scale holds; without that too 5 % of
// bench/<name>/scale-unstated, which lets no check of the scale pass by chance.
//
// Errors are *positioned.Error without a file, which only the caller knows, and
// with the line of the first reading where readings are at fault: no such calibration, fewer than three
// readings, all of one mass, a line without slope.
func Calibrate(bench spin.Bench, calID string, turns spin.Sense) (TorqueScale, error) {
	if calID == "" {
		if bench.TorqueScale != nil {
			s := *bench.TorqueScale
			if s.Mean == 0 {
				return TorqueScale{}, &positioned.Error{Field: "torque_scale", Got: "0", Want: "a scale above 0"}
			}
			return TorqueScale{Scale: s.Scale(1 / s.Mean)}, nil
		}
		return TorqueScale{Scale: unstated(bench.Name), Warnings: []spin.Warning{{Stage: "ingest", Code: "scale-unstated", Subject: bench.Name,
			Text: "no calibration and no torque_scale: the torque scale is taken as 1 with a standard uncertainty of 5 %; hang dead weights"}}}, nil
	}
	cal, err := findCalibration(bench, calID)
	if err != nil {
		return TorqueScale{}, err
	}
	readings, sense, err := choose(cal, turns)
	if err != nil {
		return TorqueScale{}, err
	}
	line, err := calibrationLine(bench, cal, readings, sense)
	if err != nil {
		return TorqueScale{}, err
	}
	line.crossCheck(bench, cal, sense)
	if sense != turns {
		source := "bench/" + cal.ID + "/other-sense"
		line.Scale = line.Scale.With(uncertain.Part{Source: source, Contribution: otherSenseRel / math.Sqrt(3)})
		line.warn(cal, "other-sense", "no weights were hung for %s: the scale of %s is used, with ± %.0f %% for what the senses may differ by", turns, sense, 100*otherSenseRel)
	}
	return *line, nil
}

// CalibrateTwice evaluates calibrations before and after a session: the gain is the mean of both.
//
// The scale went from one to the other while recordings were made, nobody knows when: of each
// mounting it lies between the two, rectangularly, so that half of what they differ by, over √3, is the standard
// uncertainty of the source named drift, which is not the same for two mountings and does not cancel in their ratio. The scatter of
// either line enters by half. Weights, arm and gravity are taken for the same both times: of each the larger uncertainty holds.
//
// Errors are those of Calibrate.
func CalibrateTwice(bench spin.Bench, before, after string, turns spin.Sense, drift string) (TorqueScale, error) {
	first, err := Calibrate(bench, before, turns)
	if err != nil {
		return TorqueScale{}, err
	}
	second, err := Calibrate(bench, after, turns)
	if err != nil {
		return TorqueScale{}, err
	}
	if first.Sense != second.Sense {
		return TorqueScale{}, &positioned.Error{Field: "weighed_after", Got: fmt.Sprintf("weights for %s before the session and for %s after it", first.Sense, second.Sense),
			Want: "both for " + string(turns)}
	}
	out := first
	out.GainNm = (first.GainNm + second.GainNm) / 2
	out.Readings += second.Readings
	out.ResidualRel, out.CurvatureRel = math.Max(first.ResidualRel, second.ResidualRel), math.Max(first.CurvatureRel, second.CurvatureRel)
	if out.Bend == nil || second.Bend != nil && math.Abs(second.Bend.PerNm) > math.Abs(out.Bend.PerNm) {
		out.Bend = second.Bend
	}
	out.Warnings = slices.Concat(first.Warnings, second.Warnings)
	moved := first.GainNm/second.GainNm - 1
	scale, change := uncertain.Exact(1), uncertain.Exact(moved)
	own := func(t TorqueScale, p uncertain.Part) (cause string, scatter bool) {
		cause = strings.TrimPrefix(p.Source, "bench/"+t.ID)
		return cause, strings.HasPrefix(cause, "/scale.")
	}
	for _, p := range first.Scale.Parts {
		cause, scatter := own(first, p)
		if scatter {
			half := p
			half.Contribution /= 2
			scale, p.Contribution = scale.With(half), -p.Contribution
			change = change.With(p)
			continue
		}
		for _, q := range second.Scale.Parts {
			if other, _ := own(second, q); other == cause && math.Abs(q.Contribution) > math.Abs(p.Contribution) {
				p = q
			}
		}
		scale = scale.With(p)
	}
	for _, q := range second.Scale.Parts {
		if _, scatter := own(second, q); scatter {
			half := q
			half.Contribution /= 2
			scale, change = scale.With(half), change.With(q)
		}
	}
	out.Scale = scale.With(uncertain.Part{Source: drift, Contribution: math.Abs(moved) / 2 / math.Sqrt(3)})
	out.Moved = &change
	return out, nil
}

// unstated is the scale of a bench that says nothing about it.
func unstated(bench string) uncertain.Value {
	return uncertain.New(1, unstatedRel, 0, "bench/"+bench+"/scale-unstated")
}

func findCalibration(b spin.Bench, id string) (*spin.Calibration, error) {
	var ids []string
	for i := range b.Calibrations {
		c := &b.Calibrations[i]
		if c.ID == id || c.ID == b.Name+"/"+id {
			return c, nil
		}
		ids = append(ids, strings.TrimPrefix(c.ID, b.Name+"/"))
	}
	want := "one that bench " + b.Name + " has"
	if len(ids) > 0 {
		want = "one of " + strings.Join(ids, ", ")
	}
	return nil, &positioned.Error{Field: "calibration", Got: fmt.Sprintf("%q", id), Want: want}
}

// choose takes the readings of the sense, else those of the other.
func choose(c *spin.Calibration, turns spin.Sense) ([]spin.Reading, spin.Sense, error) {
	const fewest = 3
	own, other, otherSense := c.CCW, c.CW, spin.CW
	if turns == spin.CW {
		own, other, otherSense = c.CW, c.CCW, spin.CCW
	}
	sense := turns
	if len(own) == 0 {
		own, sense = other, otherSense
	}
	if len(own) < fewest {
		e := &positioned.Error{Field: keyOf(c, string(sense)), Got: fmt.Sprintf("%d readings", len(own)),
			Want: "at least 3: two make a line, the third shows how well (the reading without a weight counts)"}
		if len(own) > 0 {
			e.Line = own[0].Line
		}
		return nil, "", e
	}
	return own, sense, nil
}

// keyOf is a key of a calibration as its bench file has it.
func keyOf(c *spin.Calibration, key string) string {
	_, day, _ := strings.Cut(c.ID, "/")
	return "calibrations." + day + "." + key
}

func (t *TorqueScale) warn(c *spin.Calibration, code, format string, args ...any) {
	t.Warnings = append(t.Warnings, spin.Warning{Stage: "ingest", Code: code, Subject: c.ID, Text: fmt.Sprintf(format, args...)})
}

// calibrationLine fits one sense.
func calibrationLine(b spin.Bench, c *spin.Calibration, readings []spin.Reading, sense spin.Sense) (*TorqueScale, error) {
	n := len(readings)
	field := keyOf(c, string(sense))
	perKg := b.GravityMps2.Mean * c.ArmM.Mean
	if !(perKg > 0) {
		return nil, &positioned.Error{Field: keyOf(c, "arm"), Got: "gravity × arm of 0", Want: "both above 0"}
	}
	design, y, masses, us := numeric.NewMatrix(n, 2), make([]float64, n), make([]float64, n), make([]float64, n)
	largest := 0.0
	for i, r := range readings {
		masses[i], us[i], y[i] = r.MassKg.Mean, r.MassKg.Std(), r.Cell
		design.Set(i, 0, 1)
		design.Set(i, 1, masses[i]*perKg)
		largest = math.Max(largest, math.Abs(masses[i])*perKg)
	}
	fit, err := numeric.LeastSquares(design, y, nil)
	if err != nil {
		return nil, &positioned.Error{Line: readings[0].Line, Field: field, Got: "readings of one mass only", Want: "different masses"}
	}
	slope := fit.Coef[1]
	s := math.Sqrt(fit.RSS / float64(fit.DoF))
	uSlope := s * math.Sqrt(fit.Cov.At(1, 1))
	if slope == 0 || uSlope > 0.1*math.Abs(slope) {
		return nil, &positioned.Error{Line: readings[0].Line, Field: field, Got: fmt.Sprintf("a slope of %.3g ± %.1g per N·m", slope, uSlope),
			Want: "readings that follow the weights"}
	}
	t := &TorqueScale{ID: c.ID, Logger: c.Logger, GainNm: 1 / math.Abs(slope), Sense: sense, ZeroCell: fit.Coef[0], Readings: n, CrosstalkM: c.CrosstalkM}
	terms := []uncertain.Term{
		{Sensitivity: 1 / b.GravityMps2.Mean, Value: b.GravityMps2},
		{Sensitivity: 1 / c.ArmM.Mean, Value: c.ArmM},
		{Sensitivity: 1, Value: uncertain.New(0, uSlope/math.Abs(slope), float64(fit.DoF), fmt.Sprintf("bench/%s/scale.%s", c.ID, sense))},
		{Sensitivity: 1, Value: uncertain.New(0, math.Abs(numeric.Slope(masses, us)), 0, "bench/"+c.ID+"/masses")},
	}
	t.Scale = uncertain.Combine(1, terms...)
	for _, e := range fit.Residual {
		t.ResidualRel = math.Max(t.ResidualRel, math.Abs(e)/(math.Abs(slope)*largest))
	}
	t.curvature(c, design, y, slope, largest)
	return t, nil
}

// curvature fits a parabola. One that is significant (5 %, two-sided t; one by chance is small) is handed on, for the fit to
// see what it does to each run; one that is large is reported.
func (t *TorqueScale) curvature(c *spin.Calibration, design numeric.Matrix, y []float64, slope, largest float64) {
	if design.Rows < 5 {
		return
	}
	a := numeric.NewMatrix(design.Rows, 3)
	for i := range design.Rows {
		x := design.At(i, 1)
		a.Set(i, 0, 1)
		a.Set(i, 1, x)
		a.Set(i, 2, x*x)
	}
	fit, err := numeric.LeastSquares(a, y, nil)
	if err != nil {
		// Two masses, repeated: a line fits, a parabola cannot be told.
		return
	}
	// A parabola q·x² over a range x departs from its chord by q·x²/4 at most.
	q := fit.Coef[2]
	t.CurvatureRel = math.Abs(q) * largest / (4 * math.Abs(slope))
	u := math.Sqrt(fit.RSS / float64(fit.DoF) * fit.Cov.At(2, 2))
	significant := u == 0 || numeric.StudentTail(q/u, float64(fit.DoF)) < 0.05
	if !significant {
		return
	}
	t.Bend = &spin.Bend{Source: "bench/" + c.ID + "/linearity", PerNm: q / slope, RangeNm: largest}
	if t.CurvatureRel > curvatureRel {
		t.warn(c, "calibration-bend", "the calibration line bends by %.2f %% of its range (more than %.1f %%): the scale is not the same at small and large torques; what this does is in the budgets",
			100*t.CurvatureRel, 100*curvatureRel)
	}
}

// crossCheck warns where the readings contradict the channel's declared sign: for ccw
// they must move with it, for cw against it, unless they were written as magnitudes.
func (t *TorqueScale) crossCheck(b spin.Bench, c *spin.Calibration, sense spin.Sense) {
	for _, l := range b.Loggers {
		if l.Name != c.Logger && c.Logger != "" {
			continue
		}
		for _, ch := range l.Channels {
			if ch.Name != "torque" || len(c.CCW) < 2 {
				continue
			}
			sign := 1.0
			if ch.Sign < 0 {
				sign = -1
			}
			m, y := make([]float64, len(c.CCW)), make([]float64, len(c.CCW))
			for i, r := range c.CCW {
				m[i], y[i] = r.MassKg.Mean, r.Cell
			}
			if numeric.Slope(m, y)*sign < 0 {
				t.warn(c, "calibration-sign", "the ccw readings move against the torque channel's declared sign; is sign right, or are ccw and cw exchanged?")
			}
		}
	}
}
