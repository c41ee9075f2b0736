package subtract

import (
	"fmt"
	"slices"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Method changes whenever this stage's numbers can.
const Method = "subtract/8"

// Input is all fits of one job, and what is declared of parts and bench.
type Input struct {
	Job string `json:"job"`
	// Fits that entered: chosen source, any kind; others are passed over.
	Fits   []spin.RunFit `json:"fits"`
	Rotors []spin.Rotor  `json:"rotors"`
	Parts  []spin.Part   `json:"parts"`
	// Repeatability of the benches used, widest classes last.
	Repeatability []spin.Repeatability `json:"repeatability,omitempty"`
}

// Options of the stage.
type Options struct {
	// FloorRel is what repeats do not show of any rotor: hysteresis and creep of
	// the cell between weights and steps (a class C 3 load cell may err by 0.02 to 0.03 % of its range by
	// itself: OIML R 60, from memory). What the runs themselves show beyond it, spin-up against
	// braked return, is added where it is more.
	FloorRel float64 `json:"floor_rel"`
	// PoolP is the p-value above which conditions agree.
	PoolP float64 `json:"pool_p"`
	// ExcessP is the p-value (F test) below which runs scatter more than the bench is declared
	// to repeat, and ExcessShare how much of the scatter beyond the declared one may be
	// common to all of them, as a standard uncertainty.
	ExcessP     float64 `json:"excess_p"`
	ExcessShare float64 `json:"excess_share"`
	// SpreadP and SpreadRel: conditions that differ significantly and by more than this are the uncertainty.
	SpreadP   float64 `json:"spread_p"`
	SpreadRel float64 `json:"spread_rel"`
	// InflowLow and InflowHigh bound f·c, the share of the load that the
	// inflow carries times the radians by which it lags.
	InflowLow  float64 `json:"inflow_low"`
	InflowHigh float64 `json:"inflow_high"`
	// EntrainedKgM2 is the inertia of air carried round by a propeller of
	// 0.33 m diameter, at most; it goes as the fifth power of the diameter.
	EntrainedKgM2 float64 `json:"entrained_kgm2"`
	// EntrainedRel is the same as a share of the rotor.
	EntrainedRel float64 `json:"entrained_rel"`
}

// DefaultOptions are the documented defaults. f between 0.15 and 0.3 and a lag
// of 3 to 12 rad bound the inflow; entrained air is 0.3 % of a 13-inch
// propeller rotor of 650 g·cm² (simulation; common practice, no source).
func DefaultOptions() Options {
	return Options{
		FloorRel: 0.0003, PoolP: 0.25, ExcessP: 0.01, ExcessShare: 0.5, SpreadP: 0.01, SpreadRel: 0.003,
		InflowLow: 0.15 * 3, InflowHigh: 0.3 * 12, EntrainedKgM2: 2e-7, EntrainedRel: 0.003,
	}
}

// ScaleRatio compares a reference disk with the weights.
type ScaleRatio struct {
	Disk string `json:"disk"`
	// Ratio is measured (on the weights' scale) over declared, less one.
	Ratio uncertain.Value `json:"ratio"`
	// Agree is true when |Ratio| is within spin.Disagreement expanded uncertainties.
	Agree bool `json:"agree"`
	// Role of the disk: scale, check, both.
	Role string `json:"role"`
}

// Output of a job.
type Output struct {
	Rotors   []spin.RotorInertia `json:"rotors"`
	Numbers  []spin.Number       `json:"numbers"`
	Scales   []ScaleRatio        `json:"scales,omitempty"`
	Refusals []spin.Refusal      `json:"refusals,omitempty"`
	Warnings []spin.Warning      `json:"warnings,omitempty"`
}

// Run pools runs into rotors and adjusts rotors into parts.
func Run(in Input, opt Options) (Output, error) {
	var out Output
	for _, rotor := range in.Rotors {
		r, ok := pool(in, rotor, opt, &out)
		if ok {
			out.Rotors = append(out.Rotors, r)
		}
	}
	if len(out.Rotors) == 0 {
		return out, nil
	}
	a := newAdjustment(in, out.Rotors)
	direct, err := a.solve(false, false)
	if err != nil {
		return out, fmt.Errorf("subtract: %w", err)
	}
	out.Scales = a.scales(direct)
	useDisk := a.hasScale() && !slices.ContainsFunc(out.Scales, func(s ScaleRatio) bool {
		return !s.Agree && s.Role != "check"
	})
	head := direct
	if useDisk {
		if head, err = a.solve(true, false); err != nil {
			return out, fmt.Errorf("subtract: %w", err)
		}
	}
	air, err := a.solve(useDisk, true)
	if err != nil {
		return out, fmt.Errorf("subtract: %w", err)
	}
	// Solving is what finds parts that cannot be told apart.
	out.Refusals = append(out.Refusals, a.refusals...)
	out.Numbers = a.numbers(head, direct, air, useDisk)
	return out, nil
}
