package rig

import (
	"math"
	"testing"
)

// bell is a bare 22 mm class rotor without pulsations or imbalance.
func bell() (Motor, Rotor) {
	m := plainMotor()
	r := m.Rotor("bare")
	r.Load.ImbalanceNm2 = 0
	return m, r
}

// clean is a bench without a single error.
func clean(fs float64) Bench {
	return Bench{Clock: Clock{SampleHz: fs}, Speed: SpeedChannel{Mode: Instant}}
}

func oneStep(settled float64) Plan {
	return StepPlan(Class22().Conditions(), Steps{IdleDuty: 0.3, StepDuty: 0.7, Repeats: 1, IdleS: 0.3, SettledS: settled})
}

func mustRecord(t *testing.T, b Bench, m Motor, r Rotor, p Plan, seed uint64) (Trace, Truth) {
	t.Helper()
	tr, truth, err := Record(b, m, r, p, seed)
	if err != nil {
		t.Fatal(err)
	}
	return tr, truth
}

func TestFixtureGainAtRestIsOne(t *testing.T) {
	for _, hz := range []float64{0, 80, 200, 400} {
		s := newSpring(Fixture{Hz: hz, Damping: 0.05}, 25e-6)
		for range 80000 {
			s.advance(0.37)
		}
		if math.Abs(s.x-0.37) > 1e-12 {
			t.Errorf("%g Hz: rests at %.15f; want 0.37", hz, s.x)
		}
	}
}

// Step response of a second-order system (any control textbook): first peak at
// t = π/ωd with overshoot exp(−πζ/√(1−ζ²)).
func TestFixtureOvershoot(t *testing.T) {
	const hz, z, h = 120.0, 0.06, 1e-5
	s := newSpring(Fixture{Hz: hz, Damping: z}, h)
	peak, at := 0.0, 0.0
	for n := 1; n < 1000; n++ {
		if x := s.advance(1); x > peak {
			peak, at = x, float64(n)*h
		}
	}
	root := math.Sqrt(1 - z*z)
	if want := 1 + math.Exp(-math.Pi*z/root); math.Abs(peak-want) > 1e-4 {
		t.Errorf("peak %.6f; want %.6f", peak, want)
	}
	if want := 1 / (2 * hz * root); math.Abs(at-want) > h {
		t.Errorf("peak at %.6f s; want %.6f", at, want)
	}
}

// At resonance imbalance comes out 1/(2ζ) times as large (any vibration textbook).
func TestImbalanceAtResonance(t *testing.T) {
	const hz, z, unbalance = 150.0, 0.05, 1e-9
	b := clean(1000)
	b.Fixture = Fixture{Hz: hz, Damping: z}
	c := newCell(&b, Load{ImbalanceNm2: unbalance}, 1, 25e-6)
	w, peak := 2*math.Pi*hz, 0.0
	for n := range 80000 {
		x := c.advance(0, w, w*(float64(n)+0.5)*25e-6)
		if n > 60000 {
			peak = max(peak, math.Abs(x))
		}
	}
	if want := unbalance * w * w / (2 * z); math.Abs(peak/want-1) > 2e-3 {
		t.Errorf("amplitude %.6g; want %.6g N·m", peak, want)
	}
}

// With a fixture that rings, the recorded torque still integrates to
// J·Δω + ∫L dt: the momentum balance that a bench rests on.
func TestTraceHoldsMomentum(t *testing.T) {
	m, r := bell()
	for _, hz := range []float64{0, 200} {
		b := clean(20000)
		b.Fixture = Fixture{Hz: hz, Damping: 0.05}
		tr, truth := mustRecord(t, b, m, r, oneStep(0.6), 5)
		x := truth.Transitions[0]
		from, to := x.CommandS-0.05, x.CommandS+0.5
		impulse, load, dt := 0.0, 0.0, 1/b.Clock.SampleHz
		var first, last float64
		for i, w := range tr.SpeedRadPerS {
			at := truth.ClockPhaseS + float64(i)*dt
			if at < from || at > to {
				continue
			}
			if first == 0 {
				first = w
			}
			last = w
			impulse += tr.TorqueNm[i] * dt
			load += r.Load.At(w, Room().DensityKgM3) * dt
		}
		if j := (impulse - load) / (last - first); math.Abs(j/r.Inertia-1) > 2e-4 {
			t.Errorf("fixture %g Hz: momentum gives J %.6g; true %.6g", hz, j, r.Inertia)
		}
	}
}

