package fit

import (
	"math"

	"spinledger/stages/kit/balance"
)

const (
	// creepWait of rotation on the settled plateau goes by before its load is looked at: inflow settles over a dozen
	// radians, and what is left of it must be less than a cell's creep.
	creepWait = 90.0
	// creepS is the least time that is looked at, in thirds.
	creepS = 0.1
	// creepLoad in the torque's range is the least load to look at.
	creepLoad = 0.015
)

// settledCreep is how much the torque of a settled, loaded rotor moves from the first third of its plateau to the last, beyond what zero,
// drift and speed account for, over its load. A load that is a function of speed and a cell that reads at once what it reads in the end
// give 0. ok is false where the rotor has no load to speak of, the plateau is short, or no third plateau tells the drift.
func (p *stepProblem) settledCreep() (rel float64, ok bool) {
	seg := p.in.Recording.Segments[p.run.B]
	speed := p.v.MeanSpeed(p.b)
	if !p.three || !(speed > 0) || p.loaded < creepLoad {
		return 0, false
	}
	from := seg.FromS + creepWait/speed
	third := (seg.ToS - from) / 3
	if 3*third < creepS {
		return 0, false
	}
	left := func(w balance.Window) (torque, load float64) {
		e := p.v.Integrate(balance.Test{From: w}, p.tau, p.t0, p.load)
		return p.rest(e) - p.j*e.Momentum, p.lambda * e.Load
	}
	early, load := left(balance.Window{From: from, To: from + third})
	late, _ := left(balance.Window{From: seg.ToS - third, To: seg.ToS})
	if load == 0 || math.IsNaN(load) {
		return 0, false
	}
	return (late - early) / load, true
}
