package measure

import (
	"encoding/binary"
	"iter"

	"tidemark/scan/logbook"
)

// stepLog keeps the steps of a night in walk order, packed: thirty to seventy
// bytes where a step takes three hundred, so that a night on which a million
// files go, or get other names, fits into little memory. What comes out of it
// answers every question that a night asks of a step, but not more: times are
// only equal or not, and contents are stand-ins (see contentsBook).
type stepLog struct {
	blocks [][]byte // of whole steps
	n      int
	at     stepPlace
}

// stepPlace is what the next step is told relative to.
type stepPlace struct {
	file          int32
	before, after int64 // ids after the last run
}

const stepBlock = 64 << 10

const (
	beforeKnown = 1 << iota
	beforeFile
	beforeUnread
	afterKnown
	afterFile
	afterUnread
	afterFirst
	afterAppended
	sameMtime
	sameCtime
	stepNamed
)

// add packs s. Nothing of it is kept. The contents in it are stand-ins.
func (l *stepLog) add(s *step) {
	k := len(l.blocks) - 1
	if k < 0 || len(l.blocks[k]) > stepBlock-256 {
		if k >= 0 && cap(l.blocks[k]) > 2*stepBlock {
			l.blocks[k] = append([]byte(nil), l.blocks[k]...)
		}
		l.blocks = append(l.blocks, make([]byte, 0, stepBlock))
		k++
	}
	l.blocks[k] = l.at.pack(l.blocks[k], s)
	l.n++
}

func (p *stepPlace) pack(out []byte, s *step) []byte {
	b, a := &s.before, &s.after
	flags := uint64(0)
	for i, set := range [...]bool{
		b.known, b.file, b.unread, a.known, a.file, a.unread, a.first, a.appended,
		b.mtime == a.mtime, b.ctime == a.ctime, s.name != nameHash{},
	} {
		if set {
			flags |= 1 << i
		}
	}
	out = binary.AppendUvarint(out, flags)
	if b.file {
		out = binary.AppendUvarint(out, uint64(b.size))
	}
	if b.known {
		out = binary.AppendUvarint(out, uint64(idOf(b.contents)))
		out = packRuns(out, b.runs, &p.before)
	}
	if a.file {
		out = binary.AppendVarint(out, int64(s.file-p.file))
		p.file = s.file
		out = binary.AppendUvarint(out, uint64(a.size))
		out = binary.AppendUvarint(out, uint64(a.zeros))
	}
	if a.known {
		out = binary.AppendUvarint(out, uint64(idOf(a.contents)))
		out = packRuns(out, a.runs, &p.after)
	}
	if flags&stepNamed != 0 {
		out = binary.LittleEndian.AppendUint64(out, s.name.path)
		out = binary.LittleEndian.AppendUint64(out, s.name.stem)
		out = binary.LittleEndian.AppendUint32(out, s.name.last)
	}
	return out
}

func packRuns(out []byte, runs []idRun, end *int64) []byte {
	out = binary.AppendUvarint(out, uint64(len(runs)))
	for _, r := range runs {
		out = binary.AppendVarint(out, r.first-*end)
		out = binary.AppendUvarint(out, uint64(r.n))
		*end = r.first + r.n
	}
	return out
}

// all yields the steps in order, each valid until the next.
func (l *stepLog) all() iter.Seq2[int, *step] {
	return func(yield func(int, *step) bool) {
		var at stepPlace
		var s step
		var r packed
		i := 0
		for _, block := range l.blocks {
			for r.rest = block; len(r.rest) > 0; i++ {
				at.unpack(&r, &s)
				if !yield(i, &s) {
					return
				}
			}
		}
	}
}

func (p *stepPlace) unpack(r *packed, s *step) {
	beforeRuns, afterRuns := s.before.runs[:0], s.after.runs[:0]
	flags := r.uvarint()
	has := func(f uint64) bool { return flags&f != 0 }
	*s = step{
		file: noFile,
		before: state{
			known: has(beforeKnown), file: has(beforeFile), unread: has(beforeUnread), runs: beforeRuns,
		},
		after: state{
			known: has(afterKnown), file: has(afterFile), unread: has(afterUnread),
			first: has(afterFirst), appended: has(afterAppended), runs: afterRuns,
		},
	}
	b, a := &s.before, &s.after
	if !has(sameMtime) {
		b.mtime = 1
	}
	if !has(sameCtime) {
		b.ctime = 1
	}
	if b.file {
		b.size = int64(r.uvarint())
	}
	if b.known {
		b.contents = standIn(int32(r.uvarint()))
		b.runs = r.runs(b.runs, &p.before)
	}
	if a.file {
		p.file += int32(r.varint())
		s.file = p.file
		a.size = int64(r.uvarint())
		a.zeros = int64(r.uvarint())
	}
	if a.known {
		a.contents = standIn(int32(r.uvarint()))
		a.runs = r.runs(a.runs, &p.after)
	}
	if has(stepNamed) {
		s.name.path = binary.LittleEndian.Uint64(r.rest)
		s.name.stem = binary.LittleEndian.Uint64(r.rest[8:])
		s.name.last = binary.LittleEndian.Uint32(r.rest[16:])
		r.rest = r.rest[20:]
	}
}

// packed is read from its front.
type packed struct{ rest []byte }

func (r *packed) uvarint() uint64 {
	v, n := binary.Uvarint(r.rest)
	r.rest = r.rest[n:]
	return v
}

func (r *packed) varint() int64 {
	v, n := binary.Varint(r.rest)
	r.rest = r.rest[n:]
	return v
}

func (r *packed) runs(out []idRun, end *int64) []idRun {
	for range r.uvarint() {
		first := *end + r.varint()
		n := int64(r.uvarint())
		out = append(out, idRun{first, n})
		*end = first + n
	}
	return out
}

// standIn is a name for contents number id: equal where the contents are.
func standIn(id int32) (c logbook.Contents) {
	binary.LittleEndian.PutUint32(c[:], uint32(id))
	c[len(c)-1] = 1 // never the empty name
	return c
}

func idOf(standIn logbook.Contents) int32 {
	return int32(binary.LittleEndian.Uint32(standIn[:4]))
}
