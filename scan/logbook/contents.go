package logbook

import (
	"encoding/binary"

	"github.com/zeebo/blake3"

	"tidemark/chunk"
)

// Contexts of the keys derived from the logbook's key, so that names of
// contents, fingerprints of chunks and the check value never mix.
const (
	contentsContext = "tidemark 2025 contents name"
	checkContext    = "tidemark 2025 key check"
)

func subkey(key chunk.Key, context string) []byte {
	out := make([]byte, 32)
	blake3.DeriveKey(context, key[:], out)
	return out
}

// ContentsNamer names contents given their pieces in order. Not safe for
// concurrent use.
type ContentsNamer struct {
	hash  *blake3.Hasher
	zeros int64
	buf   [1 + 16 + 8]byte
}

const (
	pieceChunk = 1
	pieceZeros = 2
)

// NewContentsNamer makes a namer under key; one may be reused.
func NewContentsNamer(key chunk.Key) *ContentsNamer {
	h, err := blake3.NewKeyed(subkey(key, contentsContext))
	if err != nil {
		panic(err) // the key has 32 bytes
	}
	return &ContentsNamer{hash: h}
}

// Reset forgets the pieces: the next ones are another file's.
func (n *ContentsNamer) Reset() {
	n.hash.Reset()
	n.zeros = 0
}

// Chunk adds a chunk of length bytes.
func (n *ContentsNamer) Chunk(print chunk.Fingerprint, length int64) {
	n.flush()
	n.buf[0] = pieceChunk
	copy(n.buf[1:], print[:])
	binary.LittleEndian.PutUint64(n.buf[17:], uint64(length))
	n.hash.Write(n.buf[:]) // never fails
}

// Zeros adds a zero run of length bytes; adjoining zero runs are one.
func (n *ContentsNamer) Zeros(length int64) { n.zeros += length }

func (n *ContentsNamer) flush() {
	if n.zeros == 0 {
		return
	}
	var b [1 + 8]byte
	b[0] = pieceZeros
	binary.LittleEndian.PutUint64(b[1:], uint64(n.zeros))
	n.hash.Write(b[:])
	n.zeros = 0
}

// Name is the name of the pieces added since Reset. Without any it is that of
// the empty file, which is not the zero value.
func (n *ContentsNamer) Name() Contents {
	n.flush()
	var sum [32]byte
	var c Contents
	copy(c[:], n.hash.Sum(sum[:0]))
	return c
}
