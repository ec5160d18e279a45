package measure

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// checkSome is rapid.Check with a share of the usual number of runs, for
// properties that write several logbooks each time.
func checkSome(t *testing.T, share float64, prop func(*rapid.T)) {
	t.Helper()
	f := flag.Lookup("rapid.checks")
	usual := f.Value.String()
	n, err := strconv.Atoi(usual)
	must(t, err)
	must(t, f.Value.Set(strconv.Itoa(max(int(float64(n)*share), 1))))
	defer func() { must(t, f.Value.Set(usual)) }()
	rapid.Check(t, prop)
}

// slowRule is a rule beside its meaning in other words.
type slowRule struct {
	Rule
	names func(name string, f mFile) bool // by "label/path"
	back  bool
	one   func(path string, folder bool) bool // of a pattern: whether it names just this path
}

func (s slowRule) patternAlone() bool { return s.Pattern != "" && s.Rule == Rule{Pattern: s.Pattern} }

func relative(name string) string {
	_, p, _ := strings.Cut(name, "/")
	return p
}

func slowRules() []slowRule {
	clock := func(n int64) time.Time { return time.Unix(0, n) }
	return []slowRule{
		{
			Rule: Rule{Pattern: "*.txt"}, names: func(n string, _ mFile) bool { return strings.HasSuffix(n, ".txt") },
			one: func(p string, _ bool) bool { return strings.HasSuffix(p, ".txt") },
		},
		{
			Rule: Rule{Pattern: "/d"}, names: func(n string, _ mFile) bool { return strings.HasPrefix(relative(n)+"/", "d/") },
			one: func(p string, _ bool) bool { return p == "d" },
		},
		{
			Rule: Rule{Pattern: "e/"}, names: func(n string, _ mFile) bool { return slices.Contains(strings.Split(path.Dir(relative(n)), "/"), "e") },
			one: func(p string, folder bool) bool { return folder && path.Base(p) == "e" },
		},
		{Rule: Rule{Pattern: "[xw]*"}, names: func(n string, _ mFile) bool {
			return slices.ContainsFunc(strings.Split(relative(n), "/"), func(c string) bool { return c[0] == 'x' || c[0] == 'w' })
		}, one: func(p string, _ bool) bool { return strings.ContainsAny(path.Base(p)[:1], "xw") }},
		{
			Rule: Rule{Pattern: "!y.txt"}, names: func(n string, _ mFile) bool { return path.Base(n) == "y.txt" }, back: true,
			one: func(p string, _ bool) bool { return path.Base(p) == "y.txt" },
		},
		{Rule: Rule{Folder: "a/d"}, names: func(n string, _ mFile) bool { return strings.HasPrefix(n, "a/d/") }},
		{Rule: Rule{Folder: "b"}, names: func(n string, _ mFile) bool { return strings.HasPrefix(n, "b/") }},
		{Rule: Rule{Ending: "txt"}, names: func(n string, _ mFile) bool { return strings.HasSuffix(strings.ToLower(n), ".txt") }},
		{Rule: Rule{Ending: NoEnding}, names: func(n string, _ mFile) bool {
			b := path.Base(n)
			return !strings.Contains(strings.TrimSuffix(b[1:], "."), ".")
		}},
		{Rule: Rule{LargerThan: 60_000}, names: func(_ string, f mFile) bool { return f.size() > 60_000 }},
		{Rule: Rule{SmallerThan: 40_000, Folder: "a"}, names: func(n string, f mFile) bool { return f.size() < 40_000 && n[0] == 'a' }},
		{Rule: Rule{MtimeBefore: clock(1006)}, names: func(_ string, f mFile) bool { return f.mtime < 1006 }},
		{Rule: Rule{MtimeAfter: clock(1004), Pattern: "*.jpg"}, names: func(n string, f mFile) bool { return f.mtime >= 1004 && strings.HasSuffix(n, ".jpg") }},
	}
}

