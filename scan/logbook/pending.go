package logbook

import (
	"cmp"
	"context"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"tidemark/chunk"
)

// Pending is a segment being written. Nothing of it is visible to readers
// until Commit. It is not safe for concurrent use, but Table is.
type Pending struct {
	book   *Book
	number int
	dir    string

	files  *entrySink
	chunks *sink[chunkRow]
	err    error // sticky: nothing can be committed after it

	nextID    int64
	lastLabel string
	lastPath  []byte
	any       bool // lastLabel and lastPath are set

	diff   []Run            // of the entry being put
	packed [sinkBatch]int32 // what batched chunks refer to

	stored   storedFiles
	finished bool
	done     bool // committed or aborted
	view     *segmentRef

	tableOnce sync.Once
	table     *Table
	tableErr  error
	loaded    bool
}

// Begin starts the next segment. key is checked: only contents named under it
// belong into this logbook. The lock must be held. Errors wrap ErrKey, ErrUsage.
func (b *Book) Begin(key chunk.Key) (*Pending, error) {
	if checkValue(key) != b.meta.Key.Check {
		return nil, fmt.Errorf("%w: it is another logbook's key", ErrKey)
	}
	// Another scan may have committed since this Book was opened.
	number := len(b.refs) + 1
	head, err := readHead(b.fs, b.dir)
	if err != nil {
		return nil, fmt.Errorf("%w: %s/%s: %w", ErrDamaged, b.dir, headName, err)
	}
	_, err = b.fs.Lstat(b.dir + "/" + segmentDir(number))
	switch {
	case err != nil && !isMissing(err):
		return nil, fmt.Errorf("beginning a segment: %w", err)
	case err == nil || head.Number != b.head:
		return nil, fmt.Errorf("%w: %s changed since it was opened; open it again under the lock", ErrUsage, b.dir)
	}
	p := &Pending{book: b, number: number, nextID: firstID}
	if last := b.Last(); last != nil {
		p.nextID = last.FirstChunk + last.Chunks
	}
	p.dir = b.dir + "/" + tempPrefix + segmentDir(p.number)
	if err := p.open(); err != nil {
		p.Abort()
		return nil, fmt.Errorf("beginning a segment: %w", err)
	}
	return p, nil
}

func (p *Pending) open() (err error) {
	fsys := p.book.fs
	if err := removeTree(fsys, p.dir); err != nil {
		return err
	}
	if err := fsys.Mkdir(p.dir); err != nil {
		return err
	}
	p.files, err = newEntrySink(fsys, p.dir+"/"+filesName)
	if err != nil {
		return err
	}
	p.chunks, err = newSink[chunkRow](fsys, p.dir+"/"+chunksName, chunkSchema, chunkPageBytes, chunkGroupRows)
	return err
}

// Number is the segment's number to be.
func (p *Pending) Number() int { return p.number }

// Table is the lookup of known chunks, loaded from the logbook at the first
// call. It is empty after Commit or Abort.
func (p *Pending) Table() (*Table, error) {
	p.tableOnce.Do(func() {
		p.table, p.tableErr = p.book.loadTable(context.Background())
		p.loaded = true
	})
	return p.table, p.tableErr
}

// Loaded says whether Table was called: an unchanged tree never does.
func (p *Pending) Loaded() bool { return p.loaded }

// AddChunk records a chunk that Table does not know and returns its id, the next
// one. packed is chunk.NotMeasured where it was not measured.
func (p *Pending) AddChunk(print chunk.Fingerprint, length, packed int32, level chunk.Level) (int64, error) {
	if err := p.writable(); err != nil {
		return 0, err
	}
	t, err := p.Table()
	if err != nil {
		return 0, p.fail(err)
	}
	if length <= 0 || int(length) > p.book.params.Max || packed != chunk.NotMeasured && (packed <= 0 || packed > length) || level < chunk.LevelNone {
		return 0, p.fail(fmt.Errorf("%w: a chunk of %d bytes, %d compressed, level %d", ErrUsage, length, packed, level))
	}
	id := p.nextID
	if id >= 1<<idBits {
		return 0, p.fail(fmt.Errorf("%w: no more than %d chunks", ErrUsage, int64(1)<<idBits))
	}
	row := chunkRow{Snapshot: int32(p.number), ID: id, Fingerprint: print, Length: length, Level: int32(level)}
	if packed != chunk.NotMeasured {
		at := &p.packed[len(p.chunks.batch)]
		*at = packed
		row.Packed = at
	}
	if p.chunks.add(row, 1) {
		if err := p.chunks.flush(); err != nil {
			return 0, p.fail(err)
		}
	}
	t.add((*[16]byte)(&print), id)
	p.nextID++
	return id, nil
}

