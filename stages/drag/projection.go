package drag

import (
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
)

// projection takes out of a column what the sets' own zeros and drifts can follow: within each set its
// weighted mean and, where the set has a drift, its weighted regression on time. A regression of what is left of y on
// what is left of the other columns has the coefficients, covariance and residuals of the whole one
// (Frisch & Waugh, Econometrica 1 (1933) 387; Lovell, J. Am. Stat. Assoc. 58 (1963) 993), in steps that grow with the
// number of recordings and not with its cube.
type projection struct {
	sets []stretch
	w    []float64
	// coefs is the number of zeros and drifts.
	coefs int
}

// stretch is a set's points from ≤ i < to, with their times from the weighted mean, nil without a drift.
type stretch struct {
	from, to int
	time     []float64
}

// follows is the share of a column's length below which what is left of it is rounding: the
// zeros and drifts follow the column wholly.
const follows = 1e-12

func (l *levels) projection() projection {
	p := projection{w: l.w}
	for from := 0; from < len(l.points); {
		to := from + 1
		for to < len(l.points) && l.points[to].set == l.points[from].set {
			to++
		}
		s := stretch{from: from, to: to}
		p.coefs++
		if l.drifts[l.points[from].set] {
			t := make([]float64, to-from)
			for i := range t {
				t[i] = l.points[from+i].t
			}
			p.centre(s, t)
			if p.lengthOf(s, t) > 0 {
				s.time = t
				p.coefs++
			}
		}
		p.sets = append(p.sets, s)
		from = to
	}
	return p
}

// centre takes the weighted mean out of x, the values of a set's points.
func (p projection) centre(s stretch, x []float64) {
	sum, area := 0.0, 0.0
	for i, v := range x {
		w := p.w[s.from+i]
		sum += float64(w * v)
		area += w
	}
	for i := range x {
		x[i] -= sum / area
	}
}

// out replaces a column by what is left of it. A second pass takes out what the first one's rounding left.
func (p projection) out(x []float64) {
	before := p.length(x)
	for range 2 {
		for _, s := range p.sets {
			x := x[s.from:s.to]
			p.centre(s, x)
			if s.time == nil {
				continue
			}
			num, den := 0.0, 0.0
			for i, t := range s.time {
				w := p.w[s.from+i]
				num += float64(w * t * x[i])
				den += float64(w * t * t)
			}
			for i, t := range s.time {
				x[i] -= float64(num / den * t)
			}
		}
	}
	if p.length(x) <= follows*before {
		clear(x)
	}
}

func (p projection) length(x []float64) float64 {
	return p.lengthOf(stretch{from: 0, to: len(x)}, x)
}

// lengthOf is √Σ w·x² of the values of a set's points.
func (p projection) lengthOf(s stretch, x []float64) float64 {
	sum := 0.0
	for i, v := range x {
		sum += float64(p.w[s.from+i] * v * v)
	}
	return math.Sqrt(sum)
}

// columns sets values and the rows of a to what is left of the model and its derivatives at coef; values may be nil.
func (p projection) columns(model numeric.Model, coef, values []float64, a numeric.Matrix) {
	for i := range a.Rows {
		v := model(i, coef, a.Row(i))
		if values != nil {
			values[i] = v
		}
	}
	if values != nil {
		p.out(values)
	}
	column := make([]float64, a.Rows)
	for j := range a.Cols {
		for i := range column {
			column[i] = a.At(i, j)
		}
		p.out(column)
		for i, v := range column {
			a.Set(i, j, v)
		}
	}
}

// of is what is left of a model of n observations and so many coefficients. All its
// observations are found together, once for each coef that is asked for.
func (p projection) of(model numeric.Model, n, coefs int) numeric.Model {
	var at []float64
	values, a := make([]float64, n), numeric.NewMatrix(n, coefs)
	return func(i int, coef, grad []float64) float64 {
		if !slices.Equal(at, coef) {
			at = slices.Clone(coef)
			p.columns(model, coef, values, a)
		}
		copy(grad, a.Row(i))
		return values[i]
	}
}
