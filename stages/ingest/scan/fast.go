package scan

import "spinledger/stages/kit/positioned"

// cell is one cell of a plain line: characters from to its end, and, unless odd, its number
// m·10^−decimals.
type cell struct {
	m        int64
	from     int32
	decimals int8
	odd      bool
}

// split reads a whole line in one pass: every cell as a number, wanted or not, and where it
// starts. It returns the number of cells, or 0 for a line that has quotes or more
// cells than a row may have: the general path judges that one.
//
// One loop with all its state in registers; words of
// eight characters with their ends found first were tried and were no faster, since cells of a
// logger are short and branches on them well predicted.
func split(line []byte, delim, point byte, cells []cell) int {
	var (
		m      int64
		from   int
		digits int
		dot    = -1
		minus  bool
		odd    bool
		n      int
	)
	for i, c := range line {
		if d := c - '0'; d <= 9 {
			m = 10*m + int64(d)
			digits++
			continue
		}
		switch c {
		case delim:
			if n == len(cells)-1 {
				return 0
			}
			cells[n] = finish(m, from, i, digits, dot, minus, odd)
			n++
			m, from, digits, dot, minus, odd = 0, i+1, 0, -1, false, false
		case point:
			odd = odd || dot >= 0
			dot = i
		case '-':
			odd = odd || i != from
			minus = true
		case '"':
			return 0
		default:
			odd = true
		}
	}
	cells[n] = finish(m, from, len(line), digits, dot, minus, odd)
	return n + 1
}

// finish makes a cell; more than 18 digits may have overflowed and are odd.
func finish(m int64, from, to, digits, dot int, minus, odd bool) cell {
	if minus {
		m = -m
	}
	decimals := 0
	if dot >= 0 {
		decimals = to - dot - 1
	}
	return cell{m, int32(from), int8(decimals), odd || digits == 0 || digits > 18}
}

// fastRow parses a plain line into row r. ok is false for a line that the
// general path must judge as a whole.
func (s *scanner) fastRow(line []byte, r int) (ok bool, err *positioned.Error) {
	if s.spaces || s.delim == s.point {
		return false, nil
	}
	n := split(line, s.delim, s.point, s.cells)
	if n != s.width && (n != s.width+1 || int(s.cells[s.width].from) != len(line)) {
		return false, nil
	}
	for i := range s.plan {
		p := &s.plan[i]
		v, c := &s.cells[p.at], p.c
		switch {
		case v.odd:
			if _, err := s.slowNumber(line, int(v.from), p.k, r); err != nil {
				return false, err
			}
			continue
		case -int(v.decimals) == c.exp && c.floats == nil:
			c.man[r] = v.m
		default:
			c.set(r, decimal{mantissa: v.m, exponent: -int(v.decimals)})
		}
		if c.anyMissing {
			c.missing[r] = false
		}
	}
	return true, nil
}