// Integrals that the truth keeps agree with J and L without any sensor.
func TestTruthHoldsMomentum(t *testing.T) {
	for _, c := range Classes() {
		r := c.Motor.Rotor("prop", c.Propeller)
		_, truth := mustRecord(t, clean(500), c.Motor, r, StepPlan(c.Conditions(), c.NominalSteps(r, 2)), 9)
		if len(truth.Transitions) != 4 {
			t.Fatalf("%s: %d transitions; want 4", c.Name, len(truth.Transitions))
		}
		for _, x := range truth.Transitions {
			j := (x.ReactionNms - x.LoadNms) / (x.ToRadPS - x.FromRadPerS)
			if math.Abs(j/(truth.Inertia+truth.Entrained)-1) > 1e-9 {
				t.Errorf("%s: momentum gives %.9g; want %.9g", c.Name, j, truth.Inertia+truth.Entrained)
			}
			if !(x.T10S > x.CommandS && x.T90S > x.T10S) {
				t.Errorf("%s: command at %g, 10 %% at %g, 90 %% at %g", c.Name, x.CommandS, x.T10S, x.T90S)
			}
		}
	}
}

// A mean converter reads the mean of what a fine point sampler reads.
func TestMeanConverter(t *testing.T) {
	m, r := bell()
	fine, _ := mustRecord(t, clean(40000), m, r, oneStep(0.3), 1)
	for _, window := range []float64{0.01, 0.004, 0.025} {
		b := clean(100)
		b.Torque.AverageS = window
		coarse, truth := mustRecord(t, b, m, r, oneStep(0.3), 2)
		_, fineTruth := mustRecord(t, clean(40000), m, r, oneStep(0.3), 1)
		for i := 4; i < coarse.Rows(); i++ {
			at := truth.ClockPhaseS + float64(i)/100
			sum, n := 0.0, 0
			for j, v := range fine.TorqueNm {
				if x := fineTruth.ClockPhaseS + float64(j)/40000; x > at-window && x <= at {
					sum += v
					n++
				}
			}
			// A fine sample more or less at the edges of the window: peak/n.
			if mean := sum / float64(n); math.Abs(coarse.TorqueNm[i]-mean) > 0.35*1.5/float64(n) {
				t.Errorf("window %g s, sample %d: %.6f; mean of point samples %.6f N·m", window, i, coarse.TorqueNm[i], mean)
			}
		}
	}
}

// Scale, zero, drift, delay and rounding do what they say.
func TestTorqueChannel(t *testing.T) {
	m, r := bell()
	b := clean(2000)
	ideal, _ := mustRecord(t, b, m, r, oneStep(0.3), 3)
	b.Torque = TorqueChannel{Scale: 1.02, ZeroNm: 0.05, DriftNmPs: 1e-3}
	got, truth := mustRecord(t, b, m, r, oneStep(0.3), 3)
	for i, v := range ideal.TorqueNm {
		at := truth.ClockPhaseS + float64(i)/2000
		if want := 1.02*v + 0.05 + 1e-3*at; math.Abs(got.TorqueNm[i]-want) > 1e-12 {
			t.Fatalf("sample %d: %.9f; want %.9f", i, got.TorqueNm[i], want)
		}
	}
	b.Torque = TorqueChannel{DelayS: 0.004, LSBNm: 1e-3}
	got, truth = mustRecord(t, b, m, r, oneStep(0.3), 3)
	for i := 8; i < got.Rows(); i++ {
		if d := got.TorqueNm[i] - ideal.TorqueNm[i-8]; math.Abs(d) > 0.5001e-3 {
			t.Fatalf("sample %d: %.6f, 4 ms before %.6f", i, got.TorqueNm[i], ideal.TorqueNm[i-8])
		}
		if n := got.TorqueNm[i] / 1e-3; math.Abs(n-math.Round(n)) > 1e-6 {
			t.Fatalf("sample %d: %g is no multiple of 1 mN·m", i, got.TorqueNm[i])
		}
	}
	if truth.LagS != 0.004 {
		t.Errorf("true lag %g s; want 0.004", truth.LagS)
	}
}

// Creep adds its share with its time constant; play leaves its loop.
func TestCreepAndPlay(t *testing.T) {
	b := clean(1000)
	b.Torque = TorqueChannel{Creep: 1e-3, CreepS: 2, Hysteresis: 0.01, PlayNm: 0.2}
	c := newCell(&b, Load{}, 1, 1e-4)
	c.start(0, 0)
	for range 20000 {
		c.advance(1, 0, 0)
	}
	want := 1 + 1e-3*(1-math.Exp(-1)) - 0.01*0.2
	if math.Abs(c.out-want) > 1e-9 {
		t.Errorf("after one time constant %.9f; want %.9f", c.out, want)
	}
}

