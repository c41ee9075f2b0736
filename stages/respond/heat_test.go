package respond

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// TestExponentialLoss: the loss of a rise and of a braked fall, linear, against their integration with the
// current's own lag left out. What the square load bends is below 2 %.
func TestExponentialLoss(t *testing.T) {
	in := made(t, 1)
	m := everything(in, DefaultOptions())
	for _, r := range rotors {
		p := truePlant
		p.j, p.load[0], p.v0 = r.j, r.k, 14.8
		m.bodies[m.bodyOf(r.id)].j = uncertain.Exact(r.j)
		speed := func(duty float64) float64 { p.duty = duty; return p.final(1) }
		low, high := speed(0.3), speed(0.7)
		for _, c := range []struct{ from, to, duty float64 }{{low, high, 0.7}, {high, low, 0.3}} {
			x := m.exponential(m.surface, &m.bodies[m.bodyOf(r.id)], c.duty, p.v0, c.from, c.to)
			stop := c.from + 0.95*(c.to-c.from)
			rates := func(_ float64, y, d []float64) {
				s := p.settled(y[0], c.duty)
				d[0] = (s - p.demand(y[0])) / p.j
				i := p.current(y[0], s)
				d[1] = i * i * p.kt / p.a
			}
			path, err := numeric.Advance(rates, 0, []float64{c.from, 0}, 10, func(_ float64, y []float64) float64 { return y[0] - stop }, numeric.Tolerance{Rel: 1e-9, Abs: []float64{1e-6, 1e-9}})
			if err != nil || !path.Met {
				t.Fatal(r.id, err)
			}
			_, y := path.End()
			near(t, fmt.Sprintf("%s loss from %.0f to %.0f rad/s", r.id, c.from, stop), x.loss(stop), y[1], 0.02)
			if x.total() <= 0 || x.loss(c.from) != 0 {
				t.Errorf("%s: total %g J, at the start %g J", r.id, x.total(), x.loss(c.from))
			}
		}
	}
}

// warmed are the rises of the made-up evidence once more, each recording four runs whose
// windings keep what earlier runs lost in them for 5 s; a joule raises their resistance by perJoule. before are
// joules that recordings begin with.
func warmed(t *testing.T, perJoule float64, before map[string]float64) *Input {
	t.Helper()
	in := made(t, 1)
	in.Fits = nil
	const pause = 0.3
	for i := range in.Evidence {
		e := &in.Evidence[i]
		p := truePlant
		for _, r := range rotors {
			if r.id == e.Rotor {
				p.j, p.load[0] = r.j, r.k
			}
		}
		p.v0, p.duty, p.warmth = e.Runs[0].SupplyV, e.Runs[0].Duty, perJoule
		var runs []spin.RunEvidence
		loss, clock := before[e.Recording], 0.0
		for n := range 4 {
			run, rise, lost := risen(t, p, 0, loss, fmt.Sprintf("%s#%d", e.Recording, n+1))
			run.BeginS, run.SettledS = clock, clock+rise
			run.EndS, run.BackS = clock+rise+pause, clock+2*rise+pause
			clock += 2 * (rise + pause)
			top := run.Rise[len(run.Rise)-1].SpeedRadPerS
			hold := p.current(top, p.demand(top))
			loss = held(lost, hold*hold*p.kt/p.a, pause)
			loss = held(fallen(t, p, loss, top, run.Idle.SpeedRadPerS, rise), run.Idle.CurrentA/0.3*run.Idle.CurrentA/0.3*p.kt/p.a, pause)
			runs = append(runs, run)
			in.Fits = append(in.Fits, spin.RunFit{Recording: e.Recording, Run: run.Run, Rotor: e.Rotor, Mounting: e.Mounting, Kind: spin.Step, Chosen: true, JKgM2: uncertain.Exact(p.j)})
		}
		e.Runs = runs
	}
	return in
}

// coolingS is the time in which the windings of the made-up motor lose their heat.
const coolingS = 5.0

// held is what windings hold after some seconds of a power in W.
func held(loss, power, seconds float64) float64 {
	left := math.Exp(-seconds / coolingS)
	return loss*left + power*coolingS*(1-left)
}

