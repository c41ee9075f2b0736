package respond

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// The motor and rotors of the made-up evidence.
var (
	truePlant = plant{
		form: spin.FormSquare, ref: 1, ratio: 1, a: 0.0589, b: -3.128e-4, c: -1.5e-3, tau: 9e-5, emf: 0.0053106,
		ohm: 0.012, kt: 5.305e-3, k0: 1.5e-3, k1: 1.5e-6,
	}
	rotors = []struct {
		id   string
		j, k float64
	}{{"bare", 25e-7, 2e-10}, {"bare+disk", 62e-7, 3e-10}, {"bare+prop", 63e-7, 1.7e-8}}
)

// made is what a job would have found of runs that follow the motion exactly;
// scale multiplies every torque.
func made(t *testing.T, scale float64) *Input {
	t.Helper()
	in := &Input{Job: "made", Law: &spin.CurrentLaw{
		KtNmPerA: uncertain.New(truePlant.kt*scale, truePlant.kt*scale*0.001, 0, "made/law/kt"),
		Coef:     []float64{truePlant.kt * scale, truePlant.k0 * scale, truePlant.k1 * scale * 1000}, RefRadPerS: 1000,
	}}
	for _, r := range rotors {
		rotor := "made/rotor:" + r.id
		in.Rotors = append(in.Rotors, spin.RotorInertia{Rotor: r.id, JKgM2: uncertain.New(r.j*scale, r.j*scale*0.002, 12, rotor+"/scatter").
			With(uncertain.Part{Source: "bench/made/scale", Contribution: 0.005 * r.j * scale})})
		in.Curves = append(in.Curves, spin.LoadCurve{
			Rotor: r.id, Form: spin.FormSquare, RefRadPerS: 1, LowRadPerS: 400, HighRadPerS: 1900, DensityKgM3: 1.19,
			Coef: []uncertain.Value{uncertain.New(r.k*scale, r.k*scale*0.005, 20, rotor+"/drag~0")},
		})
		in.Fit = append(in.Fit, r.id)
		for n, c := range []struct{ supply, duty float64 }{{14.8, 0.7}, {12.6, 0.7}, {14.8, 0.55}} {
			p := truePlant
			p.j, p.load[0], p.v0, p.duty = r.j, r.k, c.supply, c.duty
			name := fmt.Sprintf("%s-%d", strings.ReplaceAll(r.id, "+", "-"), n+1)
			e := spin.Evidence{Recording: "made/" + name, Kind: spin.Step, Rotor: r.id, Mounting: r.id, Recorded: true, Scale: uncertain.New(1, 0.005, 0, "bench/made/scale")}
			for run := range 2 {
				id := fmt.Sprintf("%s#%d", name, run+1)
				e.Runs = append(e.Runs, madeRun(t, p, id))
				in.Fits = append(in.Fits, spin.RunFit{Recording: e.Recording, Run: id, Rotor: r.id, Mounting: r.id, Kind: spin.Step, Chosen: true, JKgM2: uncertain.Exact(r.j * scale)})
			}
			in.Evidence = append(in.Evidence, e)
		}
	}
	return in
}

// madeRun is a rise from the speed that 30 % holds.
func madeRun(t *testing.T, p plant, id string) spin.RunEvidence {
	t.Helper()
	r, _, _ := risen(t, p, 0, 0, id)
	return r
}

