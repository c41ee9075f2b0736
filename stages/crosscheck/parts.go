package crosscheck

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/spin"
)

// plausible asks that a rotor is more than its known parts.
func (c *checker) plausible(r spin.RotorInertia) {
	known := 0.0
	for _, b := range c.in.Bodies {
		if b.ID != r.Rotor {
			continue
		}
		for _, id := range b.Parts {
			if p := c.part(id); p != nil && p.InertiaKgM2 != nil {
				known += p.InertiaKgM2.Mean
			}
		}
	}
	if known == 0 {
		return
	}
	d := known/r.JKgM2.Mean - 1
	c.add(spin.Check{
		Name: "more-than-parts", Subject: c.subject(r.Rotor), Value: math.Max(0, d), U: r.JKgM2.Expanded().U / r.JKgM2.Mean, Limit: c.opt.Cap, Unit: "1",
		Gates: true, Sees: []string{faultParts, faultDrawing}, Numbers: c.numbersOf(r.Rotor),
		Text: fmt.Sprintf("the declared parts make %.4g of the rotor's inertia; the motor's own rotor must add to them", known/r.JKgM2.Mean),
	})
}

func (c *checker) part(id string) *spin.Part {
	for i := range c.in.Parts {
		if c.in.Parts[i].ID == id {
			return &c.in.Parts[i]
		}
	}
	return nil
}

// mounted is true when some rotor carries the part.
func (c *checker) mounted(id string) bool {
	return slices.ContainsFunc(c.in.Bodies, func(b spin.Rotor) bool { return slices.Contains(b.Parts, id) })
}

// disks compares measured with declared inertia, and weighed with drawn mass.
func (c *checker) disks() {
	for _, s := range c.in.Scales {
		d := s.Ratio
		name, numbers := "disk-against-weights", c.allNumbers()
		if s.Role == "check" {
			name = "second-disk"
		}
		c.add(spin.Check{
			Name: name, Subject: c.in.Job + "/" + spin.DotID(s.Disk), Value: d.Mean, U: d.Expanded().U, Limit: c.doubtful(c.opt.Floor, d), Unit: "1",
			Gates: true, Sees: []string{faultScale, faultDrawing}, Numbers: numbers, Waivable: true, Suspects: suspects(d),
			Text: fmt.Sprintf("disk %s measured on the weights' scale against its geometry: %+.3g %% ± %.2g %%", s.Disk, 100*d.Mean, 100*d.Expanded().U),
		})
	}
	for _, p := range c.in.Parts {
		if p.MassKg == nil || p.DrawnMassKg == nil || !c.mounted(p.ID) {
			continue
		}
		d := p.MassKg.Div(*p.DrawnMassKg)
		d.Mean--
		u := d.Expanded().U
		c.add(spin.Check{
			Name: "mass-against-drawing", Subject: c.in.Job + "/" + spin.DotID(p.ID), Value: d.Mean, U: u, Limit: c.doubtful(c.opt.Mass, d), Unit: "1",
			Gates: true, Sees: []string{faultDrawing}, Numbers: c.numbersWith(p), Waivable: true, Suspects: suspects(d),
			Text: fmt.Sprintf("%s weighs %.5g g; density times drawn volume is %.5g g: %+.2g %% ± %.2g %%", p.ID, 1e3*p.MassKg.Mean, 1e3*p.DrawnMassKg.Mean, 100*d.Mean, 100*u),
		})
	}
}

// numbersWith are the numbers that a declared inertia enters: all headline
// ones for a scale disk, its own otherwise.
func (c *checker) numbersWith(p spin.Part) []string {
	var out []string
	for _, n := range c.in.Numbers {
		own := slices.Contains(strings.Split(n.Subject, "+"), spin.DotID(p.ID))
		scaled := (p.Role == "scale" || p.Role == "both") && n.Scale == spin.ScaleBoth
		if own || scaled {
			out = append(out, n.ID)
		}
	}
	return out
}

