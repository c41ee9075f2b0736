package store

import (
	"os"
	"path/filepath"
)

// Host is the name of this computer, empty where it has none.
func Host() string {
	name, err := os.Hostname()
	if err != nil {
		return ""
	}
	return name
}

// Program is the digest of the program's own file. known is that of a file with
// the stamp given, which spares reading it.
func Program(known Digest, at Stamp) (Digest, Stamp, error) {
	exe, err := os.Executable()
	if err != nil {
		return Digest{}, Stamp{}, err
	}
	stamp := stampOf(os.Stat(exe))
	if stamp.Same(at) {
		return known, stamp, nil
	}
	d, err := Hash(os.DirFS(filepath.Dir(exe)), filepath.Base(exe))
	return d, stamp, err
}
