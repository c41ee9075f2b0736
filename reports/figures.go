package reports

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"spinledger/stages/kit/figure"
)

// Sizes of a plot in its own units; at 360 px of screen one unit is 0.8 px.
const (
	plotWidth   = 420.0
	marginLeft  = 56.0
	marginRight = 20.0
	titleHeight = 25.0
	axisHeight  = 36.0
	rowHeight   = 26.0
)

// panelHeight of the inner rectangle.
func panelHeight(f figure.Figure, i int) float64 {
	p := f.Panels[i]
	switch {
	case f.Kind == figure.Prediction:
		return 2 * rowHeight * float64(len(p.Y.Rows))
	case p.Y.Rows != nil:
		return rowHeight * float64(len(p.Y.Rows))
	case f.Kind == figure.Recording && i > 0:
		return 72
	case f.Kind == figure.Recording:
		return 100
	case f.Kind == figure.Load && i > 0:
		return 84
	case f.Kind == figure.Plane:
		return 250
	}
	return 150
}

// drawing is one SVG being written.
type drawing struct {
	b []byte
}

func (d *drawing) add(parts ...string) {
	for _, p := range parts {
		d.b = append(d.b, p...)
	}
}

// num appends a coordinate.
func (d *drawing) num(v float64) { d.b = px(d.b, v) }

// point appends "x y".
func (d *drawing) point(cmd byte, x, y float64) {
	d.b = append(d.b, cmd)
	d.num(x)
	d.b = append(d.b, ' ')
	d.num(y)
}

func (d *drawing) text(x, y float64, class, s string) {
	d.add(`<text class="`, class, `" x="`)
	d.num(x)
	d.add(`" y="`)
	d.num(y)
	d.add(`">`, template.HTMLEscapeString(s), `</text>`)
}

func (d *drawing) line(class string, x1, y1, x2, y2 float64) {
	d.add(`<path class="`, class, `" d="`)
	d.point('M', x1, y1)
	d.point('L', x2, y2)
	d.add(`"/>`)
}

func (d *drawing) rect(class string, x, y, w, h float64) {
	d.add(`<rect class="`, class, `" x="`)
	d.num(x)
	d.add(`" y="`)
	d.num(y)
	d.add(`" width="`)
	d.num(math.Max(w, 0))
	d.add(`" height="`)
	d.num(math.Max(h, 0))
	d.add(`"/>`)
}

// Plot draws a figure as inline SVG. Everything drawn is at a tenth of a unit;
// each panel states its scales, so that points can be read back.
func Plot(f figure.Figure) template.HTML {
	d := &drawing{}
	height := 0.0
	shared := sharedX(f)
	for i := range f.Panels {
		height += titleHeight + panelHeight(f, i)
		if !shared || i == len(f.Panels)-1 {
			height += axisHeight
		}
	}
	d.add(`<svg class="plot" viewBox="0 0 420 `)
	d.num(height)
	d.add(`" role="img" aria-label="`, template.HTMLEscapeString(Alt(f)), `">`)
	top := 0.0
	for i, p := range f.Panels {
		h := panelHeight(f, i)
		axis := !shared || i == len(f.Panels)-1
		d.panel(p, top+titleHeight, h, axis, i == 0)
		top += titleHeight + h
		if axis {
			top += axisHeight
		}
	}
	d.add(`</svg>`)
	return template.HTML(d.b)
}

// sharedX is true where all panels have one x.
func sharedX(f figure.Figure) bool {
	for _, p := range f.Panels {
		if p.X.Name != f.Panels[0].X.Name || p.X.Rows != nil || p.Y.Rows != nil {
			return false
		}
	}
	return f.Kind == figure.Recording || f.Kind == figure.Load
}

// panel is one panel's scales and units while it is drawn.
type panel struct {
	figure.Panel
	x, y   scale
	kx, ky float64
	ux, uy string
}

func layout(p figure.Panel, top, height float64) panel {
	l := panel{Panel: p}
	x0, x1, y0, y1 := extent(p)
	l.ux, l.kx = display(p.X.Unit, math.Max(math.Abs(x0), math.Abs(x1)))
	l.uy, l.ky = display(p.Y.Unit, math.Max(math.Abs(y0), math.Abs(y1)))
	left := marginLeft
	if p.Y.Rows != nil {
		left = 132
	}
	switch {
	case p.X.Rows != nil:
		l.kx = 1
		l.x = scale{-0.5, float64(len(p.X.Rows)) - 0.5, left, plotWidth - marginRight}
	default:
		a, b := padded(l.kx*x0, l.kx*x1, p.Y.Rows != nil && p.Zero)
		if p.X.Unit == "s" || p.X.Unit == "rad/s" && p.Y.Rows == nil {
			a, b = l.kx*x0, l.kx*x1
			if !(b > a) {
				a, b = padded(a, b, false)
			}
		}
		l.x = scale{a, b, left, plotWidth - marginRight}
	}
	if p.Y.Rows != nil {
		l.ky = 1
		l.y = scale{-0.5, float64(len(p.Y.Rows)) - 0.5, top, top + height}
	} else {
		a, b := padded(l.ky*y0, l.ky*y1, p.Zero)
		l.y = scale{a, b, top + height, top}
	}
	return l
}

