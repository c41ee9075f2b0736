package torque

import (
	"math"
	"testing"
)

// read is what a logger at hz has of a rotor of 6 edges a turn that spins up from 500 to 2000 rad/s
// by an exponential of 40 ms: at each sample the last whole period, stamped by a timer of 1 µs;
// every missth edge is not seen. The true ends of the periods come beside it.
func read(hz, phase float64, miss int) (f []reading, ends []float64) {
	angle := func(t float64) float64 { // of ω = 2000 − 1500·exp(−t/0.04)
		return 2000*t - 1500*0.04*(1-math.Exp(-t/0.04))
	}
	var edge []float64
	for n := 1; ; n++ {
		want := (float64(n) + phase) * 2 * math.Pi / 6
		lo, hi := 0.0, 1.0
		for range 60 {
			if mid := (lo + hi) / 2; angle(mid) < want {
				lo = mid
			} else {
				hi = mid
			}
		}
		if lo > 0.2 {
			break
		}
		if miss == 0 || n%miss > 0 {
			edge = append(edge, lo)
		}
	}
	stamp := func(t float64) float64 { return math.Round(t*1e6) / 1e6 }
	last := 0.0
	for n, k := 0, 0; ; n++ {
		t := (float64(n) + 0.3) / hz
		for k < len(edge) && edge[k] <= t {
			k++
		}
		if k == len(edge) {
			return f, ends
		}
		if k < 2 {
			continue
		}
		period := stamp(edge[k-1]) - stamp(edge[k-2])
		f, ends = append(f, reading{t, t - 1/hz, period, math.Abs(period-last) > 1e-9}), append(ends, edge[k-1])
		last = period
	}
}

// Edges are dated to a few microseconds where the rise begins with periods longer than the sampling
// interval. Where it does not they are dated better than by the middle of what the samples
// leave open (145 µs rms at 2 kHz, 200 below), or not at all.
func TestEdges(t *testing.T) {
	for _, x := range []struct {
		hz       float64
		miss     int
		rms      float64 // s
		followed bool
	}{{500, 0, 200e-6, false}, {1000, 0, 160e-6, false}, {2000, 0, 10e-6, true}, {5000, 0, 10e-6, true}, {2000, 37, 120e-6, true}} {
		for phase := 0.0; phase < 1; phase += 0.23 {
			f, ends := read(x.hz, phase, x.miss)
			at, unsure, ok := edges(f)
			if !ok {
				if x.followed {
					t.Errorf("%g Hz, phase %g: not followed", x.hz, phase)
				}
				continue
			}
			square, n := 0.0, 0.0
			for i := range at {
				if math.IsNaN(at[i]) {
					continue
				}
				// Later the speed hardly changes, and equal periods are not told from repeated ones.
				if ends[i] < 0.14 {
					square, n = square+(at[i]-ends[i])*(at[i]-ends[i]), n+1
				}
			}
			if rms := math.Sqrt(square / n); rms > x.rms || x.followed && unsure > 30e-6 {
				t.Errorf("%g Hz, an edge in %d missed, phase %g: wrong by %.1f µs rms, first unsure by %.1f µs", x.hz, x.miss, phase, 1e6*rms, 1e6*unsure)
			}
		}
	}
}

// Readings that are no whole periods, here averages of two, are not taken for them.
func TestEdgesOfOtherReadings(t *testing.T) {
	f, _ := read(2000, 0, 0)
	for i := range f {
		f[i].period *= 1.3
	}
	if _, _, ok := edges(f); ok {
		t.Error("readings a third too long were followed")
	}
	if _, _, ok := edges(f[:2]); ok {
		t.Error("two readings were followed")
	}
}
