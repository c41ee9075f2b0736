package rig

import "math"

// machine is the state of motor, rotor and supply, advanced in equal steps h.
// Current and inflow live half a step before speed and angle (a staggered
// scheme), so each is driven by the other's midpoint: second order in h, with
// one evaluation of everything per step. The current's own decay is exact
// (exponential), hence stable at any L/R.
type machine struct {
	h          float64
	motor      *Motor
	load       Load
	supply     Supply
	ctl        Controller
	air        Air
	inertia    float64 // everything that is accelerated: bodies and entrained air
	ratio      float64 // air density over the load's reference
	power      powerLaw
	brakeUnit  float64 // B0 of Segment
	brake      float64 // B now, N·m·s/rad
	dry        float64
	bladeWaves float64

	duty float64 // over the coming step
	cut  bool

	current float64 // A, at the last half step
	earlier float64 // A, one step before that; kept only with saturation
	speed   float64 // rad/s
	angle   float64 // rad, unwrapped
	inflow  float64 // rad/s, at the last half step
	accel   float64 // rad/s², over the last step

	reaction  float64 // mean torque on the stator over the last step, N·m
	loadNow   float64 // external load over the last step, N·m
	dragNow   float64 // internal drag over the last step, N·m
	midSpeed  float64
	midAngle  float64
	deficit   float64 // ∫(static − actual load)dt since reset: inflow only
	windingJ  float64 // I²R heat of the winding since the last thermal update
	dragJ     float64 // internal drag work since the last thermal update
	heat      Heat
	sinceHeat int

	k, rWinding, loop, decay float64 // cached electrical constants
	perLoop, perInertia      float64 // reciprocals: a division costs as much as the rest of a line
	lastDuty, meanDuty       float64 // over the last step; around the start of the coming one
}

// heatEvery is the number of steps between updates of the temperatures: at
// 25 µs, 1.6 ms, about a thousandth of the smallest winding time constant in use.
const heatEvery = 64

func newMachine(m *Motor, r Rotor, s Supply, c Controller, a Air, start Heat, h float64) *machine {
	v := &machine{
		h: h, motor: m, load: r.Load, supply: s, ctl: c, air: a,
		inertia: r.Inertia + r.Entrained,
		ratio:   r.Load.densityRatio(a.DensityKgM3),
		power:   newPowerLaw(r.Load.PropN),
		dry:     r.Load.DryNm,
		heat:    start,
	}
	if r.Load.BladeFactor != 0 {
		v.bladeWaves = float64(max(r.Load.Blades, 1))
	}
	v.perInertia = 1 / v.inertia
	v.brakeUnit = m.KtNmPerA * m.KtNmPerA / (m.ResistanceOhm + m.ExtraOhm)
	v.refresh()
	return v
}

// refresh recomputes what depends on temperature and duty.
func (v *machine) refresh() {
	v.rWinding = v.motor.resistance(v.heat.WindingC) - v.motor.ExtraOhm
	v.k = v.motor.torqueConstant(v.heat.MagnetC, 0)
	v.loop = v.rWinding + v.motor.ExtraOhm + v.meanDuty*v.meanDuty*v.supply.Ohm
	v.perLoop = 1 / v.loop
	if v.motor.InductanceH > 0 {
		v.decay = math.Exp(-v.h * v.loop / v.motor.InductanceH)
	} else {
		v.decay = 0
	}
}

