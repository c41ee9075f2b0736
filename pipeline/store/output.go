package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"spinledger/stages/kit/positioned"
)

// Marker is the file that tells an output folder of this program. It is locked
// while the folder is open.
const Marker = ".spinledger-output"

// ErrLocked is returned while another run has the output folder open.
var ErrLocked = errors.New("in use by another run")

// mark writes what the marker is for, once.
func mark(f *os.File) error {
	info, err := f.Stat()
	if err != nil || info.Size() > 0 {
		return err
	}
	_, err = f.WriteString("This folder is written by spinledger; its files are replaced at each run.\n")
	return err
}

// Output is a folder being written to. Its methods may be called from several goroutines.
type Output struct {
	dir     string
	shown   string
	disk    Disk
	root    *Root
	release func() error
	opt     OutputOptions

	mu   sync.Mutex
	made map[string]bool
}

// OutputOptions of OpenOutput.
type OutputOptions struct {
	// Inputs are the paths, on the disk, of everything that is read.
	Inputs []string
	// Quick leaves out the sync of each file. After a power cut a file may
	// then be empty, which its digest in the log betrays.
	Quick bool
}

// OpenOutput makes the folder where needed, checks that it may be written to and
// locks it. Errors are *positioned.Error and name the folder as given.
func OpenOutput(dir string, disk Disk, opt OutputOptions) (*Output, error) {
	real, err := resolve(dir)
	if err != nil {
		return nil, failed(dir, err)
	}
	if err := apart(real, dir, opt.Inputs); err != nil {
		return nil, err
	}
	if err := disk.MkdirAll(real); err != nil {
		return nil, failed(dir, err)
	}
	entries, err := disk.ReadDir(real)
	if err != nil {
		return nil, failed(dir, err)
	}
	if !mayWrite(entries) {
		return nil, &positioned.Error{File: dir, Got: fmt.Sprintf("a folder with %d entries that spinledger did not write", len(entries)),
			Want: "a new or empty folder, or one written by an earlier run", Hint: "name another folder"}
	}
	release, err := disk.Lock(filepath.Join(real, Marker))
	if err != nil {
		if errors.Is(err, ErrLocked) {
			return nil, &positioned.Error{File: dir, Got: "an output folder in use by another run", Want: "one run at a time"}
		}
		return nil, failed(dir, err)
	}
	root, err := OpenRoot(real)
	if err != nil {
		return nil, errors.Join(err, release())
	}
	return &Output{dir: real, shown: dir, disk: disk, root: root, release: release, opt: opt, made: map[string]bool{".": true}}, nil
}

// Guard refuses inputs that lie in the folder, as OpenOutput does; for those that are
// known only once the folder is open. Nothing has been written then but the marker.
func (o *Output) Guard(inputs []string) error { return apart(o.dir, o.shown, inputs) }

// apart refuses an output folder, shown as dir, that holds one of the inputs.
func apart(real, dir string, inputs []string) error {
	folders := map[string]string{}
	for _, in := range inputs {
		parent, known := folders[filepath.Dir(in)]
		if !known {
			var err error
			if parent, err = resolve(filepath.Dir(in)); err != nil {
				return failed(in, err)
			}
			folders[filepath.Dir(in)] = parent
		}
		input := filepath.Join(parent, filepath.Base(in))
		if info, err := os.Lstat(input); err == nil && info.Mode()&fs.ModeSymlink != 0 {
			if input, err = resolve(input); err != nil {
				return failed(in, err)
			}
		}
		if rel, err := filepath.Rel(real, input); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
			return &positioned.Error{File: dir, Got: "an output folder that holds the input " + filepath.ToSlash(rel),
				Want: "a folder apart from what is read"}
		}
	}
	return nil
}

// IsOutput is true for a folder that this program made before.
func IsOutput(dir string) bool {
	info, err := os.Lstat(filepath.Join(dir, Marker))
	return err == nil && info.Mode().IsRegular()
}

// mayWrite tells whether a folder is empty or marked.
func mayWrite(entries []fs.DirEntry) bool {
	for _, e := range entries {
		if e.Name() == Marker {
			return true
		}
	}
	return len(entries) == 0
}

// Close gives the folder free.
func (o *Output) Close() error { return errors.Join(o.root.Close(), o.release()) }

// FS reads what the folder holds.
func (o *Output) FS() (*Root, error) { return OpenRoot(o.dir) }

// Write makes one file appear whole: fill writes it, and name, relative with
// "/", becomes visible only when every byte is on the disk. It gives the digest of what
// was written. On any error nothing of the new file remains and an older file of
// that name is untouched.
func (o *Output) Write(name string, fill func(io.Writer) error) (Digest, error) {
	if !fs.ValidPath(name) || name == "." || path.Base(name) == Marker {
		return Digest{}, &positioned.Error{File: name, Got: "a name that leaves the output folder", Want: "a name inside it"}
	}
	shown := path.Join(filepath.ToSlash(o.shown), name)
	if err := o.folder(path.Dir(name)); err != nil {
		return Digest{}, failed(shown, err)
	}
	target := filepath.Join(o.dir, filepath.FromSlash(name))
	temp := filepath.Join(filepath.Dir(target), "."+filepath.Base(target)+".part")
	digest, err := o.write(temp, fill)
	if err == nil {
		err = o.disk.Rename(temp, target)
	}
	if err != nil {
		// The first error is the one to tell; a file that cannot be removed
		// either stays under its temporary name.
		_ = o.disk.Remove(temp)
		return Digest{}, failed(shown, err)
	}
	if !o.opt.Quick {
		if err := o.disk.SyncDir(filepath.Dir(target)); err != nil {
			return Digest{}, failed(shown, err)
		}
	}
	return digest, nil
}