// fallen is what they hold after the motor has braked its rotor from one speed almost to another, seconds long.
func fallen(t *testing.T, p plant, loss, from, to, seconds float64) float64 {
	t.Helper()
	p.duty = 0.3
	rates := func(_ float64, y, d []float64) {
		s := p.settled(y[0], p.duty)
		d[0] = (s - p.demand(y[0])) / p.j
		i := p.current(y[0], s)
		d[1] = i*i*p.kt/p.a - y[1]/coolingS
	}
	path, err := numeric.Advance(rates, 0, []float64{from, loss}, seconds, nil, numeric.Tolerance{Rel: 1e-9, Abs: []float64{1e-6, 1e-9}})
	if err != nil {
		t.Fatal(err)
	}
	_, y := path.End()
	if math.Abs(y[0]-to) > 0.1*(from-to) {
		t.Fatalf("a fall to %g rad/s ends at %g", to, y[0])
	}
	return y[1]
}

// TestWarmth: runs that follow each other warm the windings; what a joule does is found, and the cold
// motor's torque and times with it. Without the correction they are wrong by the mean warmth.
func TestWarmth(t *testing.T) {
	const perJoule = 2e-3
	in := warmed(t, perJoule, nil)
	m := everything(in, DefaultOptions())
	if m.surface == nil {
		t.Fatal(m.noSurface)
	}
	// How quickly they cool is not known well, and what a joule does with it.
	if h := m.surface.warmth; math.Abs(h.Mean-perJoule) > h.Expanded().U || h.Expanded().U > 0.6*perJoule {
		t.Errorf("a joule warms by %.3g ± %.2g, want %.3g", h.Mean, h.Expanded().U, perJoule)
	}
	near(t, "gain", m.surface.coef[gain], truePlant.a, 0.003)
	warmest := 0.0
	for _, p := range m.surface.pieces {
		warmest = math.Max(warmest, p.ohmic-1)
	}
	if warmest < 0.02 {
		t.Fatalf("the warmest run is %.2g warmer: the test shows nothing", warmest)
	}
	for _, r := range rotors {
		p := truePlant
		p.j, p.load[0], p.v0, p.duty, p.warmth = r.j, r.k, 14.8, 0.7, perJoule
		got := m.answer(ask(r.id), Options{})
		near(t, r.id+" time", got.TimeS.Mean, p.up(900, 1500, false, nil).time, 0.002)
		p.warmth = 0
		if cold := p.up(900, 1500, false, nil).time; r.id != "bare" && got.TimeS.Mean < 1.001*cold {
			t.Errorf("%s: %g s, and %g s if the rise did not warm the motor itself", r.id, got.TimeS.Mean, cold)
		}
	}
	foretold(t, m, 0.005)
}

// TestLevels: settled points of operation tell the drag in the motor, which rises at one supply tell poorly.
func TestLevels(t *testing.T) {
	in := made(t, 1)
	in.Evidence = slices.DeleteFunc(in.Evidence, func(e spin.Evidence) bool { return e.Runs[0].SupplyV != 14.8 })
	alone := everything(in, DefaultOptions())
	for _, r := range rotors {
		p := truePlant
		p.j, p.load[0], p.v0 = r.j, r.k, 14.8
		e := spin.Evidence{Recording: "made/levels-" + r.id, Kind: spin.Steady, Rotor: r.id, Recorded: true, Scale: uncertain.Exact(1)}
		for _, d := range []float64{0.2, 0.35, 0.45, 0.55, 0.65} {
			p.duty = d
			w := p.final(1)
			i := p.current(w, p.demand(w))
			e.Levels = append(e.Levels, spin.OperatingPoint{SpeedRadPerS: w, TorqueNm: p.demand(w), PhaseA: i, DriveV: d * (p.v0 - float64(p.ohm*d*i))})
		}
		in.Evidence = append(in.Evidence, e)
	}
	m := everything(in, DefaultOptions())
	// Those at 20 % are below all rises, whose idle was at 30 %.
	if n := len(m.surface.levels); n != 12 {
		t.Errorf("%d levels, want 12", n)
	}
	near(t, "drag", m.surface.coef[offset], truePlant.c, 0.02)
	if a, b := alone.surface.out.Coef[offset].Std(), m.surface.out.Coef[offset].Std(); b > 0.8*a {
		t.Errorf("the drag is known to %.2g N·m with levels, %.2g without", b, a)
	}
	// Where voltage is not recorded there are none.
	for i := range in.Evidence {
		for k := range in.Evidence[i].Runs {
			for n := range in.Evidence[i].Runs[k].Rise {
				in.Evidence[i].Runs[k].Rise[n].VoltageV = 0
			}
		}
	}
	if m := everything(in, DefaultOptions()); m.surface != nil && len(m.surface.levels) > 0 {
		t.Error("levels without a voltage")
	}
}

