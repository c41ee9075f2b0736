package ingest

import (
	"errors"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// weights makes readings of cell = zero + slope·T for masses in kg, with the given deviations.
func weights(arm, g, zero, slope float64, masses, off []float64) []spin.Reading {
	var out []spin.Reading
	for i, m := range masses {
		out = append(out, spin.Reading{MassKg: uncertain.New(m, 1e-4*m, 0, "bench/loft/2026-03-02/m"), Cell: zero + slope*m*g*arm + off[i], Line: 10 + i})
	}
	return out
}

func bench(ccw, cw []spin.Reading) spin.Bench {
	return spin.Bench{Name: "loft", GravityMps2: uncertain.New(9.81, 0.000981, 0, "bench/loft/gravity"),
		Loggers:      []spin.Logger{logger()},
		Calibrations: []spin.Calibration{{ID: "loft/2026-03-02", Logger: "daq", ArmM: uncertain.New(0.1, 0.00005, 0, "bench/loft/2026-03-02/arm"), CCW: ccw, CW: cw}}}
}

var masses = []float64{0, 0.02, 0.04, 0.06, 0.08, 0.1}

func TestCalibrate(t *testing.T) {
	off := []float64{0.02, -0.03, 0.01, 0.02, -0.03, 0.01}
	ccw, cw := weights(0.1, 9.81, 0.5, 1010, masses, off), weights(0.1, 9.81, 0.5, -990, masses, off)
	ts, err := Calibrate(bench(ccw, cw), "2026-03-02", spin.CCW)
	if err != nil {
		t.Fatal(err)
	}
	// Slope of the deviations over torque, and its error, by hand: x in steps of h = 0.01962 N·m,
	// x − x̄ = (−2.5 … 2.5)·h, Sxx = 17.5·h²; Σ(x−x̄)·e = h·(−0.05+0.045−0.005+0.01−0.045+0.025) = −0.02·h.
	const h = 0.02 * 9.81 * 0.1
	slope := 1010 - 0.02/(17.5*h)
	near(t, "gain", ts.GainNm, 1/slope, 1e-15)
	rss := 0.0
	for i, e := range off {
		// Mean of the deviations is 0; residual = e − slope part.
		r := e + 0.02/17.5*(float64(i)-2.5)
		rss += r * r
	}
	near(t, "slope's part", ts.Scale.Part("bench/loft/2026-03-02/scale.ccw"), math.Sqrt(rss/4/(17.5*h*h))/slope, 1e-12)
	near(t, "gravity's part", ts.Scale.Part("bench/loft/gravity"), 1e-4, 1e-15)
	near(t, "arm's part", ts.Scale.Part("bench/loft/2026-03-02/arm"), 5e-4, 1e-15)
	near(t, "masses' part", ts.Scale.Part("bench/loft/2026-03-02/masses"), 1e-4, 1e-15)
	if ts.Scale.Mean != 1 || ts.Sense != spin.CCW || ts.Readings != 6 || len(ts.Scale.Parts) != 4 || ts.Logger != "daq" || len(ts.Warnings) != 0 {
		t.Errorf("%+v", ts)
	}
	for _, p := range ts.Scale.Parts {
		if want := map[bool]float64{true: 4}[strings.HasSuffix(p.Source, "scale.ccw")]; p.DoF != want {
			t.Errorf("%s has %v degrees of freedom, want %v", p.Source, p.DoF, want)
		}
	}
	other, err := Calibrate(bench(ccw, cw), "loft/2026-03-02", spin.CW)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "cw gain", other.GainNm, 1/(990+0.02/(17.5*h)), 1e-15)
	// Two senses of one calibration share gravity, arm and masses, not the readings.
	near(t, "shared", uncertain.Covariance(ts.Scale, other.Scale), 1e-8+25e-8+1e-8, 1e-15)
}

