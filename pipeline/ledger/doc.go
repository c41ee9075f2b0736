// Package ledger keeps the file of released numbers: which number, which edition, what
// value, computed from what, by whom, when, and what it replaces or withdraws and why.
//
// # Files
//
// The ledger is a file of lines that are added at its end and never changed
// (pipeline/job, "Keys of ledger line"). Beside it the folder released/ keeps what a
// released number was, so that it can be compared with budget and basis when
// its output folder is long gone: released/RESULT.jsonl, named by the line's result,
// has two lines.
//
//	line 1  the number as the run's results have it; its SHA-256, without the newline, is result
//	line 2  what it was computed from (Basis); its SHA-256 is basis
//
// # Work
//
//  1. results.go: numbers of an output folder, with the digests their log gives them
//  2. propose.go: which lines would be added, and why a number is refused
//  3. write.go: adding them, whole or not at all
package ledger
