// Package archive lays out what a run read and wrote as one folder or zip file from
// which a stranger can compute it again with the program alone.
//
// The folder is an attached RO-Crate 1.2: ro-crate-metadata.json at its root, inputs/ with the
// tree as the job files see it, outputs/ with the output folder. What the published text
// (RO-Crate 1.2: structure, root-data-entity, data-entities, provenance) demands, and Check holds:
//
//	the document is an object with @context "https://w3id.org/ro/crate/1.2/context" and a flat @graph of entities with @id and @type
//	one entity is "ro-crate-metadata.json", a CreativeWork, whose about is the root data entity; conformsTo is https://w3id.org/ro/crate/1.2
//	the root is "./", a Dataset, with name, description, datePublished (one ISO 8601 text) and license
//	every File has a relative URI for @id at which the file is, and is reached from the root through hasPart
//	what is referred to is described
//
// Bytes depend on what is archived alone: files are sorted, a zip file is stored
// without compression (recordings and tables are compressed already) under one fixed date.
package archive

import (
	"archive/zip"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"

	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
)

// Layout of an archive.
const (
	// MetadataFile makes a folder an RO-Crate.
	MetadataFile = "ro-crate-metadata.json"
	// InputsFolder holds the tree as the job files see it, OutputsFolder the output folder.
	InputsFolder  = "inputs"
	OutputsFolder = "outputs"
)

// Is tells whether a folder or zip file is an archive.
func Is(fsys fs.FS) bool {
	info, err := fs.Stat(fsys, MetadataFile)
	return err == nil && info.Mode().IsRegular()
}

// Split gives the two trees of an archive.
func Split(fsys fs.FS) (outputs, inputs fs.FS, err error) {
	if outputs, err = fs.Sub(fsys, OutputsFolder); err != nil {
		return nil, nil, err
	}
	inputs, err = fs.Sub(fsys, InputsFolder)
	return outputs, inputs, err
}

// Entry is one file of an archive.
type Entry struct {
	// Name within the archive, with "/".
	Name string
	// From and Path are where its bytes lie, or Data holds them.
	From fs.FS
	Path string
	Data []byte
	// SHA256 and Size of its bytes: others are refused.
	SHA256 string
	Size   int64
	// Role says in a line what it is.
	Role string
}

// Put writes one file of an archive.
type Put func(name string, fill func(io.Writer) error) error

// Write puts the metadata and every entry, in order of their names.
func (c Crate) Write(put Put) error {
	meta, err := c.Metadata()
	if err != nil {
		return err
	}
	err = put(MetadataFile, func(w io.Writer) error {
		_, err := w.Write(meta)
		return err
	})
	if err != nil {
		return err
	}
	for _, e := range c.sorted() {
		if err := put(e.Name, e.copy); err != nil {
			return err
		}
	}
	return nil
}

func (c Crate) sorted() []Entry {
	out := slices.Clone(c.Entries)
	slices.SortFunc(out, func(a, b Entry) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// copy writes the entry's bytes and compares their digest.
func (e Entry) copy(w io.Writer) error {
	if e.From == nil {
		_, err := w.Write(e.Data)
		return err
	}
	s, err := store.Open(e.From, e.Path)
	if err != nil {
		return err
	}
	if _, err := io.Copy(w, s); err != nil {
		s.Abandon()
		return err
	}
	d, err := s.Close()
	if err == nil && d.SHA256 != e.SHA256 {
		err = &positioned.Error{File: e.Path, Got: "other bytes (SHA-256 " + d.SHA256 + ")", Want: "those that were looked at before, " + e.SHA256}
	}
	return err
}

// stamp is the date of every file in a zip file, the first that the format knows.
var stamp = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// Zip writes the archive as one zip file.
func (c Crate) Zip(w io.Writer) error {
	z := zip.NewWriter(w)
	err := c.Write(func(name string, fill func(io.Writer) error) error {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: stamp})
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		return fill(f)
	})
	if err != nil {
		return err
	}
	return z.Close()
}
