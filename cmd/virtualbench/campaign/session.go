// Package campaign measures the pipeline on virtual sessions whose truth is
// known: how far its numbers are off, how often its intervals hold, which
// check sees which fault, and how often a wrong number passes for a good one.
//
// # Order of work
//
//  1. A [Scenario] is the design of a session; [Faults] spoil it.
//  2. Build draws the session's errors, records it and declares it as a tester would.
//  3. [Measure] computes sessions through the pipeline and judges their numbers by the truth.
//  4. [Report] counts: bias, scatter, coverage, refusals, wrong numbers fit for release, checks.
package campaign

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing/fstest"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/pipeline"
	"spinledger/stages/ingest"
	"spinledger/stages/kit/geometry"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Session is a recorded session, its declaration and its truth.
type Session struct {
	Files fstest.MapFS
	Work  pipeline.Work
	// Truth by quantity ("bare", "disk", "prop", "prop-in-air"), kg·m².
	Truth map[string]float64
	// Rotor holds what a perfect bench would find of each rotor in air, and
	// the Cramér–Rao bound of the mean of its runs, both kg·m².
	Rotor map[string]RotorTruth
	// Sweeps by recording: the mean deficit of its torque against a cold motor's.
	Sweeps map[string]float64
	// LagS is how much later the torque channel is than the speed channel, s.
	LagS float64
	// rotors as they truly are, and the air they turn in.
	rotors map[string]rig.Rotor
	air    rig.Air
}

// RotorTruth is the true inertia in air of a rotor and its random bound.
type RotorTruth struct{ InAir, Bound float64 }

// builder is the state of one Build.
type builder struct {
	s      Scenario
	seed   uint64
	drawn  rig.Drawn
	bench  rig.Bench
	disk   rig.Disk
	weighs float64
	rotors map[string]rig.Rotor
	out    Session
	shots  []shot
}

type shot struct {
	rig.Shot
	rotor, kind string
	supply      float64
	duty        float64
}

// Build makes one session of a scenario.
func Build(s Scenario, seed uint64) (Session, error) {
	b := &builder{s: s, seed: seed, drawn: rig.Draw(s.Errors, seed)}
	b.bench = b.drawn.Bench(s.Bench)
	b.disk, b.weighs = b.drawn.Disk(s.Class.Disk)
	prop := b.drawn.Propeller(s.Class.Propeller, 0.6*s.Class.Supply.VoltageV/s.Class.Motor.KtNmPerA)
	if s.Errors.InflowC == ([2]float64{}) {
		prop.Load.InflowC = 0
	}
	m := s.Class.Motor
	b.rotors = map[string]rig.Rotor{
		"bare": m.Rotor("bare"), "disk": m.Rotor("disk", b.disk.DiskPart("disk")), "prop": m.Rotor("prop", prop),
	}
	b.out = Session{
		Files: fstest.MapFS{}, Rotor: map[string]RotorTruth{}, Sweeps: map[string]float64{},
		Truth: map[string]float64{"bare": m.BellInertia, "disk": b.disk.Inertia(), "prop": prop.Inertia},
	}
	b.out.rotors, b.out.air = b.rotors, b.drawn.Air(s.Class.Conditions().Air)
	b.out.Work = pipeline.Work{Job: "virtual", Day: "2026-01-01", Options: pipeline.DefaultOptions(), Repeatability: s.Repeats}
	b.plan()
	return b.out, b.record()
}

func (b *builder) conditions(c Condition) rig.Conditions {
	out := b.s.Class.Conditions()
	out.Supply.VoltageV *= c.SupplyRel
	out.Controller.Braking, out.Controller.RampS = b.s.Braking, b.s.RampS
	out.Air = b.drawn.Air(out.Air)
	if b.s.WarmK > 0 {
		h := rig.Uniform(out.Air.TemperatureC + b.s.WarmK)
		out.Start = &h
	}
	return out
}

