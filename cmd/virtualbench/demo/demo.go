// Package demo builds the demonstration catalogue: job, bench and parts files
// of an invented workshop, and its simulated recordings. Motors, propellers,
// disks, benches and people are invented.
package demo

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"github.com/klauspost/compress/zstd"

	"spinledger/cmd/virtualbench/rig"
)

// Catalogue is a set of files by path, and what is true.
type Catalogue struct {
	Files map[string][]byte
	// Truth by number id, kg·m².
	Truth map[string]float64
}

// machine is one motor with its bench in the workshop.
type machine struct {
	job, bench string
	class      rig.Class
	hz         float64
	second     bool // a second disk as independent check
	props      []prop
	screws     rig.Fasteners
	dialect    func(rig.Trace, rig.Motor) rig.Dialect
	benchText  func(m rig.Motor, cal string) string
	unit       func(nm float64) string // a reading as the calibration lists it
	pack       func([]byte) ([]byte, error)
	ending     string // of a packed file's name
	slowHz     float64
}

type prop struct {
	id, model         string
	diameterMM, massG float64
	scaleJ, scaleLoad float64
	blades            int
}

// Build makes the catalogue of one seed: every systematic error (torque scale,
// gravity, arm, masses, disk dimensions and mass, lag, each mounting, a propeller's
// load exponent and inflow) is drawn anew from what the files and the program's stated ranges declare.
func Build(seed uint64) (Catalogue, error) {
	c := Catalogue{Files: map[string][]byte{}, Truth: map[string]float64{}}
	for i, m := range machines() {
		if err := c.add(m, seed*31+uint64(i)); err != nil {
			return c, fmt.Errorf("%s: %w", m.job, err)
		}
	}
	c.Files["jobs/parts/propellers.yaml"] = []byte(propellerFile())
	return c, nil
}

// declared uncertainties of the workshop; the files state the same figures.
func declared() rig.Declared {
	d := rig.Usual()
	d.TorqueScale = 0.006
	d.Gravity, d.Arm, d.Mass = 2e-5, 5e-4, 3e-4
	d.LagS = 5e-4
	d.PartInertia = 0
	return d
}

