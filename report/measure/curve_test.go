package measure

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// slowUnits cuts a file of tokens at a coarser average, by the definition: ends
// of enough surplus bits, and of those one bit short the share that the law
// draws; none within the minimum; at the maximum the last base end before it.
func slowUnits(f mFile, p chunk.Params, k int) (units []string) {
	law := newCoarseLaw(p, k)
	var parts []string
	var n int64
	flush := func() {
		if len(parts) > 0 {
			units = append(units, strings.Join(parts, "|"))
		}
		parts, n = nil, 0
	}
	for _, tok := range f.tokens {
		if tok[0] == 'z' {
			flush()
			continue
		}
		length := tokenLen(tok)
		if n > 0 && n+length > law.max && k > 0 {
			flush()
		}
		parts = append(parts, tok)
		n += length
		print := tokenPrint(tok)
		draw := uint64(print[8] >> 1)
		level := tokenLevel(tok)
		if level == chunk.LevelEnd { // here it does not end a file
			for level = 0; level < 7 && draw>>level&1 == 0; level++ {
			}
		}
		level = min(level, factLevelTop)
		strongEnough := level >= chunk.Level(k) || level == chunk.Level(k-1) && draw < law.odds
		if k == 0 || n >= law.max || n >= law.min && strongEnough {
			flush()
		}
	}
	flush()
	return units
}

func unitBytes(u string) (n int64) {
	for tok := range strings.SplitSeq(u, "|") {
		n += tokenLen(tok)
	}
	return n
}

// wholeUnit is a file as one unit: contents, and none without a chunk.
func wholeUnit(f mFile) []string {
	if len(chunksOf(f)) == 0 {
		return nil
	}
	return []string{f.contents()}
}

type slowPoint struct {
	unique, references, fresh, returning int64
	units, freshUnits                    int64
}

// slowCurve measures the last of nights, cut by units.
func slowCurve(nights []mNight, units func(mFile) []string, length func(string) int64) (s slowPoint) {
	cur := nights[len(nights)-1]
	all := func(n mNight) set {
		out := set{}
		for _, f := range n {
			if !f.neverRead {
				for _, u := range units(f) {
					out[u] = true
				}
			}
		}
		return out
	}
	for _, f := range cur {
		if !f.neverRead && !f.hardlink {
			s.references += int64(len(units(f)))
		}
	}
	for u := range all(cur) {
		s.units++
		s.unique += length(u)
	}
	if len(nights) == 1 {
		return s
	}
	seen := set{}
	for _, n := range nights[:len(nights)-1] {
		for u := range all(n) {
			seen[u] = true
		}
	}
	prev := nights[len(nights)-2]
	before := all(prev)
	changed := set{}
	for name, f := range cur {
		old, was := prev[name]
		if f.neverRead || f.unread && was && !old.neverRead || f.firstSeen || was && old.neverRead {
			continue
		}
		if was && old.contents() == f.contents() {
			continue
		}
		for _, u := range units(f) {
			changed[u] = true
		}
	}
	for u := range changed {
		switch {
		case !seen[u]:
			s.freshUnits++
			s.fresh += length(u)
		case !before[u]:
			s.returning += length(u)
		}
	}
	return s
}

