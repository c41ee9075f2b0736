package torque

import (
	"math"
	"testing"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/spin"
)

// logged is what a logger at 2 kHz has of a rotor of 12 edges a turn that idles at 237 rad/s and, from 0.2503 s on,
// goes to 540 rad/s by an exponential of tau: at each sample the last whole period by a timer of 1 µs.
// A period is up to 2.2 ms, so that few fall into a quick rise and each is a mean over a good part of it.
func logged(tau, phase float64) (*spin.Recording, *balance.View) {
	const start, low, high, edges = 0.2503, 237.0, 540.0, 12.0
	angle := func(t float64) float64 {
		if t < start {
			return low * t
		}
		t -= start
		return low*start + high*t - (high-low)*tau*(1-math.Exp(-t/tau))
	}
	var edge []float64
	for n := 1; len(edge) == 0 || edge[len(edge)-1] < start+0.5; n++ {
		want := (float64(n) + phase) * 2 * math.Pi / edges
		lo, hi := 0.0, 2.0
		for range 50 {
			if mid := (lo + hi) / 2; angle(mid) < want {
				lo = mid
			} else {
				hi = mid
			}
		}
		edge = append(edge, lo)
	}
	stamp := func(t float64) float64 { return math.Floor(t*1e6) / 1e6 }
	v := &balance.View{}
	for n, k := 0, 0; ; n++ {
		t := (float64(n) + math.Mod(7.3*phase, 1)) / 2000
		for k < len(edge) && edge[k] <= t {
			k++
		}
		if k == len(edge) {
			break
		}
		if k >= 2 {
			micro := math.Round(1e6 * (stamp(edge[k-1]) - stamp(edge[k-2])))
			v.TimeS, v.SpeedRadPerS = append(v.TimeS, t), append(v.SpeedRadPerS, 2*math.Pi/edges/(micro*1e-6))
		}
	}
	return &spin.Recording{SpeedTiming: "period", EdgesPerTurn: edges}, v
}

// TestMeansOfPeriods: readings that are means over a third of a rise's time constant still give its
// times, its angle and its speeds. Closed form of the exponential.
func TestMeansOfPeriods(t *testing.T) {
	const low, high = 237.0, 540.0
	passed := 0.0
	for _, tau := range []float64{0.005, 0.0085, 0.02} {
		late, n := 0.0, 0.0
		for phase := 0.0; phase < 1; phase += 0.08 {
			r, v := logged(tau, phase)
			s := newSlide(r, v, 0, 1)
			s.sign, s.change = 1, high-low
			from, to := s.first(low+riseFrom*s.change), s.first(low+riseTo*s.change)
			rise := s.stretches(from, to)
			// ω = high − change·exp(−t/τ), hence θ − high·t + τ·(ω − high) is constant; a
			// mean over both is, too.
			var k []float64
			for _, p := range rise[1:] {
				k = append(k, p.AngleRad-high*p.TimeS-tau*(high-p.SpeedRadPerS))
			}
			for i := range k {
				if d := math.Abs(k[i] - k[0]); d > 0.002*(high-low)*tau+2e-4 {
					t.Errorf("τ %g s, phase %.2f, stretch %d: off the exponential by %.3g rad of %.3g", tau, phase, i+1, d, (high-low)*tau)
				}
			}
			if rise[0].SpeedSE < 3*rise[len(rise)/2].SpeedSE {
				t.Errorf("τ %g s: the first reading, in which the motion began, is as sure as others: %g and %g rad/s", tau, rise[0].SpeedSE, rise[len(rise)/2].SpeedSE)
			}
			passed, _ := s.passages(low)
			for i, p := range passed {
				e := p.TimeS - tau*math.Log(0.9/(1-passageShares[i]))
				if math.Abs(e) > 0.005*tau*math.Log(9) {
					t.Errorf("τ %g s, phase %.2f: %.0f %% later by %.3g s than it was", tau, phase, 100*p.Share, e)
				}
				late, n = late+e, n+1
			}
		}
		if n > 0 && math.Abs(late/n) > 0.0025*tau*math.Log(9) {
			t.Errorf("τ %g s: passages %.3g s late in the mean", tau, late/n)
		}
		passed += n
	}
	if passed < 50 {
		t.Errorf("%g passages: the test shows little", passed)
	}
}

// TestEqualPeriods: a period that is equal to the one before is a reading like any other, at its own date.
func TestEqualPeriods(t *testing.T) {
	r, v := logged(0.02, 0.4)
	s := newSlide(r, v, 0, 0.25)
	for i := 1; i < len(s.t); i++ {
		if d := s.t[i] - s.t[i-1]; math.Abs(d-2*math.Pi/12/237) > 5e-6 {
			t.Errorf("at idle, readings %d and %d are %.6f s apart: one is missing", i-1, i, d)
		}
	}
}
