package scan

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// First bytes that tell a kind of file (RFC 1952, 2.3.1; RFC 8878, 3.1.1;
// Apache Parquet format, "File Format").
var (
	gzipMagic    = []byte{0x1f, 0x8b}
	zstdMagic    = []byte{0x28, 0xb5, 0x2f, 0xfd}
	parquetMagic = []byte("PAR1")
)

// IsParquet tells whether a file that begins so is a Parquet file.
func IsParquet(first []byte) bool { return bytes.HasPrefix(first, parquetMagic) }

// errBomb is a compressed stream that grows beyond all use.
var errBomb = errors.New("decompression bomb")

// decompress returns the plain stream behind r, known by its first bytes, and
// those first bytes of the plain stream.
func decompress(r io.Reader, lim Limits) (io.Reader, error) {
	first := make([]byte, 4)
	n, err := io.ReadFull(r, first)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, err
	}
	first = first[:n]
	whole := io.MultiReader(bytes.NewReader(first), r)
	switch {
	case bytes.HasPrefix(first, gzipMagic):
		in := &counter{r: whole}
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("gzip: %w", err)
		}
		return &growing{r: z, in: in, lim: lim, kind: "gzip"}, nil
	case bytes.HasPrefix(first, zstdMagic):
		in := &counter{r: whole}
		// One decoder in the caller's goroutine, its window bounded: memory and
		// order of work do not depend on the machine.
		z, err := zstd.NewReader(in, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(64<<20))
		if err != nil {
			return nil, fmt.Errorf("zstd: %w", err)
		}
		return &growing{r: z, in: in, lim: lim, kind: "zstd", close: z.Close}, nil
	}
	return whole, nil
}

// counter counts compressed bytes.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// growing is a decompressed stream that stops with errBomb when it grows
// beyond Limits.Growth times what was read.
type growing struct {
	r     io.Reader
	in    *counter
	out   int64
	lim   Limits
	kind  string
	close func()
}

func (g *growing) Read(p []byte) (int, error) {
	n, err := g.r.Read(p)
	g.out += int64(n)
	if g.out > g.lim.GrowthFree && g.out > g.lim.Growth*g.in.n {
		return 0, errBomb
	}
	if err != nil {
		if g.close != nil {
			g.close()
			g.close = nil
		}
		if !errors.Is(err, io.EOF) {
			err = fmt.Errorf("%s: %w", g.kind, err)
		}
	}
	return n, err
}
