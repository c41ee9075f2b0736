package store

import (
	"archive/zip"
	"io/fs"
	"os"

	"spinledger/stages/kit/positioned"
)

// OpenPacked opens a folder, or a zip file as if it were one.
func OpenPacked(name string) (fs.FS, func() error, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, nil, place(name, err)
	}
	if info.IsDir() {
		r, err := OpenRoot(name)
		if err != nil {
			return nil, nil, err
		}
		return r, r.Close, nil
	}
	if !info.Mode().IsRegular() {
		return nil, nil, &positioned.Error{File: name, Got: describe(info.Mode()), Want: "a folder or a zip file"}
	}
	z, err := zip.OpenReader(name)
	if err != nil {
		return nil, nil, &positioned.Error{File: name, Got: "no zip file: " + err.Error(), Want: "a folder or a zip file"}
	}
	return z, z.Close, nil
}
