package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// slowConverter is a logger at hz that finds values of a converter with a period of its own: means of torque over that
// period, which end when they appear.
func slowConverter(rng *rand.Rand, hz, period float64, torque func(t float64) float64) (time, x, dates []float64) {
	const fine = 2e-5
	next, sum, n, value := period*rng.Float64(), 0.0, 0, torque(0)
	row := 1 / hz * rng.Float64()
	for t := 0.0; t < 6; t += fine {
		sum, n = sum+torque(t), n+1
		if t >= next {
			value, sum, n = sum/float64(n)+3e-5*rng.NormFloat64(), 0, 0
			dates = append(dates, next)
			next += period
		}
		if t >= row {
			time, x = append(time, row+1e-5*rng.NormFloat64()), append(x, value)
			row += 1 / hz
		}
	}
	return time, x, dates
}

func pulses(t float64) float64 {
	return math.Exp(-math.Mod(t, pulseEvery) / 0.004)
}

const pulseEvery = 0.7037

// TestRenewals: the period of a slow converter is found and each of its dates known to a fraction of a row, but for half a row
// in all where its period is a whole number of rows.
func TestRenewals(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 9))
	for _, c := range []struct{ hz, period float64 }{{1000, 0.0125}, {2000, 0.0125}, {2000, 0.00413}, {500, 0.0317}, {1000, 0.00371}} {
		time, x, dates := slowConverter(rng, c.hz, c.period, pulses)
		for range 25 { // gaps of three rows
			i := rng.IntN(len(time) - 3)
			time, x = slices.Delete(time, i, i+3), slices.Delete(x, i, i+3)
		}
		found := findRenewals(time, x)
		if found == nil {
			t.Fatalf("%g Hz, %g s: nothing found", c.hz, c.period)
		}
		near(t, "period", found.periodS/c.period, 1, 1e-3)
		var off []float64
		k := 0
		for _, at := range found.at {
			for k+1 < len(dates) && math.Abs(dates[k+1]-at) < math.Abs(dates[k]-at) {
				k++
			}
			off = append(off, (at-dates[k])*c.hz)
		}
		if mean, sd := numeric.Mean(off), math.Sqrt(numeric.Variance(off)); math.Abs(mean) > 0.5 || sd > 0.15 {
			t.Errorf("%g Hz, %g s: dates off by %.2f ± %.2f rows", c.hz, c.period, mean, sd)
		}
	}
}

// TestRenewedIntegral: over a pulse shorter than the converter's period the integral of dated values is
// that of the torque, where rows as they stand miss it by a row of several; and its centre is where the torque's is.
func TestRenewedIntegral(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 9))
	const hz, period = 1000, 0.0125
	time, x, _ := slowConverter(rng, hz, period, pulses)
	found := findRenewals(time, x)
	y := found.over(time, x[0], period)
	moment := func(v []float64, from float64) (area, centre float64) {
		for i := 1; i+1 < len(v); i++ {
			if d := time[i] - from; d > -0.1 && d < 0.4 {
				w := (time[i+1] - time[i-1]) / 2
				area, centre = area+v[i]*w, centre+v[i]*w*d
			}
		}
		return area, centre / area
	}
	rows, dated, centre := 0.0, 0.0, 0.0
	for k := 1.0; k < 8; k++ {
		a, _ := moment(x, pulseEvery*k)
		b, at := moment(y, pulseEvery*k)
		rows, dated, centre = rows+math.Pow(a/0.004-1, 2)/7, dated+math.Pow(b/0.004-1, 2)/7, centre+at/7
	}
	if math.Abs(centre-0.004) > 2e-3 {
		t.Errorf("the pulses' centres are %.2f ms after their edges, want 4", 1e3*centre)
	}
	if rows, dated = math.Sqrt(rows), math.Sqrt(dated); dated > 0.012 || rows < 3*dated {
		t.Errorf("rows miss the pulse's area by %.2g %%, dated values by %.2g %%", 100*rows, 100*dated)
	}
}

