package logbook

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"
	"github.com/zeebo/blake3"
)

// hashingFile hashes and counts what is written to a new file.
type hashingFile struct {
	file  writeFile
	hash  *blake3.Hasher
	bytes int64
}

func (h *hashingFile) Write(p []byte) (int, error) {
	n, err := h.file.Write(p)
	if err == nil && n < len(p) {
		err = io.ErrShortWrite
	}
	h.bytes += int64(n)
	h.hash.Write(p[:n])
	return n, err
}

// sink writes one Parquet file of rows of T, in batches.
type sink[T any] struct {
	name    string
	out     *hashingFile
	writer  *parquet.GenericWriter[T]
	batch   []T
	rows    int64 // written and batched
	inGroup int64 // weight of the rows in the row group
	group   int64 // weight at which a row group is closed
	err     error // sticky
	closed  bool
}

const sinkBatch = 256

func newSink[T any](fsys fileSystem, name string, schema *parquet.Schema, pageBytes int, group int64) (*sink[T], error) {
	f, err := fsys.Create(name)
	if err != nil {
		return nil, err
	}
	s := &sink[T]{
		name: name, group: group,
		out:   &hashingFile{file: f, hash: blake3.New()},
		batch: make([]T, 0, sinkBatch),
	}
	s.writer = parquet.NewGenericWriter[T](s.out, writerOptions(schema, pageBytes)...)
	return s, nil
}

// add takes a row of some weight. What the row refers to must stay as it is
// until flush has been called; full says that it is time.
func (s *sink[T]) add(row T, weight int64) (full bool) {
	s.batch = append(s.batch, row)
	s.rows++
	s.inGroup += weight
	return len(s.batch) == cap(s.batch) || s.inGroup >= s.group
}

// flush hands the batch to the writer.
func (s *sink[T]) flush() error {
	if s.err != nil {
		return s.err
	}
	if s.err = s.guard(func() error {
		if _, err := s.writer.Write(s.batch); err != nil {
			return err
		}
		if s.inGroup >= s.group {
			s.inGroup = 0
			return s.writer.Flush()
		}
		return nil
	}); s.err != nil {
		s.err = fmt.Errorf("writing %s: %w", s.name, s.err)
	}
	clear(s.batch)
	s.batch = s.batch[:0]
	return s.err
}

// close finishes and syncs the file.
func (s *sink[T]) close() (storedFile, error) {
	if s.closed {
		return storedFile{}, errors.New("closed twice")
	}
	err := s.flush()
	if err == nil {
		if err = s.guard(s.writer.Close); err == nil {
			err = s.out.file.Sync()
		}
		if err != nil {
			err = fmt.Errorf("writing %s: %w", s.name, err)
		}
	}
	s.closed = true
	if cerr := s.out.file.Close(); err == nil && cerr != nil {
		err = fmt.Errorf("writing %s: %w", s.name, cerr)
	}
	s.err = err
	return storedFile{Rows: s.rows, Bytes: s.out.bytes, Blake3: hex.EncodeToString(s.out.hash.Sum(nil))}, err
}

// abandon closes the file without finishing it.
func (s *sink[T]) abandon() {
	if !s.closed {
		s.closed = true
		s.out.file.Close() // the file is removed next
	}
}

// guard turns the library's panics into errors: none is known, none may cost a snapshot's process.
func (s *sink[T]) guard(f func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the Parquet library failed: %v", r)
		}
	}()
	return f()
}