func (p *Pending) writable() error {
	switch {
	case p.err != nil:
		return p.err
	case p.finished || p.done:
		return fmt.Errorf("%w: the segment is finished", ErrUsage)
	}
	return nil
}

func (p *Pending) fail(err error) error {
	p.err = err
	return err
}

// follow checks that a name comes after the last one.
func (p *Pending) follow(label string, path []byte) error {
	if p.any && compareNames(p.lastLabel, p.lastPath, label, path) >= 0 {
		return fmt.Errorf("%w: %q comes after %q", ErrUsage, label+"/"+string(path), p.lastLabel+"/"+string(p.lastPath))
	}
	p.any, p.lastLabel = true, label
	p.lastPath = append(p.lastPath[:0], path...)
	return nil
}

// Put records an entry that appeared or changed. Entries come in walk order.
// old is the entry as it was in the last listing (nil: a new path), with its
// recipe unless the contents are the same: it lets the recipe be stored as a
// difference. The recipe adds up to e.Size wherever Contents is set: an unread
// file carries its last known size, contents and recipe. Nothing of e or old is
// kept, and a large recipe of old is let go of. Errors wrap ErrUsage for what does
// not fit together.
func (p *Pending) Put(e, old *Entry) error {
	if err := p.writable(); err != nil {
		return err
	}
	if err := p.put(e, old); err != nil {
		return p.fail(fmt.Errorf("recording %q: %w", e.Label+"/"+string(e.Path), err))
	}
	return nil
}

func (p *Pending) put(e, old *Entry) error {
	if err := p.follow(e.Label, e.Path); err != nil {
		return err
	}
	if !utf8.ValidString(e.Label) || strings.Contains(e.Label, "/") {
		return fmt.Errorf("%w: a label must be UTF-8 without a slash", ErrUsage)
	}
	if int(e.Kind) >= len(kindNames) || int(e.How) >= len(howNames) || e.Size < 0 || e.Allocated < -1 {
		return fmt.Errorf("%w: kind %d, how %d, size %d, allocated %d", ErrUsage, e.Kind, e.How, e.Size, e.Allocated)
	}
	row := entryRow(e, p.number, stateChanged)
	row.Chain, row.ZeroBytes = 0, 0
	if old == nil {
		row.State = stateNames[stateNew]
		p.stored.GrownRows++
	}
	var stored []Run
	switch {
	case e.Contents == Contents{}:
		if len(e.Recipe) > 0 {
			return fmt.Errorf("%w: a recipe without contents", ErrUsage)
		}
	case old != nil && old.Contents == e.Contents && old.Size == e.Size:
		row.Difference, row.Chain, row.ZeroBytes = true, old.Chain, old.Zeros
	default:
		if err := checkRecipe(e.Recipe, e.Size); err != nil {
			return fmt.Errorf("%w: its recipe does not fit: %w", ErrUsage, err)
		}
		for _, r := range e.Recipe {
			if r.First+r.Chunks > p.nextID {
				return fmt.Errorf("%w: its recipe refers to chunk %d, and the last one is %d", ErrUsage, r.First+r.Chunks-1, p.nextID-1)
			}
		}
		row.ZeroBytes = zeroBytes(e.Recipe)
		stored = e.Recipe
		if old != nil && len(old.Recipe) > 0 {
			n := differingRuns(old.Recipe, e.Recipe)
			if chain := old.Chain + int64(n); n < len(e.Recipe) && chain <= maxChain*int64(len(e.Recipe)) {
				p.diff = diffRecipes(p.diff[:0], old.Recipe, e.Recipe)
				stored = p.diff
				row.Difference, row.Chain = true, chain
			}
		}
		grown := len(e.Recipe)
		if old != nil {
			grown -= len(old.Recipe)
		}
		p.stored.GrownRuns += int64(grown)
		if old != nil && len(old.Recipe) > 16*maxBatchRuns {
			// The writer needs the room of it, and of the pages it was read from.
			old.Recipe = nil
			debug.FreeOSMemory()
		}
	}
	p.stored.Runs += int64(len(stored))
	err := p.files.put(row, e.Path, e.Contents, stored)
	if cap(p.diff) > 16*maxBatchRuns {
		p.diff = nil // one giant recipe must not stay
	}
	return err
}

