package rig

import (
	"math"
	"testing"
)

// A point sample lies between two steps in proportion: with a step of 100 µs
// and a straight line as input, readings stay on the line.
func TestPointSampleInterpolates(t *testing.T) {
	const h, slope = 1e-4, 3.0
	tick := newTicker(Clock{SampleHz: 1700}, stream(1, streamClock))
	s := newTorqueSampler(TorqueChannel{}, tick, 1, 0)
	for n := range 1000 {
		s.feed(float64(n)*h, h, slope*float64(n+1)*h)
	}
	for i, v := range s.values {
		if want := slope * tick.at[i]; math.Abs(v-want) > 1e-12 {
			t.Fatalf("sample %d: %.12f; want %.12f", i, v, want)
		}
	}
	// The mean of a straight line is its value half a window before. The window
	// is no multiple of the step, or errors at its two ends would cancel.
	const window = 0.00333
	s = newTorqueSampler(TorqueChannel{AverageS: window}, tick, 1, 0)
	for n := range 1000 {
		s.feed(float64(n)*h, h, slope*float64(n+1)*h)
	}
	for i, v := range s.values {
		if want := slope * (tick.at[i] - 0.5*window); tick.at[i] > window && math.Abs(v-want) > 1e-11 {
			t.Fatalf("mean %d: %.12f; want %.12f", i, v, want)
		}
	}
}

// Without a new edge for the timeout the channel reads 0, the last speed till then.
func TestSpeedTimesOut(t *testing.T) {
	m, r := bell()
	b := clean(1000)
	b.Speed = SpeedChannel{TimeoutS: 0.05}
	tr, truth := mustRecord(t, b, m, r, CoastPlan(Class22().Conditions(), 0.5, 0.2, 0.5), 1)
	stop := truth.Segments[1].EndS
	for i, v := range tr.SpeedRadPerS {
		at := truth.ClockPhaseS + float64(i)/1000
		if at > stop+0.06 && v != 0 {
			t.Fatalf("%.3f s after the stop reads %.3f rad/s; want 0", at-stop, v)
		}
		if at < stop-0.2 && v == 0 {
			t.Fatalf("%.3f s before the stop reads 0", stop-at)
		}
	}
}

// Gaps have the length they are given; one row is the default.
func TestGapLength(t *testing.T) {
	m, r := bell()
	for _, rows := range []int{0, 1, 5} {
		b := clean(2000)
		b.Faults = Faults{Drop: 0.005, DropRows: rows}
		tr, _ := mustRecord(t, b, m, r, oneStep(0.5), 2)
		want, gaps := max(rows, 1), 0
		for i := 1; i < tr.Rows(); i++ {
			if lost := int(math.Round((tr.TimeS[i]-tr.TimeS[i-1])*2000)) - 1; lost > 0 {
				gaps++
				// Two gaps may touch.
				if lost%want != 0 {
					t.Errorf("gap of %d rows; want %d", lost, want)
				}
			}
		}
		if gaps == 0 {
			t.Errorf("gaps of %d rows: none found", want)
		}
	}
}

// Repeated and swapped rows leave every row's content whole.
func TestRepeatsAndSwaps(t *testing.T) {
	m, r := bell()
	whole, _ := mustRecord(t, clean(1000), m, r, oneStep(0.5), 2)
	at := map[float64]float64{}
	for i, x := range whole.TimeS {
		at[x] = whole.TorqueNm[i]
	}
	b := clean(1000)
	b.Faults = Faults{Repeat: 0.02, Swap: 0.02}
	tr, _ := mustRecord(t, b, m, r, oneStep(0.5), 2)
	repeats, backwards := 0, 0
	for i, x := range tr.TimeS {
		if tr.TorqueNm[i] != at[x] {
			t.Fatalf("row %d: torque of another row", i)
		}
		if i > 0 && x == tr.TimeS[i-1] {
			repeats++
		}
		if i > 0 && x < tr.TimeS[i-1] {
			backwards++
		}
	}
	if repeats == 0 || backwards == 0 {
		t.Errorf("%d repeats, %d rows going back in time; want some of each", repeats, backwards)
	}
}

// Spikes change the share of samples declared and by the amount declared.
func TestSpikes(t *testing.T) {
	m, r := bell()
	whole, _ := mustRecord(t, clean(2000), m, r, oneStep(0.5), 2)
	b := clean(2000)
	b.Faults = Faults{TorqueSpike: 0.02, TorqueSpikeN: 0.5, SpeedSpike: 0.02, SpeedSpikeBy: 2}
	tr, _ := mustRecord(t, b, m, r, oneStep(0.5), 2)
	torque, speed := 0, 0
	for i := range tr.TimeS {
		if d := math.Abs(tr.TorqueNm[i] - whole.TorqueNm[i]); d > 1e-12 {
			torque++
			if math.Abs(d-0.5) > 1e-12 {
				t.Fatalf("torque spike of %g; want 0.5 N·m", d)
			}
		}
		if q := tr.SpeedRadPerS[i] / whole.SpeedRadPerS[i]; q != 1 {
			speed++
			if q != 2 {
				t.Fatalf("speed spike by %g; want 2", q)
			}
		}
	}
	// 2 % of about 2200 rows: 44 ± 6.6, five of them allowed.
	for _, n := range []int{torque, speed} {
		if n < 12 || n > 77 {
			t.Errorf("%d torque and %d speed spikes among %d rows; want about 44", torque, speed, tr.Rows())
		}
	}
}