// slowKeeps says whether a file stays. Of the patterns that stand alone the last
// one that names a path decides; what lies in a folder that is named goes with
// it. Any other rule adds to what is named.
func slowKeeps(rules []slowRule, keepOnly bool, name string, f mFile) bool {
	if len(rules) == 0 {
		return true
	}
	named := false
	parts := strings.Split(relative(name), "/")
	for i := 1; i <= len(parts) && !named; i++ {
		for _, r := range rules {
			if r.patternAlone() && r.one(strings.Join(parts[:i], "/"), i < len(parts)) {
				named = !r.back
			}
		}
	}
	for _, r := range rules {
		named = named || !r.patternAlone() && r.names(name, f)
	}
	return named == keepOnly
}

func filter(nights []mNight, keeps func(string, mFile) bool) (out []mNight) {
	for _, n := range nights {
		kept := mNight{}
		for name, f := range n {
			if keeps(name, f) {
				kept[name] = f
			}
		}
		out = append(out, kept)
	}
	return truthful(out)
}

// TestWhatIfIsAFreshLogbook: leaving files out by a selection gives, to the
// byte, what a logbook says that was written without them.
func TestWhatIfIsAFreshLogbook(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	dir, runs, ctx := t.TempDir(), 0, context.Background()
	profiles := []*engine.Profile{
		nil,
		{PerChunkBytes: 7, PerReferenceBytes: 3, PerFileBytes: 100},
		{PerChunkBytes: 7, Compression: engine.Strong},
		{Unit: engine.WholeFile, PerFileBytes: 10, Compression: engine.None},
		{Unit: engine.ContentDefined, AverageBytes: 64 << 10, PerReferenceBytes: 3},
		{SeparateDevices: true},
		{EncryptBeforeChunking: true, PerFileBytes: 100},
		{EncryptBeforeChunking: true, Unit: engine.WholeFile},
	}
	checkSome(t, 0.2, func(r *rapid.T) {
		runs++
		nights := truthful(randomNights(r))
		rules := rapid.SliceOfN(rapid.SampledFrom(slowRules()), 0, 4).Draw(r, "rules")
		sel := Selection{KeepOnly: rapid.Bool().Draw(r, "keep only")}
		for _, rule := range rules {
			sel.Rules = append(sel.Rules, rule.Rule)
		}
		o := Options{Profile: rapid.SampledFrom(profiles).Draw(r, "profile")}
		b := writeBook(t, fmt.Sprintf("%s/%d", dir, runs), params, tokenNights(nights))
		got, err := WhatIf(ctx, b, 0, sel, o)
		must(t, err)

		kept := filter(nights, func(name string, f mFile) bool { return slowKeeps(rules, sel.KeepOnly, name, f) })
		fresh := writeBook(t, fmt.Sprintf("%s/%d-kept", dir, runs), params, tokenNights(kept))
		own := !otherUnits(b, o.Profile)
		// What any retention would hold: the same chunks and files in the same snapshots.
		late := sel
		late.Profile = o.Profile
		lives, err := LifetimesOf(ctx, b, 0, late)
		must(t, err)
		want, err := LifetimesFor(ctx, fresh, 0, o.Profile)
		must(t, err)
		if got, want := byStay(lives), byStay(want); !maps.Equal(got, want) {
			r.Fatalf("lifetimes:\n got %v\nwant %v", got, want)
		}
		for _, c := range []struct {
			what string
			book *logbook.Book
			got  *Explain
		}{{"before", b, got.Before}, {"after", fresh, got.After}} {
			want, err := ForProfile(ctx, c.book, 0, o.Profile, o)
			must(t, err)
			if fmt.Sprintf("%+v", c.got.ExplainTotals) != fmt.Sprintf("%+v", want.Explain.ExplainTotals) || c.got.StoredBytes != want.Explain.StoredBytes {
				r.Fatalf("%s, profile %+v:\n got %+v, stored %d\nwant %+v, stored %d", c.what, o.Profile, c.got.ExplainTotals, c.got.StoredBytes, want.Explain.ExplainTotals, want.Explain.StoredBytes)
			}
			sameSplits(r, c.what, c.got.ByFolder, want.Explain.ByFolder)
			sameSplits(r, c.what, c.got.ByType, want.Explain.ByType)
			if !own && len(nights) > 1 && c.what == "after" && got.AfterNewCompressed != want.NewCompressedBytes {
				r.Fatalf("after: %d new, want %+v", got.AfterNewCompressed, want)
			}
		}
		if !own {
			return
		}
		var saved int64
		for i := 1; i < len(nights); i++ {
			for _, c := range []struct {
				book *logbook.Book
				got  Night
			}{{b, got.BeforeNights[i-1]}, {fresh, got.AfterNights[i-1]}} {
				want, err := ChangeBetween(ctx, c.book, i, i+1, Options{})
				must(t, err)
				if c.got != want.Nights[0] {
					r.Fatalf("night %d: %+v, want %+v", i, c.got, want.Nights[0])
				}
			}
			saved += got.BeforeNights[i-1].NewBytes - got.AfterNights[i-1].NewBytes
		}
		if n := len(nights); n > 1 {
			all, err := ChangeBetween(ctx, fresh, 1, n, Options{})
			must(t, err)
			// What travels, as a change of the fresh logbook has it.
			for _, c := range []struct {
				book *logbook.Book
				got  int64
			}{{b, got.BeforeUpload}, {fresh, got.AfterUpload}} {
				want, _, err := ChangeFor(ctx, c.book, 1, n, o)
				must(t, err)
				if c.got != want.UploadBytes {
					r.Fatalf("profile %+v: %d travel, want %d", o.Profile, c.got, want.UploadBytes)
				}
			}
			if from := rapid.IntRange(1, n-1).Draw(r, "from"); n > 2 {
				late := sel
				late.From = from
				part, err := WhatIf(ctx, b, 0, late, o)
				must(t, err)
				want, _, err := ChangeFor(ctx, fresh, from, n, o)
				must(t, err)
				if part.AfterUpload != want.UploadBytes || part.AfterNew != want.NewBytes || part.NightlyNights != n-from || len(part.AfterNights) != n-from {
					r.Fatalf("from %d: %+v, want %+v", from, part, want)
				}
			}
			packed, _, _ := packedAs(o.Profile, all.NewCompressedBytes, 0, 0, all.NewBytes)
			if got.AfterNewCompressed != packed || got.NightlyNights != n-1 || got.SavedNightlyBytes != nightly(saved, n-1) {
				r.Fatalf("nights: %+v, want %d compressed, %d saved", got, all.NewCompressedBytes, saved)
			}
		} else if got.SavedNightlyBytes != -1 {
			r.Fatalf("a night was saved of none")
		}
		if len(rules) > 0 && len(nights) > 1 && !rules[0].back {
			// What a rule alone spares the line is what it does where it is the only one.
			only, err := WhatIf(ctx, b, 0, Selection{Rules: sel.Rules[:1], KeepOnly: sel.KeepOnly}, o)
			must(t, err)
			if want := only.BeforeUpload - only.AfterUpload; got.Rules[0].SavedUploadBytes != want {
				r.Fatalf("rule %+v alone spares %d, want %d", rules[0].Rule, got.Rules[0].SavedUploadBytes, want)
			}
		}
		checkRules(r, nights, rules, sel.KeepOnly, got, o.Profile)
	})
}

