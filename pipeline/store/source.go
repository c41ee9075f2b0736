package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"time"

	"spinledger/stages/kit/positioned"
)

// Digest is what was read of one file.
type Digest struct {
	// SHA256 in lower-case hex over the bytes as they lie in the file.
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// DigestOf is the digest of bytes in memory.
func DigestOf(data []byte) Digest {
	sum := sha256.Sum256(data)
	return Digest{SHA256: hex.EncodeToString(sum[:]), Size: int64(len(data))}
}

// Source is an input being read: every byte that passes is hashed.
type Source struct {
	name string
	file fs.File
	sum  hash.Hash
	n    int64
	size int64
	mod  time.Time
	err  error
}

// Open opens a regular file of fsys. The error is a *positioned.Error that
// says what stands in its place, or that the name leaves the root.
func Open(fsys fs.FS, name string) (*Source, error) {
	if !fs.ValidPath(name) {
		return nil, place(name, fs.ErrInvalid)
	}
	f, err := fsys.Open(name)
	if err != nil {
		return nil, place(name, err)
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, place(name, err)
	}
	if !info.Mode().IsRegular() {
		f.Close()
		return nil, place(name, &kindError{describe(info.Mode())})
	}
	return &Source{name: name, file: f, sum: sha256.New(), size: info.Size(), mod: info.ModTime()}, nil
}

// Name is the file's name within its fs.FS.
func (s *Source) Name() string { return s.name }

// Size is the file's size when it was opened.
func (s *Source) Size() int64 { return s.size }

// Read implements io.Reader. A file that has more bytes than it had when it
// was opened is not read further.
func (s *Source) Read(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.file.Read(p)
	s.sum.Write(p[:n])
	s.n += int64(n)
	if s.n > s.size {
		err = s.changed(fmt.Sprintf("more than the %d bytes it had when it was opened", s.size))
	}
	if err != nil {
		s.err = err
	}
	return n, err
}

func (s *Source) changed(got string) *positioned.Error {
	return &positioned.Error{File: s.name, Got: got, Want: "a file that does not change while it is read",
		Hint: "is the logger still writing?"}
}

// Close reads what is left, closes the file, and gives the digest of all its bytes. It
// fails when the file was changed meanwhile.
func (s *Source) Close() (Digest, error) {
	defer s.file.Close()
	// One byte more than is left tells whether the file grew.
	buf := make([]byte, max(1, min(64<<10, s.size-s.n+1)))
	for s.err == nil {
		s.Read(buf)
	}
	if s.err != io.EOF {
		if e, ok := s.err.(*positioned.Error); ok {
			return Digest{}, e
		}
		return Digest{}, place(s.name, s.err)
	}
	if s.n != s.size {
		return Digest{}, s.changed(fmt.Sprintf("%d bytes where it had %d when it was opened", s.n, s.size))
	}
	info, err := s.file.Stat()
	if err != nil {
		return Digest{}, place(s.name, err)
	}
	if info.Size() != s.size || !info.ModTime().Equal(s.mod) {
		return Digest{}, s.changed("a file written to while it was read")
	}
	return Digest{SHA256: hex.EncodeToString(s.sum.Sum(nil)), Size: s.n}, nil
}

// Abandon closes the file without reading the rest.
func (s *Source) Abandon() { s.file.Close() }

// Hash is the digest of a whole file.
func Hash(fsys fs.FS, name string) (Digest, error) {
	s, err := Open(fsys, name)
	if err != nil {
		return Digest{}, err
	}
	return s.Close()
}

// ReadFile reads a whole file of at most limit bytes (job, bench and parts
// files) and its digest.
func ReadFile(fsys fs.FS, name string, limit int64) ([]byte, Digest, error) {
	s, err := Open(fsys, name)
	if err != nil {
		return nil, Digest{}, err
	}
	if s.size > limit {
		s.Abandon()
		return nil, Digest{}, &positioned.Error{File: name, Got: fmt.Sprintf("%d bytes", s.size), Want: fmt.Sprintf("at most %d", limit)}
	}
	var b bytes.Buffer
	const most = 1 << 26 // a size is only what the file system says of it
	b.Grow(int(min(s.size, most)) + bytes.MinRead)
	if _, err := io.Copy(&b, s); err != nil {
		s.Abandon()
		if e, ok := err.(*positioned.Error); ok {
			return nil, Digest{}, e
		}
		return nil, Digest{}, place(name, err)
	}
	d, err := s.Close()
	return b.Bytes(), d, err
}

// RandomAccess is an input that is read here and there (Parquet).
type RandomAccess struct {
	io.ReaderAt
	size int64
	file fs.File
}

// OpenRandom opens a regular file for reading at any place.
func OpenRandom(fsys fs.FS, name string) (*RandomAccess, error) {
	s, err := Open(fsys, name)
	if err != nil {
		return nil, err
	}
	at, ok := s.file.(io.ReaderAt)
	if !ok {
		defer s.Abandon()
		const most = 1 << 30
		if s.size > most {
			return nil, &positioned.Error{File: name, Got: fmt.Sprintf("%d bytes in an archive", s.size), Want: fmt.Sprintf("at most %d", most)}
		}
		data, err := io.ReadAll(s)
		if err != nil {
			return nil, place(name, err)
		}
		return &RandomAccess{ReaderAt: bytes.NewReader(data), size: int64(len(data))}, nil
	}
	return &RandomAccess{ReaderAt: at, size: s.size, file: s.file}, nil
}

// Digest reads the whole file once more.
func (r *RandomAccess) Digest() (Digest, error) {
	h := sha256.New()
	n, err := io.Copy(h, io.NewSectionReader(r, 0, r.size))
	return Digest{SHA256: hex.EncodeToString(h.Sum(nil)), Size: n}, err
}

// Size is the file's size in bytes.
func (r *RandomAccess) Size() int64 { return r.size }

// Close closes the file.
func (r *RandomAccess) Close() error {
	if r.file == nil {
		return nil
	}
	return r.file.Close()
}
