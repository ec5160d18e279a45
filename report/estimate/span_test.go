package estimate

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"tidemark/report/engine"
)

// stays pairs numbers up.
func stays(at ...int) []Interval {
	var out []Interval
	for i := 0; i < len(at); i += 2 {
		out = append(out, Interval{From: at[i], To: at[i+1]})
	}
	return out
}

// genSpans makes spans over so many snapshots, some of which come and go.
func genSpans(rt *rapid.T, snapshots int) []Span {
	out := make([]Span, rapid.IntRange(0, 30).Draw(rt, "spans"))
	for i := range out {
		s := &out[i]
		at := rapid.IntRange(1, snapshots).Draw(rt, "from")
		for at <= snapshots {
			to := rapid.IntRange(at+1, snapshots+1).Draw(rt, "to")
			s.Alive = append(s.Alive, Interval{From: at, To: to})
			if len(s.Alive) == 3 || rapid.IntRange(0, 2).Draw(rt, "back") > 0 {
				break
			}
			at = to + rapid.IntRange(1, 4).Draw(rt, "gap")
		}
		s.Bytes = rapid.Int64Range(0, 1000).Draw(rt, "bytes")
		s.Packed = rapid.Int64Range(-1, s.Bytes).Draw(rt, "packed")
		s.Chunks = rapid.Int64Range(0, 5).Draw(rt, "chunks")
		s.References = rapid.Int64Range(0, 5).Draw(rt, "references")
		s.Files = rapid.Int64Range(0, 5).Draw(rt, "files")
		s.Source = rapid.IntRange(0, 3).Draw(rt, "source")
		s.FirstSeen = rapid.IntRange(0, 5).Draw(rt, "seen") == 0
	}
	return out
}

func genProfile(rt *rapid.T) *engine.Profile {
	if rapid.Bool().Draw(rt, "bare") {
		return nil
	}
	return &engine.Profile{
		PerChunkBytes: 40, PerReferenceBytes: 8, PerFileBytes: 300,
		Compression: rapid.SampledFrom([]engine.Compression{engine.None, engine.Light}).Draw(rt, "compression"),
	}
}

// snapshotSet is what one snapshot holds, as a set of span indices.
func snapshotSet(spans []Span, n int) map[int]bool {
	out := map[int]bool{}
	for i, s := range spans {
		for _, iv := range s.Alive {
			for at := iv.From; at < iv.To; at++ {
				if at == n {
					out[i] = true
				}
			}
		}
	}
	return out
}

// bruteStored adds up the union of sets.
func bruteStored(spans []Span, kept []int, p *engine.Profile) int64 {
	union := map[int]bool{}
	for _, n := range kept {
		for i := range snapshotSet(spans, n) {
			union[i] = true
		}
	}
	var sum int64
	for i := range union {
		s := spans[i]
		if s.Packed >= 0 && (p == nil || p.Compression != engine.None) {
			sum += s.Packed
		} else {
			sum += s.Bytes
		}
		if p != nil {
			sum += s.Chunks*p.PerChunkBytes + s.References*p.PerReferenceBytes + s.Files*p.PerFileBytes
		}
	}
	return sum
}