// propellers bounds a blade's inertia: a uniform rod from the axis has m·R²/3,
// and real blades are heavier towards the hub.
func (c *checker) propellers() {
	for _, n := range c.in.Numbers {
		if n.Quantity != spin.Inertia {
			continue
		}
		for i := range c.in.Parts {
			p := &c.in.Parts[i]
			if p.Shape != "propeller" || spin.DotID(p.ID) != n.Subject || p.Shrouded || p.MassKg == nil || p.RadiusM == 0 {
				continue
			}
			bound := p.MassKg.Mean * p.RadiusM * p.RadiusM / 3
			c.add(spin.Check{
				Name: "blade-bound", Subject: n.ID, Value: math.Max(0, n.Value.Mean/bound-1), U: n.Value.Expanded().U / bound, Limit: c.opt.Cap, Unit: "1",
				Gates: true, Sees: []string{faultScale, faultParts}, Numbers: []string{n.ID},
				Text: fmt.Sprintf("%.4g of m·R²/3; an unshrouded propeller lies below 1", n.Value.Mean/bound),
			})
		}
	}
}

// sweeps judges every sweep as a torque source. It gates only the numbers
// whose runs took their torque from it.
func (c *checker) sweeps() {
	for _, s := range c.in.Choice.Sweeps {
		var numbers []string
		for _, r := range c.in.Rotors {
			if c.uses(r.Rotor, spin.SweepCurve, s.Recording) {
				numbers = append(numbers, c.numbersOf(r.Rotor)...)
			}
		}
		e := s.Evidence
		sign := func(name string, v, se, limit float64, n int, text string) {
			if n == 0 {
				return
			}
			c.add(spin.Check{
				Name: name, Subject: s.Recording, Value: v, U: 2 * se, Limit: limit, Unit: "1",
				Gates: len(numbers) > 0, Sees: []string{faultHeat}, Numbers: numbers, Waivable: true,
				Text: fmt.Sprintf("%s: %+.2g %% ± %.2g %%; as a torque source this sweep would under-read by as much or a part of it", text, 100*v, 200*se),
			})
		}
		sign("sweep-against-steps", s.ColdRel, s.ColdSE, c.opt.Sweep, s.ColdBins, "sweep torque against cold step torque at equal speed")
		sign("sweep-return", e.ReturnRel, e.ReturnSE, 2*c.opt.Sweep, e.ReturnBins, "torque unloading against loading at equal speed")
		sign("sweep-resistance", e.OhmicRel, e.OhmicSE, c.opt.Sweep, e.OhmicBins, "apparent resistance late against early in the loading")
	}
}

// uses is true when a run of the rotor takes its torque from a source made of a recording.
func (c *checker) uses(rotor, kind, recording string) bool {
	for _, f := range c.fitsOf(rotor, spin.Step) {
		if f.Source != kind {
			continue
		}
		for _, r := range c.in.Choice.Runs {
			if r.Run == f.Run && r.Recording == f.Recording && r.Chosen >= 0 && slices.Contains(r.Sources[r.Chosen].From, recording) {
				return true
			}
		}
	}
	return false
}

// lags compares the sessions' lags: the same channels should be as late every day.
func (c *checker) lags() {
	for i, a := range c.in.Choice.Lags {
		for _, b := range c.in.Choice.Lags[i+1:] {
			if a.Runs == 0 || b.Runs == 0 {
				continue
			}
			d := a.TauS.Sub(b.TauS)
			c.add(spin.Check{
				Name: "lag-between-sessions", Subject: c.in.Job + "/" + a.Session + "," + b.Session, Value: d.Mean, U: d.Expanded().U, Limit: 4e-4, Unit: "s",
				Sees: []string{faultLag}, Numbers: c.allNumbers(),
				Text: fmt.Sprintf("torque is late by %.3g ms and %.3g ms", 1e3*a.TauS.Mean, 1e3*b.TauS.Mean),
			})
		}
	}
}

