package store

import (
	"io"

	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/klauspost/compress/zstd"
)

// The Parquet library makes and throws away a whole encoder for each page.
// This codec keeps one, which is safe for concurrent use and forgets what it
// compressed before: the same page gives the same bytes at any time.
type pooledZstd struct {
	encoder *zstd.Encoder
	decoder *zstd.Decoder
}

func init() {
	// A page is seldom over 1 MiB, so that a larger window would only cost memory.
	// The library's next level spares 2 % of the bytes and takes a tenth more of
	// the time of an ingest.
	encoder, err := zstd.NewWriter(nil, zstd.WithZeroFrames(true), zstd.WithWindowSize(1<<20), zstd.WithEncoderCRC(false), zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		panic(err) // Constant options.
	}
	decoder, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(0))
	if err != nil {
		panic(err)
	}
	compress.RegisterCodec(compress.Codecs.Zstd, pooledZstd{encoder, decoder})
}

func (z pooledZstd) Encode(dst, src []byte) []byte { return z.encoder.EncodeAll(src, dst[:0]) }

// EncodeLevel takes no notice of the level: one level is used for all files.
func (z pooledZstd) EncodeLevel(dst, src []byte, _ int) []byte { return z.Encode(dst, src) }

func (z pooledZstd) Decode(dst, src []byte) []byte {
	out, err := z.decoder.DecodeAll(src, dst[:0])
	if err != nil {
		panic(err) // The library's reader recovers; it has no other way to say so.
	}
	return out
}

// CompressBound is ZSTD_COMPRESSBOUND of zstd.h, plus room for a frame header.
func (pooledZstd) CompressBound(length int64) int64 {
	bound := length + length>>8 + 64
	if length < 128<<10 {
		bound += (128<<10 - length) >> 11
	}
	return bound
}

func (pooledZstd) NewReader(r io.Reader) io.ReadCloser {
	decoder, err := zstd.NewReader(r)
	if err != nil {
		panic(err)
	}
	return decoder.IOReadCloser()
}

func (pooledZstd) NewWriter(w io.Writer) io.WriteCloser {
	encoder, err := zstd.NewWriter(w)
	if err != nil {
		panic(err)
	}
	return encoder
}

func (z pooledZstd) NewWriterLevel(w io.Writer, _ int) (io.WriteCloser, error) {
	return z.NewWriter(w), nil
}
