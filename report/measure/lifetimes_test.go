package measure

import (
	"context"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// The union of any kept snapshots, out of the lifetimes, equals the union of
// what the model's snapshots hold.
func TestLifetimesGiveEveryUnion(t *testing.T) {
	dir := t.TempDir()
	runs := 0
	rapid.Check(t, func(r *rapid.T) {
		runs++
		nights := randomNights(r)
		b := book(t, fmt.Sprintf("%s/%d", dir, runs), nights)
		lives, err := Lifetimes(context.Background(), b, 0)
		must(t, err)
		for kept := 1; kept < 1<<len(nights); kept++ {
			want := set{}
			for i, n := range nights {
				if kept>>i&1 == 1 {
					for c := range alive(n) {
						want[c] = true
					}
				}
			}
			var bytes, packed, chunks int64
			for _, l := range lives {
				held := false
				for _, s := range l.Alive {
					for n := s.From; n < s.To; n++ {
						held = held || kept>>(n-1)&1 == 1
					}
				}
				if held {
					bytes += l.Bytes
					packed += l.Packed
					chunks += l.Chunks
				}
			}
			var wantPacked int64
			for c := range want {
				wantPacked += tokenPacked(c)
			}
			if bytes != sum(want) || chunks != int64(len(want)) || packed != wantPacked {
				r.Fatalf("kept %b: %d bytes in %d chunks, %d packed; want %d, %d, %d", kept, bytes, chunks, packed, sum(want), len(want), wantPacked)
			}
		}
		for i, n := range nights {
			want, _, _ := oracleExplain(n)
			var files, refs int64
			for _, l := range lives {
				for _, s := range l.Alive {
					if s.From <= i+1 && i+1 < s.To {
						files += l.Files
						refs += l.References
					}
				}
			}
			if files != want.Files || refs != want.References {
				r.Fatalf("snapshot %d: %d files, %d references; want %d, %d", i+1, files, refs, want.Files, want.References)
			}
		}
	})
}
