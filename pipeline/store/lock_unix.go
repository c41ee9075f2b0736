//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// lockFile holds an advisory lock, which the kernel drops with the process.
func lockFile(path string) (func() error, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, ErrLocked
		}
		return nil, &os.PathError{Op: "lock", Path: path, Err: err}
	}
	if err := mark(f); err != nil {
		f.Close()
		return nil, err
	}
	return f.Close, nil
}