// refused files every refusal as a failed check. What it refuses gives no
// number, so it blocks none; a rotor with nothing left has no number to block.
func (c *checker) refused() {
	for _, r := range c.in.Refusals {
		c.add(spin.Check{
			Name: r.Code, Subject: r.Subject, Value: r.Value, Limit: r.Limit, Unit: "1", Verdict: spin.Fail, Gates: true, Waivable: r.Waivable,
			Text: r.Text,
		})
	}
	for _, r := range c.in.Rotors {
		c.survivors(r)
	}
}

// survivorShare of a rotor's runs may be refused for aliasing. Where more are, the transient falls
// between the samples, and those left are the ones in which the witness missed it by chance: at
// 500 Hz two of ten sessions (22 mm bare rotor) gave such numbers, off by up to 1.4 %.
const survivorShare = 0.25

// survivors blocks what rests on the few runs that aliasing left.
func (c *checker) survivors(r spin.RotorInertia) {
	refused := 0
	for _, x := range c.in.Refusals {
		if x.Code == "aliasing" && x.Rotor == r.Rotor {
			refused++
		}
	}
	if refused == 0 {
		return
	}
	share := float64(refused) / float64(refused+r.Runs)
	k := spin.Check{
		Name: "aliased-runs", Subject: c.subject(r.Rotor), Value: share, Limit: survivorShare, Unit: "1", Verdict: spin.Pass, Gates: true,
		Sees: []string{faultAlias}, Numbers: c.numbersOf(r.Rotor),
		Text: fmt.Sprintf("%d of %d runs were refused for aliasing", refused, refused+r.Runs),
	}
	if share > survivorShare {
		k.Verdict = spin.Fail
		k.Text += ": that the others passed is chance; log faster, or use a throttle ramp of 50 to 100 ms"
	}
	c.add(k)
}

// unsettled blocks all numbers while something that the job or its bench declares is a guess.
func (c *checker) unsettled() {
	for _, x := range c.in.Unsettled {
		c.add(spin.Check{
			Name: "unsettled", Subject: x.Subject, Verdict: spin.Fail, Gates: true, Unit: "1", Numbers: c.allNumbers(),
			Text: fmt.Sprintf("%s: %s is a guess: %s. Find out, then take it out of unsettled", x.File, x.Key, x.Why),
		})
	}
}

// weighedLimit of the torque scale is what it may move by between two weighings of a session: half of it bounds the error in the
// budgets, but a cell that moves by more may have been anywhere meanwhile (common practice, no source).
const weighedLimit = 0.005

// weighed looks whether the torque scale stayed where it was.
func (c *checker) weighed() {
	for _, w := range c.in.Weighed {
		var numbers []string
		for _, f := range c.in.Fits {
			if f.Session == w.Session {
				numbers = append(numbers, c.numbersOf(f.Rotor)...)
			}
		}
		c.add(spin.Check{
			Name: "weighed-again", Subject: c.in.Job + "/session:" + w.Session + "/scale." + string(w.Sense), Value: w.Moved.Mean, U: w.Moved.Expanded().U, Limit: c.doubtful(weighedLimit, w.Moved), Unit: "1",
			Gates: true, Sees: []string{faultScale}, Numbers: numbers, Waivable: true, Suspects: suspects(w.Moved),
			Text: fmt.Sprintf("weights hung after the session (%s) read %+.2g %% ± %.2g %% against before it (%s)", w.After, 100*w.Moved.Mean, 100*w.Moved.Expanded().U, w.Before),
		})
	}
}

// unscaled blocks what rests on a torque channel of unknown scale, unless a
// disk gives the scale.
func (c *checker) unscaled() {
	for _, rec := range c.in.Unscaled {
		var numbers []string
		for _, f := range c.in.Fits {
			if f.Recording == rec {
				numbers = append(numbers, c.numbersOf(f.Rotor)...)
			}
		}
		c.add(spin.Check{
			Name: "scale-unstated", Subject: rec, Verdict: spin.Fail, Gates: true, Unit: "1", Sees: []string{faultScale}, Numbers: numbers,
			Text: "neither a calibration nor a declared torque scale: hang weights on the arm, or state the scale and its uncertainty in the bench file",
		})
	}
}
