package store

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
)

// Stamp is what the file system says of a regular file without reading it. A file
// whose stamp is as it was has the same bytes, unless somebody sets the clock back. The
// zero Stamp stands for what cannot be told: it is the same as nothing, not even itself.
type Stamp struct {
	Size int64
	// MTime and CTime in nanoseconds: last change of the bytes, and of them or what the
	// system keeps about the file. No program can set CTime.
	MTime, CTime int64
	Inode        uint64
}

// Same is true where both are known and equal.
func (s Stamp) Same(o Stamp) bool { return s != Stamp{} && s == o }

// stampOf is the stamp of a regular file, zero for anything else.
func stampOf(info fs.FileInfo, err error) Stamp {
	if err != nil || !info.Mode().IsRegular() {
		return Stamp{}
	}
	return system(info)
}

// Stamps gives the stamps of files of this root. Each folder is opened once; as
// everywhere in a Root, no name leads out of it.
func (r *Root) Stamps(names []string) []Stamp {
	out := make([]Stamp, len(names))
	at, dir := "", (*os.Root)(nil)
	leave := func() {
		if dir != nil {
			dir.Close()
		}
	}
	for i, name := range names {
		if !fs.ValidPath(name) {
			continue
		}
		if d := path.Dir(name); d != at || dir == nil {
			leave()
			at, dir = d, nil
			if opened, err := r.root.OpenRoot(filepath.FromSlash(d)); err == nil {
				dir = opened
			}
		}
		if dir == nil {
			continue
		}
		info, err := dir.Lstat(path.Base(name))
		if err == nil && info.Mode()&fs.ModeSymlink != 0 {
			info, err = r.Stat(name)
		}
		out[i] = stampOf(info, err)
	}
	leave()
	return out
}

// Stamp gives the stamp of a file of the output folder; links count as nothing.
func (o *Output) Stamp(name string) Stamp {
	info, err := os.Lstat(filepath.Join(o.dir, filepath.FromSlash(name)))
	return stampOf(info, err)
}
