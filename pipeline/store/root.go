package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"spinledger/stages/kit/positioned"
)

// Root is a folder as a fs.FS. No name leads out of it: neither ".." nor a
// symbolic link to the outside is followed. Only folders and regular files
// open; a pipe or device is refused before it is opened, since opening one can
// wait for ever.
type Root struct {
	dir  string
	root *os.Root
	fsys fs.FS
}

// OpenRoot opens a folder. The error is a *positioned.Error.
func OpenRoot(dir string) (*Root, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, place(dir, err)
	}
	info, err := os.Stat(abs)
	if err != nil {
		return nil, place(dir, err)
	}
	if !info.IsDir() {
		return nil, &positioned.Error{File: dir, Got: describe(info.Mode()), Want: "a folder"}
	}
	r, err := os.OpenRoot(abs)
	if err != nil {
		return nil, place(dir, err)
	}
	return &Root{dir: abs, root: r, fsys: r.FS()}, nil
}

// Path is where a name of this root lies on the disk, for guards and messages.
func (r *Root) Path(name string) string { return filepath.Join(r.dir, filepath.FromSlash(name)) }

// Close ends the use of the folder.
func (r *Root) Close() error { return r.root.Close() }

// Open implements fs.FS for folders and regular files.
func (r *Root) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	info, err := fs.Stat(r.fsys, name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() && !info.IsDir() {
		return nil, &fs.PathError{Op: "open", Path: name, Err: &kindError{describe(info.Mode())}}
	}
	return r.fsys.Open(name)
}

// Stat implements fs.StatFS; it follows links that stay inside.
func (r *Root) Stat(name string) (fs.FileInfo, error) { return fs.Stat(r.fsys, name) }

// ReadDir implements fs.ReadDirFS, sorted by name.
func (r *Root) ReadDir(name string) ([]fs.DirEntry, error) { return fs.ReadDir(r.fsys, name) }

// kindError is a file of a kind that holds no data.
type kindError struct{ kind string }

func (e *kindError) Error() string { return "is " + e.kind }

// describe names a kind of file.
func describe(m fs.FileMode) string {
	switch {
	case m.IsRegular():
		return "a file"
	case m.IsDir():
		return "a folder"
	case m&fs.ModeNamedPipe != 0:
		return "a pipe"
	case m&fs.ModeSocket != 0:
		return "a socket"
	case m&fs.ModeDevice != 0:
		return "a device"
	case m&fs.ModeSymlink != 0:
		return "a symbolic link"
	default:
		return "a special file"
	}
}

// place turns an error of the file system into words, with the file's name.
func place(name string, err error) *positioned.Error {
	e := &positioned.Error{File: name, Got: "an error: " + reason(err), Want: "a readable file"}
	var kind *kindError
	switch {
	case errors.As(err, &kind):
		e.Got, e.Want = kind.kind, "a regular file"
	case errors.Is(err, fs.ErrNotExist):
		e.Got, e.Want = "no such file", "an existing one"
	case errors.Is(err, fs.ErrPermission):
		e.Got = "no permission to read it"
	case errors.Is(err, fs.ErrInvalid):
		e.Got, e.Want = "a name that leaves the root folder", "a name inside it, with / and without .."
	case isEscape(err):
		e.Got, e.Want = "a link that leaves the root folder", "a file inside it"
	}
	return e
}

// reason is the innermost text of a path error, without host paths.
func reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

// isEscape recognises os.Root's refusal, which has no exported value.
func isEscape(err error) bool {
	var p *fs.PathError
	return errors.As(err, &p) && p.Err.Error() == "path escapes from parent"
}
