package reports

import (
	"fmt"
	"math"
	"strings"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Time writes a time with its expanded uncertainty in ms or s: "(23.75 ± 0.12) ms".
func Time(v uncertain.Value) string { return timeWith(v.Mean, v.Expanded().U) }

func timeWith(mean, u float64) string {
	unit, per := "ms", 1e3
	if math.Abs(mean) >= 1 {
		unit, per = "s", 1
	}
	m, e := uncertain.Round(per*mean, per*u)
	return fmt.Sprintf("(%s ± %s) %s", m, e, unit)
}

// amountWith writes any value with its expanded uncertainty.
func amountWith(v uncertain.Value, unit string) string {
	m, u := uncertain.Round(v.Mean, v.Expanded().U)
	return fmt.Sprintf("(%s ± %s) %s", m, u, unit)
}

// way says between what, and what drives it.
func way(r spin.Response) string {
	q := r.Request
	text := fmt.Sprintf("%.0f -> %.0f rpm", quantity.Rpm(r.FromRadPerS), quantity.Rpm(r.ToRadPerS))
	switch {
	case q.Thrust:
		text = fmt.Sprintf("%.3g -> %.3g N", q.From, q.To)
	case q.FinalShare > 0:
		text = fmt.Sprintf("%.0f rpm -> %.3g %% of final", quantity.Rpm(q.From), 100*q.FinalShare)
	case r.FromRadPerS == 0 && r.ToRadPerS == 0:
		text = fmt.Sprintf("%.0f -> %.0f rpm", quantity.Rpm(q.From), quantity.Rpm(q.To))
	}
	if q.Coast {
		return text + ", coasting"
	}
	return text + fmt.Sprintf(", %.4g V, %.4g %%", q.SupplyV, 100*q.Duty)
}

// response writes one answer; all adds energy and acceleration.
func response(b *strings.Builder, job string, r spin.Response, all bool) {
	name := strings.TrimPrefix(r.Request.ID, job+"/")
	line := func(text string) { fmt.Fprintf(b, "  %-28s %s\n", "", text) }
	head := func(text string) { fmt.Fprintf(b, "  %-28s %s\n", name, text) }
	switch {
	case r.Refused != "":
		head("no answer: " + r.Refused)
		return
	case r.Stalled:
		head(fmt.Sprintf("never: it stays at %.0f rpm", quantity.Rpm(r.StallRadPerS)))
		line(way(r))
		return
	}
	head(Time(r.TimeS))
	line(way(r))
	if all && r.Powered {
		line(amountWith(r.EnergyJ, "J") + ", " + amountWith(r.ChargeC, "C"))
	}
	if all {
		line("at most " + amountWith(r.PeakRadPerS2, "rad/s²"))
	}
	if r.Bent {
		line(bent(r))
	}
	for _, x := range r.Outside {
		line("extrapolated: " + x)
	}
	if !r.Release {
		line("the inertia behind it is not fit for release")
	}
}

// bent says what Monte Carlo found where it differs.
func bent(r spin.Response) string {
	if r.HighS == 0 {
		return fmt.Sprintf("Monte Carlo: above %.4g ms; %.3g %% of draws never arrive", 1e3*r.LowS, 100*(1-r.Reached))
	}
	return fmt.Sprintf("Monte Carlo: %.4g to %.4g ms", 1e3*r.LowS, 1e3*r.HighS)
}
