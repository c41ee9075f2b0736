package store

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"spinledger/stages/kit/positioned"
)

// Extend puts after in place of before, whole or not at all, in a file that a user keeps
// (not in an output folder). after must begin with before, nil where the file must not
// exist yet: nothing that stands is ever rewritten. The file's temporary neighbour is
// made first and is the lock: who finds one is refused. shown names the file in errors.
func Extend(file, shown string, disk Disk, before, after []byte) error {
	if !bytes.HasPrefix(after, before) {
		panic("store: Extend must keep what stands")
	}
	target, err := resolve(file)
	if err != nil {
		return failed(shown, err)
	}
	if err := disk.MkdirAll(filepath.Dir(target)); err != nil {
		return failed(shown, err)
	}
	temp := filepath.Join(filepath.Dir(target), "."+filepath.Base(target)+".part")
	f, err := disk.Create(temp)
	if errors.Is(err, fs.ErrExist) {
		return &positioned.Error{File: shown, Got: "a file that somebody else is writing: " + filepath.Base(temp) + " lies beside it", Want: "one writer at a time",
			Hint: "if none is running, one was killed: delete that file"}
	}
	if err != nil {
		return failed(shown, err)
	}
	err = unchanged(target, shown, before)
	if err == nil {
		_, err = (&sticky{w: f, sum: sha256.New()}).Write(after)
	}
	if err == nil {
		err = f.Sync()
	}
	if closing := f.Close(); err == nil {
		err = closing
	}
	if err == nil {
		err = disk.Rename(temp, target)
	}
	if err != nil {
		_ = disk.Remove(temp)
		return failed(shown, err)
	}
	if err := disk.SyncDir(filepath.Dir(target)); err != nil {
		return failed(shown, err)
	}
	return nil
}

// unchanged compares a file with what the caller read of it.
func unchanged(file, shown string, before []byte) error {
	now, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist) && before == nil:
		return nil
	case err != nil:
		return err
	case before == nil:
		return &positioned.Error{File: shown, Got: fmt.Sprintf("a file of %d bytes", len(now)), Want: "none of that name yet"}
	case !bytes.Equal(now, before):
		return &positioned.Error{File: shown, Got: "a file that was changed meanwhile", Want: "the file as it was read", Hint: "try again"}
	}
	return nil
}
