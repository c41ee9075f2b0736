package store

import (
	"io/fs"
	"path/filepath"
	"strings"
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
func (r *Root) Stamps(names []string) []Stamp { return r.stamps(names, innermost, true) }

// stamps gives those of files by the folders that folderOf opens for them. It follows links to files of
// the root, or takes them for nothing.
func (r *Root) stamps(names []string, folderOf func(name string) (at, base string), follow bool) []Stamp {
	out := make([]Stamp, len(names))
	open := map[string]folder{}
	defer func() {
		for _, f := range open {
			f.close()
		}
	}()
	for i, name := range names {
		if !fs.ValidPath(name) {
			continue
		}
		at, base := folderOf(name)
		f, ok := open[at]
		if !ok {
			var err error
			if f, err = openFolder(r.root, filepath.FromSlash(at)); err != nil {
				continue
			}
			open[at] = f
		}
		var link bool
		if out[i], link = f.stamp(base); link && follow {
			out[i] = stampOf(r.Stat(name))
		}
	}
	return out
}

// innermost splits a name at its last slash.
func innermost(name string) (at, base string) {
	k := strings.LastIndexByte(name, '/')
	if k < 0 {
		return ".", name
	}
	return name[:k], name[k+1:]
}

// outermost splits a name at its first slash.
func outermost(name string) (at, base string) {
	at, base, ok := strings.Cut(name, "/")
	if !ok {
		return ".", name
	}
	return at, base
}

// Stamps gives the stamps of files of the output folder; links count as nothing. What is below a
// job's folder is asked for from there: opening the folder of its samples too costs more.
func (o *Output) Stamps(names []string) []Stamp { return o.root.stamps(names, outermost, false) }

// Stamp is that of one file.
func (o *Output) Stamp(name string) Stamp { return o.Stamps([]string{name})[0] }
