package drag

import (
	"math"
	"math/rand/v2"
	"testing"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// coarse are staircases of a square law that rises to top, read in steps of h from a zero anywhere on them, without noise.
func coarse(top, h, zero float64) Set {
	s := Set{Kind: spin.Steady}
	for i := range 16 {
		w := 100 + 60*float64(min(i, 15-i))
		p := spin.Plateau{SpeedRadPerS: w, MidS: float64(i), TorqueNm: math.Round((top*math.Pow(w/520, 2)+zero)/h) * h, SpanS: 1}
		p.TorqueRoundingU = numeric.RoundingU([]float64{p.TorqueNm, p.TorqueNm}, h)
		s.Plateaus = append(s.Plateaus, p)
	}
	return s
}

// TestCoarseTorque: a load read in coarse steps is known no better than the steps allow, even where all levels lie on one of them and
// any curve fits to the last digit; over zeros anywhere on the steps its error at the top is within 2 u in 95 of 100, and the law stays one
// that loads have.
func TestCoarseTorque(t *testing.T) {
	const h = 2e-3
	rng := rand.New(rand.NewPCG(5, 6))
	for _, least := range []float64{0.05 * h, 0.4 * h, h, 3 * h, 15 * h} {
		held, n := 0, 400
		for range n {
			top := least * (1 + rng.Float64())
			out, err := Run(Input{Job: "j", Rotor: "bare", Sets: []Set{coarse(top, h, h*rng.Float64())}}, DefaultOptions())
			if err != nil || out.Curve == nil {
				t.Fatal(err, out.Refusals)
			}
			c := out.Curve
			if c.Form == spin.FormPower && (c.Coef[1].Mean < 0.5 || c.Coef[1].Mean > 4) {
				t.Errorf("top %g steps: exponent %g", top/h, c.Coef[1].Mean)
			}
			v := 0.0
			for _, s := range []string{"/drag~0", "/drag~1", "/drag~2", "/drag/torque-resolution"} {
				d := c.Moved("j/rotor:bare"+s, 1).At(520) - c.At(520)
				v += d * d
			}
			if u := math.Sqrt(v); !(math.Abs(c.At(520)-top) > 2*u) {
				held++
			}
		}
		if held < n*93/100 {
			t.Errorf("top of %g to %g steps: %d of %d within 2 u", least/h, 2*least/h, held, n)
		}
	}
}
