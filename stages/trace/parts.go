package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// bodyValue is the adjusted inertia of the body that holds a part: a number,
// or for fasteners their declaration. name is the number's subject.
func (in JobInput) bodyValue(part string) (name string, v uncertain.Value, ok bool) {
	for _, n := range in.Numbers {
		if n.Quantity == spin.Inertia && slices.Contains(strings.Split(n.Subject, "+"), spin.DotID(part)) {
			return n.Subject, n.Value, true
		}
	}
	for _, p := range in.Parts {
		if p.ID == part && p.InertiaKgM2 != nil {
			return spin.DotID(part), *p.InertiaKgM2, true
		}
	}
	return "", uncertain.Value{}, false
}

// adjustment sets each rotor's inertia against the sum of its adjusted bodies.
func adjustment(in JobInput) (figure.Figure, bool) {
	f := figure.Figure{ID: figure.Adjustment, Kind: figure.Adjustment, Subject: in.Job}
	var rows []string
	own := figure.Series{Name: "motor's own rotor", Mark: figure.Bars, Role: figure.Declared}
	more := figure.Series{Name: "parts", Mark: figure.Bars, Role: figure.Fitted}
	measured := figure.Series{Name: "measured, in air effects taken out", Mark: figure.Dots, Role: figure.Measured}
	gap := figure.Series{Name: "measured less sum, U", Mark: figure.Dots, Role: figure.Measured}
	worst := 0.0
	for _, r := range in.Rotors {
		sum, taken, ok := uncertain.Value{}, []string{}, true
		k := float64(len(rows))
		var ownBar, moreBar [][2]float64
		var names []string
		for _, part := range append([]string{spin.Bare}, partsOf(in.Bodies, r.Rotor)...) {
			name, v, found := in.bodyValue(part)
			ok = ok && found
			if !found || slices.Contains(taken, name) {
				continue
			}
			taken = append(taken, name)
			bar := [2]float64{sum.Mean, sum.Mean + v.Mean}
			if part == spin.Bare {
				ownBar = append(ownBar, bar)
			} else {
				moreBar, names = append(moreBar, bar), append(names, name)
			}
			sum = sum.Add(v)
		}
		if !ok {
			continue
		}
		rows = append(rows, short(r.Rotor))
		addBars(&own, k, ownBar, []string{spin.Bare})
		addBars(&more, k, moreBar, names)
		d := r.JBodyKgM2.Sub(sum)
		rel, u := d.Mean/sum.Mean, d.Expanded().U/sum.Mean
		worst = math.Max(worst, math.Abs(rel))
		measured.X, measured.Y, measured.Labels = append(measured.X, r.JBodyKgM2.Mean), append(measured.Y, k), append(measured.Labels, r.Rotor)
		gap.X, gap.Y, gap.Labels = append(gap.X, rel), append(gap.Y, k), append(gap.Labels, r.Rotor)
		gap.Low, gap.High = append(gap.Low, rel-u), append(gap.High, rel+u)
	}
	if len(rows) < 2 {
		return f, false
	}
	y := figure.Axis{Name: "rotor", Rows: rows}
	f.Panels = []figure.Panel{
		{Name: "rotors and their parts", X: figure.Axis{Name: "inertia", Unit: "kg·m²"}, Y: y, Zero: true, Series: []figure.Series{own, more, measured}},
		{Name: "what the adjustment moved", X: figure.Axis{Name: "measured less sum of parts", Unit: "1"}, Y: y, Zero: true, Series: []figure.Series{gap}},
	}
	f.See = fmt.Sprintf("All rotors and declared inertias are adjusted together; a dot whose bar misses zero is a rotor that contradicts the rest. The largest difference here is %.2g %%.", 100*worst)
	return f, true
}

func partsOf(bodies []spin.Rotor, id string) []string {
	for _, b := range bodies {
		if b.ID == id {
			return b.Parts
		}
	}
	return nil
}

func addBars(s *figure.Series, row float64, bars [][2]float64, names []string) {
	for i, b := range bars {
		s.X, s.Y = append(s.X, (b[0]+b[1])/2), append(s.Y, row)
		s.Low, s.High = append(s.Low, b[0]), append(s.High, b[1])
		s.Labels = append(s.Labels, names[min(i, len(names)-1)])
	}
}

// disk sets a reference disk measured on the weights' scale against its geometry.
func disk(in JobInput, p spin.Part) (figure.Figure, bool) {
	f := figure.Figure{ID: figure.Disk + "/" + spin.DotID(p.ID), Kind: figure.Disk, Subject: p.ID}
	if p.Role == "" || p.InertiaKgM2 == nil || p.Shape != "disk" {
		return f, false
	}
	s := figure.Series{Name: "value, U", Mark: figure.Dots, Role: figure.Measured}
	var rows []string
	add := func(name string, v uncertain.Value) {
		u := v.Expanded().U
		s.X, s.Y = append(s.X, v.Mean), append(s.Y, float64(len(rows)))
		s.Low, s.High = append(s.Low, v.Mean-u), append(s.High, v.Mean+u)
		rows = append(rows, name)
	}
	add("by its drawing", *p.InertiaKgM2)
	var direct *uncertain.Value
	for i := range in.Numbers {
		n := &in.Numbers[i]
		if n.Subject != spin.DotID(p.ID) {
			continue
		}
		switch n.Quantity {
		case spin.InertiaDirect:
			direct = &n.Value
			add("by the weights", n.Value)
		case spin.Inertia:
			if n.Scale == spin.ScaleBoth {
				add("adjusted", n.Value)
			}
		}
	}
	if direct == nil {
		return f, false
	}
	d := direct.Div(*p.InertiaKgM2)
	f.See = fmt.Sprintf("Measured on the weights' scale the disk differs from its drawing by %+.2g %% ± %.2g %%; the bars should overlap. The drawing is to scale, from the declared dimensions.",
		100*(d.Mean-1), 100*d.Expanded().U)
	f.Panels = []figure.Panel{{Name: p.ID, X: figure.Axis{Name: "inertia", Unit: "kg·m²"}, Y: figure.Axis{Name: "from", Rows: rows}, Series: []figure.Series{s}}}
	return f, true
}
