package logbook

import (
	"sync"

	encoder "github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/compress/zstd"
)

// codec compresses and expands pages.
var codec = &pageCodec{}

// pageCodec is the library's codec but for its encoders: it keeps one for each
// processor that has ever compressed a page, at more than 1 MiB each. Here all
// writers take turns at one. The bytes are the same.
type pageCodec struct {
	zstd.Codec
}

var pageEncoder = sync.OnceValues(func() (*encoder.Encoder, error) {
	return encoder.NewWriter(nil,
		encoder.WithEncoderConcurrency(1),
		encoder.WithEncoderLevel(encoder.SpeedDefault),
		encoder.WithZeroFrames(true),
		encoder.WithEncoderCRC(false))
})

func (c *pageCodec) Encode(dst, src []byte) ([]byte, error) {
	e, err := pageEncoder()
	if err != nil {
		return nil, err
	}
	return e.EncodeAll(src, dst[:0]), nil
}
