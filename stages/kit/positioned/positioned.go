// Package positioned holds the one error type that points into a file a user
// wrote: file, line, column, field, what was given and what is allowed.
//
// A job file and a recording fail in the same words:
//
//	jobs/rotor-a.yaml:14:9: window_start: got "-0.5 s"; want a time of at least 0 s
//	rec/run07.csv:1043:18: torque: got "1,25"; want a decimal number written with "."
package positioned

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/hashicorp/go-multierror"
)

// Error is one fault at one place. Line and Col count from 1; 0 means that
// the fault belongs to the whole file (Line) or the whole line (Col).
type Error struct {
	File string `json:"file"`
	Line int    `json:"line,omitempty"`
	Col  int    `json:"col,omitempty"`
	// Field is the key path or column the fault belongs to ("motor.pole_pairs").
	Field string `json:"field,omitempty"`
	// Got is what was given, quoted by the caller where it is user text.
	Got string `json:"got"`
	// Want is what is allowed.
	Want string `json:"want"`
	// Hint says what would cure it ("did you mean ..."); empty when nothing can be said.
	Hint string `json:"hint,omitempty"`
}

// Where formats file, line and column as far as they are known.
func (e *Error) Where() string {
	switch {
	case e.Line == 0:
		return e.File
	case e.Col == 0:
		return fmt.Sprintf("%s:%d", e.File, e.Line)
	default:
		return fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Col)
	}
}

// Error is "where: field: got X; want Y (hint)".
func (e *Error) Error() string {
	var b strings.Builder
	if w := e.Where(); w != "" {
		b.WriteString(w + ": ")
	}
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	b.WriteString("got " + e.Got + "; want " + e.Want)
	if e.Hint != "" {
		b.WriteString(" (" + e.Hint + ")")
	}
	return b.String()
}

// List collects errors so that a user sees all of them at once.
type List struct{ all []*Error }

// Add appends one error.
func (l *List) Add(e *Error) { l.all = append(l.all, e) }

// Len is the number of errors collected.
func (l *List) Len() int { return len(l.all) }

// Err is nil for an empty list, else one *multierror.Error with the entries
// sorted by file, line, column, field and text, and without exact repeats.
func (l *List) Err() error {
	if len(l.all) == 0 {
		return nil
	}
	sorted := slices.Clone(l.all)
	slices.SortStableFunc(sorted, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Col, b.Col), cmp.Compare(a.Field, b.Field), cmp.Compare(a.Error(), b.Error()))
	})
	sorted = slices.CompactFunc(sorted, func(a, b *Error) bool { return *a == *b })
	out := &multierror.Error{ErrorFormat: onePerLine}
	for _, e := range sorted {
		out.Errors = append(out.Errors, e)
	}
	return out
}

func onePerLine(errs []error) string {
	lines := make([]string, len(errs))
	for i, e := range errs {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// All returns the positioned errors inside err, whether it is one of them, a
// list of them, or wraps or joins any number of either, in their order; nil
// when there is none.
func All(err error) []*Error {
	switch e := err.(type) {
	case nil:
		return nil
	case *Error:
		return []*Error{e}
	case *multierror.Error:
		return each(e.Errors)
	case interface{ Unwrap() []error }:
		return each(e.Unwrap())
	default:
		return All(errors.Unwrap(err))
	}
}

func each(errs []error) []*Error {
	var out []*Error
	for _, e := range errs {
		out = append(out, All(e)...)
	}
	return out
}