// risen is a rise from the speed that 30 % holds to 97 % of the change, in 24 stretches from a share of the change on; the windings
// hold loss J before and lost J at its end.
func risen(t *testing.T, p plant, share, loss float64, id string) (r spin.RunEvidence, rise, lost float64) {
	t.Helper()
	const idle, idleS, n = 0.3, 0.02, 24
	slow := p
	slow.duty = idle
	from := slow.final(1)
	change := p.final(from) - from
	to := from + 0.97*change
	rates := func(at float64, y, d []float64) {
		duty := p.dutyAt(at, idle)
		d[0] = (y[1] - p.demand(y[0])) / p.j
		d[1] = (p.warmed(p.settled(y[0], duty), y[3]) - y[1]) * (1 + p.sag(duty)) / p.tau
		d[2] = y[0]
		i := p.current(y[0], y[1])
		d[3] = i*i*p.kt/p.a - y[3]/coolingS
	}
	path, err := numeric.Advance(rates, 0, []float64{from, p.demand(from), 0, loss}, 10, func(_ float64, y []float64) float64 { return y[0] - to }, numeric.Tolerance{Rel: 1e-10, Abs: []float64{1e-7, 1e-10, 1e-9, 1e-9}})
	if err != nil || !path.Met {
		t.Fatal(id, err)
	}
	end, last := path.End()
	var y [4]float64
	passes := func(share float64) float64 {
		return inverted(&path, from, to, []float64{from + share*change}, y[:])[0]
	}
	begin := 0.0
	if share > 0 {
		begin = passes(share)
	}
	r = spin.RunEvidence{Run: id, Duty: p.duty, SupplyV: p.v0, RiseS: idleS + begin, PassageS: idleS + passes(0.1)}
	i0 := idle * p.current(from, p.demand(from))
	r.Idle = spin.Plateau{SpeedRadPerS: from, VoltageV: p.v0 - p.ohm*i0, CurrentA: i0, Duty: idle}
	for k := range n {
		at := begin + (end-begin)*(float64(k)+0.5)/n
		path.At(at, y[:])
		amps := p.dutyAt(at, idle) * p.current(y[0], y[1])
		r.Rise = append(r.Rise, spin.Stretch{TimeS: at - begin, SpeedRadPerS: y[0], SpeedSE: 0.5, AngleRad: y[2], N: 1, CurrentA: amps, VoltageV: p.v0 - p.ohm*amps})
	}
	for _, share := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
		r.Passages = append(r.Passages, spin.Passage{Share: share, SpeedRadPerS: from + share*change, TimeS: passes(share) - passes(0.1)})
	}
	return r, end, last[3]
}

func ask(rotor string) spin.ResponseRequest {
	return spin.ResponseRequest{ID: "made/response/x." + rotor, Part: rotor, Rotor: rotor, SupplyV: 14.8, Duty: 0.7, From: 900, To: 1500}
}

func answer(t *testing.T, in *Input, q spin.ResponseRequest) spin.Response {
	t.Helper()
	m := everything(in, DefaultOptions())
	return m.answer(q, Options{Seed: 1, Draws: 300})
}