func (c *Catalogue) add(m machine, seed uint64) error {
	e := rig.Draw(declared(), seed)
	bench := e.Bench(rig.NominalBench(m.hz))
	disk, weighed := e.Disk(m.class.Disk)
	screws := m.screws
	type rotor struct {
		name, parts string
		r           rig.Rotor
	}
	motor := m.class.Motor
	rotors := []rotor{
		{"bare", "", motor.Rotor("bare")},
		{"disk", m.job + "-disk, " + m.job + "-screws", motor.Rotor("disk", disk.DiskPart("disk"), screws.Part("screws"))},
	}
	c.Truth[m.job+"/bare/inertia"] = motor.BellInertia
	c.Truth[m.job+"/"+m.job+"-disk/inertia"] = disk.Inertia()
	parts := diskYAML(m.job+"-disk", "scale", m.class.Disk, weighed) + screwsYAML(m.job+"-screws", screws)
	if m.second {
		nominal := m.class.Disk
		nominal.OuterM *= 0.9
		other, kg := rig.Draw(declared(), seed+7).Disk(nominal)
		rotors = append(rotors, rotor{"disk2", m.job + "-disk2, " + m.job + "-screws", motor.Rotor("disk2", other.DiskPart("disk2"), screws.Part("screws"))})
		parts += diskYAML(m.job+"-disk2", "check", nominal, kg)
		c.Truth[m.job+"/"+m.job+"-disk2/inertia"] = other.Inertia()
	}
	for _, p := range m.props {
		part := e.Propeller(m.class.Propeller, 1000)
		part.Inertia *= p.scaleJ
		part.Load.PropK *= p.scaleLoad
		name := strings.NewReplacer("/", "-", "prop-", "p").Replace(strings.ToLower(p.id))
		rotors = append(rotors, rotor{name, p.id, motor.Rotor(name, part)})
		c.Truth[m.job+"/"+strings.ReplaceAll(p.id, "/", ".")+"/inertia"] = part.Inertia
	}
	c.Files["jobs/parts/"+m.job+".yaml"] = []byte("format: 1\n" + parts)
	// The zero is read before each weight: hung in rising order on a drifting
	// zero, weights would put the drift into the slope, where nothing can see it.
	still := bench
	still.Torque.DriftNmPs = 0
	weights := rig.DeadWeights(still, e, rig.Weights{MassesKg: masses(m.class.PeakNm, bench.ArmM), BothSenses: true, Repeats: 2, HoldS: 2, MassU: 1e-4}, seed+3)
	c.Files["jobs/benches/"+m.bench+".yaml"] = []byte(m.benchText(motor, calibration(m, weights)))

	var mount, recs strings.Builder
	rng, mounting := rand.New(rand.NewPCG(seed, 99)), rand.New(rand.NewPCG(seed, 98))
	mounted := 1.0
	shot := func(r rotor, name, kind string, plan rig.Plan, hz, supply float64, extra string) error {
		b := bench
		b.Clock.SampleHz = hz
		b.Torque.Scale *= mounted
		tr, truth, err := rig.Record(b, motor, r.r, plan, rng.Uint64())
		if err != nil {
			return err
		}
		if id := m.job + "/" + strings.ReplaceAll(r.parts, "/", ".") + "/inertia"; kind == "step" && strings.HasPrefix(r.parts, "prop-") {
			// What a perfect bench finds in air, mean over the conditions' equal numbers of runs.
			c.Truth[id+"-in-air"] += (truth.EffectiveInertia() - motor.BellInertia) / float64(len(conditions))
		}
		d := m.dialect(tr, motor)
		text, err := tr.Text(d)
		if err != nil {
			return err
		}
		path := "testdata/demo/" + m.job + "/" + name + ".csv" + m.ending
		if c.Files[path], err = m.pack(text); err != nil {
			return err
		}
		fmt.Fprintf(&recs, "  %s: {mounting: %s, file: ../%s, kind: %s, supply: %.4g V%s}\n", name, r.name, path, kind, supply, extra)
		return nil
	}
	cond := m.class.Conditions()
	for _, r := range rotors {
		// What the bench files declare of putting a rotor together.
		mounted = 1 + remountRel*mounting.NormFloat64()
		list := ""
		if r.parts != "" {
			list = ", parts: [" + r.parts + "]"
		}
		fmt.Fprintf(&mount, "  %s: {turns: ccw%s}\n", r.name, list)
		for k, x := range conditions {
			q := cond
			q.Supply.VoltageV = math.Round(cond.Supply.VoltageV*x.supply*10) / 10
			steps := m.class.NominalSteps(r.r, 3)
			steps.StepDuty = x.duty
			extra := fmt.Sprintf(", command: %.0f %% -> %.0f %% -> %.0f %%", 100*steps.IdleDuty, 100*x.duty, 100*steps.IdleDuty)
			if err := shot(r, fmt.Sprintf("%s-%c", r.name, 'a'+k), "step", rig.StepPlan(q, steps), m.hz, q.Supply.VoltageV, extra); err != nil {
				return err
			}
		}
		hold := 0.8 + 6*motor.RiseS(r.r.Inertia)
		duties := []float64{0.2, 0.27, 0.34, 0.41, 0.48, 0.55, 0.62, 0.69, 0.76}
		if err := shot(r, r.name+"-levels", "steady", rig.SteadyPlan(cond, duties, hold, 1), m.slowHz, cond.Supply.VoltageV, ""); err != nil {
			return err
		}
		if r.name == "bare" || r.name == "disk" {
			if err := shot(r, r.name+"-rundown", "coast", rig.CoastPlan(cond, 0.7, 1, 1), m.slowHz*2, cond.Supply.VoltageV, ""); err != nil {
				return err
			}
		}
		if r.name == "disk" {
			if err := shot(r, "disk-sweep", "sweep", rig.SweepPlan(cond, 0.7, 0.45, 6, 6, 1, 0.5), m.slowHz, cond.Supply.VoltageV, ", command: 70 %"); err != nil {
				return err
			}
		}
	}
	c.Files["jobs/"+m.job+".yaml"] = []byte(jobYAML(m, mount.String(), recs.String()))
	if m.second {
		c.faulty(m, mount.String(), recs.String(), parts)
	}
	return nil
}

