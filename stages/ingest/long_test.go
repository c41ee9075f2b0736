package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
)

// cycles is a recording of n steps at 1 kHz, 3000 to 20000 rpm and back in 12 s each; every step a little higher.
func cycles(n int) []row {
	rng := rand.New(rand.NewPCG(11, 1))
	var out []row
	for c := range n {
		high := 20000 + 10*float64(c)
		for i := range 12_000 {
			t := float64(i) * 0.001
			w, dw, duty := 3000.0, 0.0, 30
			switch {
			case t > 8:
				e := math.Exp(-(t - 8) / 0.05)
				w, dw = 3000+(high-3000)*e, -(high-3000)/0.05*e
			case t > 4:
				e := math.Exp(-(t - 4) / 0.05)
				w, dw, duty = high-(high-3000)*e, (high-3000)/0.05*e, 70
			}
			tq := 5e-7*dw*rpm + 1e-9*w*rpm*w*rpm + 1e-5*rng.NormFloat64()
			out = append(out, row{ms: float64(12_000*c + i), erpm: fmt.Sprintf("%.0f", 7*w), torque: fmt.Sprintf("%.3f", 1000*tq+5),
				thrust: "100.0", duty: fmt.Sprint(duty), volt: 14.8})
		}
	}
	return out
}

func mustRunWithin(t *testing.T, in Input, b bounds) spin.Recording {
	t.Helper()
	rec, err := runWithin(in, DefaultOptions(), b)
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < rec.Samples.Len(); i++ {
		if !(rec.Samples.TimeS[i] > rec.Samples.TimeS[i-1]) {
			t.Fatalf("time does not advance at sample %d", i)
		}
	}
	return rec
}

// A long recording gives the runs and plateaus that it gives in one piece, keeps the neighbourhoods of
// transients sample by sample and everything else in the mean.
func TestLongIsLikeWhole(t *testing.T) {
	const steps = 6
	rows := cycles(steps)
	whole := mustRunWithin(t, input(t, text(rows)), memory)
	for _, b := range []bounds{{20_000, 100_000, 40_000}, {50_000, 100_000, 4_000}, {13_000, 100_000, 200}} {
		long := mustRunWithin(t, input(t, text(rows)), b)
		if long.Rows != whole.Rows || len(long.Runs) != steps || len(whole.Runs) != steps || math.Abs(long.StepS/whole.StepS-1) > 1e-9 || len(long.Refusals) != 0 {
			t.Fatalf("%v: %d rows, %d runs, refusals %v", b, long.Rows, len(long.Runs), long.Refusals)
		}
		if n := long.Samples.Len(); n > steps*6_500+b.means+int(memory.means/100) || n < steps*4_000 {
			t.Errorf("%v: %d samples kept", b, n)
		}
		for i, got := range long.Runs {
			want := whole.Runs[i]
			if got.ID != want.ID || got.Duty != want.Duty || math.Abs(got.RiseS/want.RiseS-1) > 1e-6 || got.C < 0 || long.Segments[got.B].Kind != spin.Settled {
				t.Errorf("%v: run %+v, in one piece %+v", b, got, want)
			}
			sameNear(t, &long, &whole, got, want)
			p, _ := long.Plateau(got.B)
			q, _ := whole.Plateau(want.B)
			if p.N != q.N || math.Abs(p.TorqueNm-q.TorqueNm) > 1e-12 || p.TorqueSD != q.TorqueSD {
				t.Errorf("%v: plateau %+v, in one piece %+v", b, p, q)
			}
		}
		// A plateau's halves on either side of a cut are both there, and no time twice.
		for i := 1; i < len(long.Segments); i++ {
			if long.Segments[i].FromS < long.Segments[i-1].ToS || long.Segments[i].From < long.Segments[i-1].To {
				t.Errorf("%v: segment %+v after %+v", b, long.Segments[i], long.Segments[i-1])
			}
		}
		if a, b := integral(&long, whole.Samples.TimeS[whole.Rows-1]), integral(&whole, whole.Samples.TimeS[whole.Rows-1]); math.Abs(a/b-1) > 2e-4 {
			t.Errorf("∫T dt = %v, in one piece %v", a, b)
		}
	}
}

// sameNear compares samples from 0.9 s before a rise to 0.9 s after it, bit by bit.
func sameNear(t *testing.T, long, whole *spin.Recording, got, want spin.Run) {
	t.Helper()
	a, b := long.Samples, whole.Samples
	i, _ := slices.BinarySearch(a.TimeS, long.Segments[got.A].ToS-0.9)
	j, _ := slices.BinarySearch(b.TimeS, a.TimeS[i])
	n := 0
	for ; b.TimeS[j] < whole.Segments[want.B].FromS+0.9; i, j, n = i+1, j+1, n+1 {
		if a.TimeS[i] != b.TimeS[j] || a.TorqueNm[i] != b.TorqueNm[j] || a.SpeedRadPerS[i] != b.SpeedRadPerS[j] || a.VoltageV[i] != b.VoltageV[j] {
			t.Fatalf("run %s: sample at %v s differs from that at %v s", got.ID, a.TimeS[i], b.TimeS[j])
		}
	}
	if n < 1800 {
		t.Errorf("run %s: %d samples compared", got.ID, n)
	}
}

