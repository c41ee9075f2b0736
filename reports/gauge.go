package reports

import (
	"html/template"
	"math"

	"spinledger/stages/kit/spin"
)

// gaugeReach is how many limits a gauge shows on either side.
const gaugeReach = 2.5

// gauge draws a check: the zone within its limits, the value, its U. What lies
// beyond the gauge ends in an arrow at its edge.
func gauge(k spin.Check) template.HTML {
	if k.Limit == 0 {
		return ""
	}
	const w, h, mid = 150.0, 18.0, 9.0
	x := scale{-gaugeReach, gaugeReach, 3, w - 3}
	d := &drawing{}
	d.add(`<svg class="gauge v-`, class(k), `" viewBox="0 0 150 18" aria-hidden="true">`)
	d.line("axis", 3, mid, w-3, mid)
	d.rect("zone", x.px(-1), 3, x.px(1)-x.px(-1), h-6)
	d.line("tick", x.px(0), 3, x.px(0), h-3)
	v, u := k.Value/k.Limit, k.U/k.Limit
	d.line("u", x.inside(v-u), mid, x.inside(v+u), mid)
	switch {
	case math.Abs(v) > gaugeReach:
		tip, back := x.inside(v), -5.0
		if v < 0 {
			back = 5
		}
		d.add(`<path class="d" d="`)
		d.point('M', tip+back, mid-5)
		d.point('L', tip, mid)
		d.point('L', tip+back, mid+5)
		d.add(`Z"/>`)
	default:
		d.line("d", x.px(v), mid, x.px(v), mid)
	}
	d.add(`</svg>`)
	return template.HTML(d.b)
}

// class is a check's state as a word of the style sheet.
func class(k spin.Check) string {
	switch state(k) {
	case spin.CannotTell:
		return "open"
	default:
		return state(k)
	}
}

// Class for templates.
func (jobWords) Class(k spin.Check) string { return class(k) }

// Glyph of a state: told apart by shape.
func (jobWords) Glyph(k spin.Check) string {
	switch state(k) {
	case spin.Pass:
		return "●"
	case spin.Fail:
		return "✕"
	case "waived":
		return "◐"
	}
	return "○"
}

// stripFrom and stripTo bound the strip of relative uncertainty, U over value.
const (
	stripFrom = 3e-4
	stripTo   = 0.1
)

// strip is U over the value on a logarithmic scale from 0.03 % to 10 %: the
// style sheet fills that share of it.
func strip(n spin.Number) template.HTML {
	x := scale{math.Log(stripFrom), math.Log(stripTo), 0, 80}
	u := n.Value.Expanded().U / math.Abs(n.Value.Mean)
	if !(u > 0) {
		return ""
	}
	return template.HTML(px([]byte(`<i class="strip" style="--u:`), x.inside(math.Log(u)))) + `px"></i>`
}
