package chunk

import (
	"encoding/binary"
	"io"
	"math/bits"

	"github.com/zeebo/blake3"
)

// gearSeed is what the gear table is made from: its 256 entries are the first
// 2048 bytes of the unkeyed BLAKE3 extendable output of this string, eight
// bytes each, little-endian. Another seed would be another chunking.
const gearSeed = "tidemark gear table 1"

var gearTable = newGearTable()

func newGearTable() *[256]uint64 {
	h := blake3.New()
	_, _ = h.WriteString(gearSeed) // never fails
	d := h.Digest()
	var table [256]uint64
	var b [8]byte
	for i := range table {
		_, _ = d.Read(b[:])
		table[i] = binary.LittleEndian.Uint64(b[:])
	}
	return &table
}

// gear cuts by the gear hash of Xia et al., "FastCDC" (USENIX ATC 2016) and
// "The Design of Fast Content-Defined Chunking" (IEEE TPDS 2020), from which
// the skipped minimum and the two bytes a step come too.
//
// hash = hash·2 + table[byte] forgets a byte after 64 steps. Each byte's entry
// has been shifted by its age, so the top bits depend on the whole window of 64
// bytes and the bottom bits on the youngest few: a chunk ends where the top
// Params.Bits bits are zero. One plain test of leading zeros, instead of the
// paper's two masks, makes ends nest: every further zero bit halves them, which
// Level counts.
type gear struct {
	in       *stretches
	bits     int
	min, max int
	limit    uint64 // a hash below it ends the chunk
	carry    []byte // of an unfinished chunk, until the next batch

	// Of the unfinished chunk:
	hash  uint64
	seen  int   // its length so far that was looked at; 0: less than min
	end   int   // its length once it is known
	level Level // of its end, if there is one
}

func newGear(in *stretches, p Params) *gear {
	return &gear{in: in, bits: p.Bits(), min: p.Min, max: p.Max, limit: 1 << (64 - p.Bits())}
}

func (g *gear) begin() {
	g.carry = g.carry[:0]
	g.reset()
}

func (g *gear) reset() { g.seen, g.end = 0, 0 }

func (g *gear) fill(b *Batch) (ended bool, err error) {
	if b.room() < len(g.carry)+worthFilling {
		return false, nil // never for an empty batch, so that there is progress
	}
	start := len(b.Buf)
	b.Buf = append(b.Buf, g.carry...)
	g.carry = g.carry[:0]
	for {
		if b.room() < worthFilling {
			g.carry = append(g.carry, b.Buf[start:]...)
			b.Buf = b.Buf[:start]
			return false, nil
		}
		n, err := g.in.Read(b.Buf[len(b.Buf):cap(b.Buf)])
		b.Buf = b.Buf[:len(b.Buf)+n]
		switch {
		case err == io.EOF:
			if start < len(b.Buf) {
				b.add(start, len(b.Buf)-start, g.in.last())
			}
			return true, nil
		case err != nil:
			b.Buf = b.Buf[:start]
			return false, err
		}
		start = g.cut(b, start)
	}
}

// cut appends the chunks that begin at start and returns where the unfinished
// one begins. One that ends with the bytes at hand counts as unfinished: only
// what follows tells whether it is the last of its stretch.
func (g *gear) cut(b *Batch, start int) int {
	for {
		data := b.Buf[start:]
		n := g.length(data)
		if n == 0 || n == len(data) {
			return start
		}
		b.add(start, n, g.level)
		start += n
		g.reset()
	}
}

// length returns the length of the chunk that data begins with, or 0 if it
// goes on behind them. Until reset, data must only grow from call to call.
func (g *gear) length(data []byte) int {
	if g.end > 0 || len(data) < g.min {
		return g.end
	}
	if g.seen == 0 {
		// No end before min, so the hash need not start before its window.
		g.hash = gearSum(0, data[g.min-window:g.min])
		g.seen = g.min
		if g.hash < g.limit {
			return g.found(g.min)
		}
	}
	reach := min(len(data), g.max)
	var n int
	n, g.hash = gearScan(data[g.seen:reach], g.hash, g.limit)
	if n > 0 {
		return g.found(g.seen + n)
	}
	g.seen = reach
	if reach == g.max {
		g.end, g.level = g.max, LevelNone
	}
	return g.end
}

func (g *gear) found(n int) int {
	g.end = n
	g.level = Level(bits.LeadingZeros64(g.hash) - g.bits)
	return n
}

// gearSum rolls hash over data.
func gearSum(hash uint64, data []byte) uint64 {
	for _, c := range data {
		hash = hash<<1 + gearTable[c]
	}
	return hash
}

// gearScan rolls hash over data up to the first byte at which it is below
// limit. It returns the number of bytes up to there, or 0 if there is none, and
// the hash at the last byte it came to.
//
// Two bytes a step: their entries are joined first, beside the chain from hash
// to hash, which then is half as long. A block in which some hash is below the
// limit is gone through again byte by byte. The steps are written out: as a loop
// they take a quarter more time.
func gearScan(data []byte, hash, limit uint64) (int, uint64) {
	table := gearTable
	rest := data
	for len(rest) >= gearBlock {
		p := (*[gearBlock]byte)(rest)
		one0, two0 := gearStep(table, hash, p[0], p[1])
		if one0 < limit || two0 < limit {
			break
		}
		one1, two1 := gearStep(table, two0, p[2], p[3])
		if one1 < limit || two1 < limit {
			break
		}
		one2, two2 := gearStep(table, two1, p[4], p[5])
		if one2 < limit || two2 < limit {
			break
		}
		one3, two3 := gearStep(table, two2, p[6], p[7])
		if one3 < limit || two3 < limit {
			break
		}
		one4, two4 := gearStep(table, two3, p[8], p[9])
		if one4 < limit || two4 < limit {
			break
		}
		one5, two5 := gearStep(table, two4, p[10], p[11])
		if one5 < limit || two5 < limit {
			break
		}
		one6, two6 := gearStep(table, two5, p[12], p[13])
		if one6 < limit || two6 < limit {
			break
		}
		one7, two7 := gearStep(table, two6, p[14], p[15])
		if one7 < limit || two7 < limit {
			break
		}
		hash = two7
		rest = rest[gearBlock:]
	}
	at := len(data) - len(rest)
	for i, c := range rest {
		hash = hash<<1 + table[c]
		if hash < limit {
			return at + i + 1, hash
		}
	}
	return 0, hash
}

// gearBlock is how many bytes gearScan takes at a time.
const gearBlock = 16

// gearStep rolls hash over two bytes: one is the hash at the first of them.
func gearStep(table *[256]uint64, hash uint64, a, b byte) (one, two uint64) {
	e := table[a]
	return hash<<1 + e, hash<<2 + (e<<1 + table[b])
}
