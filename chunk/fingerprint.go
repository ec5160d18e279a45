package chunk

import "github.com/zeebo/blake3"

// Fingerprinter names chunks under one key. Not for concurrent use.
type Fingerprinter struct {
	hash *blake3.Hasher
	wide *wideHash // nil: the processor has no use for it
	sum  [32]byte
}

// NewFingerprinter returns a Fingerprinter for key.
func NewFingerprinter(key Key) *Fingerprinter {
	hash, err := blake3.NewKeyed(key[:])
	if err != nil {
		panic(err) // only a key of another length fails
	}
	f := &Fingerprinter{hash: hash}
	if haveWide {
		f.wide = newWideHash(key)
	}
	return f
}

// Print returns the fingerprint of data, which may be empty. It allocates
// nothing.
func (f *Fingerprinter) Print(data []byte) Fingerprint {
	if f.wide != nil && wideServes(len(data)) {
		return f.wide.print(data)
	}
	f.hash.Reset()
	_, _ = f.hash.Write(data) // never fails
	return Fingerprint(f.hash.Sum(f.sum[:0])[:len(Fingerprint{})])
}
