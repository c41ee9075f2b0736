package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// causes are the groups of the budget's overview with the ends of the source
// names that belong to each; the last takes what is left.
var causes = []struct {
	name, varies string
	ends         []string
}{
	{"scatter", "run", []string{"/scatter"}},
	{"remounting", "mounting", []string{"/remount"}},
	{"lag", "session", []string{"/lag"}},
	{"load", "rotor", []string{"/load-factor", "/drag"}},
	{"weights", "calibration", []string{"/scale", "/masses", "/arm", "/gravity", "/torque_scale", "/scale-drift"}},
	{"geometry", "never", nil},
	{"air", "never", []string{"/inflow", "/inflow-tail", "/entrained-air"}},
	{"floor", "never", []string{"/floor", "/excess-scatter"}},
	{"other", "", nil},
}

// causeOf is the index of a source's group in causes.
func causeOf(source string) int {
	if strings.HasPrefix(source, "parts/") {
		return slices.IndexFunc(causes, func(c struct {
			name, varies string
			ends         []string
		}) bool {
			return c.name == "geometry"
		})
	}
	for i, c := range causes {
		for _, e := range c.ends {
			if strings.HasSuffix(source, e) || strings.Contains(source, e+".") || strings.Contains(source, e+"~") || strings.Contains(source, e+"/") {
				return i
			}
		}
	}
	return len(causes) - 1
}

// budgetView is the overview, shares of the variance by cause, and each number's rows.
type budgetView struct {
	Causes  []string
	Rows    []budgetShares
	Numbers []numberBudget
}

type budgetShares struct {
	Number spin.Number
	Shares []float64
}

type numberBudget struct {
	Number spin.Number
	Rows   []budgetRow
	Small  int
}

type budgetRow struct {
	Source, Contribution, Share, DoF, Varies string
}

// smallShare of the variance is left out of a number's table and counted.
const smallShare = 0.001

func budgets(numbers []spin.Number) budgetView {
	var v budgetView
	used := make([]bool, len(causes))
	for _, n := range numbers {
		s := budgetShares{Number: n, Shares: make([]float64, len(causes))}
		u2 := n.Value.Std() * n.Value.Std()
		b := numberBudget{Number: n}
		parts := slices.Clone(n.Value.Parts)
		slices.SortStableFunc(parts, func(a, b uncertain.Part) int {
			return cmp.Compare(b.Contribution*b.Contribution, a.Contribution*a.Contribution)
		})
		for _, p := range parts {
			part := p.Contribution * p.Contribution / u2
			k := causeOf(p.Source)
			s.Shares[k] += part
			used[k] = used[k] || part > smallShare
			if part < smallShare {
				b.Small++
				continue
			}
			dof := "∞"
			if p.DoF > 0 {
				dof = fmt.Sprintf("%.3g", p.DoF)
			}
			b.Rows = append(b.Rows, budgetRow{p.Source, fmt.Sprintf("%+.2g", p.Contribution/gcm2), fmt.Sprintf("%.1f", 100*part), dof, causes[k].varies})
		}
		v.Rows, v.Numbers = append(v.Rows, s), append(v.Numbers, b)
	}
	for i, c := range causes {
		if used[i] {
			v.Causes = append(v.Causes, c.name)
		}
	}
	for i := range v.Rows {
		var kept []float64
		for k, x := range v.Rows[i].Shares {
			if used[k] {
				kept = append(kept, x)
			}
		}
		v.Rows[i].Shares = kept
	}
	return v
}

// share writes a share of the variance; under half a percent nothing.
func share(x float64) string {
	if x < 0.005 {
		return ""
	}
	return fmt.Sprintf("%.0f", 100*x)
}
