package tables

import (
	"fmt"
	"io"
	"sync"

	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/klauspost/compress/zstd"
)

// pooledZstd is arrow's zstd codec with encoders and decoders kept for use
// again: the stock one makes an encoder for each page, which for a long recording allocated
// 6.6 GB where 1.2 GB were needed.
type pooledZstd struct{}

// level is fixed: equal tables must give equal bytes whoever asks.
const level = zstd.SpeedFastest

var encoders = sync.Pool{New: func() any {
	e, err := zstd.NewWriter(nil, zstd.WithZeroFrames(true), zstd.WithEncoderLevel(level), zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic("tables: zstd options: " + err.Error())
	}
	return e
}}

// maxPage bounds what one page may decompress to; writers make pages of about 1 MB.
const maxPage = 256 << 20

var decoders = sync.Pool{New: func() any {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxPage))
	if err != nil {
		panic("tables: zstd options: " + err.Error())
	}
	return d
}}

var registerOnce sync.Once

// register puts the codec in place of arrow's, before the first use of either.
func register() {
	registerOnce.Do(func() { compress.RegisterCodec(compress.Codecs.Zstd, pooledZstd{}) })
}

func (pooledZstd) Encode(dst, src []byte) []byte {
	e := encoders.Get().(*zstd.Encoder)
	defer encoders.Put(e)
	return e.EncodeAll(src, dst[:0])
}

func (z pooledZstd) EncodeLevel(dst, src []byte, _ int) []byte { return z.Encode(dst, src) }

// Decode panics on damaged data, as arrow's interface has it; Read and
// Recording turn that into an error.
func (pooledZstd) Decode(dst, src []byte) []byte {
	d := decoders.Get().(*zstd.Decoder)
	defer decoders.Put(d)
	out, err := d.DecodeAll(src, dst[:0])
	if err != nil {
		panic(fmt.Errorf("zstd page: %w", err))
	}
	return out
}

// CompressBound is the largest size of n compressed bytes (ZSTD_COMPRESSBOUND of
// the reference implementation's zstd.h).
func (pooledZstd) CompressBound(n int64) int64 {
	extra := int64(0)
	if n < 128<<10 {
		extra = (128<<10 - n) >> 11
	}
	return n + n>>8 + extra
}

func (pooledZstd) NewReader(r io.Reader) io.ReadCloser {
	d, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxPage))
	if err != nil {
		panic("tables: zstd options: " + err.Error())
	}
	return d.IOReadCloser()
}

func (pooledZstd) NewWriter(w io.Writer) io.WriteCloser {
	e, err := zstd.NewWriter(w, zstd.WithEncoderLevel(level), zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic("tables: zstd options: " + err.Error())
	}
	return e
}

func (z pooledZstd) NewWriterLevel(w io.Writer, _ int) (io.WriteCloser, error) {
	return z.NewWriter(w), nil
}
