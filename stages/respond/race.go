package respond

import (
	"math"
	"slices"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Times are the times of one request over the draws of the Monte Carlo, 0 where a
// draw does not reach the target. Causes are drawn by name: times of two
// requests with one seed share what the requests share, also across jobs.
func Times(in Input, q spin.ResponseRequest, opt Options) []float64 {
	m := everything(&in, opt)
	s, _, refused := m.prepare(q)
	if refused != "" || opt.Draws <= 0 {
		return nil
	}
	base := s.run(false, false)
	if !base.reached {
		return nil
	}
	out := make([]float64, opt.Draws)
	times, which := s.times(base, opt)
	for i, n := range which {
		out[n] = times[i]
	}
	return out
}

// Compare sets two answers against each other. drawsA and drawsB are their Times, of equal length, or nil.
func Compare(a, b spin.Response, drawsA, drawsB []float64) spin.Duel {
	d := spin.Duel{A: a.Request.ID, B: b.Request.ID, DifferenceS: a.TimeS.Sub(b.TimeS)}
	e := d.DifferenceS.Expanded()
	d.Quicker = quicker(d.DifferenceS)
	d.Told = math.Abs(d.DifferenceS.Mean) > e.U
	if n := len(drawsA); n > 0 && n == len(drawsB) {
		d.Draws = n
		d.LowS, d.HighS, d.QuickerDrawn = drawn(drawsA, drawsB)
		if a.Bent || b.Bent {
			d.Bent = true
			d.Told = d.LowS > 0 || d.HighS < 0
		}
	}
	if sameWay(a.Request, b.Request) {
		d.Turns = turns(a, b)
	}
	return d
}

// quicker is the probability that a difference of true times is below 0, from
// its t distribution; one half for two that are one and the same.
func quicker(d uncertain.Value) float64 {
	u := d.Std()
	if u == 0 {
		return 0.5 - 0.5*sign(d.Mean)
	}
	tail := numeric.StudentTail(d.Mean/u, math.Max(1, d.DoF())) / 2
	if d.Mean > 0 {
		return tail
	}
	return 1 - tail
}

func sign(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// drawn is the 95 % interval of the difference over the draws that both reach,
// and the share of all draws in which a is there first.
func drawn(a, b []float64) (low, high, first float64) {
	var d []float64
	for i := range a {
		switch {
		case a[i] == 0 && b[i] == 0 || a[i] == b[i]:
			first += 0.5
		case b[i] == 0 || (a[i] > 0 && a[i] < b[i]):
			first++
		}
		if a[i] > 0 && b[i] > 0 {
			d = append(d, a[i]-b[i])
		}
	}
	first /= float64(len(a))
	if len(d) == 0 {
		return 0, 0, first
	}
	slices.Sort(d)
	n := float64(len(d))
	return d[int(0.025*n)], d[int(math.Ceil(0.975*n))-1], first
}

// sameWay is true where two answers pass the same speeds, or the same thrusts,
// so that their curves can be laid over each other.
func sameWay(a, b spin.ResponseRequest) bool {
	return a.Thrust == b.Thrust && a.From == b.From && a.To == b.To && a.FinalShare == 0 && b.FinalShare == 0
}

// turns are the points of the way at which the one that led falls behind. Both leads must be
// ones that the data can show; the crossing lies on the line between them.
func turns(a, b spin.Response) []spin.Turn {
	var out []spin.Turn
	n := min(len(a.Trace), len(b.Trace))
	led, at, lead := 0.0, 0, 0.0
	for i := range n {
		d := a.Trace[i].TimeS.Sub(b.Trace[i].TimeS)
		if math.Abs(d.Mean) <= d.Expanded().U {
			continue
		}
		if led != 0 && sign(d.Mean) != led {
			f := lead / (lead - d.Mean)
			p, q := a.Trace[at], a.Trace[i]
			out = append(out, spin.Turn{
				SpeedRadPerS: p.SpeedRadPerS + f*(q.SpeedRadPerS-p.SpeedRadPerS), ThrustN: p.ThrustN + f*(q.ThrustN-p.ThrustN), LeadsThen: leader(a, b, d.Mean),
			})
		}
		led, at, lead = sign(d.Mean), i, d.Mean
	}
	return out
}

func leader(a, b spin.Response, d float64) string {
	if d < 0 {
		return a.Request.ID
	}
	return b.Request.ID
}

// Ranks gives each answer one more than the number of those that the data show
// to be quicker: equal ranks are ties, and a tie with two that differ is a tie with both.
func Ranks(ids []string, duels []spin.Duel) []int {
	out := make([]int, len(ids))
	for i, id := range ids {
		out[i] = 1
		for _, d := range duels {
			if d.Told && (d.A == id && d.DifferenceS.Mean > 0 || d.B == id && d.DifferenceS.Mean < 0) {
				out[i]++
			}
		}
	}
	return out
}

// Ask answers one request from what a job found.
func Ask(in Input, q spin.ResponseRequest, opt Options) spin.Response {
	return everything(&in, opt).answer(q, opt)
}
