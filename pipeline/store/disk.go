package store

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Disk is what Output needs of a file system. Tests put a failing one in its
// place; RealDisk is the computer's.
type Disk interface {
	MkdirAll(path string) error
	ReadDir(path string) ([]fs.DirEntry, error)
	// Create makes a file that must not exist yet.
	Create(path string) (File, error)
	// Append opens a file to write at its end, and makes it where there is none.
	Append(path string) (File, error)
	Rename(from, to string) error
	Remove(path string) error
	// SyncDir makes renames in a folder durable where the system can.
	SyncDir(path string) error
	// Lock makes and holds a file until release; ErrLocked when another process holds it.
	Lock(path string) (release func() error, err error)
}

// File is an output file being written.
type File interface {
	io.Writer
	Sync() error
	Close() error
}

// RealDisk is the disk of this computer.
func RealDisk() Disk { return realDisk{} }

type realDisk struct{}

func (realDisk) MkdirAll(path string) error                 { return os.MkdirAll(path, 0o777) }
func (realDisk) ReadDir(path string) ([]fs.DirEntry, error) { return os.ReadDir(path) }
func (realDisk) Create(path string) (File, error) {
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
}
func (realDisk) Append(path string) (File, error) {
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
}
func (realDisk) Rename(from, to string) error { return os.Rename(from, to) }
func (realDisk) Remove(path string) error     { return os.Remove(path) }

func (realDisk) SyncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	// Not every file system can sync a folder (Windows cannot); the files
	// themselves are synced, so a refusal loses nothing but a rename in a power cut.
	_ = d.Sync()
	return nil
}

func (realDisk) Lock(path string) (func() error, error) { return lockFile(path) }

// resolve is the absolute path with links followed, as far as it exists.
func resolve(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	rest := ""
	for p := abs; ; {
		if real, err := filepath.EvalSymlinks(p); err == nil {
			return filepath.Join(real, rest), nil
		}
		parent := filepath.Dir(p)
		if parent == p {
			return abs, nil
		}
		rest = filepath.Join(filepath.Base(p), rest)
		p = parent
	}
}