// GUM H.3: the line through the calibration of a thermometer, b = y1 + y2·(t − 20 °C),
// JCGM 100:2008, H.3.3: y1 = −0.1712, s(y1) = 0.0029, y2 = 0.00218, s(y2) = 0.00067 (seen). The same line with t − 20 °C
// as the torque and b as the reading gives gain 1/y2 and relative uncertainty s(y2)/y2.
// That slope is known to 31 % only, so the weights are read 100 times larger
// and shifted along a steep line, which adds exactly to the slope.
func TestCalibrateGUM(t *testing.T) {
	temps := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	const steep = 1.0
	var readings []spin.Reading
	for i, v := range temps {
		// Gravity 9.81 and arm 1/9.81 make the mass in kg the torque in N·m.
		readings = append(readings, spin.Reading{MassKg: uncertain.Exact(v - 20), Cell: b[i] + steep*(v-20)})
	}
	bn := bench(readings, nil)
	bn.Calibrations[0].ArmM = uncertain.Exact(1 / 9.81)
	ts, err := Calibrate(bn, "2026-03-02", spin.CCW)
	if err != nil {
		t.Fatal(err)
	}
	slope := 1 / ts.GainNm
	// Last printed digits.
	near(t, "y1", ts.ZeroCell, -0.1712, 0.00005)
	near(t, "y2", slope-steep, 0.00218, 0.000005)
	near(t, "s(y2)", ts.Scale.Part("bench/loft/2026-03-02/scale.ccw")*slope, 0.00067, 0.000005)
}

// TestCalibrateTwice: the gain is the mean of both weighings, half of what they differ by bounds the scale of a mounting, and each line's
// scatter counts by half; weights, arm and gravity are the same both times.
func TestCalibrateTwice(t *testing.T) {
	off := []float64{0.02, -0.03, 0.01, 0.02, -0.03, 0.01}
	b := bench(weights(0.1, 9.81, 0.5, 1000, masses, off), nil)
	later := b.Calibrations[0]
	later.ID, later.ArmM, later.CCW = "loft/2026-03-05", uncertain.New(0.1, 0.00004, 0, "bench/loft/2026-03-05/arm"), weights(0.1, 9.81, 0.7, 1004, masses, off)
	b.Calibrations = append(b.Calibrations, later)
	first, err1 := Calibrate(b, "2026-03-02", spin.CCW)
	second, err2 := Calibrate(b, "2026-03-05", spin.CCW)
	ts, err := CalibrateTwice(b, "loft/2026-03-02", "loft/2026-03-05", spin.CCW, "j/mounting:m/scale-drift")
	if err := errors.Join(err, err1, err2); err != nil {
		t.Fatal(err)
	}
	near(t, "gain", ts.GainNm, (first.GainNm+second.GainNm)/2, 1e-15)
	moved := first.GainNm/second.GainNm - 1
	near(t, "moved", ts.Moved.Mean, moved, 1e-15)
	near(t, "4 parts in a thousand", moved, 0.004, 2e-3)
	for source, want := range map[string]float64{
		"j/mounting:m/scale-drift": moved / 2 / math.Sqrt(3), "bench/loft/gravity": 1e-4,
		"bench/loft/2026-03-02/arm": 5e-4, "bench/loft/2026-03-02/masses": 1e-4,
		"bench/loft/2026-03-02/scale.ccw": first.Scale.Part("bench/loft/2026-03-02/scale.ccw") / 2,
		"bench/loft/2026-03-05/scale.ccw": second.Scale.Part("bench/loft/2026-03-05/scale.ccw") / 2,
	} {
		near(t, source, ts.Scale.Part(source), want, 1e-12)
	}
	near(t, "doubt of what it moved by", ts.Moved.Std(), math.Hypot(first.Scale.Part("bench/loft/2026-03-02/scale.ccw"), second.Scale.Part("bench/loft/2026-03-05/scale.ccw")), 1e-12)
	if len(ts.Scale.Parts) != 6 || len(ts.Moved.Parts) != 2 || ts.Readings != 12 || ts.ID != "loft/2026-03-02" {
		t.Errorf("%+v", ts)
	}
	// A larger doubt of the later arm holds.
	b.Calibrations[1].ArmM = uncertain.New(0.1, 0.00007, 0, "bench/loft/2026-03-05/arm")
	if ts, err = CalibrateTwice(b, "loft/2026-03-02", "loft/2026-03-05", spin.CCW, "d"); err != nil {
		t.Fatal(err)
	}
	near(t, "later arm", ts.Scale.Part("bench/loft/2026-03-05/arm"), 7e-4, 1e-12)
	// Weights of the other sense only, after.
	b.Calibrations[1].CW, b.Calibrations[1].CCW = weights(0.1, 9.81, 0.5, -1000, masses, off), nil
	if _, err := CalibrateTwice(b, "loft/2026-03-02", "loft/2026-03-05", spin.CCW, "d"); err == nil || !strings.Contains(err.Error(), "weights for ccw before the session and for cw after it") {
		t.Errorf("%v", err)
	}
}

