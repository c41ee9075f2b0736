package segment

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// spiked puts a false reading, alone or in pairs, on about one sample in fifty.
func spiked(s *series.Samples) *series.Samples {
	r := rand.New(rand.NewPCG(3, 4))
	for i := 10; i+10 < s.Len(); i += 30 + r.IntN(40) {
		for k := range 1 + r.IntN(2) {
			s.SpeedRadPerS[i+k] = []float64{0, 3000}[r.IntN(2)]
		}
	}
	return s
}

// rounded rounds the speed to steps of q.
func rounded(s *series.Samples, q float64) *series.Samples {
	for i, w := range s.SpeedRadPerS {
		s.SpeedRadPerS[i] = q * math.Round(w/q)
	}
	return s
}

// periods is the speed from whole ticks of the last complete electrical period of
// six pole pairs, held until the next.
func periods(s *series.Samples, tickS float64) *series.Samples {
	angle, edgeS, held := 0.0, 0.0, s.SpeedRadPerS[0]
	for i, w := range s.SpeedRadPerS {
		if i > 0 {
			dt := s.TimeS[i] - s.TimeS[i-1]
			before := angle
			angle += w * dt * 6 / (2 * math.Pi)
			if turns := math.Floor(angle); turns > math.Floor(before) {
				edge := s.TimeS[i] - (angle-turns)/(w*6/(2*math.Pi))
				if n := math.Round((edge - edgeS) / (turns - math.Floor(before)) / tickS); edgeS > 0 && n > 0 {
					held = 2 * math.Pi / 6 / (n * tickS)
				}
				edgeS = edge
			}
		}
		s.SpeedRadPerS[i] = held
	}
	return s
}

// What a speed channel does to a course moves segments by little.
func TestFaultsOfTheSpeedChannel(t *testing.T) {
	clean := find(sampled(upDown(0.05), 1000, 2.5), spin.Step)
	checkStep(t, clean)
	for _, c := range []struct {
		name string
		s    *series.Samples
	}{
		{"spikes", spiked(sampled(upDown(0.05), 1000, 2.5))},
		{"spikes and noise", spiked(noisy(sampled(upDown(0.05), 1000, 2.5), 1))},
		{"steps of 100 rpm", rounded(sampled(upDown(0.05), 1000, 2.5), 100*math.Pi/30)},
		{"periods in microseconds", periods(sampled(upDown(0.05), 1000, 2.5), 1e-6)},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := find(c.s, spin.Step)
			if kinds(r) != kinds(clean) || codes(r) != "" || len(r.Runs) != 1 {
				t.Fatalf("segments %q, refusals %+v, runs %+v", kinds(r), r.Refusals, r.Runs)
			}
			for i, s := range r.Segments {
				within(t, s.Kind+" from", s.FromS, clean.Segments[i].FromS, 0.010)
				within(t, s.Kind+" to", s.ToS, clean.Segments[i].ToS, 0.010)
			}
			within(t, "rise", r.Runs[0].RiseS, clean.Runs[0].RiseS, 0.005)
		})
	}
}

// The origin of time means nothing. 1024 Hz and whole seconds keep every time exact.
func TestShiftedTimes(t *testing.T) {
	coasting := lags(1000, leg{1, -200, 0.8})
	for kind, c := range map[spin.Kind]course{
		spin.Step: upDown(0.05), spin.Steady: upDown(0.05),
		spin.Sweep: func(t float64) float64 { return 1000 - 600*math.Max(0, 1-math.Abs(t-2)/1.5) },
		spin.Coast: func(t float64) float64 { return math.Max(0, coasting(t)) },
	} {
		s := noisy(sampled(c, 1024, 4), 0.5)
		want := find(s, kind)
		if len(want.Segments) == 0 {
			t.Errorf("%s: nothing found", kind)
		}
		for _, shift := range []float64{-4096, 1, 4096} {
			moved := &series.Samples{TimeS: slices.Clone(s.TimeS), SpeedRadPerS: s.SpeedRadPerS}
			for i := range moved.TimeS {
				moved.TimeS[i] += shift
			}
			got := find(moved, kind)
			for i := range got.Segments {
				got.Segments[i].FromS -= shift
				got.Segments[i].ToS -= shift
			}
			if !slices.Equal(got.Segments, want.Segments) || codes(got) != codes(want) || len(got.Runs) != len(want.Runs) {
				t.Errorf("%s by %v s: %+v, want %+v", kind, shift, got.Segments, want.Segments)
				continue
			}
			for i, run := range got.Runs {
				w := want.Runs[i]
				within(t, "rise", run.RiseS, w.RiseS, 1e-9)
				run.RiseS, run.SamplesInRise = w.RiseS, w.SamplesInRise
				if run != w {
					t.Errorf("%s: run %+v, want %+v", kind, run, w)
				}
			}
		}
	}
}

func TestSamplesAreNotChanged(t *testing.T) {
	s := spiked(sampled(upDown(0.05), 1000, 2.5))
	before := slices.Clone(s.SpeedRadPerS)
	for _, kind := range spin.Kinds() {
		find(s, kind)
	}
	if !slices.Equal(s.SpeedRadPerS, before) {
		t.Error("the speed is another after Find")
	}
}

func TestMedian5(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for n := range 200 {
		x := make([]float64, n)
		for i := range x {
			// Few values: ties in every combination.
			x[i] = float64(r.IntN(1 + n%9))
			if n%2 == 1 {
				x[i] += r.Float64()
			}
		}
		got := median5(x)
		for i := range x {
			want := x[i]
			if i >= 2 && i+2 < n {
				window := slices.Clone(x[i-2 : i+3])
				slices.Sort(window)
				want = window[2]
			}
			if got[i] != want {
				t.Fatalf("%v: at %d got %v, want %v", x, i, got[i], want)
			}
		}
	}
}

func TestSlidingRange(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 200 {
		x := make([]float64, 1+r.IntN(60))
		for i := range x {
			x[i] = float64(r.IntN(20))
		}
		w := 1 + r.IntN(len(x))
		got := slidingRange(x, w)
		if len(got) != len(x)-w+1 {
			t.Fatalf("%d windows of %d in %d", len(got), w, len(x))
		}
		for i, g := range got {
			if want := slices.Max(x[i:i+w]) - slices.Min(x[i:i+w]); g != want {
				t.Fatalf("%v, window %d at %d: got %v, want %v", x, w, i, g, want)
			}
		}
	}
}

func TestBoxcar(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	x := make([]float64, 50)
	for i := range x {
		x[i] = float64(r.IntN(100))
	}
	for _, w := range []int{1, 3, 11, 99} {
		for i, got := range boxcar(x, w) {
			sum, n := 0.0, 0
			for k := max(0, i-w/2); k <= min(len(x)-1, i+w/2); k++ {
				sum, n = sum+x[k], n+1
			}
			within(t, "mean", got, sum/float64(n), 1e-12*100)
		}
	}
}
