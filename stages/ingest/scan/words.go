package scan

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// Eight bytes at a time (Lamport 1975, "Multiple byte processing with full-word
// instructions"; the digits as in Lemire 2022, "Parsing series of integers with SIMD", scalar form).
const (
	eachByte = 0x0101010101010101
	topBits  = 0x8080808080808080
	allZero  = '0' * eachByte
	wordLen  = 8
	// slack is how far behind the last byte read words may reach.
	slack = 3 * wordLen
)

// indexIn is the index of the first byte of w that equals the byte of which pattern is made, 8 where none does.
func indexIn(w, pattern uint64) int {
	x := w ^ pattern
	return bits.TrailingZeros64((x-eachByte)&^x&topBits) >> 3
}

// notDigits is 0 when every byte of x, digits less '0', is from 0 to 9.
func notDigits(x uint64) uint64 { return (x | (x + 0x76*eachByte)) & topBits }

// eight is the number that the bytes of x, each from 0 to 9, spell, the lowest first.
func eight(x uint64) int64 {
	x = x*10 + x>>8
	const mask = 0x000000FF000000FF
	return int64(((x&mask)*(100+1_000_000<<32) + ((x>>16)&mask)*(1+10_000<<32)) >> 32)
}

// layout is what fast needs to know of the file's columns.
type layout struct {
	// cols are the file's columns, nil where nobody wants them; place is their number among the wanted.
	cols  []*column
	place []int
	// usable is false for dialects that only the general path reads.
	usable                   bool
	delims, newlines, points uint64
	comment                  byte
	// trailing: rows end in a delimiter.
	trailing bool
}

func (s *scanner) newLayout() layout {
	l := layout{usable: !s.spaces && s.delim != s.point && s.delim != '-' && s.delim != '\r', cols: make([]*column, s.width), place: make([]int, s.width),
		delims: uint64(s.delim) * eachByte, newlines: '\n' * eachByte, points: uint64(s.point) * eachByte}
	if c := s.dialect.Comment; c != "" {
		l.comment = c[0]
	}
	for k := range s.cols {
		l.cols[s.out.Found[k]-1], l.place[s.out.Found[k]-1] = &s.cols[k], k
	}
	return l
}

// fast reads rows into the block from row r on for as long as they are whole
// in the buffer and plain, and returns how many. What it does not understand it leaves, from
// the start of that row, to the general path, errors too: it never reports one.
func (s *scanner) fast(r int) (rows int) {
	lay := &s.layout
	if !lay.usable || s.nul {
		return 0
	}
	// Rows before the last line end are whole: no word of them takes what an earlier
	// filling left behind the end for their own.
	last := bytes.LastIndexByte(s.buf[s.lines.start:s.end], '\n')
	if last < 0 {
		return 0
	}
	last += s.lines.start
	buf, p := s.buf, s.lines.start
	for ; r < s.lim.BlockRows && p <= last; r++ {
		if buf[p] <= ' ' || buf[p] == lay.comment {
			break
		}
		next := s.fastRow(buf, p, r)
		if next < 0 || next-p > s.longest {
			break
		}
		p = next
		rows++
	}
	s.lines.start = p
	s.line += rows
	s.rows += rows
	return rows
}

// fastRow reads the row that starts at p and returns where the next one starts,
// or −1.
//
// Branches that noise decides (a sign, the number of digits) cost more than all arithmetic
// here, so a cell of up to seven characters is cut, checked and converted without any:
// the stop's place in the word gives its length, and a shift aligns its digits.
func (s *scanner) fastRow(buf []byte, p, r int) int {
	lay := &s.layout
	row := p
	stops, end := lay.delims, len(lay.cols)-1
	for j, c := range lay.cols {
		if j == end && !lay.trailing {
			stops = lay.newlines
		}
		if c == nil {
			if p = s.pass(buf, p, j == end && !lay.trailing); p < 0 {
				return -1
			}
			continue
		}
		w := binary.LittleEndian.Uint64(buf[p:])
		sign := 0
		if byte(w) == '-' {
			sign = 1
		}
		w >>= 8 * sign & 63
		n := indexIn(w, stops)
		next := p + sign + n + 1
		if j == end && n > 0 && byte(w>>(8*(n-1)&63)) == '\r' {
			n--
		}
		x, digits, decimals := w^allZero, n, 0
		if d := indexIn(w, lay.points); d < n {
			before := uint64(1)<<(8*d&63) - 1
			x = x&before | x>>8&^before
			digits, decimals = n-1, n-1-d
		}
		x <<= (64 - 8*digits) & 63
		if digits < 1 || n >= wordLen || notDigits(x) != 0 {
			if p = s.longCell(buf, p, row, j, r); p < 0 {
				return -1
			}
			continue
		}
		v := (eight(x) ^ -int64(sign)) + int64(sign)
		p = next
		if decimals == -c.exp && c.floats == nil {
			c.man[r] = v
		} else {
			c.fastSet(r, v, decimals)
		}
		if c.anyMissing {
			c.missing[r] = false
		}
	}
	if lay.trailing {
		return s.trailingEnd(buf, p)
	}
	return p
}