// TestIntegralsOfMeans: ∫v dt for v = t is t²/2; its mean over a reading's own time m is m²/24 more, over
// n readings spread over a span s it is s²/24·(n+1)/(n−1) more.
func TestIntegralsOfMeans(t *testing.T) {
	var run []piece
	for i, s := range []spin.Stretch{{N: 1}, {N: 1, MeanS: 0.6}, {N: 3, SpanS: 0.8}, {N: 3, SpanS: 0.8, MeanS: 0.3}} {
		s.TimeS = float64(i)
		run = append(run, piece{s: s})
	}
	got := integrals(run, func(s spin.Stretch) float64 { return s.TimeS })
	for i, more := range []float64{0, 0.36 / 24, 0.64 / 24 * 2, 0.64/24*2 + 0.09/24} {
		if want := float64(i*i)/2 + more; math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("stretch %d: %g, want %g", i, got[i], want)
		}
	}
}

// TestNoLaw: without a current law the supply's sag stays in the torque at the duties recorded, and times are right there;
// a duty between them is not known.
func TestNoLaw(t *testing.T) {
	in := made(t, 1)
	in.Law = nil
	for _, r := range rotors {
		p := truePlant
		p.j, p.load[0], p.v0, p.duty = r.j, r.k, 14.8, 0.7
		got := answer(t, in, ask(r.id))
		if got.Refused != "" {
			t.Fatal(got.Refused)
		}
		near(t, r.id, got.TimeS.Mean, p.up(900, 1500, false, nil).time, 0.02)
	}
	q := ask("bare")
	q.Duty = 0.6
	if r := answer(t, in, q); r.Refused == "" {
		t.Error("a duty between those recorded is answered without a current law")
	}
}

// foretold checks that every rise is predicted from the others within its uncertainty, and a share.
func foretold(t *testing.T, m *model, rel float64) {
	t.Helper()
	all := m.predictions()
	if len(all) != 36 {
		t.Fatalf("%d predictions, want 36", len(all))
	}
	for _, p := range all {
		if p.Refused != "" {
			t.Errorf("%s: %s", p.Run, p.Refused)
			continue
		}
		near(t, p.Run, p.PredictedS.Mean, p.RecordedS, rel)
		if u := p.PredictedS.Expanded().U; math.Abs(p.PredictedS.Mean-p.RecordedS) > u || u > 4*rel*p.RecordedS {
			t.Errorf("%s: predicted %g ± %g s, recorded %g s", p.Run, p.PredictedS.Mean, u, p.RecordedS)
		}
	}
}

// TestWarmStart: a recording that begins 10 J warmer than those like it is known by its resistance; a
// resistance that is bent a little at another supply is not taken for warmth.
func TestWarmStart(t *testing.T) {
	const perJoule = 2e-3
	m := everything(warmed(t, perJoule, map[string]float64{"made/bare-disk-1": 10}), DefaultOptions())
	if got := m.warm.ohmic["bare-disk-1#1"] / m.warm.ohmic["bare-disk-2#1"]; math.Abs(got-1.02) > 0.002 {
		t.Errorf("the warm recording's windings have %.4f times the resistance of another, want 1.02", got)
	}
	foretold(t, m, 0.02)

	in := warmed(t, perJoule, nil)
	straight := everything(in, DefaultOptions())
	for i := range in.Evidence {
		e := &in.Evidence[i]
		for k := range e.Runs {
			r := &e.Runs[k]
			for n := range r.Rise {
				if s := &r.Rise[n]; r.SupplyV < 14 {
					s.VoltageV -= likeRel * s.CurrentA / r.Duty / r.Duty * truePlant.kt / truePlant.a
				}
			}
		}
	}
	bent := everything(in, DefaultOptions())
	if moved := bent.warm.perJoule.Mean/straight.warm.perJoule.Mean - 1; math.Abs(moved) > 0.02 {
		t.Errorf("a resistance lower by %g at the lower supply moves the warmth by a joule by %.3f", likeRel, moved)
	}
	if a, b := bent.warm.ohmic["bare-disk-2#1"], straight.warm.ohmic["bare-disk-2#1"]; math.Abs(a/b-1) > likeRel/2 {
		t.Errorf("the resistance of a bent recording is taken for %.5f times the cold one, %.5f unbent", a, b)
	}
}
