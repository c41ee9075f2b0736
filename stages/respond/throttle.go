package respond

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"spinledger/stages/kit/spin"
)

const (
	// goodFit is the misfit, in standard deviations, up to which rises are believed to be at constant duty.
	goodFit = 4
	// agreed is the misfit that what follows a ramp must come to, or twice the least.
	agreed = 1
	// rampGain is by how much leaving out the beginnings of rises must lessen the misfit to show a throttle that rose slowly.
	rampGain = 5
	// rampStepS and longestRampS are what is tried.
	rampStepS, longestRampS = 0.01, 0.5
	// hopelessFit and hopelessRel are the misfit and the share of the momentum beyond which nothing is said.
	hopelessFit, hopelessRel = 10, 0.015
)

var errThrottle = errors.New("the torque of the step runs does not fall in a line with speed: their throttle may still be rising, or the controller limits the current; record a harder or a smaller step, or heavier rotors, which rise for longer")

// throttled fits the surface to what comes after the throttle has reached its value, and the current is below the controller's
// limit. How long that takes is not recorded: a controller may ramp what is commanded at once. While it rises, momenta grow as on no surface of speed and full
// duty, by tens of their uncertainties; so the beginnings of all rises are left out, 10 ms more at a
// time, until what follows agrees.
func (m *model) throttled(keep func(e *spin.Evidence) bool) (*fitted, error) {
	levels, idling := m.settledLevels(keep), m.idling(keep)
	try := func(cutS float64) attempt {
		a := attempt{cutS: cutS, misfit: math.Inf(1)}
		if cutS > 0 {
			a.rampS = math.Max(0, cutS-idling)
		}
		m.warm, m.cutS, m.rampS = nil, a.cutS, a.rampS
		if a.f, a.err = m.fitSurface(m.collect(keep), levels); a.err == nil {
			a.misfit = a.f.misfit()
		}
		a.warm = m.warm
		return a
	}
	chosen := try(0)
	if chosen.misfit > goodFit {
		chosen = chosen.orLater(try, idling)
	}
	m.warm, m.cutS, m.rampS = chosen.warm, chosen.cutS, chosen.rampS
	switch f := chosen.f; {
	case chosen.err != nil:
		return nil, chosen.err
	case chosen.misfit > hopelessFit && f.out.RMSRel > hopelessRel:
		return nil, errThrottle
	case m.cutS > 0:
		f.leave(fmt.Sprintf("the first %.0f ms of every rise: their torque does not lie on the surface; the throttle was still rising, or the controller limited the current", 1e3*m.rampS))
	}
	return chosen.f, nil
}

// attempt is a surface without the beginnings of rises, and how warm the runs were by it.
type attempt struct {
	f                   *fitted
	warm                *warm
	cutS, rampS, misfit float64
	err                 error
}

// orLater is the attempt with the shortest beginnings left out that agrees, or whole itself where leaving out does not help.
func (whole attempt) orLater(try func(cutS float64) attempt, idling float64) attempt {
	var later []attempt
	least := math.Inf(1)
	for n := 1; float64(n)*rampStepS <= longestRampS; n++ {
		a := try(float64(n) * rampStepS)
		if a.err != nil && len(later) > 0 && a.cutS > idling {
			break // nothing is left of the rises
		}
		later = append(later, a)
		least = math.Min(least, a.misfit)
	}
	if !(whole.misfit > rampGain*least) {
		return whole
	}
	i := slices.IndexFunc(later, func(a attempt) bool { return a.misfit <= math.Max(agreed, 2*least) })
	// What agrees just so has a little of the ramp in it.
	if i+1 < len(later) && later[i+1].err == nil {
		i++
	}
	return later[i]
}

// misfit is the root mean square of the pieces' residuals in their standard deviations.
func (f *fitted) misfit() float64 {
	sum := 0.0
	for i := range f.pieces {
		e := f.residual(i) / f.pieces[i].sigma
		sum += float64(e * e)
	}
	return math.Sqrt(sum / float64(len(f.pieces)))
}

// idling is the shortest time between the end of an idle plateau and the first reading of a rise.
func (m *model) idling(keep func(e *spin.Evidence) bool) float64 {
	least := math.Inf(1)
	for i := range m.in.Evidence {
		e := &m.in.Evidence[i]
		if e.Kind != spin.Step || !keep(e) {
			continue
		}
		for _, r := range e.Runs {
			if len(r.Rise) > 0 {
				least = math.Min(least, r.RiseS-r.BeginS)
			}
		}
	}
	return least
}
