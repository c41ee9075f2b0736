package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/spin"
)

// bareNoisy is input without load, its torque's noise white and many times the speed's.
func bareNoisy(rng *rand.Rand) Input {
	in := input(1, 0, 0, 0)
	in.Curve = &spin.LoadCurve{}
	s := in.Recording.Samples
	for i, w := range s.SpeedRadPerS {
		s.TorqueNm[i] += 0.02*rng.NormFloat64() - float64(loadK*w*w)
		s.SpeedRadPerS[i] += 0.1 * rng.NormFloat64()
	}
	return in
}

func problem(in Input) *stepProblem {
	run := in.Recording.Runs[0]
	return newStep(in, run, balance.OfRun(&in.Recording, run), 0, DefaultOptions())
}

// TestEnds: where torque noise outweighs speed noise a passage of an unloaded rotor ends close to the transient and
// single runs scatter less, by what their noise says; a propeller's passage ends on whole plateaus.
func TestEnds(t *testing.T) {
	var whole, near []float64
	rng := rand.New(rand.NewPCG(2, 5))
	for range 60 {
		in := bareNoisy(rng)
		p := problem(in)
		if err := p.solve(); err != nil {
			t.Fatal(err)
		}
		// The cosine's tenth and twentieth: 0.2 s/π·acos(1 − 2·share) after its beginning.
		at := func(share float64) float64 { return 1 + 0.2/math.Pi*math.Acos(1-2*share) }
		if got, want := p.up.From.To, at(0.1)-0.3*(at(0.9)-at(0.1)); math.Abs(got-want) > 2*stepS {
			t.Fatalf("the first end lasts until %.4f s, want %.4f", got, want)
		}
		if got, want := p.up.To.From, at(0.95); math.Abs(got-want) > 2*stepS {
			t.Fatalf("the last end begins at %.4f s, want %.4f", got, want)
		}
		if l := p.up.To.To - p.up.To.From; l < shortestEnd || l > 0.2 {
			t.Fatalf("an end of %.3g s", l)
		}
		near = append(near, p.j/truthJ-1)
		in.Propeller = true
		q := problem(in)
		if q.up.From != q.a || q.up.To != q.b || q.down.From != q.b2 || q.down.To != q.c {
			t.Fatal("a propeller's passage does not end on whole plateaus")
		}
		if err := q.solve(); err != nil {
			t.Fatal(err)
		}
		whole = append(whole, q.j/truthJ-1)
		if !(p.uj < 0.8*q.uj) {
			t.Fatalf("standard uncertainty %.3g near, %.3g with whole plateaus", p.uj, q.uj)
		}
	}
	root := func(x []float64) float64 {
		s := 0.0
		for _, v := range x {
			s += v * v / float64(len(x))
		}
		return math.Sqrt(s)
	}
	if a, b := root(near), root(whole); !(a < 0.85*b) {
		t.Errorf("scatter %.3g %% near, %.3g %% with whole plateaus", 100*a, 100*b)
	}
}