// fastSet is set for at most 16 digits. A logger that drops zeros at the end writes fewer
// decimals than its column has; those need no general shift.
func (c *column) fastSet(r int, v int64, decimals int) {
	const few = 10_000_000
	by := -c.exp - decimals
	switch {
	case c.floats == nil && by == 0:
		c.man[r] = v
	case c.floats == nil && by > 0 && by <= 10 && v < few && v > -few:
		c.man[r] = v * pow10[by]
	default:
		c.set(r, decimal{mantissa: v, exponent: -decimals})
	}
}

// trailingEnd passes over the line end behind a trailing delimiter.
func (s *scanner) trailingEnd(buf []byte, p int) int {
	if buf[p] == '\r' {
		p++
	}
	if buf[p] != '\n' {
		return -1
	}
	return p + 1
}

// pass skips a cell that nobody wants; −1 for quotes and rows of another width.
func (s *scanner) pass(buf []byte, p int, last bool) int {
	stops, bad := s.layout.delims, s.layout.newlines
	if last {
		stops, bad = bad, stops
	}
	for ; p+wordLen <= len(buf); p += wordLen {
		w := binary.LittleEndian.Uint64(buf[p:])
		n := indexIn(w, stops)
		if indexIn(w, bad) < n || indexIn(w, '"'*eachByte) < n {
			return -1
		}
		if n < wordLen {
			return p + n + 1
		}
	}
	return -1
}

// longCell reads column j's cell at p where fastRow's seven characters do not
// do: up to 16 by words, others by the general path. It returns where the next
// cell starts, −1 where the row is not for the fast path.
func (s *scanner) longCell(buf []byte, p, row, j, r int) int {
	c := s.layout.cols[j]
	stops := s.layout.delims
	last := j == len(s.layout.cols)-1
	if last && !s.layout.trailing {
		stops = s.layout.newlines
	}
	from := p
	if buf[p] == '-' {
		from++
	}
	n := indexIn2(buf, from, stops)
	next := from + n + 1
	if last && n > 0 && buf[from+n-1] == '\r' {
		n--
	}
	if n < 2*wordLen {
		d := min(indexIn2(buf, from, s.layout.points), n)
		decimals := max(0, n-1-d)
		whole, bad := digitsAt(buf, from, d)
		part, bad2 := digitsAt(buf, from+d+1, decimals)
		if bad|bad2 == 0 && d+decimals > 0 {
			v := whole*pow10[decimals] + part
			if from > p {
				v = -v
			}
			c.fastSet(r, v, decimals)
			if c.anyMissing {
				c.missing[r] = false
			}
			return next
		}
	}
	stop := bytes.IndexByte(buf[row:s.end], '\n')
	if stop < 0 || last && s.layout.trailing {
		return -1
	}
	line := bytes.TrimSuffix(buf[row:row+stop], []byte{'\r'})
	if p-row > len(line) {
		return -1
	}
	after, err := s.slowNumber(line, p-row, s.layout.place[j], r)
	switch {
	case err != nil:
		return -1
	case last && after < 0:
		return row + stop + 1
	case last || after < 0:
		return -1
	}
	return row + after
}

// indexIn2 is indexIn over the two words at p, 16 where none of their bytes is it.
func indexIn2(buf []byte, p int, pattern uint64) int {
	n := indexIn(binary.LittleEndian.Uint64(buf[p:]), pattern)
	if n == wordLen {
		n += indexIn(binary.LittleEndian.Uint64(buf[p+wordLen:]), pattern)
	}
	return n
}

// digitsAt is the number that n ≤ 16 digits at p spell; bad is not 0 where they are no digits.
func digitsAt(buf []byte, p, n int) (v int64, bad uint64) {
	if n == 0 {
		return 0, 0
	}
	if n <= wordLen {
		x := (binary.LittleEndian.Uint64(buf[p:]) ^ allZero) << (64 - 8*n)
		return eight(x), notDigits(x)
	}
	x := binary.LittleEndian.Uint64(buf[p:]) ^ allZero
	y := (binary.LittleEndian.Uint64(buf[p+wordLen:]) ^ allZero) << (128 - 8*n)
	return eight(x)*pow10[n-wordLen] + eight(y), notDigits(x) | notDigits(y)
}