// maxChain bounds the differences since a full recipe, by their runs, to this
// many times the recipe's own: reading a recipe costs at most so much more, and
// a file that grows more scattered each night is written in full ever more rarely.
const maxChain = 4

// Drop records that a name is gone. In walk order with Put. Errors wrap ErrUsage.
func (p *Pending) Drop(label string, path []byte) error {
	if err := p.writable(); err != nil {
		return err
	}
	err := p.follow(label, path)
	if err == nil {
		p.stored.GrownRows--
		err = p.files.put(entryRow(&Entry{Label: label}, p.number, stateGone), path, Contents{}, nil)
	}
	if err != nil {
		return p.fail(fmt.Errorf("recording that %q is gone: %w", label+"/"+string(path), err))
	}
	return nil
}

// finish closes the Parquet files.
func (p *Pending) finish() error {
	if p.err != nil || p.finished {
		return p.err
	}
	p.finished = true
	var ferr, cerr error
	p.stored.Files, ferr = p.files.close()
	p.stored.Chunks, cerr = p.chunks.close()
	// One cause, a full disk say, mostly fails both: the first tells it.
	if err := cmp.Or(ferr, cerr); err != nil {
		return p.fail(err)
	}
	if p.book.listingDue(&p.stored) {
		var doc segmentFile
		doc.Number, doc.Rows, doc.Stored = p.number, p.stored.Files.Rows, p.stored
		file, runs, err := p.viewAs(doc).writeListing(context.Background(), p.dir)
		if err != nil {
			return p.fail(err)
		}
		p.stored.Listing, p.stored.ListingRuns = &file, runs
	}
	return nil
}

// summarize fills in what the segment knows of itself. Errors wrap ErrUsage.
func (p *Pending) summarize(s Segment) (segmentFile, error) {
	s.Number = p.number
	s.FirstChunk, s.Chunks, s.Rows = firstID, p.stored.Chunks.Rows, p.stored.Files.Rows
	previous := p.book.metaHash
	if last := p.book.Last(); last != nil {
		s.FirstChunk = last.FirstChunk + last.Chunks
		previous = p.book.refs[len(p.book.refs)-1].hash
		if !s.Taken.After(last.Taken) {
			return segmentFile{}, fmt.Errorf("%w: taken %s is not later than the last snapshot's %s; snapshots are measured oldest first",
				ErrUsage, s.Taken.Format(timeFormat), last.Taken.Format(timeFormat))
		}
	}
	if s.Taken.IsZero() {
		return segmentFile{}, fmt.Errorf("%w: the snapshot has no time", ErrUsage)
	}
	if _, _, _, err := s.Stopped(); err != nil {
		return segmentFile{}, fmt.Errorf("%w: %w", ErrUsage, err)
	}
	s.Taken, s.Started = s.Taken.Round(0), s.Started.Round(0)
	if s.Scope.Roots == nil {
		s.Scope.Roots = []Root{}
	}
	if s.Scope.Exclude == nil {
		s.Scope.Exclude = []string{}
	}
	return segmentFile{Format: FormatVersion, Segment: s, Stored: p.stored, Previous: previous}, nil
}

const timeFormat = "2006-01-02T15:04:05.999999999Z07:00"

