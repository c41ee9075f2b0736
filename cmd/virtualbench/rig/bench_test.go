package rig

import "testing"

// One step run of the nominal bench: 1.2 s of a bare 22 mm class rotor, 2 kHz.
func BenchmarkStepRun(b *testing.B) {
	c := Class22()
	s := Steps{IdleDuty: 0.3, StepDuty: 0.7, Repeats: 1, IdleS: 0.4, SettledS: 0.4}
	p := StepPlan(c.Conditions(), s)
	r := c.Motor.Rotor("bare")
	for b.Loop() {
		if _, _, err := Record(NominalBench(2000), c.Motor, r, p, 1); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/48000, "ns/step")
}