// A reading from periods is late by half a period plus the age of the edge:
// one period in all on average, so in a ramp it is low by slope × period.
func TestPeriodLatency(t *testing.T) {
	const a, w0, h, polePairs = 3000.0, 500.0, 25e-6, 7
	tick := newTicker(Clock{SampleHz: 2357}, stream(1, streamClock))
	s := newSpeedSampler(newPickup(SpeedChannel{}, polePairs, stream(1, streamSpeed), 0), tick, w0)
	angle, w := 0.0, w0
	for n := range 16000 {
		t0 := float64(n) * h
		s.feed(t0, h, angle, angle+w*h+0.5*a*h*h, w, w+a*h)
		angle += w*h + 0.5*a*h*h
		w += a * h
	}
	late, n := 0.0, 0
	for i, v := range s.values {
		at := tick.at[i]
		if at < 0.02 || at > 0.4 {
			continue
		}
		true0 := w0 + a*at
		late += (true0 - v) / a / (2 * math.Pi / (polePairs * true0))
		n++
	}
	if got := late / float64(n); math.Abs(got-1) > 0.05 {
		t.Errorf("late by %.3f periods on average of %d; want 1", got, n)
	}
}

// Rounding of the timer, missed edges, renewal and rest.
func TestSpeedChannel(t *testing.T) {
	m, r := bell()
	p := oneStep(0.3)
	b := clean(2000)
	b.Speed = SpeedChannel{Miss: 0.01}
	tr, truth := mustRecord(t, b, m, r, p, 4)
	half, idle := 0, truth.Segments[0].LateRadPerS
	for _, v := range tr.SpeedRadPerS[:500] {
		missed := idle/v - 1
		if math.Abs(missed-math.Round(missed)) > 3e-3 {
			t.Fatalf("idle speed reads %.4f; want %.4f over a whole number", v, idle)
		}
		if math.Round(missed) == 1 {
			half++
		}
	}
	if half == 0 {
		t.Errorf("1 %% of edges missed, no reading of half the speed among 500")
	}
	b.Speed = SpeedChannel{HoldS: 0.02}
	tr, _ = mustRecord(t, b, m, r, p, 4)
	changes := 0
	for i := 600; i < 800; i++ {
		if tr.SpeedRadPerS[i] != tr.SpeedRadPerS[i-1] {
			changes++
		}
	}
	if changes < 4 || changes > 6 {
		t.Errorf("renewed every 20 ms: %d changes in 100 ms; want 5", changes)
	}
	b.Speed = SpeedChannel{}
	p = StepPlan(Class22().Conditions(), Steps{StepDuty: 0.7, Repeats: 1, SettledS: 0.3, FromRest: true, NoReturn: true})
	tr, truth = mustRecord(t, b, m, r, p, 4)
	start := int(truth.Transitions[0].CommandS * 2000)
	for i, v := range tr.SpeedRadPerS[:start] {
		if v != 0 {
			t.Fatalf("row %d at rest reads %g rad/s", i, v)
		}
	}
	if last := tr.SpeedRadPerS[tr.Rows()-1]; math.Abs(last/truth.Segments[1].EndRadPerS-1) > 1e-3 {
		t.Errorf("settled reads %.3f; true %.3f", last, truth.Segments[1].EndRadPerS)
	}
}

// Power in the trace: V·I covers torque × speed once heat is added.
func TestPowerChannels(t *testing.T) {
	c := Class40()
	m := c.Motor
	m.Ripple = nil
	r := m.Rotor("prop", c.Propeller)
	b := clean(500)
	b.Power = PowerChannel{Present: true}
	tr, truth := mustRecord(t, b, m, r, SteadyPlan(c.Conditions(), []float64{0.3, 0.6}, 1, 0.5), 1)
	for i := range tr.TimeS {
		if i < 900 || i > 990 { // late in the first level
			continue
		}
		mechanical := tr.TorqueNm[i] * tr.SpeedRadPerS[i]
		electrical := tr.VoltageV[i] * tr.CurrentA[i]
		if mechanical <= 0 || electrical <= mechanical || electrical > 2.5*mechanical {
			t.Fatalf("row %d: %.3f W in, %.3f W out", i, electrical, mechanical)
		}
		if want := c.Supply.VoltageV - c.Supply.Ohm*tr.CurrentA[i]; math.Abs(tr.VoltageV[i]-want) > 1e-9 {
			t.Fatalf("row %d: %.6f V; source and its resistance give %.6f", i, tr.VoltageV[i], want)
		}
	}
	if n := len(truth.Segments); n != 1+4+2 {
		t.Errorf("%d segments; want 7", n)
	}
}