// TestCurveAgainstOracle holds every point of random nights against sets of
// whole units, and the first one against Explain and Change.
func TestCurveAgainstOracle(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	dir := t.TempDir()
	runs := 0
	ctx := context.Background()
	checkSome(t, 0.3, func(r *rapid.T) {
		runs++
		nights := truthful(randomNights(r))
		b := writeBook(t, fmt.Sprintf("%s/%d", dir, runs), params, tokenNights(nights))
		snapshot := rapid.IntRange(1, len(nights)).Draw(r, "snapshot")
		c, err := Curve(ctx, b, snapshot, Options{})
		must(t, err)
		for k, p := range c.Points {
			cut := func(f mFile) []string { return slowUnits(f, params, k) }
			length := unitBytes
			if p.Method == WholeFiles {
				cut = wholeUnit
				length = func(u string) (n int64) {
					for tok := range strings.SplitSeq(u, "|") {
						if tok[0] != 'z' {
							n += tokenLen(tok)
						}
					}
					return n
				}
			}
			want := slowCurve(nights[:snapshot], cut, length)
			if p.UniqueBytes != want.unique || p.UniqueChunks != want.units || p.References != want.references {
				r.Fatalf("snapshot %d, point %d: %+v, want %+v", snapshot, k, p, want)
			}
			if snapshot > 1 && (p.NewChunks != want.freshUnits || p.ReturningBytes != want.returning || p.NewBytes >= 0 && p.NewBytes != want.fresh) {
				r.Fatalf("snapshot %d, point %d: %+v, want %+v", snapshot, k, p, want)
			}
			if p.UniqueLowBytes > p.UniqueBytes || p.UniqueHighBytes < p.UniqueBytes || p.StoredLowBytes > p.StoredBytes || p.StoredHighBytes < p.StoredBytes {
				r.Fatalf("a range without its figure: %+v", p)
			}
			// Nesting: whole files never save more than chunks (Meyer & Bolosky,
			// FAST'11; El-Shimi et al., ATC'12), and derived chunks are unions of
			// base chunks.
			if p.UniqueBytes < c.Points[0].UniqueBytes || p.UniqueBytes > c.Points[len(c.Points)-1].UniqueBytes {
				r.Fatalf("point %d does not nest: %+v", k, c.Points)
			}
		}
		e, err := ExplainSnapshot(ctx, b, snapshot, Options{})
		must(t, err)
		base, files := c.Points[0], c.Points[len(c.Points)-1]
		if base.UniqueBytes != e.UniqueBytes || base.UniqueChunks != e.UniqueChunks || base.References != e.References || base.CompressedBytes != e.CompressedBytes {
			r.Fatalf("the logbook's own point: %+v, want %+v", base, e)
		}
		if files.UniqueBytes != e.SourceBytes-e.DuplicateFileBytes {
			r.Fatalf("whole files: %d, want %d", files.UniqueBytes, e.SourceBytes-e.DuplicateFileBytes)
		}
		if snapshot > 1 {
			ch, err := ChangeBetween(ctx, b, snapshot-1, snapshot, Options{})
			must(t, err)
			if base.NewBytes != ch.NewBytes || base.NewChunks != ch.NewChunks || base.NewCompressedBytes != ch.NewCompressedBytes || base.ReturningBytes != ch.ReturningBytes {
				r.Fatalf("the logbook's own point: %+v, want %+v", base, ch.ChangeTotals)
			}
		}
	})
}

// TestUnitSet holds the planes and hashes against a map.
func TestUnitSet(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		const ids = 3<<planeBits + 17
		s := newUnitSet(idSpan{5, 5 + ids}, rapid.Bool().Draw(r, "planes"))
		slow := map[string]unitFlags{}
		near := rapid.SampledFrom([]int64{5, 5 + 1<<planeBits - 9, 5 + ids - 20}).Draw(r, "near")
		for range rapid.IntRange(1, 200).Draw(r, "marks") {
			var u unit
			id := near + rapid.Int64Range(0, 12).Draw(r, "first")
			for range rapid.IntRange(1, 6).Draw(r, "chunks") {
				u.add(id, 0)
				if rapid.IntRange(0, 9).Draw(r, "jump") == 0 {
					id -= 2
				} else {
					id++
				}
				id = max(id, 5)
			}
			name := fmt.Sprint(u.hash, u.chunks, u.first)
			u.seal()
			flags := unitFlags(rapid.IntRange(1, 7).Draw(r, "flags"))
			if got := s.mark(&u, flags); got != slow[name] {
				r.Fatalf("%+v had %b, want %b", u, got, slow[name])
			}
			slow[name] |= flags
		}
	})
}

func TestHashSet(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, flags := range []int{1, 3, 8} {
		s := newHashSet(flags)
		slow := map[uint64]uint64{}
		mask := uint64(1)<<flags - 1
		for range 200_000 {
			h := rng.Uint64N(100_000) * 0x9e3779b97f4a7c15
			f := 1 + rng.Uint64N(mask)
			if got := s.mark(h, f); got != slow[h&^mask] {
				t.Fatalf("%x had %b, want %b", h, got, slow[h&^mask])
			}
			slow[h&^mask] |= f
		}
		if s.n != int64(len(slow)) {
			t.Errorf("%d entries, want %d", s.n, len(slow))
		}
	}
}

