package outside

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"tidemark/report/measure"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// TestSeveralHosts: three hosts' logbooks under one key lie side by side, and a
// fourth under a key of its own that nothing can be said of.
func TestSeveralHosts(t *testing.T) {
	engine(t)
	dir := t.TempDir()
	hosts := []string{"bench", "office", "saw"}
	place := func(host string) string { return filepath.Join(dir, "books", host) }
	key := filepath.Join(dir, "key")
	createBook(t, place(hosts[0]), key)
	createBook(t, place(hosts[1]), key)
	createBook(t, place(hosts[2]), key)
	createBook(t, place("stranger"), "")

	x := newRandomTree(t, "", 11)
	everywhere, twoHosts := x.bytes(300_000), x.bytes(200_000)
	zeros := make([]byte, 1<<20+8192)
	for i, host := range append(hosts, "stranger") {
		tree := filepath.Join(dir, "trees", host)
		in := func(name string) string { return filepath.Join(tree, name) }
		write(t, in("a/same.dat"), everywhere)
		write(t, in("a/same-again.dat"), everywhere)
		write(t, in("b/own.dat"), x.bytes(100_000+i*10_000))
		write(t, in("c/part.dat"), append(x.bytes(5_000+i*3_000), everywhere[50_000:250_000]...))
		if i < 2 {
			write(t, in("c/two.dat"), twoHosts)
			write(t, in("c/zeros.dat"), append(x.bytes(20_000), zeros...))
		}
		for n := 1; n <= 3; n++ {
			o := scan.Options{Reread: true, Taken: monday.Add(time.Duration(n) * 24 * time.Hour)}
			if host != "stranger" {
				o.KeyFile = key
			}
			if n == 1 {
				o.Roots = []scan.RootArg{{Label: "share", Path: tree}}
			}
			if n == 2 && i == 1 { // what one host no longer holds is not in common
				must(t, os.Remove(in("a/same.dat")))
				must(t, os.Remove(in("c/two.dat")))
				write(t, in("a/same-again.dat"), everywhere[:150_000])
				write(t, in("b/late.dat"), twoHosts[100_000:])
			}
			if n == 3 && i == 2 { // … and what one comes to hold is
				write(t, in("b/own.dat"), append(x.bytes(300), twoHosts...))
			}
			measureNight(t, place(host), o)
		}
		audit(t, place(host))
	}

	var sides []measure.Side
	for _, host := range hosts {
		b, err := logbook.Open(place(host))
		must(t, err)
		sides = append(sides, measure.Side{Book: b})
	}
	want, err := measure.Common(t.Context(), sides)
	must(t, err)
	answers := ask(t, filepath.Join(dir, "books")+"/*", "common", "union", "explain", "recorded")

	got := map[string]string{}
	for _, r := range answers["common"] {
		pair := filepath.Base(text(r["a"])) + " and " + filepath.Base(text(r["b"]))
		got[pair] = fmt.Sprint(text(r["common_bytes"]), " ", text(r["common_chunks"]), " ", text(r["common_file_bytes"]))
	}
	for _, p := range want.Pairs {
		pair := hosts[p.A] + " and " + hosts[p.B]
		if figures := fmt.Sprint(p.Bytes, " ", p.Chunks, " ", p.FileBytes); got[pair] != figures {
			t.Errorf("%s: %s by the program, %q by the other engine", pair, figures, got[pair])
		}
		if p.Bytes == 0 || p.Bytes == p.FileBytes {
			t.Errorf("%s: nothing to tell apart: %+v", pair, p)
		}
		delete(got, pair)
	}
	if len(got) > 0 || len(want.Pairs) != 3 {
		t.Errorf("more pairs by the other engine: %v", got)
	}

	found := 0
	for _, r := range answers["union"] {
		if text(r["logbooks"]) == "1" {
			continue // the stranger
		}
		found++
		if u, s, a := fmt.Sprint(want.UnionBytes), fmt.Sprint(want.SavedBytes), fmt.Sprint(want.AllBytes); text(r["logbooks"]) != "3" ||
			text(r["union_bytes"]) != u || text(r["saved_bytes"]) != s || text(r["all_bytes"]) != a {
			t.Errorf("union %s, saved %s, held by all %s by the program; by the other engine %v", u, s, a, r)
		}
	}
	if found != 1 || len(answers["union"]) != 2 || want.AllBytes == 0 || want.SavedBytes == 0 {
		t.Errorf("stores: %v, %+v", answers["union"], want)
	}
	for _, s := range want.Sides {
		told := false
		for _, r := range answers["explain"] {
			if r["logbook"] == filepath.ToSlash(s.Book.Dir()) && text(r["snapshot"]) == fmt.Sprint(s.Snapshot) {
				told = text(r["unique_bytes"]) == fmt.Sprint(s.UniqueBytes)
			}
		}
		if !told {
			t.Errorf("%s: unique_bytes of a side by the program: %d", s.Book.Dir(), s.UniqueBytes)
		}
	}
}
