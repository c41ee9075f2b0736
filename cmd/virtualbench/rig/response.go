package rig

import "fmt"

// Response asks for the spin-up of a rotor from one speed to another.
type Response struct {
	FromRadPerS, ToRadPerS float64 // 0 <= from < to
	Duty                   float64 // commanded at the start, 0..1
	Braking                bool
	RampS                  float64 // of the duty, from the duty that holds FromRadPerS
	LimitS                 float64 // gives up after this; 0 means 60 s
}

// Spin is what such a spin-up takes.
type Spin struct {
	TimeS        float64 // from the command to the first passage through ToRadPerS
	EnergyJ      float64 // drawn from the source behind the supply's resistance
	ChargeC      float64 // supply current integrated
	PeakRadPerS2 float64 // largest acceleration
	HottestC     float64 // winding at the end
}

// SpinUp integrates a spin-up forward in time, cold unless c.Start says
// otherwise: the truth for any prediction made from inertia, torque and load
// curves. It fails when the speed is never reached.
func SpinUp(m Motor, r Rotor, c Conditions, q Response) (Spin, error) {
	if !(q.ToRadPerS > q.FromRadPerS && q.FromRadPerS >= 0) || !(q.Duty > 0 && q.Duty <= 1) {
		return Spin{}, fmt.Errorf("response: from %g to %g rad/s at duty %g; want 0 <= from < to, duty above 0 up to 1",
			q.FromRadPerS, q.ToRadPerS, q.Duty)
	}
	start := Uniform(c.Air.TemperatureC)
	if c.Start != nil {
		start = *c.Start
	}
	const h = 10e-6
	ctl := c.Controller
	ctl.Braking = q.Braking
	v := newMachine(&m, r, c.Supply, ctl, c.Air, start, h)
	hold := v.holdingDuty(q.FromRadPerS)
	if q.FromRadPerS > 0 {
		v.startAt(q.FromRadPerS, hold)
	}
	limit := q.LimitS
	if limit <= 0 {
		limit = 60
	}
	var s Spin
	for n := 0; float64(n)*h < limit; n++ {
		if x := (float64(n) + 0.5) * h; x < q.RampS {
			v.duty = hold + (q.Duty-hold)*x/q.RampS
		} else {
			v.duty = q.Duty
		}
		before := v.speed
		v.step()
		amps := v.duty * v.current
		share := 1.0
		if v.speed >= q.ToRadPerS {
			share = (q.ToRadPerS - before) / (v.speed - before)
		}
		s.ChargeC += amps * h * share
		s.EnergyJ += c.Supply.VoltageV * amps * h * share
		s.PeakRadPerS2 = max(s.PeakRadPerS2, v.accel)
		if v.speed >= q.ToRadPerS {
			s.TimeS, s.HottestC = (float64(n)+share)*h, v.heat.WindingC
			return s, nil
		}
	}
	return Spin{}, fmt.Errorf("response: %g rad/s not reached within %g s (at %g rad/s)", q.ToRadPerS, limit, v.speed)
}

// holdingDuty is the duty that holds speed w, by bisection; 1 when none does.
func (v *machine) holdingDuty(w float64) float64 {
	if w == 0 {
		return 0
	}
	need := v.internalDrag(w) + v.externalLoad(w, w)
	lo, hi := 0.0, 1.0
	for range 100 {
		d := 0.5 * (lo + hi)
		i := equilibriumCurrent(v.motor, v.supply, v.ctl, v.heat, d, w)
		if v.motor.torqueConstant(v.heat.MagnetC, i)*i < need {
			lo = d
		} else {
			hi = d
		}
	}
	return hi
}
