package torque

import (
	"math"

	"spinledger/stages/kit/balance"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// The rise as a torque curve: from where the duty has its value, on through the first
// part of the plateau, whose torque anchors the fast end.
const (
	curveFrom = 0.10
	curveTo   = 0.97
	anchorS   = 0.10
	ringSpanS = 0.010 // of misfit that is one piece of information: the correlation of ringing at 50 to 200 Hz
)

// runBins is the run's torque over speed, zero of the idle plateau removed, at
// equal steps of speed. A fixture that rings through a short rise makes means over speed
// cells worthless (up to 8 % off). So a quadratic T(ω) is fitted to the integral of the torque,
//
//	∫ T dt = c + Σ_k a_k · ∫ ω^k dt,  k = 0, 1, 2
//
// in which ringing is a small ripple that does not grow, and read at the speeds.
// Its uncertainty is from the misfit, one piece of information in ringSpanS, and from the
// winding's inductance, which makes torque late behind speed: spin.InductanceU over the rise constant,
// and a ringing fixture's spread, spin.RingingS, squared over the rise's square.
func runBins(r *spin.Recording, run spin.Run, v *balance.View, curve *spin.LoadCurve, tau float64, opt Options) []spin.Bin {
	a, b := r.Segments[run.A], r.Segments[run.B]
	wa, wb := balance.Window{From: a.FromS, To: a.ToS}, balance.Window{From: b.FromS, To: b.ToS}
	low, high := v.MeanSpeed(wa), v.MeanSpeed(wb)
	zero := v.MeanTorque(wa, tau)
	if curve != nil {
		zero -= curve.At(low)
	}
	from, ok := v.Passes(low+curveFrom*(high-low), a.ToS, b.FromS)
	if !ok || !(high > low) {
		return nil
	}
	to := math.Min(b.FromS+anchorS, b.ToS)
	x, y, amps := integrals(v, from, to, tau, zero, high)
	if len(y) < 20 {
		return nil
	}
	sol, err := numeric.LeastSquares(x, y, nil)
	if err != nil || sol.DoF < 1 {
		return nil
	}
	pieces := math.Max(5, (to-from)/ringSpanS)
	noise := sol.RSS / float64(sol.DoF) * math.Max(1, float64(len(y))/pieces)
	rise := math.Max(run.RiseS, r.StepS)
	late := math.Hypot(spin.InductanceU*math.Log(9)/rise, spin.RingingS*spin.RingingS/(rise*rise))
	var out []spin.Bin
	for k := range opt.Bins {
		s := curveFrom + (curveTo-curveFrom)*(float64(k)+0.5)/float64(opt.Bins)
		w := (low + s*(high-low)) / high
		at := [4]float64{0, 1, w, w * w}
		bin := spin.Bin{SpeedRadPerS: w * high, N: len(y) / opt.Bins}
		variance := 0.0
		for i := range at {
			bin.TorqueNm += float64(at[i] * sol.Coef[i])
			for j := range at {
				variance += float64(at[i] * at[j] * sol.Cov.At(i, j))
			}
		}
		bin.SE = math.Hypot(math.Sqrt(math.Max(0, variance*noise)), late*bin.TorqueNm)
		if amps != nil {
			bin.CurrentA = nearest(amps, w*high)
		}
		out = append(out, bin)
	}
	return out
}

// integrals are the columns 1, ∫dt, ∫ω dt, ∫ω² dt (ω over top) and ∫T dt at each torque
// sample from from to to, and the supply current by speed where there is one.
func integrals(v *balance.View, from, to, tau, zero, top float64) (x numeric.Matrix, y []float64, amps []amp) {
	var rows [][]float64
	var sum [4]float64
	k, last, lastT, lastW := 0, math.NaN(), 0.0, 0.0
	for i, at := range v.TimeS {
		at -= tau
		if at < from || at > to {
			continue
		}
		for k+2 < v.Len() && v.SpeedTimeS[k+1] <= at {
			k++
		}
		h := v.SpeedTimeS[k+1] - v.SpeedTimeS[k]
		if h <= 0 {
			continue
		}
		f := math.Min(math.Max((at-v.SpeedTimeS[k])/h, 0), 1)
		w := (v.SpeedRadPerS[k] + f*(v.SpeedRadPerS[k+1]-v.SpeedRadPerS[k])) / top
		t := v.TorqueNm[i] - zero
		if !math.IsNaN(last) {
			dt := at - last
			sum[0] += dt
			sum[1] += float64(dt * (w + lastW) / 2)
			sum[2] += float64(dt * (w*w + lastW*lastW) / 2)
			sum[3] += float64(dt * (t + lastT) / 2)
		}
		last, lastT, lastW = at, t, w
		rows = append(rows, []float64{1, sum[0], sum[1], sum[2]})
		y = append(y, sum[3])
		if v.CurrentA != nil {
			amps = append(amps, amp{w * top, v.CurrentA[i]})
		}
	}
	return numeric.FromRows(rows...), y, amps
}

type amp struct{ speed, amps float64 }

// nearest is the mean current of the five samples nearest to a speed.
func nearest(all []amp, w float64) float64 {
	best := 0
	for i, a := range all {
		if math.Abs(a.speed-w) < math.Abs(all[best].speed-w) {
			best = i
		}
	}
	lo, hi := max(0, best-2), min(len(all), best+3)
	sum := 0.0
	for _, a := range all[lo:hi] {
		sum += a.amps
	}
	return sum / float64(hi-lo)
}
