package campaign

import (
	"math"
	"testing"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/stages/kit/spin"
)

// TestClasses computes nominal sessions of each motor class. Every number must
// be there; a rotor's mean is off by no more than four of its own intervals, and
// of all numbers so many are held that 95 % cannot be excluded at the 99.9 % level.
func TestClasses(t *testing.T) {
	held, given := 0, 0
	for _, class := range rig.Classes() {
		s := Nominal(class, 2000)
		s.Runs = 2
		c := Summarise(Cell{Class: class.Name}, Measure(s, 11, 1))
		for _, q := range c.Numbers {
			if q.Refused > 0 {
				t.Errorf("%s %s: %d of %d sessions gave no number", class.Name, q.Name, q.Refused, c.Sessions)
			}
			held, given = held+q.Held, given+q.Given
			if math.Abs(q.Bias) > 4*q.MedianU {
				t.Errorf("%s %s: %+.3f %% off, U %.3f %%", class.Name, q.Name, 100*q.Bias, 100*q.MedianU)
			}
		}
		if c.Wrong > 0 {
			t.Errorf("%s: %d sessions with a wrong number fit for release", class.Name, c.Wrong)
		}
	}
	// Numbers of one session share their scale, so the limit is loose on purpose.
	if _, hi := Interval(held, given, 0.998); hi < 0.95 {
		t.Errorf("%d of %d intervals hold the truth; at most %.1f %% can be believed", held, given, 100*hi)
	}
}

// A drawing 3 % too large must not pass for a good scale.
func TestWrongDrawing(t *testing.T) {
	s := Nominal(rig.Class22(), 1000)
	s.Runs, s.DiskShift = 1, 0.03
	for _, o := range Measure(s, 5, 1) {
		if o.Checks["disk-against-weights"] != "fail" || o.Checks["mass-against-drawing"] != "fail" {
			t.Errorf("a disk drawn 3 %% too large: checks %v", o.Checks)
		}
		for q, j := range o.Numbers {
			if j.Release {
				t.Errorf("%s is fit for release, %+.2f %% off", q, 100*j.Error)
			}
		}
	}
}

// A torque scale that drifts by 1 % while the session's recordings are made is wrong in a propeller's inertia and in nothing that can be seen,
// unless the weights are hung again.
func TestWeighedAgain(t *testing.T) {
	s := Nominal(rig.Class22(), 1000)
	s.Runs = 1
	weighedAgain(&s, 0.01)
	o := Measure(s, 5, 1)[0]
	if o.Checks["weighed-again"] != spin.Fail {
		t.Errorf("checks %v", o.Checks)
	}
	for q, j := range o.Numbers {
		if j.Release || !j.Held() {
			t.Errorf("%s: %+.2f %% off, U %.2f %%, fit for release: %t", q, 100*j.Error, 100*j.U, j.Release)
		}
	}
	s.WeighAgain = false
	if j := Measure(s, 5, 1)[0].Numbers["prop-in-air"]; j.Held() {
		t.Errorf("weighed once: %+.2f %% off, U %.2f %%", 100*j.Error, 100*j.U)
	}
}

// Every fault of the grid makes a session that can be recorded and computed.
func TestFaults(t *testing.T) {
	for _, f := range Faults() {
		level := f.Levels[0]
		s := Nominal(rig.Class22(), 1000)
		level.Apply(&s)
		s.Runs, s.Rotors, s.Conditions = 1, []string{"bare"}, Usual()[:1]
		s.IdleS = min(s.IdleS, 0.5)
		for _, o := range Measure(s, 3, 1) {
			if o.Err != "" {
				t.Errorf("%s %s: %s", f.Name, level.Name, o.Err)
			}
		}
	}
}

// Clopper–Pearson against the closed form for no success: 1 − (α/2)^(1/n).
func TestInterval(t *testing.T) {
	lo, hi := Interval(0, 20, 0.95)
	if want := 1 - math.Pow(0.025, 1.0/20); lo != 0 || math.Abs(hi-want) > 1e-9 {
		t.Errorf("0 of 20: %g to %g, want 0 to %g", lo, hi, want)
	}
}