// settle puts the machine at the speed where duty d balances the load, found
// by bisection; at rest when the drive cannot overcome friction.
func (v *machine) settle(d float64) {
	v.duty, v.lastDuty, v.meanDuty = d, d, d
	v.refresh()
	if d == 0 {
		return
	}
	net := func(w float64) float64 {
		i := equilibriumCurrent(v.motor, v.supply, v.ctl, v.heat, d, w)
		return v.motor.torqueConstant(v.heat.MagnetC, i)*i - v.internalDrag(w) - v.externalLoad(w, w)
	}
	lo, hi := 0.0, 1.2*d*v.supply.VoltageV/v.k
	if net(1e-9*hi) <= 0 {
		return
	}
	for range 200 {
		mid := 0.5 * (lo + hi)
		if net(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	v.startAt(lo, d)
}

// startAt sets speed w in equilibrium current for duty d.
func (v *machine) startAt(w, d float64) {
	v.duty, v.lastDuty, v.meanDuty = d, d, d
	v.refresh()
	v.speed, v.inflow, v.midSpeed, v.accel = w, w, w, 0
	v.current = equilibriumCurrent(v.motor, v.supply, v.ctl, v.heat, d, w)
	v.earlier = v.current
	v.loadNow = v.externalLoad(w, w)
	v.reaction = v.motor.torqueConstant(v.heat.MagnetC, v.current)*v.current - v.internalDrag(w)
}

// step advances everything by h at the present duty and brake.
func (v *machine) step() {
	te := v.drive()
	v.mechanics(te)
	v.windingJ += v.current * v.current * v.rWinding * v.h
	v.dragJ += v.dragNow * v.midSpeed * v.h
	if v.sinceHeat++; v.sinceHeat >= heatEvery {
		v.warm()
	}
}

// drive advances the current to the middle of the coming step and returns the
// electromagnetic torque without ripple. Loop: L·di/dt = d·V − d²·Rs·i − R·i − k·ω.
func (v *machine) drive() float64 {
	if d := 0.5 * (v.lastDuty + v.duty); d != v.meanDuty {
		v.meanDuty = d
		v.refresh()
	}
	v.lastDuty = v.duty
	if v.cut {
		v.current = 0
		return 0
	}
	k := v.k
	sat := v.motor.SaturationA
	if sat > 0 {
		// The back-emf belongs to the start of the coming step: half a step on.
		k = saturated(v.k, v.current+0.5*(v.current-v.earlier), sat)
		v.earlier = v.current
	}
	target := (v.meanDuty*v.supply.VoltageV - k*v.speed) * v.perLoop
	i := target + (v.current-target)*v.decay
	if i < 0 && !v.ctl.Braking {
		i = 0
	}
	if lim := v.ctl.LimitA; lim > 0 {
		i = max(-lim, min(lim, i))
	}
	v.current = i
	if sat > 0 {
		k = saturated(v.k, i, sat)
	}
	return k * i
}

func saturated(k, i, at float64) float64 {
	r := i / at
	return k / (1 + r*r)
}

// mechanics advances speed and angle by h under electromagnetic torque te:
// J·dω/dt = te + ripple − drag − L. The reaction on the stator is te + ripple −
// drag, which equals J·dω/dt + L.
func (v *machine) mechanics(te float64) {
	h, w := v.h, v.speed
	mid := w + 0.5*h*v.accel
	if mid*w < 0 {
		// About to stop: friction still opposes w. With the predicted sign it would
		// push the rotor on, which then hunts about rest instead of stopping.
		mid = 0.5 * w
	}
	v.midSpeed = mid
	v.midAngle = v.angle + 0.5*h*w
	if c := v.load.InflowC; c > 0 {
		x := w * h / c
		v.inflow += (w - v.inflow) * x / (1 + 0.5*x)
	}
	if v.motor.Ripple != nil {
		te += v.pulsation(te)
	}
	if w == 0 && v.held(te) {
		return
	}
	drag, load := v.internalDrag(mid), v.externalLoad(mid, v.inflow)
	if mid == 0 {
		drag = math.Copysign(v.motor.Drag.CoulombNm, te)
		load = math.Copysign(v.dry, te)
	}
	a := (te - drag - load) * v.perInertia
	next := w + h*a
	if next*w < 0 {
		// Friction stops the rotor, it cannot turn it round: the speed passes
		// through rest first and leaves it on the next step if driven.
		next, a = 0, -w/h
		v.accel = 0
	} else {
		v.accel = a
	}
	v.speed = next
	v.angle += 0.5 * h * (w + next)
	v.dragNow, v.loadNow = drag, load
	v.reaction = v.inertia*a + load
}

// held reports whether friction holds the rotor at rest against torque te, and
// if so sets the reaction: bearings take what they can, the ground the rest.
func (v *machine) held(te float64) bool {
	grip := v.motor.Drag.CoulombNm
	if math.Abs(te) > grip+v.dry {
		return false
	}
	v.accel, v.inflow, v.midSpeed = 0, 0, 0
	inner := max(-grip, min(grip, te))
	v.dragNow, v.loadNow, v.reaction = inner, te-inner, te-inner
	return true
}

func (v *machine) internalDrag(w float64) float64 {
	d := &v.motor.Drag
	switch {
	case w > 0:
		return d.CoulombNm + d.ViscousNms*w
	case w < 0:
		return -d.CoulombNm + d.ViscousNms*w
	}
	return 0
}

// externalLoad is L at speed w with the inflow at speed-equivalent u.
func (v *machine) externalLoad(w, u float64) float64 {
	if w == 0 {
		return 0
	}
	l := &v.load
	a := math.Abs(w)
	t := (l.LinearNms + v.brake + l.SquareNms2*a*v.ratio) * a
	if l.PropK != 0 {
		p := l.PropK * v.power.at(a) * v.ratio
		if l.InflowC > 0 {
			missing := p * l.InflowF * (1 - u/a)
			v.deficit += missing * v.h
			p -= missing
		}
		if v.bladeWaves > 0 {
			p *= 1 + l.BladeFactor*v.wave(v.bladeWaves, 0)
		}
		t += p
	}
	t += v.dry
	if w < 0 {
		return -t
	}
	return t
}

// pulsation is the mean over the step of all torque harmonics.
func (v *machine) pulsation(te float64) float64 {
	sum, a := 0.0, math.Abs(te)
	for i := range v.motor.Ripple {
		r := &v.motor.Ripple[i]
		sum += (r.RelTorque*a + r.AbsNm) * v.wave(r.Order, r.PhaseRad)
	}
	return sum
}

// wave is the mean of sin(order·θ + phase) over the present step. The sinc
// factor keeps harmonics above the step's own rate from aliasing: beyond its
// first zero the mean is taken as none.
func (v *machine) wave(order, phase float64) float64 {
	x := 0.5 * order * v.midSpeed * v.h
	return sinc(x*x) * fastSin(order*v.midAngle+phase)
}

// warm advances the temperatures by heatEvery steps (forward Euler: the
// interval is far below each time constant) and refreshes what they change.
func (v *machine) warm() {
	dt := float64(v.sinceHeat) * v.h
	v.sinceHeat = 0
	t := &v.motor.Thermal
	if t.WindingJPerK > 0 && t.StatorJPerK > 0 {
		flow := (v.heat.WindingC - v.heat.StatorC) / t.WindingKPerW * dt
		out := (v.heat.StatorC - v.air.TemperatureC) / t.StatorKPerW * dt
		rise := t.MagnetCoupling * (v.heat.StatorC - v.air.TemperatureC)
		v.heat.WindingC += (v.windingJ - flow) / t.WindingJPerK
		v.heat.StatorC += (flow - out + t.IronLossFraction*v.dragJ) / t.StatorJPerK
		if t.MagnetS > 0 {
			v.heat.MagnetC += (v.air.TemperatureC + rise - v.heat.MagnetC) * dt / t.MagnetS
		}
		v.refresh()
	}
	v.windingJ, v.dragJ = 0, 0
}