func TestChunkFact(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		row := logbook.ChunkRow{
			Len:   int32(rapid.OneOf(rapid.Just(1<<factLength), rapid.IntRange(1, 1<<factLength)).Draw(r, "len")),
			Level: chunk.Level(rapid.SampledFrom([]int{-1, 0, 1, 5, 12, 13, 14, 60, 127}).Draw(r, "level")),
		}
		row.Packed = int32(rapid.IntRange(0, int(row.Len)).Draw(r, "packed"))
		row.Print[8] = byte(rapid.IntRange(0, 255).Draw(r, "draw"))
		f := newChunkFact(&row)
		if f.length() != int64(row.Len) || f.packed() != int64(row.Packed) || f.draw() != uint64(row.Print[8]>>1) || !f.known() {
			r.Fatalf("%+v came out as %d, %d, %d", row, f.length(), f.packed(), f.draw())
		}
		if row.Level != chunk.LevelEnd && f.level() != min(row.Level, factLevelTop) {
			r.Fatalf("level %d came out as %d", row.Level, f.level())
		}
	})
}

// TestDerivedLaw cuts the same random data directly and by derivation: mean and
// length-biased mean agree within the sampling error of either, at every
// doubling and with both methods. The law of the direct cut is CHECKS' truncated
// geometric one; without the share of ends one bit short the second figure would
// be 10 to 38 % too high (see coarseLaw), far outside.
func TestDerivedLaw(t *testing.T) {
	const size = 48 << 20
	data := make([]byte, size)
	src := rand.NewChaCha8([32]byte{23})
	_, _ = src.Read(data)
	for _, method := range []chunk.Method{chunk.Gear, chunk.Rabin} {
		base, err := chunk.NewParams(method, chunk.MinAverage)
		must(t, err)
		pieces := newTestCutter(t, base, false).cut(t, data)
		for k := 1; k <= 3; k++ {
			law := newCoarseLaw(base, k)
			var n, sum, squares float64
			var at int64
			for _, p := range pieces {
				if at > 0 && at+p.length > law.max {
					n, sum, squares, at = n+1, sum+float64(at), squares+float64(at)*float64(at), 0
				}
				at += p.length
				row := logbook.ChunkRow{Len: int32(p.length), Packed: p.packed, Level: p.level, Print: p.print}
				if law.ends(newChunkFact(&row), at) {
					n, sum, squares, at = n+1, sum+float64(at), squares+float64(at)*float64(at), 0
				}
			}
			mean, biased := sum/n, squares/sum
			p := law.params
			wantMean, wantBiased := p.MeanSize(), p.SecondMoment()/p.MeanSize()
			deviation := math.Sqrt(p.SecondMoment()-wantMean*wantMean) / math.Sqrt(n)
			// Four standard errors and the law's own residue of 0.5 and 1.3 %.
			if math.Abs(mean-wantMean) > 4*deviation+0.005*wantMean {
				t.Errorf("%s, %d doublings: mean %.0f, a direct cut's is %.0f ± %.0f", method, k, mean, wantMean, deviation)
			}
			if math.Abs(biased-wantBiased) > 0.013*wantBiased+4*2*wantBiased/math.Sqrt(n) {
				t.Errorf("%s, %d doublings: an edit costs %.0f, after a direct cut %.0f", method, k, biased, wantBiased)
			}
			m, sd := law.edit()
			if math.Abs(m-wantBiased) > 0.01*wantBiased || sd < wantMean/2 || sd > 2*wantMean {
				t.Errorf("%s, %d doublings: an edit's mean is %.0f, spread %.0f; by moments %.0f", method, k, m, sd, wantBiased)
			}
		}
	}
}

