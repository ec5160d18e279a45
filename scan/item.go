package scan

import (
	"sync"

	"tidemark/scan/logbook"
)

// tally counts entries. It travels from the merge to the committer with the
// items, so that a scan that ends early counts exactly what came before.
type tally struct {
	files, bytes             int64 // regular files and their sizes
	unreadFiles, unreadBytes int64
	unreadFolders            int64
	torn, skipped            int64
	readFiles                int64
	reusedFiles, reusedBytes int64
}

func (t *tally) add(o *tally) {
	t.files += o.files
	t.bytes += o.bytes
	t.unreadFiles += o.unreadFiles
	t.unreadBytes += o.unreadBytes
	t.unreadFolders += o.unreadFolders
	t.torn += o.torn
	t.skipped += o.skipped
	t.readFiles += o.readFiles
	t.reusedFiles += o.reusedFiles
	t.reusedBytes += o.reusedBytes
}

func (t *tally) file(size int64) {
	t.files++
	t.bytes += size
}

func (t *tally) unread(size int64) {
	t.file(size)
	t.unreadFiles++
	t.unreadBytes += size
}

func (t *tally) reused(size int64) {
	t.file(size)
	t.reusedFiles++
	t.reusedBytes += size
}

// carry counts an entry of the last snapshot that was not looked at.
func (t *tally) carry(e *logbook.Entry) {
	switch e.Kind {
	case logbook.File:
		t.unread(e.Size)
	case logbook.Folder:
		t.unreadFolders++
	}
}

type itemKind uint8

const (
	itemNote    itemKind = iota // nothing to record: a warning, counts
	itemPut                     // record entry
	itemDrop                    // record that the name is gone
	itemUnread                  // record that it could not be looked at
	itemRead                    // read it, then record what it is
	itemFollow                  // a further name of a file whose first name came before
	itemRootEnd                 // the root is done
	itemCut                     // the scan ends early, before this name
)

// item is a step of the scan that leaves a trace, in walk order. Entries that
// are as they were leave none but their counts.
type item struct {
	kind    itemKind
	root    *root
	path    []byte // relative; a NUL follows in the same array
	warn    string // the reason of a warning, "" if none
	before  tally  // of what came between the last item and this one
	own     tally  // of this one, where the merge knows already
	entry   logbook.Entry
	old     logbook.Entry // as it was
	hasOld  bool
	racy    bool // old's contents may have changed behind an unchanged time stamp
	suspect bool // everything but the inode is as it was

	// Of files to be read.
	in   *handle // the folder it lies in; one reference is the item's
	link linkID  // the file's number among hard links that are read, 0 if it has one name
	read reading

	claim chan *reader // the reader that took it
}

// reading is what a reader learnt of a file. It is the reader's until the last
// part was handed on.
type reading struct {
	file     fileFD // open from open to the end of the reading
	uncached bool   // nothing of it was in the page cache

	stat    stat // at the beginning of the reading that counts
	torn    bool
	err     error // it was not read to its end
	replace bool  // it is no regular file any more: stat says what it is
	oldSize int64 // > 0: the old contents' size, to see whether they were appended to
	done    bool  // the committer has taken all parts
}

// name is the last component; a NUL follows it in the same array.
func (it *item) name() []byte {
	for i := len(it.path) - 1; i >= 0; i-- {
		if it.path[i] == '/' {
			return it.path[i+1:]
		}
	}
	return it.path
}

var items = sync.Pool{New: func() any { return &item{claim: make(chan *reader, 1)} }}

func newItem(kind itemKind, r *root, path []byte) *item {
	it := items.Get().(*item)
	it.kind, it.root = kind, r
	it.path = append(append(it.path[:0], path...), 0)
	it.path = it.path[:len(path)]
	return it
}

func (it *item) free() {
	*it = item{path: it.path[:0], claim: it.claim}
	items.Put(it)
}

func (it *item) keepOld(old *logbook.Entry) {
	if it.hasOld = old != nil; it.hasOld {
		it.old = *old
	}
}

// oldEntry is the entry as it was, nil if there was none.
func (it *item) oldEntry() *logbook.Entry {
	if !it.hasOld {
		return nil
	}
	return &it.old
}

// setEntry fills the entry in from what the system says.
func (it *item) setEntry(kind logbook.Kind, how logbook.How, st *stat) {
	it.entry = logbook.Entry{
		Label: it.root.label, Path: it.path, Kind: kind, How: how,
		Size: st.size, Allocated: st.allocated, MtimeNs: st.mtimeNs, CtimeNs: st.ctimeNs,
		Inode: st.inode, Links: st.links,
	}
	if kind != logbook.File {
		it.entry.Size = 0
	}
	if kind == logbook.Folder {
		// What a folder that can not be read says of itself is no measure.
		it.entry.Allocated, it.entry.MtimeNs, it.entry.CtimeNs, it.entry.Inode, it.entry.Links = -1, 0, 0, 0, 0
	}
}

// differs says whether e has to be recorded: something of it is not as old says.
// Allocated bytes alone are not worth a row: some systems settle them only
// later, without a trace in the time stamps.
func differs(e, old *logbook.Entry) bool {
	if old == nil {
		return true
	}
	how := func(h logbook.How) logbook.How {
		if h == logbook.Reused {
			return logbook.Read
		}
		return h
	}
	return e.Kind != old.Kind || how(e.How) != how(old.How) || e.Size != old.Size ||
		e.MtimeNs != old.MtimeNs || e.CtimeNs != old.CtimeNs || e.Inode != old.Inode || e.Links != old.Links ||
		e.Hardlink != old.Hardlink || e.NeverRead != old.NeverRead || e.Contents != old.Contents
}
