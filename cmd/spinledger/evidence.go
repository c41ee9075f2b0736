package main

import (
	"io"
	"io/fs"
	"path/filepath"

	"spinledger/pipeline"
	"spinledger/pipeline/archive"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/store"
)

// openTreeOrZip opens a folder or a zip file.
func openTreeOrZip(name string) (fs.FS, func(), error) {
	var fsys interface {
		fs.FS
		io.Closer
	}
	var err error
	if store.IsFolder(name) {
		fsys, err = store.OpenRoot(name)
	} else {
		fsys, err = store.OpenArchive(name)
	}
	if err != nil {
		return nil, nil, err
	}
	return fsys, func() { fsys.Close() }, nil
}

// openEvidence opens an output folder with the tree that its inputs lie in, or an
// archive, a folder or a zip file, which holds both.
func openEvidence(name, root string) (pipeline.Evidence, func(), error) {
	e := pipeline.Evidence{Name: name}
	fsys, done, err := openTreeOrZip(name)
	if err != nil {
		return e, nil, err
	}
	if archive.Is(fsys) {
		e.Out, e.Tree, err = archive.Split(fsys)
		return e, done, err
	}
	tree, err := store.OpenRoot(root)
	if err != nil {
		done()
		return e, nil, err
	}
	e.Out, e.Tree = fsys, tree
	return e, func() { tree.Close(); done() }, nil
}

// ledgerFor is the ledger that lies in the evidence's own tree, as in an archive, else the one below the root.
func ledgerFor(e pipeline.Evidence, root, name string) (*ledger.Ledger, error) {
	if fs.ValidPath(name) {
		if _, err := fs.Stat(e.Tree, name); err == nil {
			return ledger.Open(e.Tree, name)
		}
	}
	return openLedger(root, name)
}

// openLedger reads the ledger below the root; an empty one where there is no such file.
func openLedger(root, name string) (*ledger.Ledger, error) {
	r, err := store.OpenRoot(root)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if !filepath.IsAbs(name) {
		name = filepath.Join(root, name)
	}
	rel, err := below(root, name)
	if err != nil {
		return nil, err
	}
	return ledger.Open(r, rel)
}