// directUnique is the unique bytes and chunks of a direct cut, and how many are
// at least as long as its minimum.
func directUnique(t testing.TB, p chunk.Params, files map[string][]byte) (bytes, sized int64, prints map[chunk.Fingerprint]int64) {
	c := newTestCutter(t, p, false)
	prints = map[chunk.Fingerprint]int64{}
	for _, data := range files {
		for _, x := range c.cut(t, data) {
			if x.zeros > 0 {
				continue
			}
			if _, ok := prints[x.print]; !ok {
				bytes += x.length
				if x.length >= int64(p.Min) {
					sized++
				}
			}
			prints[x.print] = x.length
		}
	}
	return bytes, sized, prints
}

// bytesNotIn is how many bytes of a direct cut's chunks another cut lacks.
func bytesNotIn(other, prints map[chunk.Fingerprint]int64) (sum int64) {
	for print, n := range prints {
		if _, ok := other[print]; !ok {
			sum += n
		}
	}
	return sum
}

// wordy is data with repetition of its own: words of a small vocabulary, with
// passages that come again.
func wordy(rng *rand.Rand, n int) []byte {
	var out bytes.Buffer
	words := make([]string, 400)
	for i := range words {
		words[i] = fmt.Sprintf("%x", rng.Uint64N(1<<(8+4*rng.Uint64N(10))))
	}
	for out.Len() < n {
		if out.Len() > 500<<10 && rng.IntN(60_000) == 0 {
			from := rng.IntN(out.Len() - 450<<10)
			out.Write(bytes.Clone(out.Bytes()[from : from+300<<10+rng.IntN(150<<10)]))
		}
		out.WriteString(words[rng.IntN(len(words))])
		out.WriteByte(' ')
	}
	return out.Bytes()[:n]
}

// TestCurveAgainstDirectScans: a tree with repeated passages, long beside a
// chunk, and copies with edits, derived and cut directly at each average. Unique bytes agree within
// 2 % where a thousand chunks have the size (the bound that is asked of the
// curve), new bytes within the range that the point states.
func TestCurveAgainstDirectScans(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	night := map[string][]byte{}
	for i := range 9 {
		night[fmt.Sprintf("a/f%02d.txt", i)] = wordy(rng, 1<<20+rng.IntN(2<<20))
	}
	for i := range 3 {
		data := bytes.Clone(night[fmt.Sprintf("a/f%02d.txt", i)])
		for range 8 {
			at := rng.IntN(len(data))
			data = append(data[:at:at], append([]byte("put in "), data[at:]...)...)
		}
		night[fmt.Sprintf("b/copy%d.txt", i)] = data
	}
	next := map[string][]byte{}
	for _, name := range slices.Sorted(maps.Keys(night)) { // in order: the draws must not depend on the map's
		data := night[name]
		next[name] = data
		if rng.IntN(2) == 0 {
			edited := bytes.Clone(data)
			for range 12 {
				edited[rng.IntN(len(edited))] ^= 1
			}
			next[name] = edited
		}
	}
	for _, method := range []chunk.Method{chunk.Gear, chunk.Rabin} {
		params, err := chunk.NewParams(method, chunk.MinAverage)
		must(t, err)
		b := contentBook(t, t.TempDir(), params, false, []map[string][]byte{night, next})
		c, err := Curve(context.Background(), b, 0, Options{})
		must(t, err)
		judged := 0
		for _, p := range c.Points[1 : len(c.Points)-1] {
			if p.AverageBytes > 32<<10 {
				continue
			}
			direct, err := chunk.NewParams(method, int(p.AverageBytes))
			must(t, err)
			unique, sized, prints := directUnique(t, direct, next)
			_, _, before := directUnique(t, direct, night)
			fresh := bytesNotIn(before, prints)
			off := float64(p.UniqueBytes)/float64(unique) - 1
			t.Logf("%s %d KiB: unique %+.2f %% (%+.2f … %+.2f) of %d chunks, new %d (%d … %d), direct %d, %d edges, mean %d, direct %d",
				method, p.AverageBytes>>10, 100*off, 100*(float64(p.UniqueLowBytes)/float64(p.UniqueBytes)-1), 100*(float64(p.UniqueHighBytes)/float64(p.UniqueBytes)-1), sized, p.NewBytes, p.NewLowBytes, p.NewHighBytes, fresh, p.Edges, p.MeanBytes, unique/int64(len(prints)))
			if sized >= FewSized {
				judged++
				if math.Abs(off) > 0.02 {
					t.Errorf("%s %d: unique bytes %d, a direct scan finds %d", method, p.AverageBytes, p.UniqueBytes, unique)
				}
			} else if unique < p.UniqueLowBytes || unique > p.UniqueHighBytes {
				t.Errorf("%s %d: unique bytes %d … %d, a direct scan finds %d", method, p.AverageBytes, p.UniqueLowBytes, p.UniqueHighBytes, unique)
			}
			if fresh < p.NewLowBytes || fresh > p.NewHighBytes {
				t.Errorf("%s %d: new bytes %d … %d, a direct scan finds %d", method, p.AverageBytes, p.NewLowBytes, p.NewHighBytes, fresh)
			}
		}
		if judged == 0 {
			t.Errorf("%s: no point rests on a thousand chunks", method)
		}
	}
}

