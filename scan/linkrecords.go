package scan

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"tidemark/scan/logbook"
)

// linkRecords holds what was learnt of files with several names, by the first
// one, until the further ones are met. A file costs eight bytes here; the rest, of
// which the recipe may be large, is put aside in a file beside the logbook's
// segments once it is more than limit bytes: sizes, times and chunk ids, no names.
type linkRecords struct {
	book  *logbook.Book
	limit int
	at    []int64 // by linkID − 1: where the record begins, or linkNone, linkGone
	tail  []byte  // the end of the records, not put aside yet
	aside int64   // bytes put aside
	file  *logbook.Scratch
	in    window
	buf   [2 * 16]byte // scratch
}

// linksHeld is how many bytes of records stay in memory.
const linksHeld = 1 << 20

const (
	linkNone = -1 - iota // nothing was recorded
	linkGone             // the first name was gone when it was opened: the next one takes its place
)

// linkRecord is a file as recorded for its first name, but for the recipe.
type linkRecord struct {
	unread string        // why it could not be read; "": it was
	entry  logbook.Entry // no label, no path
	was    linkBefore
}

// linkBefore is what the first name held before.
type linkBefore struct {
	size     int64
	contents logbook.Contents
}

const asideStep = "putting what files with several names hold aside"

func (l *linkRecords) set(id linkID, at int64) {
	for int(id) > len(l.at) {
		l.at = append(l.at, linkNone)
	}
	l.at[id-1] = at
}

// gone records that the name that should have been the first was not there.
func (l *linkRecords) gone(id linkID) { l.set(id, linkGone) }

func (l *linkRecords) isGone(id linkID) bool { return int(id) > len(l.at) || l.at[id-1] < 0 }

// unread records why the file could not be read.
func (l *linkRecords) unread(id linkID, why string) error {
	l.set(id, l.end())
	l.tail = binary.AppendUvarint(l.tail, uint64(len(why))+1)
	l.tail = append(l.tail, why...)
	return l.putAside(l.limit)
}

// put records the file as it was read. Nothing of e is kept.
func (l *linkRecords) put(id linkID, e *logbook.Entry, was linkBefore) error {
	l.set(id, l.end())
	b := append(l.tail, 0, byte(e.Kind), byte(e.How), asByte(e.Appended))
	for _, n := range [...]int64{e.Size, e.Allocated, e.MtimeNs, e.CtimeNs, int64(e.Inode), int64(e.Links), e.Zeros, was.size} {
		b = binary.AppendVarint(b, n)
	}
	b = append(append(b, e.Contents[:]...), was.contents[:]...)
	l.tail = binary.AppendUvarint(b, uint64(len(e.Recipe)))
	for i := range e.Recipe {
		r := &e.Recipe[i]
		for _, n := range [...]int64{r.Bytes, r.First, r.Chunks} {
			l.tail = binary.AppendUvarint(l.tail, uint64(n))
		}
		// A large recipe is not gathered first.
		if err := l.putAside(l.limit); err != nil {
			return err
		}
	}
	return l.putAside(l.limit)
}

func asByte(is bool) byte {
	if is {
		return 1
	}
	return 0
}

func (l *linkRecords) end() int64 { return l.aside + int64(len(l.tail)) }

// putAside empties the tail if it is longer than most.
func (l *linkRecords) putAside(most int) error {
	if len(l.tail) <= most {
		return nil
	}
	if l.file == nil {
		f, err := l.book.Scratch("links")
		if err != nil {
			return fmt.Errorf("%s: %w", asideStep, err)
		}
		l.file = f
	}
	if _, err := l.file.Write(l.tail); err != nil {
		return fmt.Errorf("%s: %w", asideStep, err)
	}
	l.aside += int64(len(l.tail))
	l.tail = l.tail[:0]
	return nil
}

// get returns a record that is not gone. The recipe is appended to runs.
func (l *linkRecords) get(id linkID, runs logbook.Recipe) (rec linkRecord, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("reading back what files with several names hold: %w", err)
		}
	}()
	l.in.records, l.in.pos = l, l.at[id-1]
	why, err := l.in.uvarint()
	if err != nil {
		return rec, err
	}
	if why > 0 {
		text := make([]byte, why-1)
		err := l.in.read(text)
		rec.unread = string(text)
		return rec, err
	}
	if err := l.in.read(l.buf[:3]); err != nil {
		return rec, err
	}
	e := &rec.entry
	e.Kind, e.How, e.Appended = logbook.Kind(l.buf[0]), logbook.How(l.buf[1]), l.buf[2] != 0
	var n [8]int64
	for i := range n {
		if n[i], err = l.in.varint(); err != nil {
			return rec, err
		}
	}
	e.Size, e.Allocated, e.MtimeNs, e.CtimeNs = n[0], n[1], n[2], n[3]
	e.Inode, e.Links, e.Zeros, rec.was.size = uint64(n[4]), uint32(n[5]), n[6], n[7]
	if err := l.in.read(l.buf[:]); err != nil {
		return rec, err
	}
	copy(e.Contents[:], l.buf[:])
	copy(rec.was.contents[:], l.buf[len(e.Contents):])
	count, err := l.in.uvarint()
	if err != nil {
		return rec, err
	}
	at := int64(0)
	for range count {
		r := logbook.Run{At: at}
		for _, to := range [...]*int64{&r.Bytes, &r.First, &r.Chunks} {
			n, err := l.in.uvarint()
			if err != nil {
				return rec, err
			}
			*to = int64(n)
		}
		runs = append(runs, r)
		at += r.Bytes
	}
	e.Recipe = runs
	return rec, nil
}

// drop takes the file away. What can not be removed is swept by the next scan.
func (l *linkRecords) drop() {
	if l.file != nil {
		l.file.Remove()
		l.file = nil
	}
}

// window reads records: what was put aside by way of a buffer, for names come in
// about the order in which their files were recorded.
type window struct {
	records *linkRecords
	pos     int64
	buf     []byte // what was put aside from from on
	from    int64
}

const windowBytes = 64 << 10

// next returns some bytes from pos on, at least one.
func (w *window) next() ([]byte, error) {
	l := w.records
	if w.pos >= l.aside {
		if w.pos >= l.end() {
			return nil, io.ErrUnexpectedEOF
		}
		return l.tail[w.pos-l.aside:], nil
	}
	if w.pos < w.from || w.pos >= w.from+int64(len(w.buf)) {
		in, err := l.file.At()
		if err != nil {
			return nil, err
		}
		if w.buf == nil {
			w.buf = make([]byte, 0, windowBytes)
		}
		n, err := in.ReadAt(w.buf[:min(windowBytes, l.aside-w.pos)], w.pos)
		w.buf, w.from = w.buf[:n], w.pos
		if err != nil && !errors.Is(err, io.EOF) {
			w.buf = w.buf[:0]
			return nil, err
		}
		if n == 0 {
			return nil, io.ErrUnexpectedEOF
		}
	}
	return w.buf[w.pos-w.from:], nil
}

func (w *window) read(p []byte) error {
	for len(p) > 0 {
		b, err := w.next()
		if err != nil {
			return err
		}
		n := copy(p, b)
		p, w.pos = p[n:], w.pos+int64(n)
	}
	return nil
}

// ReadByte is io.ByteReader's.
func (w *window) ReadByte() (byte, error) {
	b, err := w.next()
	if err != nil {
		return 0, err
	}
	w.pos++
	return b[0], nil
}

func (w *window) uvarint() (uint64, error) { return binary.ReadUvarint(w) }
func (w *window) varint() (int64, error)   { return binary.ReadVarint(w) }
