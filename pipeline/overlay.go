package pipeline

import (
	"io/fs"
	"testing/fstest"
)

// overlay is a tree with some more files in it, held in memory: job and bench
// files that are drafted and not written yet.
type overlay struct {
	fs.FS
	more fstest.MapFS
}

func (o overlay) Open(name string) (fs.File, error) {
	if _, ok := o.more[name]; ok {
		return o.more.Open(name)
	}
	return o.FS.Open(name)
}

// Stat implements fs.StatFS.
func (o overlay) Stat(name string) (fs.FileInfo, error) {
	if _, ok := o.more[name]; ok {
		return fs.Stat(o.more, name)
	}
	return fs.Stat(o.FS, name)
}

func overlaid(fsys fs.FS, files map[string][]byte) overlay {
	o := overlay{fsys, fstest.MapFS{}}
	for name, data := range files {
		o.more[name] = &fstest.MapFile{Data: data}
	}
	return o
}
