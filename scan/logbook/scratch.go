package logbook

import (
	"errors"
	"io"
)

// scratchName is swept like all that is half-written.
const scratchName = tempPrefix + "scratch"

// Scratch is a file beside the segments for what a scan can not hold in memory
// meanwhile, under the lock.
type Scratch struct {
	book *Book
	name string
	out  writeFile
	in   readFile
}

// Scratch makes the file, 0600, in place of one of the same use. Remove it in the end.
func (b *Book) Scratch(use string) (*Scratch, error) {
	s := &Scratch{book: b, name: b.dir + "/" + scratchName + "-" + use}
	if err := removeIfThere(b.fs, s.name); err != nil {
		return nil, err
	}
	var err error
	s.out, err = b.fs.Create(s.name)
	return s, err
}

// Write is io.Writer's.
func (s *Scratch) Write(p []byte) (int, error) {
	n, err := s.out.Write(p)
	if err == nil && n < len(p) {
		err = io.ErrShortWrite
	}
	return n, err
}

// Reader reads from the beginning what was written so far. It is good until the
// next call of Reader, or Remove.
func (s *Scratch) Reader() (io.Reader, error) {
	if s.in != nil {
		s.in.Close()
	}
	var err error
	if s.in, err = s.book.fs.Open(s.name); err != nil {
		s.in = nil
		return nil, err
	}
	return io.NewSectionReader(s.in, 0, s.in.Size()), nil
}

// At reads anywhere in what was written so far, good until Reader or Remove is called.
func (s *Scratch) At() (io.ReaderAt, error) {
	if s.in == nil {
		if _, err := s.Reader(); err != nil {
			return nil, err
		}
	}
	return s.in, nil
}

// Remove closes the file and takes it away. What can not be removed is swept by
// the next scan.
func (s *Scratch) Remove() error {
	err := s.out.Close()
	if s.in != nil {
		err = errors.Join(err, s.in.Close())
	}
	return errors.Join(err, s.book.fs.Remove(s.name))
}
