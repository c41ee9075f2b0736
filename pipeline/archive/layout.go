package archive

import "io/fs"

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