// faulty is a job that is wrong on purpose: the hot sweep demanded as torque
// source, and the disk drawn 3 % too large.
func (c *Catalogue) faulty(m machine, mount, recs, parts string) {
	wrong := m.class.Disk.OuterM * 1.03
	text := strings.Replace(parts, fmt.Sprintf("outer_diameter: %.3f(15) mm", 1e3*m.class.Disk.OuterM), fmt.Sprintf("outer_diameter: %.3f(15) mm", 1e3*wrong), 1)
	c.Files["jobs/faulty/parts.yaml"] = []byte("format: 1\n# Wrong on purpose: the disk is drawn 3 % too large.\n" + text)
	recs = strings.ReplaceAll(recs, "../testdata", "../../testdata")
	var lines []string
	for _, l := range strings.Split(recs, "\n") {
		if strings.HasPrefix(l, "  disk2-a:") {
			l = strings.TrimSuffix(l, "}") + ", source: sweep}"
		}
		lines = append(lines, l)
	}
	j := jobYAML(m, mount, strings.Join(lines, "\n"))
	j = strings.Replace(j, "job: "+m.job, "# Wrong on purpose: shows how a job fails. Not part of the catalogue.\njob: faulty-"+m.job, 1)
	j = strings.Replace(j, "[parts/"+m.job+".yaml, parts/propellers.yaml]", "[parts.yaml, ../parts/propellers.yaml]", 1)
	j = strings.Replace(j, "bench: benches/", "bench: ../benches/", 1)
	c.Files["jobs/faulty/hot-sweep.yaml"] = []byte(j)
}

// conditions of the steps: supply relative to the class's, and throttle.
var conditions = []struct{ supply, duty float64 }{{1, 0.70}, {0.85, 0.70}, {1, 0.55}}

// remountRel is the standard deviation by which the torque reading changes from
// mounting to mounting, relative; the benches declare the same.
const remountRel = 5e-4

func zipped(text []byte) ([]byte, error) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(text); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func zstandard(text []byte) ([]byte, error) {
	z, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return nil, err
	}
	return z.EncodeAll(text, nil), nil
}

// masses spread over the torque that a step reaches, rounded to whole grams.
func masses(peakNm, armM float64) []float64 {
	top := peakNm / armM / 9.81
	var out []float64
	for _, s := range []float64{0, 0.25, 0.5, 0.75, 1} {
		g := math.Max(math.Round(top*s*1e3), 0)
		if s > 0 && g < 1 {
			g = math.Round(top*s*1e4) / 10
		}
		out = append(out, g/1e3)
	}
	return out
}

func calibration(m machine, w []rig.Weight) string {
	var ccw, cw []string
	for _, x := range w {
		u := math.Max(math.Ceil(x.MassKg*1e3*3e-4*1e4), 1) / 1e4
		row := fmt.Sprintf("{mass: %.4f(%.4f) g, reading: %s}", x.MassKg*1e3, u, m.unit(x.ReadingNm))
		if x.MassKg == 0 {
			row = fmt.Sprintf("{mass: 0 g, reading: %s}", m.unit(x.ReadingNm))
		}
		if x.Clockwise {
			cw = append(cw, row)
		} else {
			ccw = append(ccw, row)
		}
	}
	return fmt.Sprintf("calibrations:\n  2026-03-02:\n    by: IS\n    arm: %.2f(5) mm\n    ccw:\n      - %s\n    cw:\n      - %s\n",
		100.0, strings.Join(ccw, "\n      - "), strings.Join(cw, "\n      - "))
}
