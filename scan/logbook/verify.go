package logbook

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"

	"github.com/zeebo/blake3"
)

// open opens one of the segment's Parquet files. Its contents are proved
// against the recorded hash the first time a Book opens it, before anything is
// parsed: that reads the file twice, at the speed of hashing, and no damaged
// figure is ever told.
func (r *segmentRef) open(ctx context.Context, fsys fileSystem, name string) (*parquetFile, error) {
	var want storedFile
	buffer := 4 << 10
	schema := fileSchema
	switch name {
	case filesName:
		want = r.doc.Stored.Files
	case listingName:
		want = *r.doc.Stored.Listing
	case chunksName:
		want, schema, buffer = r.doc.Stored.Chunks, chunkSchema, 64<<10
	}
	r.mu.Lock()
	path, verified := r.dir+"/"+name, r.verified[name]
	r.mu.Unlock()
	if !verified {
		if err := verifyFile(ctx, fsys, path, want); err != nil {
			return nil, err
		}
		r.mu.Lock()
		if r.verified == nil {
			r.verified = make(map[string]bool)
		}
		r.verified[name] = true
		r.mu.Unlock()
	}
	return openParquet(fsys, path, schema, want, buffer)
}

// verifyFile proves a file's size and hash. The error wraps ErrDamaged, or is ctx's.
func verifyFile(ctx context.Context, fsys fileSystem, name string, want storedFile) error {
	f, err := fsys.Open(name)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	defer f.Close()
	if f.Size() != want.Bytes {
		return fmt.Errorf("%w: %s has %d bytes instead of %d", ErrDamaged, name, f.Size(), want.Bytes)
	}
	h := blake3.New()
	buf := make([]byte, min(want.Bytes+1, 256<<10))
	for at := int64(0); at < want.Bytes; {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := f.ReadAt(buf[:min(int64(len(buf)), want.Bytes-at)], at)
		if n == 0 && err == nil {
			err = io.ErrNoProgress
		}
		h.Write(buf[:n])
		at += int64(n)
		if err != nil && at < want.Bytes {
			return fmt.Errorf("%w: reading %s: %w", ErrDamaged, name, err)
		}
	}
	if hex.EncodeToString(h.Sum(nil)) != want.Blake3 {
		return fmt.Errorf("%w: %s: its contents do not match the hash in %s", ErrDamaged, name, summaryName)
	}
	return nil
}
