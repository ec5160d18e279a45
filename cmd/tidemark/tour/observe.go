package tour

import "crypto/sha256"

// observer remembers what the last snapshot knew.
type observer struct {
	known map[string]knownFile
	roots map[string]bool            // labels in scope
	dark  []string                   // folders that could not be read
	ever  map[[sha256.Size]byte]bool // contents that snapshots before the last held
}

type knownFile struct {
	inode   int
	content *content
	mtime   int64
	unread  bool
}

func newObserver() *observer {
	return &observer{roots: map[string]bool{}, ever: map[[sha256.Size]byte]bool{}}
}

// look takes a snapshot of the books: roots are the labels in scope, dark the
// folders that cannot be read. It fills in the truth's tree and, but for the
// first snapshot, its change.
func (o *observer) look(t *tree, roots, dark []string, truth *Truth) {
	now := o.visible(t, roots, dark)
	names := inOrder(now)
	change := o.compare(t, now, names, roots, truth)
	if o.known != nil {
		truth.Change = change
	}
	truth.Tree.UnreadFolders = int64(len(dark))
	sumTree(now, names, &truth.Tree)

	for _, k := range o.known {
		o.ever[k.content.id] = true
	}
	o.known, o.dark = now, dark
	for _, label := range roots {
		o.roots[label] = true
	}
}

// visible is the tree as the snapshot knows it.
func (o *observer) visible(t *tree, roots, dark []string) map[string]knownFile {
	now := map[string]knownFile{}
	for name, f := range t.files {
		if insideAny(name, roots) && !insideAny(name, dark) {
			now[name] = knownFile{f.number, f.content, f.mtime, false}
		}
	}
	for name, k := range o.known {
		if insideAny(name, dark) {
			k.unread = true
			now[name] = k
		}
	}
	return now
}

// unknown are the folders that could not be read last time and below which
// nothing was known before either. What comes to light there may be old. Below
// the others all names were known once, so a further one was made since.
func (o *observer) unknown() []string {
	var out []string
	for _, folder := range o.dark {
		known := false
		for name := range o.known {
			known = known || inside(name, folder)
		}
		if !known {
			out = append(out, folder)
		}
	}
	return out
}

func insideAny(name string, folders []string) bool {
	for _, f := range folders {
		if inside(name, f) {
			return true
		}
	}
	return false
}

// compare sets the change of each path against the last snapshot and marks
// what is now seen.
func (o *observer) compare(t *tree, now map[string]knownFile, names, roots []string, truth *Truth) *ChangeTruth {
	left, kept := map[[sha256.Size]byte]bool{}, map[[sha256.Size]byte]bool{}
	for name, old := range o.known {
		if k, ok := now[name]; ok && k.content.id == old.content.id {
			kept[old.content.id] = true
		} else {
			left[old.content.id] = true
		}
	}
	unknown := o.unknown()
	var newRoots []string
	for _, label := range roots {
		if !o.roots[label] {
			newRoots = append(newRoots, label)
		}
	}
	cause := func(name string, k, old knownFile, known bool) string {
		same := known && k.content.id == old.content.id
		switch id := k.content.id; {
		case !known && (insideAny(name, newRoots) || insideAny(name, unknown)):
			return FirstSeen
		case !known && left[id]:
			return Moved
		case !known && kept[id]:
			return Copied
		case !same && (o.ever[id] || left[id] || kept[id]):
			return Returned
		case !known:
			return Created
		case !same && old.content.begins(k.content):
			return Appended
		case !same:
			return Edited
		case k.mtime != old.mtime:
			return Restamped
		}
		return ""
	}

	c := &ChangeTruth{Edits: []Edit{}}
	shares := map[string]*CauseTruth{}
	for _, name := range Causes {
		c.Causes = append(c.Causes, CauseTruth{Cause: name})
	}
	for i := range c.Causes {
		shares[c.Causes[i].Cause] = &c.Causes[i]
	}
	moved := map[[sha256.Size]byte]int{} // new names that contents moved to
	met := map[int]bool{}
	for _, name := range names {
		k := now[name]
		if k.unread {
			continue
		}
		further := met[k.inode]
		met[k.inode] = true
		fresh, never := t.see(k.content)
		truth.Tree.FreshBytes += fresh
		truth.Tree.NeverSeenBytes += never

		old, known := o.known[name]
		why := cause(name, k, old, known)
		if !further {
			edits := t.files[name].edits
			t.files[name].edits = nil
			c.Edits = append(c.Edits, settled(edits, name, why, k.content.bytes)...)
		}
		if why == "" {
			if t.files[name].relinked {
				c.RelinkedFiles++
				c.RelinkedBytes += k.content.bytes
			}
			continue
		}
		if why == Moved {
			moved[k.content.id]++
		}
		share := shares[why]
		share.count(k, further)
		share.FreshBytes += fresh
		share.NeverSeenBytes += never
		if why == FirstSeen {
			continue
		}
		c.FreshBytes += fresh
		c.NeverSeenBytes += never
		if !known || k.mtime != old.mtime || k.content.bytes != old.content.bytes {
			c.TouchedFiles++
			c.TouchedBytes += k.content.bytes
		}
		if !known || k.content.id != old.content.id {
			c.ChangedFiles++
			c.ChangedBytes += k.content.bytes
		}
	}
	for name, k := range now {
		if !k.unread {
			t.files[name].relinked = false
		}
	}
	met = map[int]bool{}
	for _, name := range inOrder(o.known) {
		old := o.known[name]
		switch _, ok := now[name]; {
		case ok:
		case moved[old.content.id] > 0: // this name moved: its cause is the new one's
			moved[old.content.id]--
		default:
			shares[Deleted].count(old, met[old.inode])
		}
		met[old.inode] = true
	}
	return c
}

