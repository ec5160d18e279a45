package logbook

import (
	"context"
	"fmt"
	"iter"

	"tidemark/chunk"
)

// chunkReader reads one chunks.parquet in order.
type chunkReader struct {
	of       *parquetFile
	snapshot int
	firstID  int64
	row      int64
	columns  [chunkColumns]*column
}

func (b *Book) openChunks(ctx context.Context, number int) (*chunkReader, error) {
	ref := b.refs[number-1]
	f, err := ref.open(ctx, b.fs, chunksName)
	if err != nil {
		return nil, err
	}
	r := &chunkReader{of: f, snapshot: number, firstID: ref.doc.FirstChunk}
	for i := range r.columns {
		r.columns[i] = newColumn(f, i)
	}
	return r, nil
}

func (r *chunkReader) close() {
	for _, c := range r.columns {
		c.close()
	}
	r.of.close()
}

// prints calls f with the fingerprints of all rows, block by block; first is the id of the block's first.
func (r *chunkReader) prints(ctx context.Context, f func(first int64, prints [][16]byte)) error {
	c := r.columns[colPrint]
	for row := int64(0); row < r.of.rows; row = c.next {
		if err := ctx.Err(); err != nil {
			return err
		}
		i, err := c.at(row)
		if err != nil {
			return err
		}
		f(r.firstID+row, c.prints[i:c.next-c.first])
	}
	return nil
}

// block is the number of rows in a block of ChunkRows.
const block = 4096

// next fills rows, up to block of them, and returns them; none at the end.
func (r *chunkReader) next(rows []ChunkRow) ([]ChunkRow, error) {
	n := int(min(block, r.of.rows-r.row))
	rows = rows[:n]
	for i := range rows {
		rows[i] = ChunkRow{Snapshot: r.snapshot}
	}
	fill := func(col int, set func(dst []ChunkRow, c *column, from int)) error {
		c := r.columns[col]
		for done := 0; done < n; {
			from, err := c.at(r.row + int64(done))
			if err != nil {
				return err
			}
			m := min(n-done, int(c.next-c.first)-from)
			set(rows[done:done+m], c, from)
			done += m
		}
		return nil
	}
	err := fill(colID, func(dst []ChunkRow, c *column, from int) {
		for i := range dst {
			dst[i].ID = c.i64[from+i]
		}
	})
	if err == nil {
		err = fill(colPrint, func(dst []ChunkRow, c *column, from int) {
			for i := range dst {
				dst[i].Print = chunk.Fingerprint(c.prints[from+i])
			}
		})
	}
	if err == nil {
		err = fill(colLength, func(dst []ChunkRow, c *column, from int) {
			for i := range dst {
				dst[i].Len = c.i32[from+i]
			}
		})
	}
	if err == nil {
		err = fill(colPacked, func(dst []ChunkRow, c *column, from int) {
			for i := range dst {
				dst[i].Packed = chunk.NotMeasured
				if j, ok := c.value(from + i); ok {
					dst[i].Packed = c.i32[j]
				}
			}
		})
	}
	if err == nil {
		err = fill(colLevel, func(dst []ChunkRow, c *column, from int) {
			for i := range dst {
				dst[i].Level = chunk.Level(c.i32[from+i])
			}
		})
	}
	if err != nil {
		return nil, err
	}
	for i := range rows {
		if want := r.firstID + r.row + int64(i); rows[i].ID != want {
			return nil, fmt.Errorf("%w: reading %s: row %d has id %d instead of %d", ErrDamaged, r.of.name, r.row+int64(i)+1, rows[i].ID, want)
		}
	}
	r.row += int64(n)
	return rows, nil
}

// ChunkRows yields the chunks of segments from … to in order of id, in blocks
// valid until the next step. Errors wrap ErrNoSnapshot, ErrDamaged, or are
// ctx's; after one the sequence ends.
func (b *Book) ChunkRows(ctx context.Context, from, to int) iter.Seq2[[]ChunkRow, error] {
	return func(yield func([]ChunkRow, error) bool) {
		if _, err := b.chunkRows(ctx, from, to, func(rows []ChunkRow) bool { return yield(rows, nil) }); err != nil {
			yield(nil, err)
		}
	}
}

func (b *Book) chunkRows(ctx context.Context, from, to int, yield func([]ChunkRow) bool) (more bool, err error) {
	if err := b.snapshot(from); err != nil {
		return false, err
	}
	if err := b.snapshot(to); err != nil {
		return false, err
	}
	buf := make([]ChunkRow, block)
	one := func(number int) (bool, error) {
		if b.refs[number-1].doc.Chunks == 0 {
			return true, nil
		}
		r, err := b.openChunks(ctx, number)
		if err != nil {
			return false, err
		}
		defer r.close()
		for {
			if err := ctx.Err(); err != nil {
				return false, err
			}
			rows, err := r.next(buf)
			if err != nil {
				return false, err
			}
			if len(rows) == 0 {
				return true, nil
			}
			if !yield(rows) {
				return false, nil
			}
		}
	}
	for n := from; n <= to; n++ {
		if more, err := one(n); !more || err != nil {
			return more, err
		}
	}
	return true, nil
}
