package tables

import (
	"fmt"
	"io"
)

// sink stands between arrow and the file. Arrow drops some write errors (its
// Writer.Close returns nil when the footer did not fit on the disk) and panics on
// others, so the sink keeps the first one and lets arrow believe that all goes
// well. It also hides the file's Close, which arrow would call.
type sink struct {
	w   io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	if s.err != nil {
		return len(p), nil
	}
	n, err := s.w.Write(p)
	if err == nil && n < len(p) {
		err = io.ErrShortWrite
	}
	s.err = err
	return len(p), nil
}

// first is the sink's error if it has one, else err.
func (s *sink) first(err error) error {
	if s.err != nil {
		return s.err
	}
	return err
}

// recoverInto turns a panic of arrow into an error.
func recoverInto(err *error, doing string) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("%s: %v", doing, r)
	}
}
