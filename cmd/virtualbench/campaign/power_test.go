package campaign

import (
	"math"
	"testing"

	"spinledger/cmd/virtualbench/rig"
)

// TestPower: at three limits the comparison of the disk with the weights fails, without a change of scale
// it does not, and the size found is what moves it by three limits. A small
// form of `virtualbench power`.
func TestPower(t *testing.T) {
	for _, d := range Dials() {
		if d.Check != "disk-against-weights" {
			continue
		}
		d.Start = 0.004
		shift := d.Apply
		d.Apply = func(s *Scenario, x float64) {
			shift(s, x)
			s.Rotors, s.Conditions, s.Runs = []string{"bare", "disk"}, Usual()[:1], 3
		}
		p := MeasurePower(rig.Class22(), 2000, d, 1, 2, 2)
		if p.FalseAlarm != 0 || len(p.Levels) != 3 {
			t.Fatalf("%+v", p)
		}
		for _, l := range p.Levels {
			// The limit is 0.3 % or 1.4 U of the ratio, of which remounting is the most.
			if rel := l.Size / (0.004 * l.Limits); rel < 0.6 || rel > 1.5 {
				t.Errorf("%g limits at a change of scale of %.2g", l.Limits, l.Size)
			}
			if l.Limits == 3 && l.Fail != l.Sessions {
				t.Errorf("at three limits %d of %d fail", l.Fail, l.Sessions)
			}
		}
	}
	names := map[string]bool{}
	for _, d := range Dials() {
		s := Nominal(rig.Class22(), 2000)
		d.Apply(&s, d.Start)
		if names[d.Check] || !(d.Start > 0) || math.IsInf(d.Show, 0) {
			t.Errorf("%s twice, or with no size to start from", d.Check)
		}
		names[d.Check] = true
	}
}