// integral is ∫T dt from 0 to end; half of a first and a last mean lie outside its sample.
func integral(r *spin.Recording, end float64) float64 {
	s := r.Samples
	sum := s.TimeS[0]*s.TorqueNm[0] + (end-s.TimeS[s.Len()-1])*s.TorqueNm[s.Len()-1]
	for i := 1; i < s.Len(); i++ {
		sum += (s.TorqueNm[i] + s.TorqueNm[i-1]) / 2 * (s.TimeS[i] - s.TimeS[i-1])
	}
	return sum
}

// Faults of the clock are found across the cuts, and told once.
func TestLongClock(t *testing.T) {
	rows := cycles(6)
	b := bounds{whole: 15_000, full: 100_000, means: 10_000}
	wrapped := slices.Clone(rows)
	for i := range wrapped {
		// A 16-bit counter of 0.1 ms wraps every 6.5 s.
		wrapped[i].ms = float64(int(10*wrapped[i].ms)%65536) / 10
	}
	rec := mustRunWithin(t, input(t, text(wrapped)), b)
	if last := rec.Samples.TimeS[rec.Samples.Len()-1]; math.Abs(last-71.999) > 0.01 || len(rec.Runs) != 6 {
		t.Errorf("%d runs until %v s: %v", len(rec.Runs), last, said(rec))
	}
	// A counter of whole ms that wraps, and later gets decimals.
	finer := slices.Clone(rows)
	for i := range finer {
		finer[i].ms = float64((int(finer[i].ms) + 40_000) % 65536)
	}
	lines := strings.Split(text(finer), "\n")
	for i := 1; i < 50_000; i++ {
		lines[i] = strings.Replace(lines[i], ".0,", ",", 1)
	}
	rec = mustRunWithin(t, input(t, strings.Join(lines, "\n")), b)
	if last := rec.Samples.TimeS[rec.Samples.Len()-1]; math.Abs(last-111.999) > 0.01 || len(rec.Runs) != 6 {
		t.Errorf("%d runs until %v s: %v", len(rec.Runs), last, said(rec))
	}
	// Every stamp twice.
	var twice []row
	for _, r := range rows {
		twice = append(twice, r, r)
	}
	rec = mustRunWithin(t, input(t, text(twice)), b)
	if len(rec.Runs) != 6 || rec.Rows != len(rows) {
		t.Errorf("%d runs, %d rows", len(rec.Runs), rec.Rows)
	}
	n := 0
	for _, w := range rec.Warnings {
		if w.Code == "repeat" {
			n++
			if !strings.HasPrefix(w.Text, "rec.csv:3: ") || !strings.Contains(w.Text, "; the like in ") {
				t.Error(w.Text)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d warnings of repeats", n)
	}
	// Started again: time goes back by half a minute, in whatever stretch that comes.
	for _, at := range []int{44_999, 52_345} {
		again := slices.Clone(rows)
		for i := at; i < len(again); i++ {
			again[i].ms -= 30_000
		}
		_, err := runWithin(input(t, text(again)), DefaultOptions(), b)
		want := fmt.Sprintf("rec.csv:%d: t_ms: got a time 29.999 s before that of an earlier row; want time that goes on "+
			"(two recordings in one file, or a logger that was started again? cut the file there)", at+2)
		if err == nil || err.Error() != want {
			t.Errorf("row %d: got %v\nwant %s", at, err, want)
		}
	}
}

// What does not fit is said.
func TestLongRefused(t *testing.T) {
	rows := cycles(6)
	_, err := runWithin(input(t, text(rows)), DefaultOptions(), bounds{whole: 15_000, full: 20_000, means: 10_000})
	if want := "rec.csv: got 22765 rows around 5 transients; want at most 20000 in one recording (cut it into recordings of fewer runs)"; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
	for i := range rows {
		rows[i].erpm = fmt.Sprint(7000 + i)
	}
	_, err = runWithin(input(t, text(rows)), DefaultOptions(), bounds{whole: 15_000, full: 20_000, means: 10_000})
	if want := "rec.csv:2: erpm: got no settled speed of 0.3 s in 16384 rows from here on; want a long recording with plateaus between its transients " +
		"(cut it into recordings of a few runs each)"; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
	// Rest and idle only: one refusal, not one a stretch.
	for i := range rows {
		rows[i].erpm = "0"
	}
	rec := mustRunWithin(t, input(t, text(rows)), bounds{whole: 15_000, full: 20_000, means: 10_000})
	if len(rec.Refusals) != 1 || rec.Refusals[0].Code != "no-motion" {
		t.Errorf("%+v", rec.Refusals)
	}
	for i := range rows {
		rows[i].erpm = fmt.Sprint(21_000 + i%3)
	}
	rec = mustRunWithin(t, input(t, text(rows)), bounds{whole: 15_000, full: 20_000, means: 10_000})
	if len(rec.Refusals) != 1 || rec.Refusals[0].Code != "no-step" || len(rec.Runs) != 0 {
		t.Errorf("%+v", rec.Refusals)
	}
}
