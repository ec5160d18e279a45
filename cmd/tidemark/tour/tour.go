package tour

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// DefaultSeed is the seed of the example shown in the project's pages.
const DefaultSeed = 1926

// Options choose the example. The same options give the same bytes, names,
// lengths and mtimes on every machine.
type Options struct {
	Seed uint64 // any value, 0 too
	Size Size
}

// Root is a folder tree to scan.
type Root struct {
	Label string
	Path  string // in the file system
}

// Fault is a path that cannot be read tonight. It lies readable on disk; whoever
// scans has to refuse it at the scanner's seam and to tell the reader so.
type Fault struct {
	Label  string
	Path   string // relative to the root, '/' between components
	Reason string
}

// NightInfo says what was played and what a scan is to do.
type NightInfo struct {
	Night  int       // 0: the baseline
	Date   string    // the local date it belongs to, such as 2026-03-09
	Taken  time.Time // the moment of the scan, with UTC offset
	Missed bool      // no scan runs: what was played belongs to the next night's
	Event  Event     // "": none
	Done   string    // what was done to the tree, in plain words without figures
	Roots  []Root    // to be scanned, in order of joining
	Joined []string  // labels scanned for the first time tonight, after the baseline
	Faults []Fault
	Truth  *Truth // nil where Missed
}

// Workshop is the example being played. It is not safe for concurrent use.
type Workshop struct {
	o Options
	s scale
	*tree
	observer *observer
	truths   []*Truth
	next     int // the night to play next
	failed   error

	// What habits need to remember.
	letterNames    []string
	letterPictures []mintID
	letterhead     mintID
	dump           []span
	pictureCount   int
	noteCount      int
	listCount      int
	listsNew       []string // not yet linked to the saw's folder
	listsOut       []string // linked, and still among the open ones, oldest first
	imageGrown     int
	lost           map[string]*inode
}

// New prepares an example under dir, which is made if need be. Nothing but the
// roots' folders (Main, Annex) is ever written there; if one of them exists, New
// refuses with an error that wraps fs.ErrExist, and leaves it as it is.
func New(dir string, o Options) (*Workshop, error) {
	s, ok := scales[o.Size]
	if !ok {
		return nil, fmt.Errorf("example data: unknown size %d", o.Size)
	}
	for _, label := range []string{Main, Annex} {
		path := filepath.Join(dir, label)
		switch _, err := os.Lstat(path); {
		case err == nil:
			return nil, stepError("create", path, fs.ErrExist)
		case !errors.Is(err, fs.ErrNotExist):
			return nil, stepError("look at", path, err)
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, stepError("create", dir, err)
	}
	return newWorkshop(newDisk(dir), o, s), nil
}

func newWorkshop(d *disk, o Options, s scale) *Workshop {
	return &Workshop{
		o: o, s: s,
		tree:     &tree{books: newBooks(o.Seed), disk: d, files: map[string]*inode{}},
		observer: newObserver(),
	}
}

// Night plays night n onto the tree: 0 lays it out, 1 … Nights change it. They
// must be played in order, each once. After an error the tree is half changed
// and every later call returns that error.
func (w *Workshop) Night(n int) (NightInfo, error) {
	switch {
	case w.failed != nil:
		return NightInfo{}, w.failed
	case n != w.next || n > Nights:
		return NightInfo{}, fmt.Errorf("example data: night %d asked for, but %d is next of %d", n, w.next, Nights)
	}
	if n == 0 {
		w.baseline()
	} else {
		w.before(n)
		w.habits(n)
		w.after(n)
	}
	if w.failed = w.disk.settle(); w.failed != nil {
		return NightInfo{}, w.failed
	}
	w.next++
	return w.info(n), nil
}

func (w *Workshop) info(n int) NightInfo {
	info := NightInfo{
		Night: n, Date: date(n).Format("2006-01-02"), Taken: taken(n),
		Missed: events[n] == RunMissed, Event: events[n], Done: story(n),
	}
	labels := []string{Main}
	if joined := EventNight(RootJoined); n >= joined {
		labels = append(labels, Annex)
		if n == joined {
			info.Joined = []string{Annex}
		}
	}
	for _, label := range labels {
		info.Roots = append(info.Roots, Root{label, filepath.Join(w.disk.dir, label)})
	}
	var dark []string
	if events[n] == FolderUnreadable {
		dark = []string{notes}
		info.Faults = []Fault{{Main, notes[len(Main)+1:], "permission denied"}}
	}
	if info.Missed {
		return info
	}
	t := &Truth{Night: n, Snapshot: len(w.truths) + 1, Date: info.Date, Taken: info.Taken, Event: info.Event}
	if len(w.truths) > 0 {
		t.Spanned = n - w.truths[len(w.truths)-1].Night
	}
	w.observer.look(w.tree, labels, dark, t)
	w.truths = append(w.truths, t)
	info.Truth = t
	return info
}

// Truths returns the truth of every snapshot so far, in order. The caller must
// not change it.
func (w *Workshop) Truths() []*Truth { return w.truths }