func (o *Output) write(temp string, fill func(io.Writer) error) (Digest, error) {
	f, err := o.disk.Create(temp)
	if errors.Is(err, fs.ErrExist) {
		// Left by a run that was killed: the folder is locked, so it is nobody's.
		if err = o.disk.Remove(temp); err == nil {
			f, err = o.disk.Create(temp)
		}
	}
	if err != nil {
		return Digest{}, err
	}
	w := &sticky{w: f, sum: sha256.New()}
	err = fill(w)
	if w.err != nil {
		// Before fill's own error, which may be a mere consequence; and
		// above all where fill lost it and says that all is well.
		err = w.err
	} else if err != nil {
		err = &fillError{err}
	}
	if err == nil && !o.opt.Quick {
		err = f.Sync()
	}
	if closing := f.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return Digest{}, err
	}
	return Digest{SHA256: hex.EncodeToString(w.sum.Sum(nil)), Size: w.n}, nil
}

// Append adds to a file of the folder, which is made where there is none. It may be
// cut short by a crash at any byte: only for files whose reader expects that.
func (o *Output) Append(name string, data []byte) error {
	f, err := o.disk.Append(filepath.Join(o.dir, filepath.FromSlash(name)))
	if err != nil {
		return failed(path.Join(filepath.ToSlash(o.shown), name), err)
	}
	w := &sticky{w: f, sum: sha256.New()}
	_, err = w.Write(data)
	if closing := f.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return failed(path.Join(filepath.ToSlash(o.shown), name), err)
	}
	return nil
}

// Read reads a file of the folder and its digest.
func (o *Output) Read(name string, limit int64) ([]byte, Digest, error) {
	return ReadFile(o.root, name, limit)
}

// Load reads a file whose digest nobody needs.
func (o *Output) Load(name string, limit int64) ([]byte, error) {
	f, err := o.root.Open(name)
	if err != nil {
		return nil, place(name, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, place(name, err)
	}
	if info.Size() > limit {
		return nil, &positioned.Error{File: name, Got: fmt.Sprintf("%d bytes", info.Size()), Want: fmt.Sprintf("at most %d", limit)}
	}
	var b bytes.Buffer
	b.Grow(int(info.Size()) + bytes.MinRead)
	if _, err := b.ReadFrom(io.LimitReader(f, limit)); err != nil {
		return nil, place(name, err)
	}
	return b.Bytes(), nil
}

// Hash is the digest of a file of the folder.
func (o *Output) Hash(name string) (Digest, error) { return Hash(o.root, name) }

// Sweep removes from one folder below the output the files that a killed run left under their
// temporary names, and those that unwanted says.
func (o *Output) Sweep(folder string, unwanted func(name string) bool) error {
	entries, err := o.disk.ReadDir(filepath.Join(o.dir, filepath.FromSlash(folder)))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return failed(path.Join(filepath.ToSlash(o.shown), folder), err)
	}
	for _, e := range entries {
		n := e.Name()
		if e.IsDir() || !(strings.HasPrefix(n, ".") && strings.HasSuffix(n, ".part")) && !unwanted(n) {
			continue
		}
		if err := o.Remove(path.Join(folder, n)); err != nil {
			return err
		}
	}
	return nil
}

// fillError is an error of the code that writes, not of the disk.
type fillError struct{ err error }

func (e *fillError) Error() string { return e.err.Error() }

// folder makes a folder below the output, once.
func (o *Output) folder(name string) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.made[name] {
		return nil
	}
	if err := o.disk.MkdirAll(filepath.Join(o.dir, filepath.FromSlash(name))); err != nil {
		return err
	}
	o.made[name] = true
	return nil
}

// Remove deletes a file of the folder that a new run no longer makes; one that
// is not there is no error.
func (o *Output) Remove(name string) error {
	if !fs.ValidPath(name) || name == "." || path.Base(name) == Marker {
		return &positioned.Error{File: name, Got: "a name that leaves the output folder", Want: "a name inside it"}
	}
	err := o.disk.Remove(filepath.Join(o.dir, filepath.FromSlash(name)))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return failed(path.Join(filepath.ToSlash(o.shown), name), err)
	}
	return nil
}

// Unwritten is the error of an output that could not be written. It stops a run,
// whereas an input that cannot be read fails only what depends on it.
type Unwritten struct{ At *positioned.Error }

func (e *Unwritten) Error() string { return e.At.Error() }

// Unwrap gives the position to whoever lists errors.
func (e *Unwritten) Unwrap() error { return e.At }

// failed says why something could not be written.
func failed(name string, err error) error {
	var own *fillError
	if errors.As(err, &own) {
		return own.err
	}
	var placed *positioned.Error
	if errors.As(err, &placed) {
		return err
	}
	e := &positioned.Error{File: name, Got: "an error: " + reason(err), Want: "a place to write to"}
	var link *os.LinkError
	switch {
	case errors.Is(err, syscall.ENOSPC):
		e.Got, e.Want = "no space left on the disk", "room for the whole file"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		e.Got, e.Want = "no permission to write", "a folder that may be written to"
	case errors.Is(err, syscall.ENOTDIR), errors.Is(err, fs.ErrExist):
		e.Got, e.Want = "a file where a folder is due", "a folder"
	case errors.As(err, &link):
		e.Got = "an error: " + link.Err.Error()
	}
	return &Unwritten{e}
}