// TestSurfaceFromRises: exact rises give back the motor they were made with,
// its times, and the rises that were left out. 0.2 % is what stretches taken
// at their middles leave.
func TestSurfaceFromRises(t *testing.T) {
	in := made(t, 1)
	for _, r := range rotors {
		p := truePlant
		p.j, p.load[0], p.v0, p.duty = r.j, r.k, 14.8, 0.7
		want := p.up(900, 1500, false, nil)
		got := answer(t, in, ask(r.id))
		if got.Refused != "" {
			t.Fatal(got.Refused)
		}
		near(t, r.id+" time", got.TimeS.Mean, want.time, 0.002)
		near(t, r.id+" energy", got.EnergyJ.Mean, want.energy, 0.002)
		near(t, r.id+" charge", got.ChargeC.Mean, want.charge, 0.002)
		near(t, r.id+" peak", got.PeakRadPerS2.Mean, want.peak, 0.01)
		if math.Abs(got.TimeS.Mean-want.time) > got.TimeS.Expanded().U || got.SolverS > 1e-6*want.time {
			t.Errorf("%s: %v s is not %v within U %v, solver %v", r.id, got.TimeS.Mean, want.time, got.TimeS.Expanded().U, got.SolverS)
		}
	}
	out, err := Run(*in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", out.Surface.Coef[gain].Mean, truePlant.a, 0.003)
	near(t, "slope", out.Surface.Coef[slope].Mean, truePlant.b, 0.003)
	near(t, "supply", out.Surface.SupplyOhm.Mean, truePlant.ohm, 0.01)
	if len(out.Predictions) != 18 {
		t.Fatalf("%d predictions, want 18", len(out.Predictions))
	}
	for _, p := range out.Predictions {
		near(t, p.Run+" left out", p.PredictedS.Mean, p.RecordedS, 0.004)
	}
}

// TestScaleCancels: with every torque 1.02 as large, times are the same; the
// torque scale's own uncertainty is in none of them. An added load in true N·m sees it.
func TestScaleCancels(t *testing.T) {
	one, more := made(t, 1), made(t, 1.02)
	for _, r := range rotors {
		a, b := answer(t, one, ask(r.id)), answer(t, more, ask(r.id))
		near(t, r.id+" with torques of 1.02", b.TimeS.Mean, a.TimeS.Mean, 1e-7)
		if c := math.Abs(a.TimeS.Part("bench/made/scale")); c > 1e-6*a.TimeS.Mean {
			t.Errorf("%s: the torque scale moves the time by %.2g of itself", r.id, c/a.TimeS.Mean)
		}
		loaded := ask(r.id)
		loaded.AddedNm = uncertain.Exact(0.05)
		if c := math.Abs(answer(t, one, loaded).TimeS.Part("bench/made/scale")); c < 1e-4*a.TimeS.Mean {
			t.Errorf("%s: an added load does not carry the torque scale: %.2g", r.id, c/a.TimeS.Mean)
		}
	}
}

// TestCoast: run-downs give the drag of bearings and iron, and the time of a fall.
func TestCoast(t *testing.T) {
	in := made(t, 1)
	q := ask("bare+prop")
	q.Coast, q.SupplyV, q.Duty, q.From, q.To = true, 0, 0, 1500, 600
	if r := answer(t, in, q); r.Refused != "no coast recording of this motor: the drag of bearings and iron, which the load curve does not contain, is not known" {
		t.Errorf("without a run-down: %q", r.Refused)
	}
	p := plant{j: 25e-7, form: spin.FormSquare, load: [3]float64{2e-10}, ref: 1, ratio: 1, drag: []float64{1.5e-3, 1.5e-6}}
	grid := make([]float64, 30)
	for i := range grid {
		grid[i] = 1800 - 50*float64(i)
	}
	o := p.down(1800, 300, grid)
	e := spin.Evidence{Recording: "made/rundown", Kind: spin.Coast, Rotor: "bare"}
	angle := 0.0
	for i, w := range grid {
		if i > 0 {
			angle += (grid[i-1] + w) / 2 * (o.grid[i] - o.grid[i-1])
		}
		e.Fall = append(e.Fall, spin.Stretch{TimeS: o.grid[i], SpeedRadPerS: w, SpeedSE: 0.5, AngleRad: angle, N: 1})
	}
	in.Evidence = append(in.Evidence, e)
	p.j, p.load[0] = rotors[2].j, rotors[2].k
	r := answer(t, in, q)
	if r.Refused != "" || r.Powered {
		t.Fatal(r.Refused)
	}
	near(t, "fall", r.TimeS.Mean, p.down(1500, 600, nil).time, 0.002)
}

// TestRefusals: each thing that is missing or outside, with its whole message.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(in *Input, q *spin.ResponseRequest)
		want   string
	}{
		{"not mounted", func(_ *Input, q *spin.ResponseRequest) { q.Rotor, q.Part = "", "prop-9x9/A" },
			"no mounting of this job carries prop-9x9/A"},
		{"no load curve", func(in *Input, _ *spin.ResponseRequest) { in.Curves = in.Curves[:2] },
			"no load curve of bare+prop: it needs a steady recording, or a form declared under options.drag.form"},
		{"no inertia", func(in *Input, _ *spin.ResponseRequest) { in.Rotors = in.Rotors[:2] },
			"no inertia of bare+prop: none of its step runs gave one"},
		{"neither", func(_ *Input, q *spin.ResponseRequest) { q.Rotor = "bare+other" },
			"neither inertia nor load curve of bare+other: no usable step and no steady recording of it"},
		{"no steps", func(in *Input, _ *spin.ResponseRequest) { in.Evidence = nil },
			"no cold torque of the motor: 0 stretches of step runs with inertia and load known; at least 12 are needed for the cold torque"},
		{"duty", func(_ *Input, q *spin.ResponseRequest) { q.Duty = 0.9 },
			"outside the recordings: duty 90 % outside the 55 % to 70 % of the step runs; extrapolate: yes allows it, marked"},
		{"supply", func(_ *Input, q *spin.ResponseRequest) { q.SupplyV = 25.2 },
			"outside the recordings: supply 25.2 V outside the 12.6 V to 14.8 V of the step runs; extrapolate: yes allows it, marked"},
		{"speed", func(_ *Input, q *spin.ResponseRequest) { q.From = 100 },
			"outside the recordings: 955 rpm below the 3820 rpm from which the load is known; 955 rpm below the 7023 rpm from which the cold torque is known; extrapolate: yes allows it, marked"},
		{"thrust", func(_ *Input, q *spin.ResponseRequest) { q.Thrust, q.From, q.To = true, 1, 2 },
			"a thrust is asked for, and no steady recording of bare+prop has a thrust channel"},
		{"air", func(in *Input, q *spin.ResponseRequest) {
			in.Curves[2].DensityKgM3, q.DensityKgM3 = 0, uncertain.Exact(1.1)
		}, "air is stated, but that in which the load of bare+prop was recorded is not: give its session an air"},
	} {
		in, q := made(t, 1), ask("bare+prop")
		c.change(in, &q)
		if got := answer(t, in, q).Refused; got != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.name, got, c.want)
		}
	}
}

