package rig

import (
	"math"
	"slices"
)

// Truth is what no bench can know. Times are true times in seconds; sample k
// of the main logger was taken at ClockPhaseS + k/SampleHz·(1+RateError).
type Truth struct {
	Inertia   float64 // of the bodies, bell included, kg·m²
	Entrained float64 // air carried along, kg·m²

	Load       Load
	DensityKg  float64 // air density, kg/m³
	TorqueGain float64 // reading per true torque
	ZeroNm     float64 // at t = 0
	DriftNmPs  float64
	// LagS is how much later than the speed channel the torque channel is: pure
	// delays, filter and half the averaging, without the period's own latency.
	LagS float64

	ClockPhaseS, TelemetryPhaseS float64
	EndS                         float64
	Start, End                   Heat
	HottestC                     float64 // highest winding temperature at an end of a segment

	Segments    []SegmentTruth
	Transitions []Transition
}

// SegmentTruth is what happened in one segment of the plan.
type SegmentTruth struct {
	Role         Role
	StartS, EndS float64
	Duty         float64 // commanded
	StartRadPerS float64 // speed at its ends
	EndRadPerS   float64
	LateRadPerS  float64 // mean speed and mean external load (brake included) over the last third of
	LateLoadNm   float64 // the planned time; at its end when it ended early, at rest
	StartC, EndC float64 // winding temperature
}

// Transition is the change of speed that a change of duty or a cut brings,
// from the command to the end of the segment that it starts.
type Transition struct {
	Segment              int // index into Truth.Segments
	CommandS             float64
	FromDuty, ToDuty     float64
	FromRadPerS, ToRadPS float64
	T10S, T90S           float64 // true times at which 10 % and 90 % of the change were made; NaN if never
	// EffectiveInertia is bodies, entrained air and inflow together, exactly as
	// integrated: J − ∫(static − actual load)dt / Δω. It is what a perfect
	// bench with a perfect static load curve finds "in air".
	EffectiveInertia float64
	ReactionNms      float64 // ∫ torque on the stator dt
	LoadNms          float64 // ∫ external load dt
	// Accel2 is ∫ (dω/dt)² dt, rad²/s³: what white torque noise leaves of an inertia
	// depends on the trajectory through it alone (Cramér–Rao).
	Accel2 float64
}

// EffectiveInertia is the mean over all transitions that start at or below and
// end above rest: the truth for a number "in air". Without any it is bodies
// and entrained air.
func (t *Truth) EffectiveInertia() float64 {
	sum, n := 0.0, 0
	for _, x := range t.Transitions {
		if x.ToRadPS > x.FromRadPerS {
			sum += x.EffectiveInertia
			n++
		}
	}
	if n == 0 {
		return t.Inertia + t.Entrained
	}
	return sum / float64(n)
}

// tracker follows the segment in hand.
type tracker struct {
	seg            SegmentTruth
	fromDuty       float64
	moved          bool // duty or cut changed at its start
	cut            bool
	deficit        float64
	steps          int
	reaction, load float64
	accel2         float64
	speeds         []float64 // after each step
	lateFrom       int       // step at which the last third begins
	speed3, load3  float64   // sums over it
}

func (r *recorder) open(s *Segment, t float64, steps int) {
	k, m := &r.track, r.m
	k.moved = len(r.truth.Segments) > 0 && (s.Duty != k.seg.Duty || s.Cut != k.cut)
	k.fromDuty, k.cut = k.seg.Duty, s.Cut
	k.seg = SegmentTruth{Role: s.Role, StartS: t, Duty: s.Duty, StartRadPerS: m.speed, StartC: m.heat.WindingC}
	k.deficit, k.reaction, k.load, k.accel2, k.steps = m.deficit, 0, 0, 0, 0
	k.speeds, k.lateFrom, k.speed3, k.load3 = k.speeds[:0], steps*2/3, 0, 0
	if k.moved && !s.UntilRest {
		k.speeds = slices.Grow(k.speeds, steps)
	}
}

func (r *recorder) watch() {
	k, m := &r.track, r.m
	k.reaction += m.reaction
	k.load += m.loadNow
	k.accel2 += m.accel * m.accel
	k.steps++
	if k.moved {
		k.speeds = append(k.speeds, m.speed)
	}
	if k.steps > k.lateFrom {
		k.speed3 += m.speed
		k.load3 += m.loadNow
	}
}

func (r *recorder) close(t float64) {
	k, m := &r.track, r.m
	k.seg.EndS, k.seg.EndRadPerS, k.seg.EndC = t, m.speed, m.heat.WindingC
	k.seg.LateRadPerS, k.seg.LateLoadNm = m.speed, m.loadNow
	if n := float64(k.steps - k.lateFrom); n > 0 {
		k.seg.LateRadPerS, k.seg.LateLoadNm = k.speed3/n, k.load3/n
	}
	r.truth.Segments = append(r.truth.Segments, k.seg)
	r.truth.HottestC = max(r.truth.HottestC, m.heat.WindingC)
	r.truth.EndS, r.truth.End = t, m.heat
	if k.moved {
		r.truth.Transitions = append(r.truth.Transitions, r.transition())
	}
}

func (r *recorder) transition() Transition {
	k := &r.track
	x := Transition{
		Segment: len(r.truth.Segments) - 1, CommandS: k.seg.StartS,
		FromDuty: k.fromDuty, ToDuty: k.seg.Duty,
		FromRadPerS: k.seg.StartRadPerS, ToRadPS: k.seg.EndRadPerS,
		ReactionNms: k.reaction * r.h, LoadNms: k.load * r.h, Accel2: k.accel2 * r.h,
	}
	change := x.ToRadPS - x.FromRadPerS
	x.EffectiveInertia = r.truth.Inertia + r.truth.Entrained - (r.m.deficit-k.deficit)/change
	x.T10S = r.passage(x.FromRadPerS + 0.1*change)
	x.T90S = r.passage(x.FromRadPerS + 0.9*change)
	return x
}

// passage is the true time of the first passage through speed w in the segment.
func (r *recorder) passage(w float64) float64 {
	k := &r.track
	last := k.seg.StartRadPerS
	for i, v := range k.speeds {
		if (last-w)*(v-w) <= 0 && v != last {
			return k.seg.StartS + r.h*(float64(i)+(w-last)/(v-last))
		}
		last = v
	}
	return math.NaN()
}

func newTruth(b *Bench, r Rotor, p Plan, start Heat) Truth {
	t := Truth{
		Inertia: r.Inertia, Entrained: r.Entrained, Load: r.Load, DensityKg: p.Air.DensityKgM3,
		TorqueGain: b.Torque.Scale, ZeroNm: b.Torque.ZeroNm, DriftNmPs: b.Torque.DriftNmPs,
		LagS:  b.Torque.DelayS + b.Torque.FilterS + 0.5*(b.Torque.AverageS+b.Torque.HoldS) - b.Speed.DelayS - b.Speed.SmoothS,
		Start: start, HottestC: start.WindingC,
	}
	if t.TorqueGain == 0 {
		t.TorqueGain = 1
	}
	return t
}