// extent of all points, bars and bands.
func extent(p figure.Panel) (x0, x1, y0, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	grow := func(lo, hi *float64, all ...[]float64) {
		for _, vs := range all {
			for _, v := range vs {
				*lo, *hi = math.Min(*lo, v), math.Max(*hi, v)
			}
		}
	}
	for _, s := range p.Series {
		grow(&x0, &x1, s.X)
		grow(&y0, &y1, s.Y)
		if p.Y.Rows != nil {
			grow(&x0, &x1, s.Low, s.High)
		} else {
			grow(&y0, &y1, s.Low, s.High)
		}
	}
	if x0 > x1 {
		x0, x1, y0, y1 = 0, 1, 0, 1
	}
	return x0, x1, y0, y1
}

func (d *drawing) panel(p figure.Panel, top, height float64, axis, first bool) {
	l := layout(p, top, height)
	d.add(fmt.Sprintf(`<g class="panel" data-x="%.1f %.1f %.9g %.9g" data-y="%.1f %.1f %.9g %.9g" data-u="%s|%s">`,
		l.x.at, l.x.end, l.x.from, l.x.to, l.y.at, l.y.end, l.y.from, l.y.to, template.HTMLEscapeString(l.ux), template.HTMLEscapeString(l.uy)))
	d.rect("bg", l.x.at, top, l.x.end-l.x.at, height)
	d.spans(l, top, height)
	d.grid(l, top, height, axis)
	for _, s := range p.Series {
		d.series(l, s)
	}
	if first {
		d.names(l, top)
	}
	title := p.Y.Name
	switch {
	case p.Y.Rows != nil:
		title = p.Name
	case p.Y.Unit != "":
		title += ", " + l.uy
	}
	if p.Y.Rows == nil && p.Name != p.Y.Name && p.Name != "residuals" {
		title += " — " + p.Name
	}
	d.text(2, top-6, "t", title)
	d.add(`</g>`)
}

func (d *drawing) spans(l panel, top, height float64) {
	for _, s := range l.Spans {
		from, to := l.x.inside(l.kx*s.From), l.x.inside(l.kx*s.To)
		d.rect("span k-"+s.Kind, from, top, to-from, height)
	}
}

// names writes what spans are where there is room, over the lines.
func (d *drawing) names(l panel, top float64) {
	for _, s := range l.Spans {
		from, to := l.x.inside(l.kx*s.From), l.x.inside(l.kx*s.To)
		if s.Kind != "valid" && to-from > 4+5*float64(len(s.Name)) {
			d.text(from+2, top+11, "n", s.Name)
		}
	}
}

func (d *drawing) grid(l panel, top, height float64, axis bool) {
	if l.Y.Rows == nil {
		at, dec := ticks(l.y.from, l.y.to, max(3, int(height/28)))
		for _, v := range at {
			y := l.y.px(v)
			class := "g"
			if v == 0 {
				class = "g zero"
			}
			d.line(class, l.x.at, y, l.x.end, y)
			d.text(l.x.at-5, y+4, "e", label(v, dec))
		}
	} else {
		for i, name := range l.Y.Rows {
			d.text(l.x.at-6, l.y.px(float64(i))+4, "e", clip(name, 19))
		}
	}
	if l.X.Rows != nil {
		for i, name := range l.X.Rows {
			d.text(l.x.px(float64(i)), top+height+14, "m", clip(name, 15))
			if i > 0 {
				d.line("g", l.x.px(float64(i)-0.5), top, l.x.px(float64(i)-0.5), top+height)
			}
		}
		return
	}
	at, dec := ticks(l.x.from, l.x.to, 5)
	for _, v := range at {
		x := l.x.px(v)
		class := "g"
		if v == 0 && l.Y.Rows != nil {
			class = "g zero"
		}
		d.line(class, x, top, x, top+height)
		if axis {
			d.text(x, top+height+14, "m", label(v, dec))
		}
	}
	if axis {
		d.text(l.x.end, top+height+29, "e", l.X.Name+", "+l.ux)
	}
}

// clip keeps a name to n characters; the page has it whole elsewhere.
func clip(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

// Alt says in words what a figure shows: for each series how many points and the ranges.
func Alt(f figure.Figure) string {
	var out []string
	for _, p := range f.Panels {
		for _, s := range p.Series {
			if len(s.X) == 0 {
				continue
			}
			one := figure.Panel{X: p.X, Y: p.Y, Series: []figure.Series{s}}
			x0, x1, y0, y1 := extent(one)
			text := fmt.Sprintf("%s: %d points", s.Name, len(s.X))
			for _, a := range []struct {
				axis   figure.Axis
				lo, hi float64
			}{{p.X, x0, x1}, {p.Y, y0, y1}} {
				if a.axis.Rows != nil {
					text += fmt.Sprintf(", %s %s", a.axis.Name, strings.Join(a.axis.Rows, ", "))
					continue
				}
				u, k := display(a.axis.Unit, math.Max(math.Abs(a.lo), math.Abs(a.hi)))
				text += fmt.Sprintf(", %s %.4g to %.4g %s", a.axis.Name, k*a.lo, k*a.hi, u)
			}
			out = append(out, text)
		}
	}
	return strings.Join(out, "; ") + "."
}
