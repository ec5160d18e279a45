package logbook

import (
	"context"
	"slices"
	"testing"

	"tidemark/chunk"
)

// Every pattern of measured and not measured chunks, and of files read and never
// read, comes back: the Parquet library loses nulls in some patterns of optional
// fields that are not pointers.
func TestEveryPatternOfNullsComesBack(t *testing.T) {
	const width = 9
	m := newModel(t, 1)
	for pattern := 1; pattern < 1<<width; pattern += 5 {
		p := m.begin(t)
		var want []int32
		var known []bool
		for i := range width {
			packed := chunk.NotMeasured
			if pattern>>i&1 != 0 {
				packed = int32(i + 1)
			}
			want = append(want, packed)
			id, err := p.AddChunk(fakePrint(uint64(i)), 5000, packed, 0)
			if err != nil {
				t.Fatal(err)
			}
			e := Entry{Label: "hall", Path: []byte{'a' + byte(i)}, NeverRead: true, How: Unread}
			if packed != chunk.NotMeasured {
				e = Entry{Label: "hall", Path: e.Path, Size: 5000, Contents: Contents{1}, Recipe: Recipe{{0, 5000, id, 1}}}
			}
			known = append(known, packed != chunk.NotMeasured)
			if err := p.Put(&e, nil); err != nil {
				t.Fatal(err)
			}
		}
		view, err := p.View(m.summary())
		if err != nil {
			t.Fatal(err)
		}
		var got []int32
		for rows, err := range view.ChunkRows(context.Background(), 1, 1) {
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range rows {
				got = append(got, r.Packed)
			}
		}
		var gotKnown []bool
		for e, err := range view.Listing(context.Background(), 1, true) {
			if err != nil {
				t.Fatal(err)
			}
			gotKnown = append(gotKnown, e.Contents != Contents{} && len(e.Recipe) == 1)
		}
		if !slices.Equal(got, want) || !slices.Equal(gotKnown, known) {
			t.Fatalf("pattern %b: got %v %v", pattern, got, gotKnown)
		}
		if err := p.Abort(); err != nil {
			t.Fatal(err)
		}
	}
}
