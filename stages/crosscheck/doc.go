// Package crosscheck compares what can be compared, and says which numbers are
// fit for release.
//
// # Decision rule
//
// A comparison has a value d, its expanded uncertainty U (95 %, correlations
// included) and a limit G:
//
//	pass         |d| ≤ G and U ≤ G
//	fail         |d| > G and |d| > U
//	cannot tell  otherwise
//
// (a stated decision rule, as ISO/IEC 17025:2017, 7.8.6 asks for). Unless a
// check says otherwise G = min(cap, max(floor, U claimed for the number)), so
// that a sharp claim gets a sharp check.
//
// # Gating
//
// A failed gating check blocks the numbers that depend on its subject and no
// others. "Cannot tell" blocks only where no other gating check of that number
// passes on the same fault. A waiver covers one check of one subject up to a
// stated size and day. Refused recordings and runs are failed checks too; they
// block the numbers that have nothing else to stand on.
package crosscheck
