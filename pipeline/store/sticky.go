package store

import (
	"hash"
	"io"
)

// sticky hashes and counts what it passes on and keeps the first error. Once
// there is one, it takes no more.
type sticky struct {
	w   io.Writer
	sum hash.Hash
	n   int64
	err error
}

func (s *sticky) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.w.Write(p)
	if n < len(p) && err == nil {
		err = io.ErrShortWrite
	}
	s.sum.Write(p[:n])
	s.n += int64(n)
	s.err = err
	return n, err
}
