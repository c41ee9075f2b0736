package rig

import (
	"bytes"
	"go/parser"
	"go/token"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
)

// The rig must not share a line with what it is to judge: only the standard
// library, and none of this module.
func TestImportsOnlyStandardLibrary(t *testing.T) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	files := 0
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") {
			continue
		}
		files++
		f, err := parser.ParseFile(token.NewFileSet(), e.Name(), nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range f.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			if path == "spinledger/cmd/virtualbench/rig" && strings.HasSuffix(e.Name(), "_test.go") {
				continue // the package itself, from its example
			}
			first, _, _ := strings.Cut(path, "/")
			if first == "spinledger" || strings.Contains(first, ".") {
				t.Errorf("%s imports %q; want the standard library only", e.Name(), path)
			}
		}
	}
	if files < 10 {
		t.Errorf("looked at %d files; the check has lost its subject", files)
	}
}

// faulty is a bench on which everything goes wrong at once.
func faulty() Bench {
	b := NominalBench(1000)
	b.Torque.FilterS, b.Torque.DelayS, b.Torque.Creep, b.Torque.CreepS = 1e-3, 2e-3, 5e-4, 30
	b.Torque.Hysteresis, b.Torque.PlayNm, b.Torque.WalkNmRtS = 5e-4, 0.01, 1e-5
	b.Speed = SpeedChannel{TimerS: 2e-6, Miss: 0.002, HoldS: 0.004, LSBRadPerS: 1, SpacingRMS: 0.001}
	b.Clock = Clock{SampleHz: 1000, RateError: 50e-6, SampleJitter: 1e-4, StampJitter: 1e-5, StampLSB: 1e-6, OriginS: 12.5}
	b.Telemetry = &Clock{SampleHz: 200, RateError: -80e-6, OriginS: 3}
	b.Faults = Faults{Drop: 0.002, DropRows: 3, Repeat: 0.001, Swap: 0.001, TorqueSpike: 0.001, TorqueSpikeN: 0.5, SpeedSpike: 0.002, SpeedSpikeBy: 2}
	return b
}

func csv(t *testing.T, tr Trace, d Dialect) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := WriteText(&buf, tr, d); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func TestSameSeedSameBytes(t *testing.T) {
	c := Class11()
	r := c.Motor.Rotor("prop", c.Propeller)
	p := StepPlan(c.Conditions(), c.NominalSteps(r, 1))
	bytesOf := func(seed uint64) []byte {
		tr, _ := mustRecord(t, faulty(), c.Motor, r, p, seed)
		return append(csv(t, tr, Plain(tr)), csv(t, *tr.Telemetry, Plain(*tr.Telemetry))...)
	}
	one := bytesOf(7)
	if !bytes.Equal(one, bytesOf(7)) {
		t.Error("equal seeds gave different bytes")
	}
	if bytes.Equal(one, bytesOf(8)) {
		t.Error("different seeds gave equal bytes")
	}
}

// Recording changes none of its arguments.
func TestArgumentsUntouched(t *testing.T) {
	c := Class11()
	r := c.Motor.Rotor("prop", c.Propeller)
	b, p := faulty(), StepPlan(c.Conditions(), c.NominalSteps(r, 1))
	mustRecord(t, b, c.Motor, r, p, 7)
	d := Class11()
	if !reflect.DeepEqual(b, faulty()) || !reflect.DeepEqual(c, d) || !reflect.DeepEqual(p, StepPlan(d.Conditions(), d.NominalSteps(r, 1))) {
		t.Error("an argument was changed")
	}
}

// A disturbance switched on leaves the others' random numbers alone.
func TestDisturbancesAreIndependent(t *testing.T) {
	m, r := bell()
	b := NominalBench(1000)
	one, _ := mustRecord(t, b, m, r, oneStep(0.3), 7)
	b.Speed.Miss = 0.02
	b.Faults.SpeedSpike = 0.01
	two, _ := mustRecord(t, b, m, r, oneStep(0.3), 7)
	if !reflect.DeepEqual(one.TorqueNm, two.TorqueNm) || reflect.DeepEqual(one.SpeedRadPerS, two.SpeedRadPerS) {
		t.Error("faults of the speed channel moved torque, or did nothing")
	}
}

func TestStepsFallAnywhereBetweenSamples(t *testing.T) {
	m, r := bell()
	b := clean(500)
	p := StepPlan(Class22().Conditions(), Steps{IdleDuty: 0.3, StepDuty: 0.7, Repeats: 20, IdleS: 0.05, SettledS: 0.05, ExtraS: 0.02})
	_, truth := mustRecord(t, b, m, r, p, 1)
	var quarter [4]int
	for _, x := range truth.Transitions {
		f := (x.CommandS - truth.ClockPhaseS) * 500
		quarter[int(4*(f-math.Floor(f)))]++
	}
	for i, n := range quarter {
		if n == 0 {
			t.Errorf("none of %d steps in quarter %d of the sampling interval: %v", len(truth.Transitions), i, quarter)
		}
	}
}