// View finishes the Parquet files (no more Put, Drop, AddChunk) gives the table's memory
// back and returns a Book that sees the pending segment as the newest, for measuring it before Commit. The Book stays good after Commit.
func (p *Pending) View(summary Segment) (*Book, error) {
	if p.done {
		return nil, fmt.Errorf("%w: the segment is finished", ErrUsage)
	}
	if err := p.finish(); err != nil {
		return nil, err
	}
	// Nothing can be added any more: measuring needs the memory.
	p.freeTable()
	doc, err := p.summarize(summary)
	if err != nil {
		return nil, err
	}
	return p.viewAs(doc), nil
}

func (p *Pending) viewAs(doc segmentFile) *Book {
	b := p.book
	// Hashed while they were written: there is nothing to prove.
	ref := &segmentRef{doc: doc, dir: p.dir, verified: map[string]bool{filesName: true, chunksName: true, listingName: true}}
	p.view = ref
	return &Book{
		fs: b.fs, dir: b.dir, meta: b.meta, metaHash: b.metaHash, params: b.params, head: b.head,
		refs:     append(slices.Clone(b.refs), ref),
		segments: append(slices.Clone(b.segments), doc.Segment),
	}
}

// Commit syncs everything, renames the segment into place and replaces the
// head record. summary.Number, FirstChunk, Chunks and Rows are filled in. After
// an error the logbook is as it was before, and Abort removes what was written.
func (p *Pending) Commit(summary Segment) (Segment, error) {
	if p.done {
		return Segment{}, fmt.Errorf("%w: the segment is finished", ErrUsage)
	}
	if err := p.finish(); err != nil {
		return Segment{}, err
	}
	doc, err := p.summarize(summary)
	if err != nil {
		return Segment{}, err
	}
	data, hash, err := seal(doc)
	if err != nil {
		return Segment{}, fmt.Errorf("committing the segment: %w", err)
	}
	if err := p.commit(data, hash); err != nil {
		return Segment{}, p.fail(fmt.Errorf("committing the segment: %w", err))
	}
	return doc.Segment, nil
}

func (p *Pending) commit(summary []byte, hash string) error {
	b := p.book
	name := p.dir + "/" + summaryName
	if err := removeIfThere(b.fs, name); err != nil {
		return err
	}
	if err := writeNew(b.fs, name, summary); err != nil {
		return err
	}
	if err := b.fs.SyncDir(p.dir); err != nil {
		return err
	}
	place := b.dir + "/" + segmentDir(p.number)
	if err := b.fs.Rename(p.dir, place); err != nil {
		return err
	}
	err, placed := b.fs.SyncDir(b.dir), false
	if err == nil {
		placed, err = writeHead(b.fs, b.dir, headFile{FormatVersion, p.number, hash})
	}
	// Once the head names the segment, the commit has happened: if the head's
	// new contents do not reach the disk, the segment counts without (see checkHead).
	if err != nil && !placed {
		// Whoever looks sees the segment: it has to go back.
		if back := b.fs.Rename(place, p.dir); back != nil {
			return fmt.Errorf("%w; the segment is in place nevertheless: %w", err, back)
		}
		return err
	}
	p.done = true
	if p.view != nil {
		p.view.mu.Lock()
		p.view.dir, p.view.hash = place, hash
		p.view.mu.Unlock()
	}
	p.freeTable()
	return nil
}

func (p *Pending) freeTable() {
	p.tableOnce.Do(func() { p.tableErr = fmt.Errorf("%w: the segment is finished", ErrUsage) })
	if p.table != nil {
		p.table.release()
	}
}

// Abort removes every trace of the pending segment. After Commit it does nothing.
func (p *Pending) Abort() error {
	if p.done {
		return nil
	}
	p.done = true
	if p.files != nil {
		p.files.abandon()
	}
	if p.chunks != nil {
		p.chunks.abandon()
	}
	p.freeTable()
	if err := removeTree(p.book.fs, p.dir); err != nil {
		return fmt.Errorf("removing the unfinished segment: %w", err)
	}
	return nil
}
