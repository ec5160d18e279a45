package engine

// Typical returns profiles to compare a tree against when the store is not
// chosen yet, in general words and from the simplest to the most thorough; the
// caller may change them. The overheads are assumptions of ours: a chunk costs
// 72 bytes (a 32-byte fingerprint, 12 bytes of place and length, 28 of nonce and
// authentication tag), a reference 40 (fingerprint and length), a file 256 (name,
// times, rights). A store in question says its own in the needs file.
func Typical() []Profile {
	const (
		perChunk     = 32 + 12 + 28
		perReference = 32 + 8
		perFile      = 256
	)
	return []Profile{
		{
			Name: "whole files, no compression", Unit: WholeFile, Compression: None,
			PerChunkBytes: perChunk, PerReferenceBytes: perReference, PerFileBytes: perFile,
		},
		{
			Name: "content-defined 1 MiB, light compression", Unit: ContentDefined, AverageBytes: 1 << 20, Compression: Light,
			PerChunkBytes: perChunk, PerReferenceBytes: perReference, PerFileBytes: perFile, BundleBytes: 16 << 20,
		},
		{
			Name: "content-defined 4 MiB, strong compression", Unit: ContentDefined, AverageBytes: 4 << 20, Compression: Strong,
			PerChunkBytes: perChunk, PerReferenceBytes: perReference, PerFileBytes: perFile, BundleBytes: 64 << 20,
		},
		{
			Name: "encrypted before chunking", Unit: ContentDefined, AverageBytes: 1 << 20, Compression: None,
			PerChunkBytes: perChunk, PerReferenceBytes: perReference, PerFileBytes: perFile, EncryptBeforeChunking: true,
		},
	}
}
