package scan

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// pieces holds a file's pieces until its reading is known to count: ids are
// given only then, so that a reading that is thrown away leaves no trace. A
// chunk takes pieceBytes; beyond spillAfter pieces they are put aside in a file
// beside the logbook's segments, which holds fingerprints and lengths only.
type pieces struct {
	book  *logbook.Book
	limit int // pieces in list at most
	list  []held
	spill *logbook.Scratch
	out   *bufio.Writer
	count int64 // in spill
}

type held struct {
	print  chunk.Fingerprint // of zeros: their number in the first 8 bytes
	len    int32             // 0: zeros
	packed int32
	level  chunk.Level
}

const (
	pieceBytes = 25
	spillAfter = 1 << 17
)

func (p *pieces) reset() {
	p.list = p.list[:0]
	if p.spill != nil {
		p.drop()
	}
}

func (p *pieces) drop() {
	p.spill.Remove() // what stays is swept by the next scan
	p.spill, p.out, p.count = nil, nil, 0
}

func (p *pieces) add(c *chunk.Piece) error {
	h := held{len: int32(c.Len), print: c.Print, packed: c.Packed, level: c.Level}
	if c.Zeros > 0 {
		h = held{}
		binary.LittleEndian.PutUint64(h.print[:], uint64(c.Zeros))
	}
	p.list = append(p.list, h)
	if len(p.list) < p.limit {
		return nil
	}
	return p.putAside()
}

func (p *pieces) putAside() error {
	if p.spill == nil {
		f, err := p.book.Scratch("chunks")
		if err != nil {
			return fmt.Errorf("putting a large file's chunk list aside: %w", err)
		}
		p.spill, p.out = f, bufio.NewWriterSize(f, 64<<10)
	}
	var b [pieceBytes]byte
	for i := range p.list {
		h := &p.list[i]
		copy(b[:16], h.print[:])
		binary.LittleEndian.PutUint32(b[16:], uint32(h.len))
		binary.LittleEndian.PutUint32(b[20:], uint32(h.packed))
		b[24] = byte(h.level)
		if _, err := p.out.Write(b[:]); err != nil {
			return fmt.Errorf("putting a large file's chunk list aside: %w", err)
		}
	}
	p.count += int64(len(p.list))
	p.list = p.list[:0]
	return nil
}

// all is how many pieces there are.
func (p *pieces) all() int64 { return p.count + int64(len(p.list)) }

// each calls use for every piece, in order.
func (p *pieces) each(use func(*held) error) error {
	if p.spill != nil {
		if err := p.out.Flush(); err != nil {
			return fmt.Errorf("putting a large file's chunk list aside: %w", err)
		}
		file, err := p.spill.Reader()
		if err != nil {
			return fmt.Errorf("reading a large file's chunk list back: %w", err)
		}
		in := bufio.NewReaderSize(file, 64<<10)
		var b [pieceBytes]byte
		for range p.count {
			if _, err := io.ReadFull(in, b[:]); err != nil {
				return fmt.Errorf("reading a large file's chunk list back: %w", err)
			}
			h := held{
				len:    int32(binary.LittleEndian.Uint32(b[16:])),
				packed: int32(binary.LittleEndian.Uint32(b[20:])),
				level:  chunk.Level(int8(b[24])),
			}
			copy(h.print[:], b[:16])
			if err := use(&h); err != nil {
				return err
			}
		}
	}
	for i := range p.list {
		if err := use(&p.list[i]); err != nil {
			return err
		}
	}
	return nil
}

func (h *held) zeros() int64 {
	if h.len > 0 {
		return 0
	}
	return int64(binary.LittleEndian.Uint64(h.print[:]))
}
