// Package scan reads a recording's text and gives the wanted columns as scaled
// integers, block by block: 12.50 is mantissa 1250 with exponent −2. Nothing
// that the logger wrote is rounded, and Value gives back exactly the float64
// that strconv.ParseFloat gives for the same digits.
//
// # Order of work
//
//  1. Text looks at the first bytes: gzip and zstd are decompressed within a
//     limit of growth, UTF-16 is refused, a UTF-8 byte order mark is passed over.
//  2. Header and unit rows are read, and every wanted column is found by name
//     or number. Faults so far are returned by Text itself.
//  3. Stream.Blocks walks the rows. Plain ones are cut and converted eight bytes at a
//     time (words.go); every other row goes the general way (rows.go), which alone reports
//     faults. Each cell of a wanted column is parsed; the others are only counted,
//     so that a ragged row is seen.
//
// # What is accepted
//
// Lines end in LF or CRLF, mixed as they come. Blank lines and comment lines
// are passed over anywhere. Cells may be padded with spaces and quoted with
// "…" (a quote inside is doubled). An empty cell is missing. One empty cell
// more at the end of a row is a trailing delimiter. With a space as delimiter
// a run of spaces counts once.
//
// A number is [+-]digits[.digits][e[+-]digits], one of the two digit groups may
// be empty, and the decimal sign is the dialect's. "-0" is read as 0, the only
// value whose bits differ from ParseFloat's.
//
// # Memory
//
// One read buffer (at most Limits.LineBytes long) and one block, whatever the
// length of the file.
package scan
