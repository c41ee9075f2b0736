// Package campaign measures the pipeline on virtual sessions whose truth is known.
package campaign

import (
	"fmt"
	"math"
	"testing/fstest"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/pipeline"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Plan of a virtual session of one motor class.
type Plan struct {
	Class rig.Class
	Bench rig.Bench
	// Runs in each of the step recordings, one recording a condition.
	Runs       int
	Conditions []Condition
	// Braking: without it the return to idle is a coast of seconds.
	Braking bool
	RampS   float64
	// Coast adds a run-down of each rotor.
	Coast bool
	// ScaleU is the declared standard uncertainty of the torque scale.
	ScaleU float64
}

// Condition is a supply, relative to the class's, and a step duty.
type Condition struct{ SupplyRel, Duty float64 }

// Usual conditions: two supplies, two throttles.
func Usual() []Condition { return []Condition{{1, 0.70}, {0.85, 0.70}, {1, 0.55}} }

// rotorPlan is a rotor with the parts it declares.
type rotorPlan struct {
	rotor rig.Rotor
	parts []string
}

// Truths by rotor id: inertia in air on the bench's torque scale, averaged over its steps.
type Truths map[string]float64

// Build makes a session's recordings and the work that describes them.
func Build(p Plan, seed uint64) (fstest.MapFS, pipeline.Work, Truths, error) {
	fsys := fstest.MapFS{}
	w := pipeline.Work{Job: "virtual", Day: "2026-01-01", Options: pipeline.DefaultOptions()}
	truths := Truths{}
	m := p.Class.Motor
	disk := p.Class.Disk.DiskPart("disk")
	prop := p.Class.Propeller
	bench := declaredBench(p, m.PolePairs)
	for _, r := range []rotorPlan{
		{m.Rotor("bare"), nil},
		{m.Rotor("disk", disk), []string{"disk"}},
		{m.Rotor("prop", prop), []string{"prop"}},
	} {
		id := spin.NewRotor(r.parts)
		w.Rotors = append(w.Rotors, id)
		sum, n := 0.0, 0
		for k, c := range p.Conditions {
			name := fmt.Sprintf("%s-%d", r.rotor.Name, k+1)
			steps := p.Class.NominalSteps(r.rotor, p.Runs)
			steps.StepDuty = c.Duty
			plan := rig.StepPlan(p.conditions(c), steps)
			truth, err := record(fsys, &w, p, bench, id, name, plan, r.rotor, c, seed, spin.Step)
			if err != nil {
				return nil, w, nil, err
			}
			sum += truth.EffectiveInertia() * truth.TorqueGain
			n++
		}
		truths[id.ID] = sum / float64(n)
		var duties []float64
		for d := 0.2; d < 0.76; d += 0.075 {
			duties = append(duties, d)
		}
		hold := 0.8 + 6*m.RiseS(r.rotor.Inertia)
		if _, err := record(fsys, &w, p, bench, id, r.rotor.Name+"-steady", rig.SteadyPlan(p.conditions(Condition{1, 0}), duties, hold, 1), r.rotor, Condition{1, 0}, seed, spin.Steady); err != nil {
			return nil, w, nil, err
		}
		if p.Coast {
			if _, err := record(fsys, &w, p, bench, id, r.rotor.Name+"-coast", rig.CoastPlan(p.conditions(Condition{1, 0}), 0.7, 1, 1), r.rotor, Condition{1, 0.7}, seed, spin.Coast); err != nil {
				return nil, w, nil, err
			}
		}
	}
	w.Parts = []spin.Part{{ID: "disk", Shape: "body"}, {ID: "prop", Shape: "propeller"}}
	return fsys, w, truths, nil
}

func (p Plan) conditions(c Condition) rig.Conditions {
	out := p.Class.Conditions()
	out.Supply.VoltageV *= c.SupplyRel
	out.Controller.Braking = p.Braking
	out.Controller.RampS = p.RampS
	return out
}

func record(fsys fstest.MapFS, w *pipeline.Work, p Plan, bench spin.Bench, id spin.Rotor, name string, plan rig.Plan, rotor rig.Rotor, c Condition, seed uint64, kind spin.Kind) (rig.Truth, error) {
	tr, truth, err := rig.Record(p.Bench, p.Class.Motor, rotor, plan, seed*1000+uint64(len(w.Recordings)))
	if err != nil {
		return truth, err
	}
	d := rig.Plain(tr)
	for i, col := range d.Columns {
		if col.Channel == rig.Speed {
			d.Columns[i] = rig.ElectricalSpeed("erpm", p.Class.Motor.PolePairs)
		}
	}
	text, err := tr.Text(d)
	if err != nil {
		return truth, err
	}
	path := name + ".csv"
	fsys[path] = &fstest.MapFile{Data: text}
	w.Recordings = append(w.Recordings, pipeline.Recording{
		Declared: spin.Declared{
			Job: w.Job, Name: name, Kind: kind, Rotor: id, Mounting: rotor.Name, Session: "day", Turns: spin.CCW,
			SupplyV: p.Class.Supply.VoltageV * c.SupplyRel, PolePairs: p.Class.Motor.PolePairs, TorqueUsable: true,
		},
		Bench: bench, Files: []pipeline.File{{Path: path, Logger: bench.Loggers[0]}},
	})
	return truth, nil
}

func declaredBench(p Plan, polePairs int) spin.Bench {
	scale := uncertain.New(1, p.ScaleU, 0, "bench/virtual/torque_scale")
	ch := func(name, column, unit string, factor float64) spin.Channel {
		return spin.Channel{Name: name, Column: column, Unit: unit, Factor: factor, Sign: 1}
	}
	speed := ch("speed", "erpm", "rpm", 2*math.Pi/60)
	speed.Reading, speed.Timing = "electrical", "period"
	temp := ch("temperature", "temperature_C", "°C", 1)
	temp.Offset = -273.15
	return spin.Bench{
		Name: "virtual", GravityMps2: uncertain.Exact(9.81), TorqueScale: &scale,
		Loggers: []spin.Logger{{
			Name: "daq", Dialect: spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, Converter: "point", ClockRate: uncertain.Exact(1),
			Channels: []spin.Channel{
				ch("time", "time_s", "s", 1), speed, ch("torque", "torque_Nm", "N·m", 1), ch("thrust", "thrust_N", "N", 1),
				ch("throttle", "duty_percent", "%", 0.01), ch("voltage", "voltage_V", "V", 1), ch("current", "current_A", "A", 1), temp,
			},
		}},
	}
}
