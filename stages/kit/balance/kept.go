package balance

// Kept is a view that remembers of its equations and overlaps what does not change between them: a solution asked for again with
// another load, lag or prior takes the same integrals, to the last bit. The samples must not change meanwhile.
type Kept struct {
	*View
	torque  map[torqueKey]Equation
	speed   map[Test]speedSide
	overlap map[[2]Test]float64
	means   map[Window]float64
}

type torqueKey struct {
	f       Test
	tau, t0 float64
}

// speedSide is what a test function makes of the speed's clock: weights from index lo on, their sum, and the momentum.
type speedSide struct {
	lo             int
	weight         []float64
	area, momentum float64
}

// keptWeights is the longest test function whose weights are remembered: a passage of minutes is integrated anew.
const keptWeights = 1 << 16

// Keep is v with a memory.
func (v *View) Keep() *Kept {
	return &Kept{View: v, torque: map[torqueKey]Equation{}, speed: map[Test]speedSide{}, overlap: map[[2]Test]float64{}, means: map[Window]float64{}}
}

// Integrate is [View.Integrate].
func (k *Kept) Integrate(f Test, tau, t0 float64, l []float64) Equation {
	key := torqueKey{f, tau, t0}
	e, known := k.torque[key]
	if !known {
		e = k.View.torqueSide(f, tau, t0)
		k.torque[key] = e
	}
	s, known := k.speed[f]
	if !known {
		s = k.View.speedSide(f)
		if len(s.weight) <= keptWeights {
			k.speed[f] = s
		}
	}
	e.Load, e.Momentum = s.load(f, l), s.momentum
	return e
}

// Overlap is [View.Overlap].
func (k *Kept) Overlap(a, b Test) float64 {
	key := [2]Test{a, b}
	x, known := k.overlap[key]
	if !known {
		x = k.View.Overlap(a, b)
		k.overlap[key] = x
	}
	return x
}

// MeanSpeed is [View.MeanSpeed].
func (k *Kept) MeanSpeed(w Window) float64 {
	x, known := k.means[w]
	if !known {
		x = k.View.MeanSpeed(w)
		k.means[w] = x
	}
	return x
}

// torqueSide is an equation without load and momentum.
func (v *View) torqueSide(f Test, tau, t0 float64) Equation {
	var e Equation
	from, to := f.Ends()
	lo, hi := span(v.TimeS, from+tau, to+tau)
	for i := lo; i < hi; i++ {
		w := f.At(v.TimeS[i]-tau) * v.DtS[i]
		e.Y += float64(w * v.TorqueNm[i])
		e.Zero += w
		e.Drift += float64(w * (v.TimeS[i] - tau - t0))
	}
	if !f.Passage && e.Zero != 0 {
		e.Y, e.Drift, e.Zero = e.Y/e.Zero, e.Drift/e.Zero, 1
	}
	return e
}

func (v *View) speedSide(f Test) speedSide {
	from, to := f.Ends()
	lo, hi := span(v.SpeedTimeS, from, to)
	s := speedSide{lo: lo, weight: make([]float64, hi-lo)}
	for i := range s.weight {
		s.weight[i] = f.At(v.SpeedTimeS[lo+i]) * v.SpeedDtS[lo+i]
		s.area += s.weight[i]
	}
	if f.Passage {
		s.momentum = v.MeanSpeed(f.To) - v.MeanSpeed(f.From)
	} else {
		// Momentum on a plateau is its slope: −∫ h′ω dt = ∫ h·ω′ dt.
		s.momentum = v.slope(f.From)
	}
	return s
}

func (s speedSide) load(f Test, l []float64) float64 {
	sum := 0.0
	for i, w := range s.weight {
		sum += float64(w * l[s.lo+i])
	}
	if !f.Passage && s.area != 0 {
		sum /= s.area
	}
	return sum
}