// With the phases cut a braking controller brakes no longer: only friction does.
func TestCutIgnoresBraking(t *testing.T) {
	m, r := bell()
	stop := func(p Plan) float64 {
		_, truth := mustRecord(t, clean(500), m, r, p, 1)
		s := truth.Segments[1]
		return s.EndS - s.StartS
	}
	p := CoastPlan(Class22().Conditions(), 0.8, 0.2, 0.2)
	cut := stop(p)
	p.Segments[1].Cut = false
	if braked := stop(p); cut < 5*braked {
		t.Errorf("cut: %.3f s to rest, shorted: %.3f s; want far longer", cut, braked)
	}
}

// Warm magnets turn faster at the same duty by the loss of torque constant.
func TestMagnetsWeakenWithHeat(t *testing.T) {
	m := plainMotor()
	m.Drag = Drag{}
	r := Rotor{Inertia: 1e-6}
	speed := func(magnet float64) float64 {
		v := newMachine(&m, r, Supply{VoltageV: 10}, Controller{Braking: true}, Room(),
			Heat{WindingC: ReferenceC, StatorC: ReferenceC, MagnetC: magnet}, 25e-6)
		v.settle(0.5)
		return v.speed
	}
	// NdFeB loses about 0.1 %/K: common practice, no source.
	if got := speed(ReferenceC+50)/speed(ReferenceC) - 1; math.Abs(got-(1/0.95-1)) > 1e-6 {
		t.Errorf("50 K on the magnets: %.4f %% faster; want %.4f %%", 100*got, 100*(1/0.95-1))
	}
}

// Blade passing beats at blades × speed with its share of the propeller's
// torque, and ripple beyond the step's rate does not come back as a slow wave.
func TestPulsations(t *testing.T) {
	r := Rotor{Inertia: 1, Load: Load{PropK: 1e-6, PropN: 2, Blades: 3, BladeFactor: 0.1}}
	v := free(r.Inertia, r.Load)
	v.bladeWaves = 3
	v.speed, v.midSpeed = 1000, 1000
	low, high := math.Inf(1), 0.0
	for range 2000 {
		v.mechanics(1)
		low, high = min(low, v.loadNow), max(high, v.loadNow)
	}
	if math.Abs(high/1.1-1) > 0.01 || math.Abs(low/0.9-1) > 0.01 {
		t.Errorf("load of 1 N·m beats from %.4f to %.4f; want 0.9 to 1.1", low, high)
	}
	// 1/h is 100 kHz: this harmonic turns once a step but for 1 %.
	v = free(1, Load{})
	v.speed, v.midSpeed = 1000, 1000
	v.motor.Ripple = []Harmonic{{Order: 1.01 * 2 * math.Pi * 1e5 / 1000, AbsNm: 1}}
	for range 1000 {
		v.mechanics(0)
		if math.Abs(v.reaction) > 0.02 {
			t.Fatalf("ripple above the step's rate comes back with %.3f of its amplitude", v.reaction)
		}
	}
	for x := -40.0; x < 40; x += 0.37 {
		if math.Abs(fastSin(x)-math.Sin(x)) > 4e-6 {
			t.Errorf("fastSin(%g) = %.9f; sine %.9f", x, fastSin(x), math.Sin(x))
		}
	}
	for x := 0.01; x < math.Pi; x += 0.05 {
		if math.Abs(sinc(x*x)-math.Sin(x)/x) > 3e-3 {
			t.Errorf("sinc(%g) = %.6f; want %.6f", x, sinc(x*x), math.Sin(x)/x)
		}
	}
}