func TestClockFaults(t *testing.T) {
	m, r := bell()
	b := clean(1000)
	whole, _ := mustRecord(t, b, m, r, oneStep(0.3), 2)
	b.Clock.RateError, b.Clock.OriginS = 0.01, 100
	slow, _ := mustRecord(t, b, m, r, oneStep(0.3), 2)
	if d := float64(whole.Rows()) / float64(slow.Rows()); math.Abs(d-1.01) > 0.003 {
		t.Errorf("1 %% longer interval: %d rows against %d", slow.Rows(), whole.Rows())
	}
	if slow.TimeS[0] != 100 || math.Abs(slow.TimeS[10]-100.01) > 1e-9 {
		t.Errorf("stamps %.6f, %.6f; want 100 and 100.01", slow.TimeS[0], slow.TimeS[10])
	}
	b = clean(1000)
	b.Faults = Faults{Drop: 0.05, DropRows: 2}
	gaps, _ := mustRecord(t, b, m, r, oneStep(0.3), 2)
	if lost := 1 - float64(gaps.Rows())/float64(whole.Rows()); lost < 0.04 || lost > 0.16 {
		t.Errorf("gaps of 2 rows at 5 %% lost %.1f %%", 100*lost)
	}
	for _, c := range gaps.columns() {
		if *c != nil && len(*c) != gaps.Rows() {
			t.Fatal("columns of unequal length")
		}
	}
}

// A slow brake brings the speed down as planned and warms the winding; the way
// back, hotter, has less torque at the same speed.
func TestSweepHeats(t *testing.T) {
	c := Class11()
	c.Motor.Ripple = nil
	r := c.Motor.Rotor("bare")
	r.Load.ImbalanceNm2 = 0
	p := SweepPlan(c.Conditions(), 0.6, 0.4, 5, 5, 0.5, 0.5)
	tr, truth := mustRecord(t, clean(200), c.Motor, r, p, 1)
	var down, up SegmentTruth
	for _, s := range truth.Segments {
		switch s.Role {
		case Loading:
			down = s
		case Unloading:
			up = s
		}
	}
	if x := down.EndRadPerS / down.StartRadPerS; x < 0.3 || x > 0.5 {
		t.Errorf("braked to %.3f of the unloaded speed; want about 0.4", x)
	}
	if down.EndC-down.StartC < 10 {
		t.Errorf("winding rose %.1f K; want more than 10", down.EndC-down.StartC)
	}
	mid := 0.7 * down.StartRadPerS
	at := func(s SegmentTruth) float64 {
		best, torque := math.Inf(1), 0.0
		for i, w := range tr.SpeedRadPerS {
			if when := truth.ClockPhaseS + float64(i)/200; when > s.StartS && when < s.EndS && math.Abs(w-mid) < best {
				best, torque = math.Abs(w-mid), tr.TorqueNm[i]
			}
		}
		return torque
	}
	if d := at(up)/at(down) - 1; d > -0.01 {
		t.Errorf("torque on the way back %.2f %% of that on the way down; want lower", 100*d)
	}
}

// A coast ends at rest with the rest recorded; its momentum gives J.
func TestCoastToRest(t *testing.T) {
	m, r := bell()
	b := clean(1000)
	b.Torque.ZeroNm = 0.01
	tr, truth := mustRecord(t, b, m, r, CoastPlan(Class22().Conditions(), 0.8, 0.3, 0.5), 1)
	x := truth.Transitions[0]
	if x.ToRadPS != 0 || x.FromRadPerS < 1000 {
		t.Fatalf("coast from %g to %g rad/s", x.FromRadPerS, x.ToRadPS)
	}
	if last := tr.TorqueNm[tr.Rows()-1]; math.Abs(last-0.01) > 1e-12 {
		t.Errorf("at rest reads %.9f; want the zero, 0.01", last)
	}
	if j := (x.ReactionNms - x.LoadNms) / -x.FromRadPerS; math.Abs(j/r.Inertia-1) > 1e-9 {
		t.Errorf("momentum of the coast gives %.6g; want %.6g", j, r.Inertia)
	}
}

func TestRecordRefusesNonsense(t *testing.T) {
	m, r := bell()
	for _, c := range []struct {
		want string
		bad  func(*Bench, *Motor, *Rotor, *Plan)
	}{
		{"sampling 0 Hz", func(b *Bench, _ *Motor, _ *Rotor, _ *Plan) { b.Clock.SampleHz = 0 }},
		{"telemetry sampling", func(b *Bench, _ *Motor, _ *Rotor, _ *Plan) { b.Telemetry = &Clock{} }},
		{"damping 0", func(b *Bench, _ *Motor, _ *Rotor, _ *Plan) { b.Fixture.Hz = 200 }},
		{"delay -1", func(b *Bench, _ *Motor, _ *Rotor, _ *Plan) { b.Torque.DelayS = -1 }},
		{"periods", func(b *Bench, _ *Motor, _ *Rotor, _ *Plan) { b.Speed.Span = 65 }},
		{"Kt 0", func(_ *Bench, m *Motor, _ *Rotor, _ *Plan) { m.KtNmPerA = 0 }},
		{"inertia NaN", func(_ *Bench, _ *Motor, r *Rotor, _ *Plan) { r.Inertia = math.NaN() }},
		{"exponent 3", func(_ *Bench, _ *Motor, r *Rotor, _ *Plan) { r.Load.PropK, r.Load.PropN = 1, 3 }},
		{"no segments", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Segments = nil }},
		{"duty 1.1", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Segments[0].Duty = 1.1 }},
		{"duration 0", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Segments[0].DurationS = 0 }},
		{"s in all", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Segments[0].DurationS = 1e9 }},
		{"brake position", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Segments[0].BrakeTo = 2 }},
		{"integration step", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.StepS = 1 }},
		{"supply 0 V", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Supply.VoltageV = 0 }},
		{"air density 0", func(_ *Bench, _ *Motor, _ *Rotor, p *Plan) { p.Air.DensityKgM3 = 0 }},
	} {
		b, mm, rr, p := clean(1000), m, r, oneStep(0.3)
		c.bad(&b, &mm, &rr, &p)
		if _, _, err := Record(b, mm, rr, p, 1); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want an error with %q, got %v", c.want, err)
		}
	}
}
