package uncertain

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Shape is the distribution a source is drawn from, always with the standard
// deviation (for a t: the scale) of the contribution.
type Shape int

// The shapes.
const (
	// Normal is the normal distribution, or Student's t where the degrees of
	// freedom are finite (JCGM 101:2008, 6.4.7 and 6.4.9).
	Normal Shape = iota
	// Rectangular has half-width √3 standard deviations (JCGM 101:2008, 6.4.2).
	Rectangular
)

// Draw gives n joint draws of the values, out[k][i] the draw i of values[k]:
// its mean plus the sum of its contributions, each times a standard variate of
// its source (JCGM 101:2008, 7.3, for the linear combination that a Value
// is). Every source has a stream of its own, from the seed and its name, so
// that values drawn together, or apart with one seed, share what they have in
// common. Components of one estimate (see FromCovariance) share one χ²: any
// combination of them is again a t. Where values disagree about a source's
// degrees of freedom the smallest count. shape names the distribution of a
// source; nil: all Normal.
func Draw(seed uint64, n int, shape func(source string) Shape, values ...Value) [][]float64 {
	var all []Part
	out := make([][]float64, len(values))
	for k, v := range values {
		out[k] = make([]float64, n)
		for i := range out[k] {
			out[k][i] = v.Mean
		}
		for _, p := range v.Parts {
			// A sum of contributions might vanish; the source must not.
			all = append(all, Part{p.Source, 1, p.DoF})
		}
	}
	for _, s := range merge(all) {
		kind := Normal
		if shape != nil {
			kind = shape(s.Source)
		}
		z := variates(seed, n, s.Source, kind, s.DoF)
		for k, v := range values {
			if c := v.Part(s.Source); c != 0 {
				for i := range z {
					out[k][i] += float64(c * z[i])
				}
			}
		}
	}
	return out
}

// variates are n standard draws of one source.
func variates(seed uint64, n int, source string, kind Shape, dof float64) []float64 {
	z, r := make([]float64, n), rand.New(stream(seed, source))
	if kind == Rectangular {
		for i := range z {
			z[i] = math.Sqrt(3) * float64(2*r.Float64()-1)
		}
		return z
	}
	for i := range z {
		z[i] = r.NormFloat64()
	}
	if dof == 0 {
		return z
	}
	name := estimate(source)
	if name == "" {
		name = source
	}
	chi2 := distuv.ChiSquared{K: dof, Src: stream(seed, name+"\x00chi2")}
	for i := range z {
		z[i] *= math.Sqrt(dof / chi2.Rand())
	}
	return z
}

// stream is the generator that belongs to a name.
func stream(seed uint64, name string) *rand.PCG {
	h := fnv.New64a()
	h.Write([]byte(name))
	return rand.NewPCG(seed, h.Sum64())
}
