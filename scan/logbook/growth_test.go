package logbook

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"tidemark/chunk"
)

// growingBook is a logbook in memory with chunks of 1 MiB on average.
func growingBook(t testing.TB) (*memFiles, chunk.Key) {
	t.Helper()
	fsys := newMemFiles()
	params, err := chunk.NewParams(chunk.Gear, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	b, err := create(fsys, memDir, CreateOptions{Params: params})
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	return fsys, key
}

func night(n int) Segment {
	return Segment{Taken: time.Date(2031, 1, 1, 1, 0, 0, 0, time.UTC).AddDate(0, 0, n)}
}

// A machine image of 100 GiB with 300 scattered writes a night: kilobytes a night,
// on the 300th as well, although the image is ever more scattered. (The sizes are
// this project's own aim.)
func TestScatteredImageGrowsByKilobytes(t *testing.T) {
	// A fifth of it: footers and indexes, some 5 kB a night, do not shrink with it.
	if night := scatteredImage(t, 20_000, 60); night > 10e3 {
		t.Errorf("%.0f bytes a night", night)
	}
}

func BenchmarkScatteredImage(b *testing.B) {
	for range b.N {
		night := scatteredImage(b, 100_000, 300)
		b.ReportMetric(night, "bytes/night")
		if night > 32e3 {
			b.Errorf("%.0f bytes a night", night)
		}
	}
}

// scatteredImage plays 300 nights of so many writes, scattered over so many
// chunks of 1 MiB, and returns the bytes a night that the entries took.
func scatteredImage(t testing.TB, chunks, writes int) float64 {
	const nights, length = 300, 1 << 20
	fsys, key := growingBook(t)
	rng := rand.New(rand.NewPCG(8, 8))
	pieces := make([]piece, chunks)
	now := Entry{Label: "vm", Path: []byte("image.raw"), Size: int64(chunks) * length}
	var old *Entry
	var total, most, last int64
	for n := range nights + 1 {
		b, err := open(fsys, memDir)
		if err != nil {
			t.Fatal(err)
		}
		p, err := b.Begin(key)
		if err != nil {
			t.Fatal(err)
		}
		changed := rng.Perm(chunks)
		if n > 0 {
			changed = changed[:writes]
		}
		slices.Sort(changed)
		for _, i := range changed {
			id, err := p.AddChunk(fakePrint(uint64(n*chunks+i)), length, chunk.NotMeasured, 0)
			if err != nil {
				t.Fatal(err)
			}
			pieces[i] = piece{id, length}
		}
		now.Recipe = runsOf(pieces)
		now.Contents = Contents{1, byte(n), byte(n >> 8)}
		if err := p.Put(&now, old); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Commit(night(n)); err != nil {
			t.Fatal(err)
		}
		before := now
		if runs := p.stored.Runs; old != nil && runs < int64(len(now.Recipe)) {
			before.Chain = old.Chain + runs
		}
		old = &before
		if n > 0 {
			size := p.stored.Files.Bytes
			total += size
			if old.Chain > 0 {
				most, last = max(most, size), size
			}
		}
	}
	t.Logf("%d runs; %.1f kB a night, %.1f kB the last, at most %.1f kB but for full copies",
		len(now.Recipe), float64(total)/nights/1e3, float64(last)/1e3, float64(most)/1e3)
	if bound := 5e3 + 30*float64(writes); float64(most) > bound {
		t.Errorf("a night of %d writes took %d bytes, more than %.0f", writes, most, bound)
	}
	if len(now.Recipe) < chunks/2 {
		t.Errorf("the image is in %d pieces only: nothing was tested", len(now.Recipe))
	}
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	for e, err := range b.Listing(context.Background(), nights+1, true) {
		if err != nil {
			t.Fatal(err)
		}
		if e.Chain != old.Chain || !slices.Equal(e.Recipe, now.Recipe) {
			t.Error("the recipe that was read is not the one that was written")
		}
	}
	return float64(total) / nights
}

// Four months of nights that each change three files in a hundred: what reading the last
// state takes is bounded by the entries, not by the nights, and the complete
// listings that see to it take no more than the nights themselves.
func TestReadingAStateDoesNotGrowWithTheNights(t *testing.T) {
	was := listingFloor
	listingFloor = 50
	defer func() { listingFloor = was }()
	const files, nights, each = 100, 120, 3
	fsys, key := growingBook(t)
	rng := rand.New(rand.NewPCG(9, 9))
	entries := make([]Entry, files)
	listings := 0
	var inNights, inListings int64
	for n := range nights {
		b, err := open(fsys, memDir)
		if err != nil {
			t.Fatal(err)
		}
		p, err := b.Begin(key)
		if err != nil {
			t.Fatal(err)
		}
		changed := rng.Perm(files)
		if n > 0 {
			changed = changed[:each]
		}
		slices.Sort(changed)
		for _, i := range changed {
			old := entries[i]
			e := Entry{Label: "a", Path: []byte{'a' + byte(i/20), '/', 'a' + byte(i%20)}, NeverRead: true, How: Unread, MtimeNs: int64(n), Size: int64(i)}
			var before *Entry
			if n > 0 {
				before = &old
			}
			if err := p.Put(&e, before); err != nil {
				t.Fatal(err)
			}
			entries[i] = e
		}
		if _, err := p.Commit(night(n)); err != nil {
			t.Fatal(err)
		}
		if b, err = open(fsys, memDir); err != nil {
			t.Fatal(err)
		}
		m, err := b.newMerge(context.Background(), n+1, n+1, false)
		if err != nil {
			t.Fatal(err)
		}
		var rows int64
		for _, r := range m.all {
			rows += r.of.rows
		}
		m.close()
		if rows > 3*files+each {
			t.Fatalf("night %d: a state is read from %d rows for %d entries", n, rows, files)
		}
		stored := &b.refs[n].doc.Stored
		if n > 0 {
			inNights += stored.Files.Rows
		}
		if stored.Listing != nil {
			listings++
			inListings += stored.Listing.Rows
		}
	}
	if listings == 0 || inListings > inNights {
		t.Errorf("%d listings of %d rows beside %d rows of the nights", listings, inListings, inNights)
	}
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for e, err := range b.Listing(context.Background(), nights, false) {
		if err != nil {
			t.Fatal(err)
		}
		if e.MtimeNs != entries[i].MtimeNs || e.Size != int64(i) {
			t.Errorf("entry %d is of night %d, want %d", i, e.MtimeNs, entries[i].MtimeNs)
		}
		i++
	}
	checkClean(t, fsys, memDir)
}
