package reports

import (
	"fmt"
	"io"
	"math"
	"strings"

	"spinledger/stages/kit/quantity"
)

// Kinds of Moved.
const (
	// Same: the same result, to the byte or to every digit.
	Same = "same"
	// Recomputed: the same recordings, another value.
	Recomputed = "recomputed"
	// Remeasured: other recordings.
	Remeasured = "re-measured"
	// Unknown: what the earlier value was computed from is not known.
	Unknown = "basis unknown"
	Added   = "added"
	Gone    = "gone"
)

// Stated is a value with its expanded uncertainty and coverage factor, in SI.
type Stated struct {
	Value float64 `json:"value"`
	U     float64 `json:"expanded"`
	K     float64 `json:"k"`
}

// Moved is one number before and after.
type Moved struct {
	Number string `json:"number"`
	Unit   string `json:"unit"`
	Kind   string `json:"kind"`
	// Edition of the ledger compared with, 0 where two outputs are compared.
	Edition int     `json:"edition,omitempty"`
	Before  *Stated `json:"before,omitempty"`
	After   *Stated `json:"after,omitempty"`
	// ShiftRel is after over before less one; ShiftU the shift in units of the U before.
	ShiftRel float64 `json:"shift_rel"`
	ShiftU   float64 `json:"shift_u"`
	// ChangeU is U after over U before less one.
	ChangeU float64 `json:"change_u"`
	// DifferenceU is the expanded uncertainty of the difference with what both share taken
	// out, and Score the difference over it; of numbers that were measured anew.
	DifferenceU float64 `json:"difference_u,omitempty"`
	Score       float64 `json:"score,omitempty"`
	// Why lists what differs in what they were computed from.
	Why []string `json:"why,omitempty"`
	// Shares are the parts of the shift by cause, where they were computed one at a time.
	Shares []Share `json:"shares,omitempty"`
	// Unfit are the checks that stand against release now, of a number that was released.
	Unfit []string `json:"unfit,omitempty"`
	// Over is true above the limit, Limit in the unit that Kind compares in.
	Over  bool    `json:"over"`
	Limit float64 `json:"limit"`
	// Accepted is the reason of the accepted move that covers it, or empty.
	Accepted string `json:"accepted,omitempty"`
}

// Share is the part of a shift that one cause makes, in SI.
type Share struct {
	Cause string  `json:"cause"`
	Shift float64 `json:"shift"`
}

// Drift writes what moved: nothing of numbers that are the same but their count.
func Drift(w io.Writer, all []Moved) error {
	b := &strings.Builder{}
	count := map[string]int{}
	over := 0
	for _, m := range all {
		count[m.Kind]++
		if m.Over && m.Accepted == "" {
			over++
		}
		if m.Kind != Same || m.Over {
			moved(b, m)
		}
	}
	var parts []string
	for _, k := range []string{Same, Recomputed, Remeasured, Unknown, Added, Gone} {
		if count[k] > 0 || k == Same {
			parts = append(parts, fmt.Sprintf("%d %s", count[k], k))
		}
	}
	fmt.Fprintf(b, "%d numbers: %s; %d above the limit\n", len(all), strings.Join(parts, ", "), over)
	_, err := io.WriteString(w, b.String())
	return err
}

func moved(b *strings.Builder, m Moved) {
	mark := ""
	switch {
	case m.Accepted != "":
		mark = ", accepted"
	case m.Over:
		mark = ", ABOVE THE LIMIT"
	}
	fmt.Fprintf(b, "%s: %s%s\n", m.Number, m.Kind, mark)
	before := "before"
	if m.Edition > 0 {
		before = fmt.Sprintf("edition %d", m.Edition)
	}
	for _, x := range []struct {
		name string
		v    *Stated
	}{{before, m.Before}, {"now", m.After}} {
		if x.v != nil {
			fmt.Fprintf(b, "    %-12s %s\n", x.name, stated(*x.v, m.Unit))
		}
	}
	if m.Before != nil && m.After != nil {
		fmt.Fprintf(b, "    %-12s %+.2g %%, %+.2g U; U changed by %+.2g %%\n", "shift", 100*m.ShiftRel, m.ShiftU, 100*m.ChangeU)
	}
	if m.DifferenceU > 0 {
		fmt.Fprintf(b, "    %-12s %.2g of the U of the difference, shared causes taken out; limit %.3g\n", "difference", m.Score, m.Limit)
	} else if m.Kind == Recomputed {
		fmt.Fprintf(b, "    %-12s %.3g U\n", "limit", m.Limit)
	}
	for _, why := range m.Why {
		fmt.Fprintf(b, "    %-12s %s\n", "why", why)
	}
	for _, s := range m.Shares {
		if m.Before != nil && m.Before.Value != 0 {
			fmt.Fprintf(b, "    %-12s %+.2g %% from %s\n", "of it", 100*s.Shift/m.Before.Value, s.Cause)
		}
	}
	if len(m.Unfit) > 0 {
		fmt.Fprintf(b, "    %-12s %s\n", "not fit now", strings.Join(m.Unfit, "; "))
	}
	if m.Accepted != "" {
		fmt.Fprintf(b, "    %-12s %s\n", "accepted", m.Accepted)
	}
}

// stated is "(12.34 ± 0.15) g·cm²" in the unit that people read.
func stated(s Stated, unit string) string {
	factor := 1.0
	if unit == "kg·m²" {
		unit, factor = "g·cm²", gcm2
	} else if u, ok := quantity.Lookup(unit); ok {
		unit = u.Name
	}
	// Two digits more than are published: what moved shows in them.
	decimals := 0
	if s.U > 0 {
		decimals = max(0, 3-int(math.Floor(math.Log10(s.U/factor))))
	}
	return fmt.Sprintf("(%.*f ± %.*f) %s", decimals, s.Value/factor, decimals, s.U/factor, unit)
}
