package main

import (
	"io"
	"io/fs"

	"spinledger/pipeline"
	"spinledger/pipeline/archive"
	"spinledger/pipeline/store"
)

// openEvidence opens an output folder with the tree that its inputs lie in, or an
// archive, a folder or a zip file, which holds both.
func openEvidence(name, root string) (pipeline.Evidence, func(), error) {
	e := pipeline.Evidence{Name: name}
	var fsys fs.FS
	var closers []io.Closer
	closeAll := func() {
		for _, c := range closers {
			c.Close()
		}
	}
	if store.IsFolder(name) {
		r, err := store.OpenRoot(name)
		if err != nil {
			return e, closeAll, err
		}
		fsys, closers = r, append(closers, r)
	} else {
		a, err := store.OpenArchive(name)
		if err != nil {
			return e, closeAll, err
		}
		fsys, closers = a, append(closers, a)
	}
	if archive.Is(fsys) {
		var err error
		e.Out, e.Tree, err = archive.Split(fsys)
		return e, closeAll, err
	}
	tree, err := store.OpenRoot(root)
	if err != nil {
		closeAll()
		return e, func() {}, err
	}
	closers = append(closers, tree)
	e.Out, e.Tree = fsys, tree
	return e, closeAll, nil
}
