package rig

import (
	"math"
	"strings"
	"testing"
)

func smallSession() Session {
	c := Class22()
	bare := c.Motor.Rotor("bare")
	p := StepPlan(c.Conditions(), Steps{IdleDuty: 0.3, StepDuty: 0.7, Repeats: 1, IdleS: 0.1, SettledS: 0.1})
	s := Session{Bench: NominalBench(500), Motor: c.Motor, Seed: 5, Carry: true, ZeroNm: 1e-3, Remount: 1e-3}
	for _, m := range []string{"one", "one", "two"} {
		s.Shots = append(s.Shots, Shot{Name: m, Mounting: m, Rotor: bare, Plan: p, PauseS: 2})
	}
	return s
}

func TestSessionSharesWhatIsShared(t *testing.T) {
	s := smallSession()
	got, err := s.Record()
	if err != nil {
		t.Fatal(err)
	}
	a, b, c := got[0].Truth, got[1].Truth, got[2].Truth
	if a.TorqueGain != b.TorqueGain || a.TorqueGain == c.TorqueGain {
		t.Errorf("gains %g, %g of one mounting, %g of another", a.TorqueGain, b.TorqueGain, c.TorqueGain)
	}
	if a.ZeroNm == b.ZeroNm {
		t.Error("the zero did not wander")
	}
	if !(b.Start.WindingC > Room().TemperatureC && b.Start.WindingC < a.End.WindingC) {
		t.Errorf("second starts at %.3f °C after the first ended at %.3f", b.Start.WindingC, a.End.WindingC)
	}
	s.Shots = s.Shots[:2]
	fewer, err := s.Record()
	if err != nil {
		t.Fatal(err)
	}
	if fewer[1].Truth.ZeroNm != b.ZeroNm || fewer[1].Trace.TorqueNm[100] != got[1].Trace.TorqueNm[100] {
		t.Error("a later shot changed an earlier one")
	}
}

func TestSessionNamesTheBadRecording(t *testing.T) {
	s := smallSession()
	s.Shots[2].Plan.Segments = nil
	if _, err := s.Record(); err == nil || !strings.Contains(err.Error(), `"two"`) {
		t.Errorf("want an error that names the recording, got %v", err)
	}
}

// A lump that loses heat to the air alone cools exponentially.
func TestCooling(t *testing.T) {
	m := Motor{Thermal: Thermal{WindingJPerK: 0.01, WindingKPerW: 1, StatorJPerK: 10, StatorKPerW: 5}}
	got := m.cooled(Uniform(80), Air{TemperatureC: 20}, 50)
	if want := 20 + 60*math.Exp(-1); math.Abs(got.StatorC-want) > 0.05 {
		t.Errorf("after one time constant %.3f °C; want %.3f", got.StatorC, want)
	}
}