// plan lists the shots in the order in which a day goes: rotor by rotor.
func (b *builder) plan() {
	s := &b.s
	wander := rand.New(rand.NewPCG(b.seed, 0x6c6f6164))
	for _, name := range s.Rotors {
		r := b.rotors[name]
		for k, c := range s.Conditions {
			steps := s.Class.NominalSteps(r, s.Runs)
			steps.StepDuty = c.Duty
			if s.Locked {
				steps.ExtraS = 0
			}
			steps.IdleS, steps.SettledS = math.Max(steps.IdleS, s.IdleS)+s.RampS, math.Max(steps.SettledS, s.SettledS)+s.RampS
			recordings := 1
			if s.TwoPlateaus {
				recordings, steps.Repeats, steps.NoReturn = s.Runs, 1, true
			}
			for i := range recordings {
				b.add(fmt.Sprintf("%s-%d%c", name, k+1, 'a'+i), name, "step", rig.StepPlan(b.conditions(c), steps), c)
			}
		}
		full := Condition{1, 0.7}
		duties := []float64{0.2, 0.27, 0.34, 0.41, 0.48, 0.55, 0.62, 0.69, 0.76}
		hold := 0.7 + 6*s.Class.Motor.RiseS(r.Inertia)
		then := b.conditions(full)
		then.Air.DensityKgM3 *= 1 + s.LoadWanderRel*wander.NormFloat64()
		b.add(name+"-levels", name, "steady", rig.SteadyPlan(then, duties, hold, 0.8), full)
		if s.Coast {
			b.add(name+"-coast", name, "coast", rig.CoastPlan(b.conditions(full), 0.7, 1, 1), full)
		}
		if name == "disk" {
			for i, w := range s.Sweeps {
				b.add(fmt.Sprintf("disk-sweep%d", i+1), name, "sweep", rig.SweepPlan(b.conditions(full), 0.7, 0.45, w.LoadS, w.UnloadS, 1, 0.5), full)
			}
		}
	}
}

// levelsHz is fast enough for plateaus of a second.
const levelsHz = 500

func (b *builder) add(name, rotor, kind string, plan rig.Plan, c Condition) {
	x := shot{Shot: rig.Shot{Name: name, Mounting: rotor, Rotor: b.rotors[rotor], Plan: plan, PauseS: 60}, rotor: rotor, kind: kind, supply: b.s.Class.Supply.VoltageV * c.SupplyRel, duty: c.Duty}
	if kind != "step" {
		x.SampleHz = math.Min(levelsHz, b.bench.Clock.SampleHz)
	}
	b.shots = append(b.shots, x)
}

// record makes all recordings and their declarations.
func (b *builder) record() error {
	s := &b.s
	after := b.bench
	after.Torque.Scale *= 1 + s.ScaleShift
	day := rig.Session{Bench: after, Motor: s.Class.Motor, Seed: b.seed, ZeroNm: s.ZeroNm, Remount: s.MountRel, LagS: s.LagWanderS, ScaleDrift: s.ScaleDrift, Carry: s.WarmK > 0}
	for _, x := range b.shots {
		day.Shots = append(day.Shots, x.Shot)
	}
	recorded, err := day.Record()
	if err != nil {
		return err
	}
	bench, again := b.declaredBench(), ""
	gain, err := ingest.Calibrate(bench, "virtual/1", spin.CCW)
	if s.WeighAgain {
		again = "virtual/2"
		gain, err = ingest.CalibrateTwice(bench, "virtual/1", again, spin.CCW, "virtual/mounting:any/scale-drift")
	}
	if err != nil {
		return err
	}
	truths := map[string]*mean{}
	for i, r := range recorded {
		x := b.shots[i]
		if err := b.declare(x, r, bench, again); err != nil {
			return err
		}
		b.out.LagS = r.Truth.LagS - b.s.datedS()
		if x.kind == "step" {
			if truths[x.rotor] == nil {
				truths[x.rotor] = &mean{}
			}
			truths[x.rotor].add(&r.Truth, after)
		}
		if x.kind == "sweep" {
			if b.out.Sweeps[x.Name], err = b.deficit(x, r.Truth); err != nil {
				return err
			}
		}
	}
	b.out.Work.Rotors, b.out.Work.Parts = b.declaredRotors(), b.declaredParts()
	for _, name := range s.Rotors {
		t := truths[name]
		j := t.inAir / t.n
		// What the weights' scale makes of it: the reading over the true torque, times the gain found.
		b.out.Rotor[name] = RotorTruth{InAir: j * after.Torque.Scale * gain.GainNm, Bound: t.bound()}
	}
	if s.has("prop") {
		b.out.Truth["prop-in-air"] = truths["prop"].inAir/truths["prop"].n - b.out.Truth["bare"]
	}
	return nil
}

// mean gathers the transitions of a rotor.
type mean struct{ inAir, n, information float64 }

