package logbook

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/parquet-go/parquet-go"
	"github.com/zeebo/blake3"
)

// wholeFile is the size, in bytes, up to which a file is held in memory while
// it is read: most nights' files. A merge opens one a night.
const wholeFile = 64 << 10

// memoryFile is a file that was read whole.
type memoryFile struct{ *bytes.Reader }

func (memoryFile) Close() error { return nil }

// open opens one of the segment's Parquet files. Its contents are proved
// against the recorded hash the first time a Book opens it, before anything is
// parsed: that reads the file twice, at the speed of hashing, and no figure is
// ever told from damaged data. Errors wrap ErrDamaged, or are ctx's.
func (r *segmentRef) open(ctx context.Context, fsys fileSystem, name string) (*parquetFile, error) {
	stored := &r.doc.Stored
	want := shape{schema: fileSchema, buffer: 4 << 10}
	switch name {
	case filesName:
		want.storedFile, want.values = stored.Files, stored.Files.Rows+stored.Runs
	case listingName:
		want.storedFile, want.values = *stored.Listing, stored.Listing.Rows+stored.ListingRuns
	case chunksName:
		want = shape{schema: chunkSchema, storedFile: stored.Chunks, buffer: 64 << 10}
	}
	r.mu.Lock()
	path, verified := r.dir+"/"+name, r.verified[name]
	r.mu.Unlock()

	f, err := openProved(ctx, fsys, path, want.storedFile, verified)
	if err != nil {
		return nil, err
	}
	p, err := openParquet(f, path, want, verified)
	if err == nil && !verified {
		r.mu.Lock()
		if r.verified == nil {
			r.verified = make(map[string]bool)
		}
		r.verified[name] = true
		r.mu.Unlock()
	}
	return p, err
}

// openProved opens a file of which size and, unless it is known to be right,
// hash are as recorded.
func openProved(ctx context.Context, fsys fileSystem, name string, want storedFile, verified bool) (file readFile, err error) {
	f, err := fsys.Open(name)
	if err != nil {
		if isMissing(err) {
			return nil, fmt.Errorf("%w: %s is missing", ErrDamaged, name)
		}
		return nil, fmt.Errorf("reading the logbook: %w", err)
	}
	defer func() {
		if file != f {
			f.Close()
		}
	}()
	if f.Size() != want.Bytes {
		return nil, fmt.Errorf("%w: %s has %d bytes instead of %d", ErrDamaged, name, f.Size(), want.Bytes)
	}
	if want.Bytes <= wholeFile {
		data := make([]byte, want.Bytes)
		if n, err := f.ReadAt(data, 0); n < len(data) {
			return nil, short(name, err)
		}
		if !verified && hexSum(data) != want.Blake3 {
			return nil, mismatch(name)
		}
		return memoryFile{bytes.NewReader(data)}, nil
	}
	if !verified {
		if err := proveHash(ctx, f, name, want); err != nil {
			return nil, err
		}
	}
	return f, nil
}

func mismatch(name string) error {
	return fmt.Errorf("%w: %s: its contents do not match the hash in %s", ErrDamaged, name, summaryName)
}

// short says why less was read than there should be: a file that ends early is
// damage, a failing disk is the system's affair.
func short(name string, err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: %s ends early", ErrDamaged, name)
	}
	return fmt.Errorf("reading the logbook: %w", err)
}

var hashBuffers = sync.Pool{New: func() any { return new([128 << 10]byte) }}

func proveHash(ctx context.Context, f readFile, name string, want storedFile) error {
	h := blake3.New()
	buf := hashBuffers.Get().(*[128 << 10]byte)
	defer hashBuffers.Put(buf)
	for at := int64(0); at < want.Bytes; {
		if err := ctx.Err(); err != nil {
			return err
		}
		part := buf[:min(int64(len(buf)), want.Bytes-at)]
		n, err := f.ReadAt(part, at)
		if n < len(part) {
			return short(name, err)
		}
		h.Write(part)
		at += int64(n)
	}
	if hex.EncodeToString(h.Sum(nil)) != want.Blake3 {
		return mismatch(name)
	}
	return nil
}

// shape is what a Parquet file of a segment must be like.
type shape struct {
	schema *parquet.Schema
	storedFile
	values int64 // at most so many in a list column
	buffer int   // for reading, bytes a column
}

// openParquet reads the footer of f and checks that the file has the shape it
// must have; the pages' headers, too, unless they were checked before. It closes
// f where it fails. Errors wrap ErrDamaged.
func openParquet(f readFile, name string, want shape, verified bool) (p *parquetFile, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%w: opening %s: %v", ErrDamaged, name, r)
		}
		if err != nil {
			p = nil
			f.Close()
		}
	}()
	if err := checkTrailer(f); err != nil {
		return nil, fmt.Errorf("%w: opening %s: %w", ErrDamaged, name, err)
	}
	pf, err := parquet.OpenFile(f, f.Size(), &parquet.FileConfig{
		SkipPageIndex: true, SkipBloomFilters: true, ReadBufferSize: want.buffer, ReadMode: parquet.ReadModeSync,
	})
	if err != nil {
		return nil, fmt.Errorf("%w: opening %s: %w", ErrDamaged, name, err)
	}
	if pf.Schema().String() != want.schema.String() {
		return nil, fmt.Errorf("%w: %s has other columns than format %d asks for", ErrDamaged, name, FormatVersion)
	}
	if err := checkFooter(pf.Metadata(), want.schema, f.Size()); err != nil {
		return nil, fmt.Errorf("%w: opening %s: %w", ErrDamaged, name, err)
	}
	if !verified {
		if err := checkPages(f, pf.Metadata(), want.schema, want.values); err != nil {
			return nil, fmt.Errorf("%w: opening %s: %w", ErrDamaged, name, err)
		}
	}
	p = &parquetFile{name: name, file: f, groups: pf.RowGroups(), rows: pf.NumRows()}
	rows := int64(0)
	for _, g := range p.groups {
		rows += g.NumRows()
	}
	if p.rows != want.Rows || rows != want.Rows {
		return nil, fmt.Errorf("%w: %s has %d rows instead of %d", ErrDamaged, name, rows, want.Rows)
	}
	return p, nil
}
