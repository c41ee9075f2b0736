package scan

import (
	"errors"
	"io"
)

// Peek reads the first n bytes of a recording's text, decompressed. A shorter
// text comes whole; a compressed stream that breaks off gives what came before.
func Peek(r io.Reader, n int, lim Limits) ([]byte, error) {
	plain, err := decompress(r, lim)
	if err != nil {
		return nil, err
	}
	out := make([]byte, n)
	got, err := io.ReadFull(plain, out)
	if got > 0 || errors.Is(err, io.EOF) {
		err = nil
	}
	return out[:got], err
}
