package scan

import (
	"bytes"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Names come out in the order of their raw bytes, whatever they begin with.
func TestNamesSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prefix := rapid.SampledFrom([]string{"", "a", "prefix-of-eight-and-more-bytes", "\xff\xff"}).Draw(t, "prefix")
		list := rapid.SliceOfNDistinct(rapid.SliceOfN(rapid.ByteRange(1, 255).Filter(func(b byte) bool { return b != '/' }), 1, 12),
			0, 50, func(b []byte) string { return string(b) }).Draw(t, "names")
		var n names
		var want []string
		for _, name := range list {
			full := append([]byte(prefix), name...)
			n.add(full, typeFile)
			if s := string(full); s != "." && s != ".." {
				want = append(want, s)
			}
		}
		n.sort()
		slices.Sort(want) // Go strings compare by bytes
		var got []string
		for i := range n.refs {
			got = append(got, string(n.at(i)))
			if end := n.refs[i].off + int(n.refs[i].len); n.arena[end] != 0 {
				t.Fatalf("no NUL behind %q", n.at(i))
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%q, not %q", got, want)
		}
	})
}

func TestNamesLeaveOut(t *testing.T) {
	var n names
	for _, s := range []string{"", ".", "..", "a/b", "/", "ok", "..."} {
		n.add([]byte(s), typeFile)
	}
	n.sort()
	if len(n.refs) != 2 || !bytes.Equal(n.at(0), []byte("...")) || !bytes.Equal(n.at(1), []byte("ok")) {
		t.Fatalf("%+v", n.refs)
	}
}

func BenchmarkNamesSort(b *testing.B) {
	for b.Loop() {
		var n names
		for i := range uint64(10_000) {
			x := i * 2654435761 % 1_000_000
			n.add([]byte{'i', 'm', 'g', byte('0' + x/100000), byte('0' + x/10000%10), byte('0' + x/1000%10), byte('0' + x/100%10), byte('0' + x/10%10), byte('0' + x%10)}, typeFile)
		}
		n.sort()
	}
}