func TestCalibrateOtherSenseAndNone(t *testing.T) {
	none := make([]float64, 6)
	ccw := weights(0.1, 9.81, 0.5, 1000, masses, none)
	ts, err := Calibrate(bench(ccw, nil), "2026-03-02", spin.CW)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "other sense", ts.Scale.Part("bench/loft/2026-03-02/other-sense"), 0.01/math.Sqrt(3), 1e-15)
	if len(ts.Warnings) != 1 || ts.Warnings[0].Text != "no weights were hung for cw: the scale of ccw is used, with ± 1 % for what the senses may differ by" {
		t.Errorf("%+v", ts.Warnings)
	}
	b := bench(nil, nil)
	ts, err = Calibrate(b, "", spin.CCW)
	if err != nil || ts.GainNm != 0 || ts.Scale.Part("bench/loft/scale-unstated") != 0.05 || ts.Warnings[0].Code != "scale-unstated" {
		t.Errorf("%+v, %v", ts, err)
	}
	declared := uncertain.New(1.01, 0.00505, 0, "bench/loft/torque_scale")
	b.TorqueScale = &declared
	ts, err = Calibrate(b, "", spin.CCW)
	if err != nil || len(ts.Warnings) != 0 {
		t.Fatalf("%+v, %v", ts, err)
	}
	near(t, "declared scale", ts.Scale.Std(), 0.005, 1e-15)
}

func TestCalibrateSaysAndRefuses(t *testing.T) {
	none := make([]float64, 6)
	bent := make([]float64, 6)
	for i, m := range masses {
		bent[i] = -2000 * m * m
	}
	// The bend: q·x² with q = −2000/(9.81·0.1)² per (N·m)², over X = 0.0981 N·m; it
	// lowers the fitted slope by q·X (equal steps from 0 to X).
	ts, err := Calibrate(bench(weights(0.1, 9.81, 0, 1000, masses, bent), nil), "2026-03-02", spin.CCW)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bend", ts.CurvatureRel, 2000/(0.981*0.981)*0.0981/(4*(1000-2000/(0.981*0.981)*0.0981)), 1e-9)
	if len(ts.Warnings) != 1 || ts.Warnings[0].Code != "calibration-bend" || ts.Bend == nil || ts.Bend.Source != "bench/loft/2026-03-02/linearity" {
		t.Fatalf("%+v", ts)
	}
	// Read by the line: the parabola a + b·T + q·T² over the fitted slope, less what it reads at no torque.
	q := -2000 / (0.981 * 0.981)
	for _, torque := range []float64{0.02, 0.05, 0.0981} {
		near(t, "off", ts.Bend.Off(torque), (1000*torque+q*torque*torque)/(1000+q*0.0981)-torque, 1e-9)
		near(t, "off, other sense", ts.Bend.Off(-torque), -ts.Bend.Off(torque), 1e-15)
	}
	ts, err = Calibrate(bench(weights(0.1, 9.81, 0, -1000, masses, none), nil), "2026-03-02", spin.CCW)
	if err != nil || len(ts.Warnings) != 1 || ts.Warnings[0].Code != "calibration-sign" {
		t.Errorf("%+v, %v", ts, err)
	}
	ok := weights(0.1, 9.81, 0, 1000, masses, none)
	zero := bench(ok, nil)
	zero.Calibrations[0].ArmM = uncertain.Exact(0)
	for want, b := range map[string]spin.Bench{
		`:10: calibrations.2026-03-02.ccw: got 2 readings; want at least 3: two make a line, the third shows how well (the reading without a weight counts)`: bench(ok[:2], nil),
		`calibrations.2026-03-02.cw: got 0 readings; want at least 3: two make a line, the third shows how well (the reading without a weight counts)`:       bench(nil, nil),
		`:10: calibrations.2026-03-02.ccw: got readings of one mass only; want different masses`:                                                             bench(weights(0.1, 9.81, 0, 1000, []float64{0.1, 0.1, 0.1}, none), nil),
		`:10: calibrations.2026-03-02.ccw: got a slope of 0 ± 0 per N·m; want readings that follow the weights`:                                              bench(weights(0.1, 9.81, 0, 0, masses, none), nil),
		`calibrations.2026-03-02.arm: got gravity × arm of 0; want both above 0`:                                                                             zero,
	} {
		_, err := Calibrate(b, "2026-03-02", spin.CCW)
		if err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
	if _, err := Calibrate(bench(ok, nil), "2026-04-01", spin.CCW); err == nil || err.Error() != `calibration: got "2026-04-01"; want one of 2026-03-02` {
		t.Error(err)
	}
}
