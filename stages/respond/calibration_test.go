package respond

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/spin"
)

// spoilt is the made-up evidence with every cause drawn from what it declares:
// inertias, loads, current law, and the speeds' own noise. The true motor and rotors stay.
func spoilt(clean *Input, rng *rand.Rand) *Input {
	in := *clean
	in.Rotors = append([]spin.RotorInertia(nil), clean.Rotors...)
	in.Curves = append([]spin.LoadCurve(nil), clean.Curves...)
	scale := 1 + 0.005*rng.NormFloat64()
	for i := range in.Rotors {
		in.Rotors[i].JKgM2 = in.Rotors[i].JKgM2.Scale((1 + 0.002*rng.NormFloat64()) * scale)
		c := in.Curves[i].Coef[0].Scale((1 + 0.005*rng.NormFloat64()) * scale)
		in.Curves[i].Coef = append(in.Curves[i].Coef[:0:0], c)
	}
	law := *clean.Law
	law.KtNmPerA = law.KtNmPerA.Scale((1 + 0.001*rng.NormFloat64()) * scale)
	law.Coef = append([]float64(nil), law.Coef...)
	for i := range law.Coef {
		law.Coef[i] *= scale
	}
	in.Law = &law
	in.Evidence = append([]spin.Evidence(nil), clean.Evidence...)
	for i := range in.Evidence {
		e := &in.Evidence[i]
		e.Runs = append([]spin.RunEvidence(nil), e.Runs...)
		for k := range e.Runs {
			rise := append([]spin.Stretch(nil), e.Runs[k].Rise...)
			for n := range rise {
				rise[n].SpeedRadPerS += rise[n].SpeedSE * rng.NormFloat64()
			}
			e.Runs[k].Rise = rise
		}
	}
	return &in
}

// sessionsDrawn is enough to see a rate that is wrong by a tenth, and quick.
const sessionsDrawn = 40

// TestIntervalsHold: times are inside their 95 % intervals, and the
// probabilities of a race come true, over sessions whose every cause is drawn anew. (The
// causes are those that the stage is told of; what a bench adds is measured by virtualbench response.)
func TestIntervalsHold(t *testing.T) {
	clean := made(t, 1)
	held, all := 0, 0
	stated, first, variance := 0.0, 0.0, 0.0
	for seed := range uint64(sessionsDrawn) {
		rng := rand.New(rand.NewPCG(seed, 5))
		m := everything(spoilt(clean, rng), DefaultOptions())
		answers := make([]spin.Response, len(rotors))
		for i, r := range rotors {
			answers[i] = m.answer(ask(r.id), Options{})
			if e := math.Abs(answers[i].TimeS.Mean - trueTime(i, 1500)); e <= answers[i].TimeS.Expanded().U {
				held++
			}
			all++
		}
		// The disk rotor against the propeller's, whose target is moved so that the
		// true times differ by a drawn number of standard uncertainties.
		u := Compare(answers[1], answers[2], nil, nil).DifferenceS.Std()
		apart := (6*rng.Float64() - 3) * u
		lo, hi := 950.0, 1640.0
		for range 30 {
			if mid := (lo + hi) / 2; trueTime(2, mid) < trueTime(1, 1500)+apart {
				lo = mid
			} else {
				hi = mid
			}
		}
		q := ask("bare+prop")
		q.To = lo
		p := Compare(answers[1], m.answer(q, Options{}), nil, nil).Quicker
		stated += p
		variance += p * (1 - p)
		if apart > 0 {
			first++
		}
	}
	// 0.95 within 3.3 standard deviations of that many; the three times of a session share causes,
	// so sessions are what counts.
	rate := float64(held) / float64(all)
	t.Logf("held %.3f of %d; first %.0f, stated %.1f ± %.1f", rate, all, first, stated, math.Sqrt(variance))
	if math.Abs(rate-0.95) > 3.3*math.Sqrt(0.95*0.05/sessionsDrawn) {
		t.Errorf("%d of %d times inside their intervals", held, all)
	}
	if math.Abs(first-stated) > 3.3*math.Sqrt(variance)+1 {
		t.Errorf("the first is quicker in %.0f races, stated %.1f ± %.1f", first, stated, math.Sqrt(variance))
	}
}

// trueTime is that of rotor i from 900 rad/s at 14.8 V and 70 %.
func trueTime(i int, to float64) float64 {
	p := truePlant
	p.j, p.load[0], p.v0, p.duty = rotors[i].j, rotors[i].k, 14.8, 0.7
	return p.up(900, to, false, nil).time
}