// byStay adds lifetimes up by when they were there.
func byStay(list []Lifetime) map[string][4]int64 {
	out := map[string][4]int64{}
	for _, l := range list {
		key := fmt.Sprint(l.Alive)
		sum := out[key]
		for i, n := range []int64{l.Bytes, l.Chunks, l.References, l.Files} {
			sum[i] += n
		}
		out[key] = sum
	}
	return out
}

func sameSplits(r *rapid.T, what string, got, want []ExplainSplit) {
	by := func(s []ExplainSplit) map[string]ExplainSplit {
		m := map[string]ExplainSplit{}
		for _, x := range s {
			m[x.Name] = x
		}
		return m
	}
	if !maps.Equal(by(got), by(want)) {
		r.Fatalf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

// checkRules holds each rule alone against the oracle on the tree without it.
func checkRules(r *rapid.T, nights []mNight, rules []slowRule, keepOnly bool, got *WhatIfResult, p *engine.Profile) {
	cur := nights[len(nights)-1]
	totals := func(nights []mNight) (stored, unique, fresh int64) {
		e, _, _ := oracleExplain(nights[len(nights)-1])
		for i := 1; i < len(nights); i++ {
			fresh += oracleChange(nights[:i], nights[i]).news
		}
		mid, _, _ := packedAs(p, e.CompressedBytes, 0, 0, e.UniqueBytes)
		return mid + p.Overhead(e.UniqueChunks, e.References, e.Files), e.UniqueBytes, fresh
	}
	stored, unique, fresh := totals(nights)
	for i, rule := range rules {
		var want RuleResult
		ever := set{}
		for _, n := range nights {
			for name, f := range n {
				if rule.names(name, f) {
					ever[name] = true
				}
			}
		}
		for name, f := range cur {
			if rule.names(name, f) && !f.neverRead {
				want.Files++
				want.Bytes += f.size()
			}
		}
		alone := filter(nights, func(name string, f mFile) bool {
			return rule.back || slowKeeps(rules[i:i+1], keepOnly, name, f)
		})
		aloneStored, aloneUnique, aloneFresh := totals(alone)
		want = RuleResult{
			Rule: rule.Rule, Files: want.Files, Bytes: want.Bytes, EverFiles: int64(len(ever)),
			SavedUniqueBytes: unique - aloneUnique, SavedBytes: stored - aloneStored, StoredKnown: true, SavedNewBytes: fresh - aloneFresh,
			SavedNightlyBytes: nightly(fresh-aloneFresh, len(nights)-1),
		}
		got.Rules[i].SavedUploadBytes, got.Rules[i].UploadKnown = 0, false // held by the caller
		if got.Rules[i] != want {
			r.Fatalf("rule %+v alone:\n got %+v\nwant %+v", rule.Rule, got.Rules[i], want)
		}
	}
}

func TestSelectionErrors(t *testing.T) {
	at := time.Unix(1, 0)
	for _, c := range []struct {
		rules []Rule
		want  string
	}{
		{[]Rule{{}}, "rule 1 names nothing"},
		{[]Rule{{Pattern: "ok"}, {Pattern: "a//b"}}, "pattern 2"},
		{[]Rule{{Pattern: "[a"}}, "pattern 1"},
		{[]Rule{{Pattern: "!x", LargerThan: 1}}, "rule 1"},
		{[]Rule{{LargerThan: 9, SmallerThan: 10}}, "rule 1"},
		{[]Rule{{LargerThan: -1}}, "negative"},
		{[]Rule{{MtimeBefore: at, MtimeAfter: at}}, "modified"},
		{make([]Rule, MaxRules+1), "at most 60"},
	} {
		_, err := newChooser(Selection{Rules: c.rules})
		if !errors.Is(err, logbook.ErrUsage) || !strings.Contains(fmt.Sprint(err), c.want) {
			t.Errorf("%+v: %v, want %q", c.rules, err, c.want)
		}
	}
}

func TestIDBits(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		span := idSpan{3, 3 + rapid.Int64Range(1, 300).Draw(r, "span")}
		a, b := newIDBits(span), newIDBits(span)
		slow := [2]map[int64]bool{{}, {}}
		span.end-- // the last id of the span
		for range rapid.IntRange(0, 6).Draw(r, "adds") {
			first := rapid.Int64Range(span.first, span.end).Draw(r, "first")
			n := rapid.Int64Range(0, span.end-first+1).Draw(r, "n")
			i := rapid.IntRange(0, 1).Draw(r, "set")
			[]*idBits{&a, &b}[i].add(first, n)
			for id := first; id < first+n; id++ {
				slow[i][id] = true
			}
		}
		first := rapid.Int64Range(span.first, span.end).Draw(r, "first")
		n := rapid.Int64Range(0, span.end-first+1).Draw(r, "n")
		var got, want []int64
		missing(&a, &b, first, n, func(id int64) { got = append(got, id) })
		for id := first; id < first+n; id++ {
			if a.has(id) != slow[0][id] {
				r.Fatalf("has(%d) = %v", id, a.has(id))
			}
			if !slow[0][id] && !slow[1][id] {
				want = append(want, id)
			}
		}
		if !slices.Equal(got, want) {
			r.Fatalf("missing %v, want %v", got, want)
		}
	})
}
