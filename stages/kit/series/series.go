// Package series holds recordings as columns of numbers: as the logger wrote
// them (Block, scaled integers: nothing is lost) and in SI on a clean clock
// (Samples).
package series

import "iter"

// Block is a stretch of consecutive rows exactly as the logger wrote them.
// Column c of row r is Mantissa[c][r] × 10^Exponent[c]; all rows of one block
// share a column's exponent. A column whose decimals do not fit a scaled
// int64 (1e300, seventeen digits and an exponent) is carried in Floats[c]
// instead, and Mantissa[c] is nil. Missing[c] is nil when no cell of the
// column is empty, else one flag a row.
type Block struct {
	// FirstLine is the line (text) or row (Parquet) number of the first row, from 1.
	FirstLine int
	// Lines holds each row's line number when rows and lines do not run in
	// step (comment or blank lines between); nil when row r is FirstLine + r.
	Lines    []int
	Mantissa [][]int64
	Exponent []int8
	Floats   [][]float64
	Missing  [][]bool
	Rows     int
}

// Blocks yields a recording block by block. The consumer must not keep a
// block beyond its turn. An error ends the sequence.
type Blocks = iter.Seq2[*Block, error]

// Samples is one recording in SI units on a strictly increasing clock. All
// columns present have the same length as TimeS; a column that was not
// recorded is nil. Signs: speed is positive in the declared sense of
// rotation; torque is positive when it speeds the rotor up.
type Samples struct {
	// TimeS is the time stamp in s, strictly increasing.
	TimeS []float64
	// SpeedRadPerS is the mechanical angular speed.
	SpeedRadPerS []float64
	// TorqueNm is the calibrated reaction torque, its zero not removed.
	TorqueNm []float64
	ThrustN  []float64
	// Duty is the commanded throttle as a fraction, 0 to 1.
	Duty         []float64
	VoltageV     []float64
	CurrentA     []float64
	TemperatureK []float64
}

// Len is the number of rows.
func (s *Samples) Len() int { return len(s.TimeS) }