// TestStoredAgainstSets holds the exact replay against the union of sets: the
// stored size, what each kept version costs, each snapshot alone, the history
// night after night, with a cap and without, and a logbook cut short.
func TestStoredAgainstSets(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		nights := genNights(rt, 25)
		spans, policy, p := genSpans(rt, len(nights)), genPolicy(rt), genProfile(rt)
		var days []int
		for _, night := range nights {
			days = append(days, dateOf(night).number())
		}
		kept := numbers(policy.Kept(nights))
		all := bruteStored(spans, kept, p)
		if got := StoredBytes(spans, kept, p); got != all {
			rt.Fatalf("stored %d, want %d", got, all)
		}
		for i, got := range ExclusiveBytes(spans, kept, p) {
			var others []int
			for k, n := range kept {
				if k != i {
					others = append(others, n)
				}
			}
			if want := all - bruteStored(spans, others, p); got != want {
				rt.Fatalf("snapshot %d alone frees %d, want %d", kept[i], got, want)
			}
		}
		for i, got := range liveBytes(spans, len(nights), p) {
			if want := bruteStored(spans, []int{i + 1}, p); got != want {
				rt.Fatalf("snapshot %d holds %d, want %d", i+1, got, want)
			}
		}
		for i, got := range history(spans, days, policy, 0, p) {
			if want := bruteStored(spans, numbers(policy.Kept(nights[:i+1])), p); got != want {
				rt.Fatalf("after snapshot %d stored %d, want %d", i+1, got, want)
			}
		}
		n := rapid.IntRange(1, len(nights)).Draw(rt, "cut")
		short := upTo(spans, n)
		for i := 1; i <= n; i++ {
			if got, want := bruteStored(short, []int{i}, p), bruteStored(spans, []int{i}, p); got != want {
				rt.Fatalf("cut at %d, snapshot %d holds %d, want %d", n, i, got, want)
			}
		}
		for _, s := range short {
			if s.gone() > n+1 {
				rt.Fatalf("cut at %d: %v", n, s.Alive)
			}
		}
	})
}

func TestCapAgainstSets(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		nights := genNights(rt, 20)
		spans, p := genSpans(rt, len(nights)), genProfile(rt)
		policy := Policy{Last: rapid.IntRange(1, 12).Draw(rt, "last")}
		most := rapid.Int64Range(1, 8000).Draw(rt, "most")
		var days []int
		for _, night := range nights {
			days = append(days, dateOf(night).number())
		}
		got := history(spans, days, policy, most, p)
		for n := 1; n <= len(nights); n++ {
			kept := numbers(policy.Kept(nights[:n]))
			for len(kept) > 1 && bruteStored(spans, kept, p) > most {
				kept = kept[1:]
			}
			if want := bruteStored(spans, kept, p); got[n-1] != want {
				rt.Fatalf("after snapshot %d stored %d, want %d", n, got[n-1], want)
			}
			once := capped(upTo(spans, n), numbers(policy.Kept(nights[:n])), most, p)
			if len(once) != len(kept) || once[0] != kept[0] {
				rt.Fatalf("capped at %d: %v, want %v", most, once, kept)
			}
		}
	})
}

// TestReturningAgainstSets: what comes back is sent again if no version kept on
// the night before holds it.
func TestReturningAgainstSets(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		nights := genNights(rt, 25)
		spans, policy, p := genSpans(rt, len(nights)), genPolicy(rt), genProfile(rt)
		var days []int
		for _, night := range nights {
			days = append(days, dateOf(night).number())
		}
		got := returningBytes(spans, days, policy, p)
		for n := 1; n <= len(nights); n++ {
			want := int64(0)
			for i := range snapshotSet(spans, n) {
				alone := spans[i : i+1]
				if spans[i].born() < n && bruteStored(alone, []int{n - 1}, p) == 0 && bruteStored(alone, numbers(policy.Kept(nights[:n-1])), p) == 0 {
					want += bruteStored(alone, []int{n}, p)
				}
			}
			if got[n-1] != want {
				rt.Fatalf("snapshot %d brings back %d, want %d", n, got[n-1], want)
			}
		}
	})
}

func TestStoredOfNothing(t *testing.T) {
	if got := StoredBytes(nil, []int{1, 2}, nil); got != 0 {
		t.Errorf("no spans store %d", got)
	}
	if got := StoredBytes([]Span{{Alive: stays(1, 3), Packed: 5}}, nil, nil); got != 0 {
		t.Errorf("no snapshots store %d", got)
	}
	if got := (Policy{Daily: 3}).Kept([]time.Time{}); got != nil {
		t.Errorf("no nights keep %v", got)
	}
}
