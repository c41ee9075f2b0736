package reports

import (
	"html/template"

	"spinledger/stages/kit/figure"
)

// series draws one series in its panel.
func (d *drawing) series(l panel, s figure.Series) {
	name := template.HTMLEscapeString(s.Name)
	open := func(class string) { d.add(`<path class="`, class, ` r-`, s.Role, `" data-s="`, name, `" d="`) }
	switch s.Mark {
	case figure.Line:
		open("line")
		d.path(l, s)
		d.add(`"/>`)
	case figure.Band:
		d.add(`<path class="area r-`, s.Role, `" d="`)
		d.band(l, s)
		d.add(`"/>`)
		open("line")
		d.path(l, s)
		d.add(`"/>`)
	case figure.Bars:
		for i := range s.X {
			from, to, y := l.x.inside(l.kx*s.Low[i]), l.x.inside(l.kx*s.High[i]), l.y.px(s.Y[i])
			d.rect("bar r-"+s.Role, from, y-8, to-from, 16)
		}
	default:
		if s.Low != nil {
			d.add(`<path class="whisker r-`, s.Role, `" d="`)
			d.whiskers(l, s)
			d.add(`"/>`)
		}
		open("dots")
		for i := range s.X {
			d.marker(s.Role, l.x.px(l.kx*s.X[i]), l.y.px(l.ky*s.Y[i]))
		}
		d.add(`"/>`)
	}
}

func (d *drawing) path(l panel, s figure.Series) {
	for i := range s.X {
		cmd := byte('L')
		if i == 0 {
			cmd = 'M'
		}
		d.point(cmd, l.x.px(l.kx*s.X[i]), l.y.px(l.ky*s.Y[i]))
	}
}

func (d *drawing) band(l panel, s figure.Series) {
	for i := range s.X {
		cmd := byte('L')
		if i == 0 {
			cmd = 'M'
		}
		d.point(cmd, l.x.px(l.kx*s.X[i]), l.y.inside(l.ky*s.High[i]))
	}
	for i := len(s.X) - 1; i >= 0; i-- {
		d.point('L', l.x.px(l.kx*s.X[i]), l.y.inside(l.ky*s.Low[i]))
	}
	d.add("Z")
}

// whiskers run along y, or along x where y has rows.
func (d *drawing) whiskers(l panel, s figure.Series) {
	for i := range s.X {
		if l.Y.Rows != nil {
			y := l.y.px(s.Y[i])
			d.point('M', l.x.inside(l.kx*s.Low[i]), y)
			d.point('L', l.x.inside(l.kx*s.High[i]), y)
			continue
		}
		x := l.x.px(l.kx * s.X[i])
		d.point('M', x, l.y.inside(l.ky*s.Low[i]))
		d.point('L', x, l.y.inside(l.ky*s.High[i]))
	}
}

// shapes by role, so that series are told apart without colour: the outline
// after a move to the point's middle. Round dots are the pen itself.
var shapes = map[string]string{
	figure.Measured: "h0",
	figure.Faint:    "h0",
	figure.Second:   "m-3-3h6v6h-6z",
	figure.Third:    "m0-4l4 7h-8z",
	figure.Fourth:   "m0-4l4 4l-4 4l-4-4z",
	figure.Fifth:    "m-4 0h8m-4-4v8",
	figure.Sixth:    "m-4-3h8l-4 7z",
	figure.Doubt:    "m-3-3l6 6m-6 0l6-6",
	figure.Declared: "m-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0z",
}

func (d *drawing) marker(role string, x, y float64) {
	shape, ok := shapes[role]
	if !ok {
		shape = "h0"
	}
	d.point('M', x, y)
	d.add(shape)
}

// key is one line of a legend.
type key struct{ Name, Mark, Role, Shape string }

// legend lists a figure's series once each; a single unnamed one needs none.
func legend(f figure.Figure) []key {
	var out []key
	seen := map[key]bool{}
	for _, p := range f.Panels {
		for _, s := range p.Series {
			k := key{s.Name, s.Mark, s.Role, shapes[s.Role]}
			if !seen[k] && !(f.Kind == figure.Recording) {
				seen[k] = true
				out = append(out, k)
			}
		}
	}
	return out
}
