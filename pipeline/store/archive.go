package store

import (
	"archive/zip"
	"errors"
	"io"
	"os"
	"path/filepath"

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

// WriteNew makes one file appear whole; a file of that name that is there already is left as it is
// and an error.
func WriteNew(name string, disk Disk, fill func(io.Writer) error) (Digest, error) {
	if _, err := os.Lstat(name); err == nil {
		return Digest{}, &positioned.Error{File: name, Got: "a file that is there already", Want: "a new name"}
	}
	abs, err := filepath.Abs(name)
	if err != nil {
		return Digest{}, failed(name, err)
	}
	o := &Output{dir: filepath.Dir(abs), shown: filepath.Dir(name), disk: disk, made: map[string]bool{".": true}}
	return o.Write(filepath.Base(abs), fill)
}

// ReadSmall reads a file of the disk of at most a megabyte: a key.
func ReadSmall(name string) ([]byte, error) {
	const most = 1 << 20
	f, err := os.Open(name)
	if err != nil {
		return nil, place(name, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, place(name, err)
	}
	if len(data) > most {
		return nil, &positioned.Error{File: name, Got: "more than a megabyte", Want: "a key"}
	}
	return data, nil
}

// IsFolder tells whether a name of the disk is a folder.
func IsFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}
