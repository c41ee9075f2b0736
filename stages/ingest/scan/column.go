package scan

// column collects one wanted column of the current block: scaled integers of
// one exponent, or floats once a value does not fit beside the others.
type column struct {
	man []int64
	// exp is the block's exponent, kept from block to block so that a column
	// of fixed decimals has one exponent throughout.
	exp        int
	floats     []float64
	spare      []float64
	missing    []bool
	anyMissing bool
	// decimals is the most decimals of a value so far.
	decimals int
}

func (c *column) reset() {
	if c.floats != nil {
		// One odd value must not turn the rest of the file into floats: the
		// exponent is found anew.
		c.spare, c.floats, c.exp = c.floats, nil, 0
	}
	c.anyMissing = false
	c.decimals = max(c.decimals, -c.exp)
}

// set stores a value in row r; rows 0 to r−1 are stored already.
func (c *column) set(r int, v decimal) {
	if c.floats == nil && !v.isFloat && c.rescale(r, v.exponent) {
		if m, ok := shift(v.mantissa, v.exponent-c.exp, c.exp < 0); ok {
			c.man[r] = m
			c.decimals = max(c.decimals, -v.exponent)
			return
		}
	}
	c.toFloats(r)
	if v.isFloat {
		c.floats[r] = v.float
	} else {
		c.floats[r] = Value(v.mantissa, int8(v.exponent))
	}
}

// rescale lowers the block's exponent to that of a finer value in row r.
func (c *column) rescale(r, exponent int) bool {
	if exponent >= c.exp {
		return true
	}
	by := c.exp - exponent
	for _, m := range c.man[:r] {
		if _, ok := shift(m, by, true); !ok {
			return false
		}
	}
	for i, m := range c.man[:r] {
		c.man[i], _ = shift(m, by, true)
	}
	c.exp = exponent
	return true
}

// shift is m·10^by, if it fits; with decimals it must stay within 18 digits.
func shift(m int64, by int, decimals bool) (int64, bool) {
	if m == 0 {
		return 0, true
	}
	if by < 0 || by > 18 {
		return 0, false
	}
	limit := int64(1<<63 - 1)
	if decimals {
		limit = maxDecimal - 1
	}
	if abs := max(m, -m); abs > limit/pow10[by] {
		return 0, false
	}
	return m * pow10[by], true
}

// toFloats turns rows 0 to r−1 into floats.
func (c *column) toFloats(r int) {
	if c.floats != nil {
		return
	}
	if c.spare == nil {
		c.spare = make([]float64, len(c.man))
	}
	c.floats, c.spare = c.spare, nil
	for i, m := range c.man[:r] {
		c.floats[i] = Value(m, int8(c.exp))
	}
}

// miss notes an empty cell in row r; its number is 0.
func (c *column) miss(r, rows int) {
	if !c.anyMissing {
		if c.missing == nil {
			c.missing = make([]bool, rows)
		}
		clear(c.missing[:r])
		c.anyMissing = true
	}
	c.missing[r] = true
	if c.floats != nil {
		c.floats[r] = 0
	} else {
		c.man[r] = 0
	}
}
