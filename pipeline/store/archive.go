package store

import (
	"archive/zip"
	"errors"
	"io/fs"
	"os"

	"spinledger/stages/kit/positioned"
)

// Archive is a zip file as a fs.FS.
type Archive struct {
	*zip.Reader
	file *os.File
}

// OpenArchive opens a zip file. Entries whose names would leave the folder that it stands for
// do not open. The error is a *positioned.Error.
func OpenArchive(name string) (*Archive, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, place(name, err)
	}
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, &positioned.Error{File: name, Got: "no regular file", Want: "an archive"}
	}
	r, err := zip.NewReader(f, info.Size())
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		f.Close()
		return nil, &positioned.Error{File: name, Got: "no zip file: " + err.Error(), Want: "an archive"}
	}
	return &Archive{Reader: r, file: f}, nil
}

// Close ends the use of the file.
func (a *Archive) Close() error { return a.file.Close() }

// IsFolder tells whether a name of the disk is a folder.
func IsFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}

var _ fs.FS = (*Archive)(nil)
