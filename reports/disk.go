package reports

import (
	"fmt"
	"html/template"
	"math"

	"spinledger/stages/kit/spin"
)

// diskDrawing is a disk from the front and in section, both to one scale, with
// the declared dimensions in mm.
func diskDrawing(p spin.Part) template.HTML {
	const face, gap, top, foot = 168.0, 46.0, 10.0, 34.0
	outer, thick := 0.0, 0.0
	for _, l := range p.Layers {
		outer, thick = math.Max(outer, l.OuterM), thick+l.ThicknessM
	}
	if !(outer > 0) {
		return ""
	}
	// The section stands right of the face; a thick stack shrinks both.
	k := math.Min(face/outer, 90/thick)
	r := k * outer / 2
	cx, cy := 10+r, top+r
	d := &drawing{}
	width := 20 + 2*r + gap + k*thick + 74
	d.add(fmt.Sprintf(`<svg class="disk" viewBox="0 0 %.1f %.1f" role="img" aria-label="%s">`, width, top+2*r+foot, template.HTMLEscapeString(diskAlt(p))))
	for _, l := range p.Layers {
		d.circle("metal", cx, cy, k*l.OuterM/2)
	}
	bore := p.Layers[len(p.Layers)-1].BoreM
	d.circle("void", cx, cy, k*bore/2)
	for _, h := range p.Layers[len(p.Layers)-1].Holes {
		for i := range h.Count {
			a := 2*math.Pi*float64(i)/float64(h.Count) - math.Pi/2
			d.circle("void", cx+k*h.PitchM/2*math.Cos(a), cy+k*h.PitchM/2*math.Sin(a), k*h.DiameterM/2)
		}
		d.circle("axis", cx, cy, k*h.PitchM/2)
	}
	d.line("axis", cx-r-6, cy, cx+r+6, cy)
	d.line("axis", cx, cy-r-6, cx, cy+r+6)
	x := cx + r + gap
	for _, l := range p.Layers {
		w := k * l.ThicknessM
		wall := k * (l.OuterM - l.BoreM) / 2
		d.rect("metal cut", x, cy-k*l.OuterM/2, w, wall)
		d.rect("metal cut", x, cy+k*l.BoreM/2, w, wall)
		d.rect("metal", x, cy-k*l.BoreM/2, w, k*l.BoreM)
		x += w
	}
	d.line("axis", cx+r+gap-10, cy, x+10, cy)
	d.dimensions(p, cx+r+gap, x, cy, k, r)
	d.add(`</svg>`)
	return template.HTML(d.b)
}

func (d *drawing) circle(class string, x, y, r float64) {
	if r <= 0 {
		return
	}
	d.add(`<circle class="`, class, `" cx="`)
	d.num(x)
	d.add(`" cy="`)
	d.num(y)
	d.add(`" r="`)
	d.num(r)
	d.add(`"/>`)
}

// dimensions of the largest diameter, the bore and the whole thickness.
func (d *drawing) dimensions(p spin.Part, left, right, cy, k, r float64) {
	at := right + 14
	outer, thick := 0.0, 0.0
	for _, l := range p.Layers {
		outer, thick = math.Max(outer, l.OuterM), thick+l.ThicknessM
	}
	d.line("dim", at, cy-r, at, cy+r)
	d.line("dim", at-5, cy-r, at+5, cy-r)
	d.line("dim", at-5, cy+r, at+5, cy+r)
	d.text(at+5, cy-r+16, "l", fmt.Sprintf("⌀ %.5g", 1e3*outer))
	if bore := p.Layers[0].BoreM; bore > 0 {
		d.text(at+5, cy+4, "l", fmt.Sprintf("⌀ %.4g", 1e3*bore))
	}
	foot := cy + r + 12
	d.line("dim", left, foot-4, left, foot+4)
	d.line("dim", right, foot-4, right, foot+4)
	d.line("dim", left, foot, right, foot)
	d.text((left+right)/2, foot+17, "m", fmt.Sprintf("%.4g mm", 1e3*thick))
}

func diskAlt(p spin.Part) string {
	text := "drawing of " + p.ID
	for _, l := range p.Layers {
		text += fmt.Sprintf(": outer diameter %.5g mm, bore %.4g mm, thickness %.4g mm", 1e3*l.OuterM, 1e3*l.BoreM, 1e3*l.ThicknessM)
		for _, h := range l.Holes {
			text += fmt.Sprintf(", %d holes of %.4g mm on %.4g mm", h.Count, 1e3*h.DiameterM, 1e3*h.PitchM)
		}
	}
	return text
}
