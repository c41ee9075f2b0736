//go:build !linux

package store

import (
	"io/fs"
	"os"
)

// folder is an open folder in which the stamps of many files are asked for.
type folder struct{ dir *os.Root }

func openFolder(root *os.Root, name string) (folder, error) {
	dir, err := root.OpenRoot(name)
	return folder{dir}, err
}

// stamp is that of a regular file; link is true for a symbolic link.
func (f folder) stamp(name string) (s Stamp, link bool) {
	info, err := f.dir.Lstat(name)
	if err == nil && info.Mode()&fs.ModeSymlink != 0 {
		return Stamp{}, true
	}
	return stampOf(info, err), false
}

func (f folder) close() { f.dir.Close() }
