package reports

import (
	"fmt"
	"io"
	"math"
	"strings"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// Heat is what is shown of one comparison.
type Heat struct {
	Name      string
	Responses []spin.Response
	Ranks     []int
	Duels     []spin.Duel
	Without   []spin.Response
}

// Race writes the ranking and how far neighbours (all: every two) are apart.
func Race(w io.Writer, h Heat, all bool) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s\n", h.Name)
	names := labels(h)
	for i, r := range h.Responses {
		tie := " "
		if i > 0 && h.Ranks[i] == h.Ranks[i-1] || i+1 < len(h.Ranks) && h.Ranks[i] == h.Ranks[i+1] {
			tie = "="
		}
		fmt.Fprintf(b, "  %2d%s %-28s %s\n      %-28s %s\n", h.Ranks[i], tie, names[r.Request.ID], Time(r.TimeS), "", way(r))
		for _, x := range r.Outside {
			fmt.Fprintf(b, "      %-28s extrapolated: %s\n", "", x)
		}
	}
	for _, r := range h.Without {
		why := r.Refused
		if r.Stalled {
			why = fmt.Sprintf("never: it stays at %.0f rpm", quantity.Rpm(r.StallRadPerS))
		}
		fmt.Fprintf(b, "   –  %-28s %s\n", names[r.Request.ID], why)
	}
	for _, d := range h.Duels {
		if all || neighbours(h, d) {
			duel(b, d, names)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// labels name responses by what they differ in: part, then job and supply where
// these are not the same for all.
func labels(h Heat) map[string]string {
	out := map[string]string{}
	all := append(append([]spin.Response(nil), h.Responses...), h.Without...)
	jobs, supplies := map[string]bool{}, map[float64]bool{}
	jobOf := func(r spin.Response) string {
		job, _, _ := strings.Cut(r.Request.ID, "/")
		return job
	}
	for _, r := range all {
		jobs[jobOf(r)], supplies[r.Request.SupplyV] = true, true
	}
	for _, r := range all {
		text := spin.DotID(r.Request.Part)
		if len(jobs) > 1 {
			text = jobOf(r) + " " + text
		}
		if len(supplies) > 1 && r.Request.SupplyV > 0 {
			text += fmt.Sprintf(" %.4g V", r.Request.SupplyV)
		}
		out[r.Request.ID] = text
	}
	return out
}

func neighbours(h Heat, d spin.Duel) bool {
	for i := 0; i+1 < len(h.Responses); i++ {
		if h.Responses[i].Request.ID == d.A && h.Responses[i+1].Request.ID == d.B {
			return true
		}
	}
	return false
}

func duel(b *strings.Builder, d spin.Duel, names map[string]string) {
	e := d.DifferenceS.Expanded()
	a, z := names[d.A], names[d.B]
	gap := timeWith(math.Abs(d.DifferenceS.Mean), e.U)
	if d.Told {
		fmt.Fprintf(b, "  %s before %s by %s\n", a, z, gap)
	} else {
		fmt.Fprintf(b, "  %s and %s: no difference that these data can show, %s\n", a, z, gap)
	}
	fmt.Fprintf(b, "      the former is quicker with a probability of %s\n", probability(d.Quicker))
	if d.Bent {
		fmt.Fprintf(b, "      Monte Carlo: %.4g to %.4g ms, probability %s\n", 1e3*d.LowS, 1e3*d.HighS, probability(d.QuickerDrawn))
	}
	for _, t := range d.Turns {
		at := fmt.Sprintf("%.0f rpm", quantity.Rpm(t.SpeedRadPerS))
		if t.ThrustN > 0 {
			at = fmt.Sprintf("%.3g N", t.ThrustN)
		}
		fmt.Fprintf(b, "      the lead turns at %s to %s\n", at, names[t.LeadsThen])
	}
}

// probability in three digits, never a certainty that no data give.
func probability(p float64) string {
	switch {
	case p > 0.999:
		return "above 0.999"
	case p < 0.001:
		return "below 0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