func (c *CauseTruth) count(k knownFile, further bool) {
	c.Files++
	c.Bytes += k.content.bytes
	if further {
		c.FurtherNames++
		c.FurtherBytes += k.content.bytes
	}
}

// settled makes one list of what was done to a file since it was seen last.
func settled(edits []Edit, name, cause string, bytes int64) []Edit {
	var out []Edit
	switch cause {
	case Created:
		out = []Edit{anew(bytes)}
	case Appended: // several appends are one run
		out = []Edit{{Kind: Append, Count: 1}}
		for _, e := range edits {
			out[0].BytesEach += e.BytesEach
		}
	case Edited:
		at := map[Edit]int{}
		for _, e := range edits {
			like := Edit{Kind: e.Kind, BytesEach: e.BytesEach}
			i, ok := at[like]
			if !ok {
				i = len(out)
				at[like] = i
				out = append(out, like)
			}
			out[i].Count += e.Count
		}
	}
	for i := range out {
		out[i].Path, out[i].Cause = name, cause
	}
	return out
}

// see marks a file's spans as held by a snapshot and returns how many of its
// bytes none has held before, all of them and without the edges of stretches.
func (b *books) see(c *content) (fresh, never int64) {
	stretch := int64(0)
	end := func() {
		never += max(0, stretch-2*edgeBytes)
		stretch = 0
	}
	for _, s := range c.spans {
		if s.mint == 0 {
			end()
			continue
		}
		m := &b.mints[s.mint]
		at := s.off
		m.seen.add(s.off, s.off+s.n, func(from, to int64) {
			if m.maker == frame {
				return
			}
			if from != at {
				end()
			}
			stretch += to - from
			fresh += to - from
			at = to
		})
		if at != s.off+s.n {
			end()
		}
	}
	end()
	return fresh, never
}

func sumTree(now map[string]knownFile, names []string, t *TreeTruth) {
	met := map[int]bool{}
	holders := map[[sha256.Size]byte]int64{}
	for _, name := range names {
		k := now[name]
		t.Names++
		t.ApparentBytes += k.content.bytes
		if k.unread {
			t.UnreadFiles++
			t.UnreadBytes += k.content.bytes
		}
		if met[k.inode] {
			t.HardlinkBytes += k.content.bytes
			continue
		}
		met[k.inode] = true
		t.Files++
		t.ZeroBytes += k.content.zeros
		source := k.content.bytes - k.content.zeros
		t.SourceBytes += source
		if holders[k.content.id]++; holders[k.content.id] > 1 {
			t.DuplicateFileBytes += source
		} else {
			t.DistinctContents++
		}
	}
}
