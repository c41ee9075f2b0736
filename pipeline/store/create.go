package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"spinledger/stages/kit/positioned"
)

// CreateAll writes new files, by path on the disk, in the order given. None may exist: a file that does
// is never touched, and then nothing at all is written. On a later fault what was
// written before it is taken away again. Errors are *positioned.Error.
func CreateAll(names []string, data func(name string) []byte) error {
	for _, name := range names {
		if _, err := os.Lstat(name); err == nil {
			return &positioned.Error{File: name, Got: "a file that is there already", Want: "a new name; nothing was written"}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return failed(name, err)
		}
	}
	for i, name := range names {
		if err := create(name, data(name)); err != nil {
			for _, done := range names[:i] {
				// The first error is the one to tell.
				_ = os.Remove(done)
			}
			return failed(name, err)
		}
	}
	return nil
}

// create makes one file appear whole under a name that nothing has.
func create(name string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*.part")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closing := f.Close(); err == nil {
		err = closing
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err != nil {
		return err
	}
	// A link fails where the name was taken meanwhile; a rename would overwrite.
	return os.Link(f.Name(), name)
}
