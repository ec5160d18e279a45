//go:build linux

package scan

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// openNow counts the folders that are really open.
func (c *handles) openNow() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.open
}

func TestHandles(t *testing.T) {
	dir := t.TempDir()
	const depth, limit = 40, 5
	deep := dir
	for i := range depth {
		deep = filepath.Join(deep, fmt.Sprint(i))
	}
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	c := newHandles(limit)
	fd, st, err := openRootFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	root := c.root(fd, st.identity())
	chain := []*handle{root}
	for i := range depth {
		h, _, err := c.child(chain[i], []byte(fmt.Sprint(i)))
		if err != nil {
			t.Fatal(err)
		}
		h.unpin()
		chain = append(chain, h)
	}
	if n := c.openNow(); n > limit {
		t.Fatalf("%d open", n)
	}
	// Whoever comes back to a folder finds it, from several sides at once.
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			for i := range 200 {
				h := chain[(i*7+g*11)%len(chain)]
				if _, err := h.pin(); err != nil {
					t.Error(err)
					continue
				}
				h.unpin()
			}
		})
	}
	wg.Wait()
	if n := c.openNow(); n > limit {
		t.Fatalf("%d open", n)
	}
	// Another folder in the place of one that was closed is not taken for it.
	if !c.evictAll() {
		t.Fatal("nothing was open")
	}
	at := filepath.Join(dir, "0")
	if err := errors.Join(os.Rename(at, at+"x"), os.MkdirAll(filepath.Join(at, "1"), 0o755)); err != nil {
		t.Fatal(err)
	}
	if _, err := chain[2].pin(); !errors.Is(err, errSwapped) {
		t.Fatalf("%v", err)
	}
	for i := depth; i >= 0; i-- {
		chain[i].unref()
	}
	if n := c.openNow(); n != 0 {
		t.Fatalf("%d left open", n)
	}
}
