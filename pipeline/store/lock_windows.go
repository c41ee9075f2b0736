package store

import (
	"errors"
	"os"
	"syscall"
)

// lockFile opens the file without sharing: a second open fails until the
// handle is closed, which the system does with the process.
func lockFile(path string) (func() error, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, &os.PathError{Op: "lock", Path: path, Err: err}
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, 0, nil, syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if err != nil {
		const sharingViolation = syscall.Errno(32)
		if errors.Is(err, sharingViolation) {
			return nil, ErrLocked
		}
		return nil, &os.PathError{Op: "lock", Path: path, Err: err}
	}
	f := os.NewFile(uintptr(h), path)
	if err := mark(f); err != nil {
		f.Close()
		return nil, err
	}
	return f.Close, nil
}