// TestMarks: what may be extrapolated is marked, a target beyond the final
// speed is never reached, and one near it is crooked enough for both intervals to be shown.
func TestMarks(t *testing.T) {
	in, q := made(t, 1), ask("bare+prop")
	q.Duty, q.Extrapolate = 0.9, true
	if r := answer(t, in, q); r.Refused != "" || len(r.Outside) != 1 {
		t.Errorf("extrapolated: %q, marks %q", r.Refused, r.Outside)
	}
	q = ask("bare+prop")
	q.To, q.Extrapolate = 3000, true
	r := answer(t, in, q)
	p := truePlant
	p.j, p.load[0], p.v0, p.duty = rotors[2].j, rotors[2].k, 14.8, 0.7
	if !r.Stalled || math.Abs(r.StallRadPerS/p.final(900)-1) > 0.003 {
		t.Errorf("stalled %v at %v rad/s, want %v", r.Stalled, r.StallRadPerS, p.final(900))
	}
	q.To = 0.9993 * p.final(900)
	if r := answer(t, in, q); !r.Bent || r.Draws != 300 {
		t.Errorf("a target 0.07 %% below the final speed: bent %v, %v to %v around %v, reached %v", r.Bent, r.LowS, r.HighS, r.TimeS.Mean, r.Reached)
	}
}

// TestThrust: from thrust to thrust is from speed to speed by the thrust curve,
// whose zero is each recording's own; thinner air needs more speed for the same thrust.
func TestThrust(t *testing.T) {
	const perW2, zero = 2.2e-6, 0.07
	in := made(t, 1)
	e := spin.Evidence{Recording: "made/levels", Kind: spin.Steady, Rotor: "bare+prop", Thrust: []spin.ThrustPoint{{ThrustN: zero, Rest: true}}}
	for w := 500.0; w <= 1900; w += 200 {
		e.Thrust = append(e.Thrust, spin.ThrustPoint{SpeedRadPerS: w, ThrustN: zero + perW2*w*w})
	}
	in.Evidence = append(in.Evidence, e)
	q := ask("bare+prop")
	want := answer(t, in, q)
	q.Thrust, q.From, q.To = true, perW2*900*900, perW2*1500*1500
	got := answer(t, in, q)
	if got.Refused != "" {
		t.Fatal(got.Refused)
	}
	near(t, "time by thrust", got.TimeS.Mean, want.TimeS.Mean, 1e-6)
	near(t, "first speed", got.FromRadPerS, 900, 1e-6)
	near(t, "thrust at the end of the curve", got.Trace[len(got.Trace)-1].ThrustN, q.To, 1e-6)
	q.DensityKgM3 = uncertain.Exact(0.9 * 1.19)
	near(t, "first speed in thin air", answer(t, in, q).FromRadPerS, 900/math.Sqrt(0.9), 1e-6)
}

// TestFinalShare: a share of the final speed is a share of what the rotor would reach.
func TestFinalShare(t *testing.T) {
	in, q := made(t, 1), ask("bare+prop")
	q.To, q.FinalShare = 0, 0.9
	p := truePlant
	p.j, p.load[0], p.v0, p.duty = rotors[2].j, rotors[2].k, 14.8, 0.7
	r := answer(t, in, q)
	near(t, "speed", r.ToRadPerS, 0.9*p.final(900), 0.002)
	near(t, "time", r.TimeS.Mean, p.up(900, r.ToRadPerS, false, nil).time, 0.004)
}