// A second logger has its own rate and the main trace has no speed.
func TestTelemetry(t *testing.T) {
	m, r := bell()
	b := clean(2000)
	b.Telemetry = &Clock{SampleHz: 100, OriginS: 7, RateError: 1e-3}
	tr, truth := mustRecord(t, b, m, r, oneStep(0.5), 1)
	if tr.SpeedRadPerS != nil || tr.Telemetry == nil || tr.Telemetry.TorqueNm != nil {
		t.Fatal("speed belongs to the second logger, torque to the first")
	}
	tel := tr.Telemetry
	if tel.TimeS[0] != 7 || math.Abs(float64(tel.Rows())-truth.EndS*100) > 2 {
		t.Errorf("starts at %g with %d rows; want 7 and %.0f", tel.TimeS[0], tel.Rows(), truth.EndS*100)
	}
	for i, d := range tel.Duty {
		at := truth.TelemetryPhaseS + float64(i)/100*1.001
		x := truth.Transitions[0]
		if at > x.CommandS+1e-3 && at < truth.Transitions[1].CommandS && d != x.ToDuty {
			t.Fatalf("row %d at %.4f s has duty %g; commanded %g", i, at, d, x.ToDuty)
		}
	}
}

// The commanded duty ramps in the time declared: the speed's mean delay grows
// by half of it.
func TestRamp(t *testing.T) {
	m, r := bell()
	half := func(ramp float64) float64 {
		p := oneStep(0.6)
		p.Controller.RampS = ramp
		tr, truth := mustRecord(t, clean(500), m, r, p, 1)
		x := truth.Transitions[0]
		for i, w := range tr.SpeedRadPerS {
			if w > 1.001*x.ToRadPS {
				t.Fatalf("ramp %g s: row %d overshoots to %.1f of %.1f rad/s", ramp, i, w, x.ToRadPS)
			}
		}
		return 0.5*(x.T10S+x.T90S) - x.CommandS
	}
	if got := half(0.1) - half(0); math.Abs(got-0.05) > 0.006 {
		t.Errorf("a ramp of 100 ms delays the rise by %.4f s; want about 0.05", got)
	}
}

// The current limit holds, and a saturated core gives less torque per ampere.
func TestLimitAndSaturation(t *testing.T) {
	m, r := bell()
	v := newMachine(&m, r, Supply{VoltageV: 14.8}, Controller{Braking: true, LimitA: 20}, Room(), Uniform(ReferenceC), 25e-6)
	v.duty = 0.7
	peak := 0.0
	for range 2000 {
		v.step()
		peak = max(peak, v.current)
	}
	if peak != 20 {
		t.Errorf("peak current %g A; limited to 20", peak)
	}
	m.SaturationA = 60
	if got := m.torqueConstant(ReferenceC, 30) / m.KtNmPerA; math.Abs(got-0.8) > 1e-12 {
		t.Errorf("at half the saturation current %.6f of Kt; want 1/(1+1/4) = 0.8", got)
	}
}

// The zero walks as the root of time: after 1 s its scatter over 300 seeds is
// the declared value within four standard errors, 1/√600 each.
func TestZeroWalks(t *testing.T) {
	const walk, seeds = 1e-4, 300
	sum := 0.0
	for seed := range uint64(seeds) {
		tick := newTicker(Clock{SampleHz: 100}, stream(seed, streamClock))
		s := newTorqueSampler(TorqueChannel{WalkNmRtS: walk}, tick, seed, 0)
		s.feed(0, 1, 0)
		end := s.values[len(s.values)-1]
		sum += end * end
	}
	if got := math.Sqrt(sum / seeds); math.Abs(got/walk-1) > 4/math.Sqrt(2*seeds) {
		t.Errorf("after 1 s the zero scatters by %.3g; declared %.3g N·m", got, walk)
	}
}

// Edges unevenly spaced repeat every revolution; edge times sit on the timer.
func TestEdgesAndTimer(t *testing.T) {
	const w, h = 400.0, 25e-6
	read := func(ch SpeedChannel) []float64 {
		tick := newTicker(Clock{SampleHz: 20000}, stream(1, streamClock))
		s := newSpeedSampler(newPickup(ch, 7, stream(1, streamSpeed), 0), tick, w)
		for n := range 8000 {
			t0 := float64(n) * h
			s.feed(t0, h, w*t0, w*(t0+h), w, w)
		}
		return s.values
	}
	distinct := func(v []float64) int {
		seen := map[int64]bool{}
		for _, x := range v {
			seen[int64(math.Round(x*1e5))] = true
		}
		return len(seen)
	}
	if n := distinct(read(SpeedChannel{EdgesPerRev: 4, SpacingRMS: 0.01})); n != 4 {
		t.Errorf("four uneven marks give %d different readings; want 4", n)
	}
	if n := distinct(read(SpeedChannel{EdgesPerRev: 4})); n != 1 {
		t.Errorf("four even marks give %d different readings; want 1", n)
	}
	// Period 3.92699 ms in ticks of 50 µs: 78 or 79 of them.
	for _, v := range read(SpeedChannel{EdgesPerRev: 4, TimerS: 50e-6}) {
		ticks := 2 * math.Pi / (4 * v * 50e-6)
		if math.Abs(ticks-78) > 1e-6 && math.Abs(ticks-79) > 1e-6 {
			t.Fatalf("a period of %.4f ticks; want 78 or 79", ticks)
		}
	}
}
