package logbook

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"tidemark/chunk/alloctest"
)

// Whatever a few bytes in a Parquet file claim, with the hash to it, reading the
// logbook allocates about what reading it undamaged does: lengths are held to
// what the file can have before they are believed.
func TestReadingAllocatesInProportion(t *testing.T) {
	lowerListingFloor(t)
	base := tinyBook(t, 3)
	read := func(fsys *memFiles, name string, data []byte) int64 {
		a, err := startAudit(context.Background(), fsys, memDir)
		if err != nil {
			t.Fatal(err)
		}
		s := &a.book.refs[2].doc.Stored
		at := map[string]*storedFile{filesName: &s.Files, chunksName: &s.Chunks, listingName: s.Listing}[name]
		at.Bytes, at.Blake3 = int64(len(data)), hexSum(data)
		return alloctest.Bytes(func() {
			for _, step := range []func() error{a.prove, a.chunks, a.rows} {
				if err := step(); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
	tried := 0
	for _, name := range []string{filesName, chunksName, listingName} {
		place := memDir + "/000003/" + name
		whole := bytes.Clone(base.node(place).data)
		usual := read(base, name, whole)
		for at := 0; at < len(whole); at += 1 + len(whole)/150 {
			for _, to := range []byte{0x7f, 0xff} {
				fsys := base.clone()
				data := bytes.Clone(whole)
				for i := at; i < min(at+4, len(data)); i++ {
					data[i] = to
				}
				fsys.set(t, place, data)
				tried++
				// One page may unpack into looseBytes beside what it says it has.
				if got := read(fsys, name, data); got > 3*usual+16*looseBytes {
					t.Errorf("%s, byte %d as %#x: %d bytes allocated, %d undamaged", name, at, to, got, usual)
				}
			}
		}
	}
	t.Logf("%d files", tried)
}

// Summaries and patterns cost a fixed number of times their own length.
func TestTextAllocatesInProportion(t *testing.T) {
	for name, c := range map[string]struct {
		parse func(text string)
		text  string
	}{
		"nested lists":  {func(s string) { unseal([]byte(s), new(segmentFile)) }, strings.Repeat("[", 1<<20)},
		"many numbers":  {func(s string) { unsealed(s) }, `{"format":1,"number":1,"scope":{"roots":[` + strings.Repeat("{},", 1<<18) + `{}]}}`},
		"a long label":  {func(s string) { unsealed(s) }, `{"format":1,"scope":{"roots":[{"label":"` + strings.Repeat("a", 1<<20) + `"}]}}`},
		"nested unseal": {func(s string) { unsealed(s) }, `{"format":1,"scope":` + strings.Repeat(`{"roots":[`, 1<<16)},
		"patterns":      {func(s string) { ParsePatterns([]string{s}) }, strings.Repeat("{a,", 1<<18)},
		"stars":         {func(s string) { ParsePatterns([]string{s}) }, strings.Repeat("**/", 1<<18)},
		"classes":       {func(s string) { ParsePatterns([]string{s}) }, strings.Repeat("[", 1<<20)},
	} {
		if got := alloctest.Bytes(func() { c.parse(c.text) }); got > 200*int64(len(c.text))+1<<20 {
			t.Errorf("%s: %d bytes allocated for %d", name, got, len(c.text))
		}
	}
}

// unsealed decodes a summary that is sealed as it should be.
func unsealed(body string) {
	data := append([]byte(strings.TrimSuffix(body, "}")), sealName...)
	data = append(append(data, hexSum(data, []byte(sealEnd))...), sealEnd...)
	unseal(data, new(segmentFile))
}
