package drag

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/spin"
)

// stairs10 is a staircase of ten levels up and down between two rests, at 500 Hz, its torque read by a cell that creeps by c with time constant
// tau, with white noise and a zero that walks. The cell's lag is integrated sample by sample.
func stairs10(rng *rand.Rand, c, tau, noise, walk float64) Set {
	const hz, hold, top = 500.0, 1.1, 0.5
	s := Set{Recording: "s", Kind: spin.Steady}
	speeds := []float64{0}
	for i := range 20 {
		speeds = append(speeds, 100*float64(min(i, 19-i)+1))
	}
	speeds = append(speeds, 0)
	q, zero, k := 0.0, 0.0, 0
	step := func(load float64) float64 {
		q += (load - q) / tau / hz
		zero += walk * rng.NormFloat64() / math.Sqrt(hz)
		k++
		return load + c*q + zero + noise*rng.NormFloat64()
	}
	for i, w := range speeds {
		load := top * w * w / 1e6
		// A fifth of a second on the way from the level before.
		if i > 0 {
			from := top * speeds[i-1] * speeds[i-1] / 1e6
			for n := range int(0.2 * hz) {
				step(from + (load-from)*float64(n)/(0.2*hz))
			}
		}
		n := int(hold * hz)
		begin := float64(k) / hz
		var x []float64
		for range n {
			x = append(x, step(load))
		}
		mean := func(x []float64) float64 {
			sum := 0.0
			for _, v := range x {
				sum += v
			}
			return sum / float64(len(x))
		}
		quarter := n / 4
		middle := func(from int) float64 { return begin + (float64(from)+float64(quarter)/2)/hz }
		p := spin.Plateau{
			Recording: "s", Segment: i, Kind: spin.Level, N: n, MidS: begin + hold/2, SpanS: hold, SpeedRadPerS: w, TorqueNm: mean(x), TorqueSE: noise / math.Sqrt(float64(n)),
			Moved: &spin.Moved{EarlyS: middle(quarter), LateS: middle(n - quarter), QuarterS: float64(quarter) / hz,
				TorqueNm: mean(x[n-quarter:]) - mean(x[quarter:2*quarter]), TorqueSE: noise * math.Sqrt(2/float64(quarter))},
		}
		if w == 0 {
			p.Kind = spin.Rest
		}
		s.Plateaus = append(s.Plateaus, p)
	}
	return s
}

// TestCreep: a creep that was put in is found with its uncertainty and about its time constant; without one none stands out, with a walking zero
// neither, though the levels then err together.
func TestCreep(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 2))
	const noise = 5e-4 // 0.1 % of the load at the top
	find := func(c, tau, walk float64) spin.Creep {
		out, err := Run(Input{Job: "j", Rotor: "bare+p", Sets: []Set{stairs10(rng, c, tau, noise, walk)}}, DefaultOptions())
		if err != nil || out.Curve == nil || out.Curve.Creep == nil {
			t.Fatalf("%v %+v", err, out.Refusals)
		}
		return *out.Curve.Creep
	}
	for _, c := range []struct{ rel, tau float64 }{{0.005, 0.5}, {0.005, 1}, {0.005, 4}, {-0.005, 1}} {
		for range 5 {
			got := find(c.rel, c.tau, 0)
			if z := got.Rel / got.SE; z*c.rel < 0 || math.Abs(z) < 5 || math.Abs(got.Rel-c.rel) > 4*got.SE+0.25*math.Abs(c.rel) || got.TauS < c.tau/4 || got.TauS > 4*c.tau {
				t.Errorf("%.1f %%, %g s: found %.3f ± %.3f %%, %g s", 100*c.rel, c.tau, 100*got.Rel, 100*got.SE, got.TauS)
			}
		}
	}
	for _, walk := range []float64{0, 1e-3, 5e-3} {
		const n = 40
		large := 0
		for range n {
			if got := find(0, 1, walk); math.Abs(got.Rel) > 3.5*got.SE {
				large++
			}
		}
		// One in a hundred is asked for; the limit is the 99.9 % point of that binomial, doubled for a walk, whose speed is only estimated.
		if limit := map[bool]int{true: 4, false: 8}[walk == 0]; large > limit {
			t.Errorf("walk of %g N·m/√s: %d of %d stand out", walk, large, n)
		}
	}
}

// Too few plateaus to tell, or plateaus without quarters, say nothing or little, and do not fail.
func TestCreepOfLittle(t *testing.T) {
	s := stairs10(rand.New(rand.NewPCG(1, 1)), 0, 1, 1e-4, 0)
	for i := range s.Plateaus {
		s.Plateaus[i].Moved = nil
	}
	out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{s}}, DefaultOptions())
	if err != nil || out.Curve == nil || out.Curve.Creep == nil {
		t.Fatalf("without quarters: %v, %+v", err, out)
	}
	s.Plateaus = s.Plateaus[:4]
	opt := DefaultOptions()
	opt.Form = spin.FormSquare
	out, err = Run(Input{Job: "j", Rotor: "bare", Sets: []Set{s}}, opt)
	if err != nil || out.Curve == nil || out.Curve.Creep != nil {
		t.Errorf("four plateaus: %v, %+v", err, out.Curve)
	}
	none, err := Run(Input{Job: "j", Rotor: "bare"}, Options{Form: spin.FormNone})
	if err != nil || none.Curve.Creep != nil {
		t.Errorf("no load: %v, %+v", err, none.Curve)
	}
}

// TestCreepOfMany: a long recording of many staircases is taken in stretches, and tells a creep better than one staircase does.
func TestCreepOfMany(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	one := stairs10(rng, 0.005, 1, 5e-4, 0)
	many := one
	many.Plateaus = nil
	for k := range 30 {
		next := stairs10(rng, 0.005, 1, 5e-4, 0)
		for _, p := range next.Plateaus {
			shift := 40 * float64(k)
			m := *p.Moved
			p.MidS, m.EarlyS, m.LateS, p.Moved = p.MidS+shift, m.EarlyS+shift, m.LateS+shift, &m
			many.Plateaus = append(many.Plateaus, p)
		}
	}
	find := func(s Set) spin.Creep {
		out, err := Run(Input{Job: "j", Rotor: "bare+p", Sets: []Set{s}}, DefaultOptions())
		if err != nil || out.Curve == nil || out.Curve.Creep == nil {
			t.Fatalf("%v %+v", err, out.Refusals)
		}
		return *out.Curve.Creep
	}
	a, b := find(one), find(many)
	if !(b.SE < a.SE/3) || math.Abs(b.Rel-0.005) > 1e-3 || b.DoF < 500 {
		t.Errorf("one staircase %+v, thirty %+v", a, b)
	}
}