// A file whose contents are new as a whole is in every lower bound: no way to cut
// makes it known. The same tree cut
// directly at each average says so too.
func TestCurveHoldsWhatCannotBeAvoided(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 64<<10)
	must(t, err)
	rng := rand.New(rand.NewPCG(5, 6))
	random := func(n int) []byte {
		out := make([]byte, n)
		for i := range out {
			out[i] = byte(rng.Uint32())
		}
		return out
	}
	old := random(6_000_000)
	edited := slices.Clone(old)
	for _, at := range []int{1_000_000, 3_000_000, 5_000_000} {
		copy(edited[at:], random(100))
	}
	const created = 777_777
	first := map[string][]byte{"a/old": old}
	second := map[string][]byte{"a/old": edited, "a/new": random(created)}
	nights := []map[string][]byte{first, second}
	b := contentBook(t, t.TempDir(), params, true, nights)
	c, err := Curve(context.Background(), b, 0, Options{})
	must(t, err)
	for _, p := range c.Points {
		if p.NewLowBytes < created {
			t.Errorf("%s %d: at least %d new, and %d were created", p.Method, p.AverageBytes, p.NewLowBytes, created)
		}
		if p.NewBytes >= 0 && p.NewBytes < p.NewLowBytes || p.NewHighBytes < p.NewLowBytes || p.UploadLowBytes > p.UploadHighBytes {
			t.Errorf("%+v", p)
		}
		if p.Method == WholeFiles {
			continue
		}
		direct := params
		times := int(p.AverageBytes) / params.Average // doublings; products of lengths do not fit into 32 bits
		direct.Average, direct.Min, direct.Max = int(p.AverageBytes), params.Min*times, params.Max*times
		_, _, before := directUnique(t, direct, first)
		_, _, after := directUnique(t, direct, second)
		fresh := bytesNotIn(before, after)
		if fresh < p.NewLowBytes {
			t.Errorf("%d: a direct scan finds %d new, less than %d", p.AverageBytes, fresh, p.NewLowBytes)
		}
	}
}

// Eighths of an octave as the logarithm has them.
func TestEighth(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.Int64Range(1, 1<<rapid.IntRange(1, 36).Draw(r, "bits")).Draw(r, "n")
		if got, want := eighth(n), min(int(8*math.Log2(float64(n))+0.5), len(contextCosts)-1); got != want {
			r.Fatalf("%d: %d, want %d", n, got, want)
		}
	})
}

// Facts read into the room of others are those read into fresh room.
func TestFactsInUsedRoom(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	must(t, err)
	rng := rand.New(rand.NewPCG(3, 3))
	nights := []map[string][]byte{{"a/x": wordy(rng, 300_000)}, {"a/x": wordy(rng, 300_000), "a/y": wordy(rng, 100_000)}}
	b := contentBook(t, t.TempDir(), params, false, nights)
	ctx := context.Background()
	room := slices.Repeat([]chunkFact{math.MaxUint64}, 1<<12)
	for n := 1; n <= len(nights); n++ {
		want, err := loadFacts(ctx, b, n, nil)
		must(t, err)
		got, err := loadFacts(ctx, b, n, room)
		must(t, err)
		if &got.of[0] != &room[0] || !slices.Equal(got.of, want.of) || got.span != want.span {
			t.Errorf("snapshot %d: the facts differ, or have room of their own", n)
		}
	}
}