// TestNoRenewals: noise, fine or in coarse steps, a channel that rests on one or two steps, and values that stand for two
// rows are left alone.
func TestNoRenewals(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 9))
	var time []float64
	for i := range 8000 {
		time = append(time, float64(i)/2000)
	}
	value, left := 0.0, 0
	for name, f := range map[string]func(i int) float64{
		"eight or nine rows": func(int) float64 {
			if left--; left < 0 {
				value, left = rng.NormFloat64(), 7+rng.IntN(2)
			}
			return value
		},
		"noise":          func(int) float64 { return rng.NormFloat64() },
		"coarse noise":   func(int) float64 { return math.Round(0.5 * rng.NormFloat64()) },
		"coarser noise":  func(int) float64 { return math.Round(0.25 * rng.NormFloat64()) },
		"coarsest noise": func(int) float64 { return math.Round(0.2 * rng.NormFloat64()) },
		"coarse slope":   func(i int) float64 { return math.Round(0.03*float64(i) + 0.1*rng.NormFloat64()) },
		"constant":       func(int) float64 { return 3 },
		"coarse wave":    func(i int) float64 { return math.Round(3 * math.Sin(float64(i)/9)) },
		"two rows":       func(i int) float64 { return math.Sin(float64(i/2) * 1.7) },
	} {
		x := make([]float64, len(time))
		for i := range x {
			x[i] = f(i)
		}
		if found := findRenewals(time, x); found != nil {
			t.Errorf("%s: a period of %g s", name, found.periodS)
		}
	}
	if findRenewals(nil, nil) != nil || findRenewals([]float64{1}, []float64{1}) != nil {
		t.Error("found in nothing")
	}
}

// TestSlowConverterRecording: a recording says the period, counts the values of a rise, takes what rounding leaves in plateaus from
// the values, and moves a declared mean to its middle.
func TestSlowConverterRecording(t *testing.T) {
	const rows = 7
	held := func(zeros float64) string {
		all := stepRows()
		rng := rand.New(rand.NewPCG(8, 9))
		for i := range all {
			if i%rows == 0 {
				q, _ := strconv.ParseFloat(all[i].torque, 64)
				if q += 0.01 * rng.NormFloat64(); zeros > 0 {
					q = math.Round(q/zeros) * zeros
				}
				all[i].torque = fmt.Sprintf("%.3f", q)
			} else {
				all[i].torque = all[i-1].torque
			}
		}
		return text(all)
	}
	fresh := mustRun(t, input(t, text(stepRows())))
	point := mustRun(t, input(t, held(0)))
	in := input(t, held(0))
	in.Files[0].Logger.Converter, in.Files[0].Logger.MeanS = "mean", 0.007
	mean := mustRun(t, in)
	for name, rec := range map[string]spin.Recording{"point": point, "mean": mean} {
		near(t, name+": period", rec.TorqueRenewedS, rows*0.001, 1e-6)
		if len(rec.Runs) != 1 || math.Abs(rec.Runs[0].SamplesInRise*rows/fresh.Runs[0].SamplesInRise-1) > 1e-3 {
			t.Errorf("%s: runs %+v", name, rec.Runs)
		}
		if !slices.ContainsFunc(rec.Warnings, func(w spin.Warning) bool { return w.Code == "torque-renewed" }) {
			t.Errorf("%s: warnings %v", name, said(rec))
		}
	}
	near(t, "a mean's middle", point.TorqueRenewedAtS-mean.TorqueRenewedAtS, 0.0035, 1e-9)
	if fresh.TorqueRenewedS != 0 {
		t.Errorf("fresh samples: renewed every %g s", fresh.TorqueRenewedS)
	}
	coarse := mustRun(t, input(t, held(0.5)))
	near(t, "step", coarse.TorqueStepNm, 0.5e-3, 1e-9)
}

// TestSpeedSteps: a speed written in steps of 100 rpm without noise says so, and what that leaves in its plateaus; one whose noise
// covers its steps says nothing.
func TestSpeedSteps(t *testing.T) {
	read := func(noise float64) spin.Recording {
		all := stepRows()
		rng := rand.New(rand.NewPCG(2, 9))
		for i := range all {
			q, _ := strconv.ParseFloat(all[i].erpm, 64)
			all[i].erpm = fmt.Sprintf("%.0f", 700*math.Round((q/7+noise*rng.NormFloat64())/100))
		}
		return mustRun(t, input(t, text(all)))
	}
	coarse, covered := read(0), read(600)
	near(t, "step", coarse.SpeedStepRadPerS, 100*math.Pi/30, 1e-9)
	for _, p := range coarse.Plateaus {
		near(t, "what it leaves", p.SpeedRoundingU, 100*math.Pi/30/math.Sqrt(12), 1e-9)
	}
	if covered.SpeedStepRadPerS != 0 || len(covered.Plateaus) == 0 || covered.Plateaus[0].SpeedRoundingU != 0 {
		t.Errorf("covered steps of %g rad/s, %+v", covered.SpeedStepRadPerS, covered.Plateaus)
	}
}