// add takes the rises' effective inertia, and of all transitions the Fisher
// information on J that white torque noise of variance σ² a sample leaves with
// the zero unknown:
//
//	I = [∫ (dω/dt)² dt − (Δω)²/T] / (σ²·h)
//
// for a transition of length T sampled at interval h (Cramér–Rao; Kay,
// Fundamentals of Statistical Signal Processing, 1993, 3.5, from memory).
func (m *mean) add(t *rig.Truth, b rig.Bench) {
	noise := b.Torque.NoiseNm * b.Torque.NoiseNm / b.Clock.SampleHz
	for _, x := range t.Transitions {
		change := x.ToRadPS - x.FromRadPerS
		if change > 0 {
			m.inAir += x.EffectiveInertia
			m.n++
		}
		seg := t.Segments[x.Segment]
		m.information += (x.Accel2 - change*change/(seg.EndS-seg.StartS)) / noise
	}
}

func (m *mean) bound() float64 { return 1 / math.Sqrt(m.information) }

func (b *builder) declare(x shot, r rig.Recorded, bench spin.Bench, again string) error {
	s := &b.s
	d := spin.Declared{
		Job: "virtual", Name: x.Name, Kind: spin.Kind(x.kind), Rotor: b.rotorID(x.rotor), Mounting: x.rotor, Session: "day", Turns: spin.CCW,
		SupplyV: x.supply, PolePairs: s.PolePairs, TorqueUsable: true,
	}
	if x.kind == "sweep" {
		d.Command = []float64{x.duty}
	}
	for _, name := range s.NoTorque {
		if name == x.rotor && x.kind == "step" {
			d.TorqueUsable = false
		}
	}
	rec := pipeline.Recording{Declared: d, Bench: bench, Calibration: "virtual/1", WeighedAfter: again, DensityKgM3: rig.Room().DensityKgM3}
	trace := r.Trace
	write := func(path string, t rig.Trace, l spin.Logger) error {
		var buf bytes.Buffer
		if err := rig.WriteText(&buf, t, b.dialect(t)); err != nil {
			return err
		}
		b.out.Files[path] = &fstest.MapFile{Data: buf.Bytes()}
		rec.Files = append(rec.Files, pipeline.File{Path: path, Logger: l, OffsetS: uncertain.Exact(0)})
		return nil
	}
	if trace.Telemetry != nil {
		if err := write(x.Name+".telemetry.csv", *trace.Telemetry, bench.Loggers[1]); err != nil {
			return err
		}
		trace.Telemetry = nil
	}
	if err := write(x.Name+".csv", trace, bench.Loggers[0]); err != nil {
		return err
	}
	b.out.Work.Recordings = append(b.out.Work.Recordings, rec)
	return nil
}

// dialect writes what the pipeline reads, and no more.
func (b *builder) dialect(t rig.Trace) rig.Dialect {
	var d rig.Dialect
	for _, c := range rig.Plain(t).Columns {
		switch c.Channel {
		case rig.Thrust, rig.Temperature:
			continue
		case rig.Speed:
			c = rig.ElectricalSpeed("erpm", b.s.Class.Motor.PolePairs)
		case rig.Torque:
			c.Decimals = 7
		}
		d.Columns = append(d.Columns, c)
	}
	return d
}

func (b *builder) rotorID(name string) spin.Rotor {
	if name == "bare" {
		return spin.NewRotor(nil)
	}
	return spin.NewRotor([]string{name})
}

func (b *builder) declaredRotors() []spin.Rotor {
	var out []spin.Rotor
	for _, name := range b.s.Rotors {
		out = append(out, b.rotorID(name))
	}
	return out
}

