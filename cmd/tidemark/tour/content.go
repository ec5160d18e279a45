package tour

import (
	"crypto/sha256"
	"encoding/binary"
)

// The books hold what every file consists of without holding its bytes. Each
// stretch of bytes that the generator makes is a mint: made once, unlike any
// other. A file's contents are spans of mints and of zeros. Two files are equal
// exactly if their spans are, and a span was seen before exactly if an earlier
// snapshot held that part of that mint.

type mintID int32

type mint struct {
	maker maker
	arg   int64
	bytes int64
	seen  ranges // parts that some snapshot has held
}

// span is bytes off … off+n−1 of a mint. Mint 0 is zeros, with off 0.
type span struct {
	mint   mintID
	off, n int64
}

type books struct {
	key   uint64
	mints []mint // [0] stands for zeros
}

func newBooks(key uint64) *books {
	return &books{key: key, mints: make([]mint, 1, 1<<14)}
}

// mint records n new bytes and returns them as a span.
func (b *books) mint(m maker, arg, n int64) span {
	b.mints = append(b.mints, mint{maker: m, arg: arg, bytes: n})
	return span{mint: mintID(len(b.mints) - 1), n: n}
}

func (b *books) whole(id mintID) span { return span{mint: id, n: b.mints[id].bytes} }

// make returns the bytes of a whole mint, made again.
func (b *books) make(id mintID) []byte {
	m := &b.mints[id]
	out := make([]byte, m.bytes)
	fill(out, m.maker, b.keyOf(id), m.arg)
	return out
}

func (b *books) keyOf(id mintID) uint64 { return derive(b.key, "mint", int(id)) }

// content is what a file holds. It is never changed once made.
type content struct {
	spans []span // adjoining parts of one mint are joined
	bytes int64
	zeros int64 // in runs of at least minZeroRun, aligned to zeroAlign
	id    [sha256.Size]byte
}

// From these on, zeros are no contents (the rule of the measure, stated in
// the project's design).
const (
	minZeroRun = 1 << 20
	zeroAlign  = 4 << 10
)

func zeroSpan(n int64) span { return span{n: n} }

func newContent(spans []span) *content {
	c := &content{}
	for _, s := range spans {
		if s.n == 0 {
			continue
		}
		if k := len(c.spans); k > 0 {
			last := &c.spans[k-1]
			if last.mint == s.mint && (s.mint == 0 || last.off+last.n == s.off) {
				last.n += s.n
				continue
			}
		}
		c.spans = append(c.spans, s)
	}
	h := sha256.New()
	var b [20]byte
	for _, s := range c.spans {
		binary.LittleEndian.PutUint32(b[:], uint32(s.mint))
		binary.LittleEndian.PutUint64(b[4:], uint64(s.off))
		binary.LittleEndian.PutUint64(b[12:], uint64(s.n))
		h.Write(b[:])
		if s.mint == 0 {
			lo := (c.bytes + zeroAlign - 1) / zeroAlign * zeroAlign
			hi := (c.bytes + s.n) / zeroAlign * zeroAlign
			if hi-lo >= minZeroRun {
				c.zeros += hi - lo
			}
		}
		c.bytes += s.n
	}
	h.Sum(c.id[:0])
	return c
}

// patched returns the contents with the bytes from each offset on replaced. The
// offsets ascend; the replacements neither overlap nor reach beyond the end.
func (c *content) patched(at []int64, with []span) []span {
	out := make([]span, 0, len(c.spans)+2*len(at))
	pos := int64(0) // of old in the file
	done := int64(0)
	for _, old := range c.spans {
		end := pos + old.n
		for len(at) > 0 && at[0] < end {
			if at[0] > done {
				out = append(out, old.part(done-pos, at[0]-done))
			}
			out = append(out, with[0])
			done = at[0] + with[0].n
			at, with = at[1:], with[1:]
		}
		if done < end {
			out = append(out, old.part(done-pos, end-done))
			done = end
		}
		pos = end
	}
	return out
}

func (s span) part(from, n int64) span {
	if s.mint == 0 {
		return zeroSpan(n)
	}
	return span{s.mint, s.off + from, n}
}

// begins says whether c is the beginning of later, and shorter.
func (c *content) begins(later *content) bool {
	if c.bytes >= later.bytes {
		return false
	}
	for i, s := range c.spans {
		if i >= len(later.spans) {
			return false
		}
		t := later.spans[i]
		if i == len(c.spans)-1 && t.n > s.n {
			t.n = s.n
		}
		if s != t {
			return false
		}
	}
	return true
}

// ranges is a set of numbers as sorted, disjoint, non-adjoining ranges.
type ranges []struct{ from, to int64 }

// add puts from … to−1 into the set and calls fresh for each part that was not
// in it, in order.
func (r *ranges) add(from, to int64, fresh func(from, to int64)) {
	for _, old := range *r {
		if old.from <= from && to <= old.to {
			return
		}
	}
	var out ranges
	joined := struct{ from, to int64 }{from, to}
	at := from
	for _, old := range *r {
		if old.to < joined.from || old.from > joined.to {
			out = append(out, old)
			continue
		}
		if at < min(old.from, to) {
			fresh(at, old.from)
		}
		at = max(at, old.to)
		joined.from, joined.to = min(joined.from, old.from), max(joined.to, old.to)
	}
	if at < to {
		fresh(at, to)
	}
	i := 0
	for i < len(out) && out[i].from < joined.from {
		i++
	}
	out = append(out, joined)
	copy(out[i+1:], out[i:])
	out[i] = joined
	*r = out
}
