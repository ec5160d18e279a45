package chunk

import "github.com/zeebo/blake3"

// Fingerprinter names chunks under one key. Not for concurrent use.
type Fingerprinter struct {
	hash *blake3.Hasher
	sum  [32]byte
}

// NewFingerprinter returns a Fingerprinter for key.
func NewFingerprinter(key Key) *Fingerprinter {
	hash, err := blake3.NewKeyed(key[:])
	if err != nil {
		panic(err) // only a key of another length fails
	}
	return &Fingerprinter{hash: hash}
}

// Print returns the fingerprint of data, which may be empty. It allocates
// nothing.
func (f *Fingerprinter) Print(data []byte) Fingerprint {
	f.hash.Reset()
	_, _ = f.hash.Write(data) // never fails
	return Fingerprint(f.hash.Sum(f.sum[:0])[:len(Fingerprint{})])
}
