package ingest

import (
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// thinned is the samples of a long recording, rows apart from transients averaged.
type thinned struct {
	samples series.Samples
	// counts is the number of rows that each sample is the mean of.
	counts []int32
	// by is the number of rows in a mean, 0 for firstMean; full and means count the samples of each kind.
	by          int
	full, means int
}

// firstMean is the number of rows in a mean to begin with: at 2 kHz 4 ms, a third of the speed's smoothing.
const firstMean = 8

// every is the number of rows in a mean.
func (t *thinned) every() int { return max(t.by, firstMean) }

// add appends a stretch's samples, those marked as they are, and gives the new
// From and To of its segments. A mean never reaches across a segment's end.
func (t *thinned) add(rec *spin.Recording, full []bool) [][2]int {
	s := rec.Samples
	n := s.Len()
	// moved[i] is where sample i, an end of a segment, has gone.
	moved := map[int]int{}
	for _, g := range rec.Segments {
		moved[g.From], moved[g.To] = 0, 0
	}
	// Sorting may have left a row on the wrong side of the cut.
	from := 0
	if at := len(t.samples.TimeS); at > 0 {
		for from < n && !(s.TimeS[from] > t.samples.TimeS[at-1]) {
			from++
		}
	}
	for i := range from {
		if _, ok := moved[i]; ok {
			moved[i] = t.samples.Len()
		}
	}
	for i := from; i < n; {
		if _, ok := moved[i]; ok {
			moved[i] = t.samples.Len()
		}
		to := i + 1
		for !full[i] && to < n && to-i < t.every() && !full[to] {
			if _, ok := moved[to]; ok {
				break
			}
			to++
		}
		t.mean(s, i, to)
		i = to
	}
	if _, ok := moved[n]; ok {
		moved[n] = t.samples.Len()
	}
	out := make([][2]int, len(rec.Segments))
	for i, g := range rec.Segments {
		out[i] = [2]int{moved[g.From], moved[g.To]}
	}
	return out
}

// mean appends the mean of samples from ≤ i < to.
func (t *thinned) mean(s *series.Samples, from, to int) {
	for c, src := range columns(s) {
		if *src == nil {
			continue
		}
		dst := columns(&t.samples)[c]
		// A channel that came up only now was not recorded before.
		for len(*dst) < len(t.counts) {
			*dst = append(*dst, 0)
		}
		v := (*src)[from]
		if to-from > 1 {
			// Deviations from the first keep the digits of a time far from zero.
			sum := 0.0
			for _, x := range (*src)[from+1 : to] {
				sum += x - v
			}
			v += sum / float64(to-from)
		}
		*dst = append(*dst, v)
	}
	t.counts = append(t.counts, int32(to-from))
	if to-from > 1 {
		t.means++
	} else {
		t.full++
	}
}

// halve joins means in pairs and moves the segments' ends.
func (t *thinned) halve(segments []spin.Segment) {
	t.by = 2 * t.every()
	ends := map[int]int{}
	for _, g := range segments {
		ends[g.From], ends[g.To] = 0, 0
	}
	cols := columns(&t.samples)
	n, w := len(t.counts), 0
	t.means, t.full = 0, 0
	for i := 0; i < n; w++ {
		if _, ok := ends[i]; ok {
			ends[i] = w
		}
		a, take := t.counts[i], 1
		if _, ok := ends[i+1]; !ok && i+1 < n && a > 1 && t.counts[i+1] > 1 && int(a+t.counts[i+1]) <= t.by {
			take = 2
		}
		share := 0.0
		if take == 2 {
			share = float64(t.counts[i+1]) / float64(a+t.counts[i+1])
			a += t.counts[i+1]
		}
		for _, c := range cols {
			if *c == nil {
				continue
			}
			v := (*c)[i]
			if take == 2 {
				v += float64(share * ((*c)[i+1] - v))
			}
			(*c)[w] = v
		}
		t.counts[w] = a
		if a > 1 {
			t.means++
		} else {
			t.full++
		}
		i += take
	}
	if _, ok := ends[n]; ok {
		ends[n] = w
	}
	for _, c := range cols {
		if *c != nil {
			*c = (*c)[:w]
		}
	}
	t.counts = t.counts[:w]
	for i := range segments {
		segments[i].From, segments[i].To = ends[segments[i].From], ends[segments[i].To]
	}
}