// declaredParts are the drawing of the disk, its weighing, and the propeller.
func (b *builder) declaredParts() []spin.Part {
	e, nominal := b.s.Errors, b.s.Class.Disk
	outer := nominal.OuterM * (1 + b.s.DiskShift)
	d := geometry.Disk{Layers: []geometry.Layer{{
		OuterM:     uncertain.New(outer, e.DiskOuterM, 0, "parts/disk/outer"),
		BoreM:      uncertain.New(nominal.BoreM, e.DiskBoreM, 0, "parts/disk/bore"),
		ThicknessM: uncertain.New(nominal.ThicknessM, e.DiskThickM, 0, "parts/disk/thickness"),
	}}}
	mass := uncertain.New(b.weighs, e.DiskMassKg, 0, "parts/disk/mass")
	j := d.InertiaAtMass(mass)
	drawn := d.DrawnMassKg(uncertain.New(nominal.DensityKgM3, e.DiskDensity*nominal.DensityKgM3, 0, "parts/disk/density"))
	return []spin.Part{
		{ID: "disk", Shape: "disk", Role: "scale", InertiaKgM2: &j, MassKg: &mass, DrawnMassKg: &drawn, RadiusM: nominal.OuterM / 2},
		{ID: "prop", Shape: "propeller", RadiusM: propellerRadius[b.s.Class.Name], Blades: 2},
	}
}

// propellerRadius of the classes' 3-, 5- and 13-inch propellers, m.
var propellerRadius = map[string]float64{"11 mm": 0.0381, "22 mm": 0.0635, "40 mm": 0.1651}

// declaredBench is the bench file of the session: calibrated by dead weights on
// the bench as it was that morning.
func (b *builder) declaredBench() spin.Bench {
	s := &b.s
	cals := []spin.Calibration{b.weighing("virtual/1", 0, false)}
	if s.WeighAgain {
		cals = append(cals, b.weighing("virtual/2", s.ScaleDrift, true))
	}
	return spin.Bench{
		Name: "virtual", GravityMps2: uncertain.New(s.Bench.GravityMs2, s.Errors.Gravity*s.Bench.GravityMs2, 0, "bench/virtual/gravity"),
		Repeatability: s.Repeats, Calibrations: cals, Loggers: b.loggers(),
	}
}

// weighing is a calibration by dead weights with the torque scale moved. The arm is that of the bench, measured once.
func (b *builder) weighing(id string, moved float64, again bool) spin.Calibration {
	s := &b.s
	still := b.bench
	still.Torque.DriftNmPs = 0
	still.Torque.Scale *= 1 + moved
	top := s.Class.PeakNm / s.Bench.ArmM / s.Bench.GravityMs2
	var masses []float64
	for _, share := range []float64{0, 0.25, 0.5, 0.75, 1} {
		masses = append(masses, share*top)
	}
	cal := spin.Calibration{ID: id, ArmM: uncertain.New(s.Bench.ArmM, s.Errors.Arm*s.Bench.ArmM, 0, "bench/"+id+"/arm"), Logger: "daq"}
	for i, w := range rig.DeadWeights(still, b.drawn, rig.Weights{MassesKg: masses, BothSenses: true, Repeats: 2, HoldS: 2, MassU: 1e-4, Again: again}, b.seed) {
		r := spin.Reading{MassKg: uncertain.New(w.MassKg, s.Errors.Mass*w.MassKg, 0, "bench/"+id+"/masses"), Cell: w.ReadingNm, Line: i + 1}
		if w.Clockwise {
			cal.CW = append(cal.CW, r)
		} else {
			cal.CCW = append(cal.CCW, r)
		}
	}
	return cal
}

func (b *builder) loggers() []spin.Logger {
	s := &b.s
	ch := func(name, column, unit string, factor float64) spin.Channel {
		return spin.Channel{Name: name, Column: column, Unit: unit, Factor: factor, Sign: 1}
	}
	clock, speed := ch("time", "time_s", "s", 1), ch("speed", "erpm", "rpm", 2*math.Pi/60)
	speed.Reading, speed.Timing = "electrical", s.Timing
	dialect := spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}
	daq := spin.Logger{Name: "daq", Dialect: dialect, Converter: s.Converter, MeanS: s.MeanS, ClockRate: uncertain.Exact(1)}
	rest := []spin.Channel{ch("torque", "torque_Nm", "N·m", 1), ch("throttle", "duty_percent", "%", 0.01)}
	if s.Bench.Power.Present {
		rest = append(rest, ch("voltage", "voltage_V", "V", 1), ch("current", "current_A", "A", 1))
	}
	if s.Bench.Telemetry == nil {
		daq.Channels = append([]spin.Channel{clock, speed}, rest...)
		return []spin.Logger{daq}
	}
	daq.Channels = append([]spin.Channel{clock}, rest...)
	tel := spin.Logger{Name: "telemetry", Dialect: dialect, ClockRate: uncertain.Exact(1), Channels: []spin.Channel{clock, speed}}
	return []spin.Logger{daq, tel}
}
