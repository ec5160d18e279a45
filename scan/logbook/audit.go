package logbook

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"tidemark/chunk"
)

// Damage is one finding of Audit.
type Damage struct {
	Segment int    // 0: the logbook's own files
	File    string // relative to the logbook
	Reason  string // what is wrong, and what can still be answered
}

// Audit proves every file against its checksum and the chain, and walks the
// invariants (ids in range, recipes add up, totals equal recounts, levels and
// lengths within the method's limits). It opens what Open would refuse, and
// streams: what it holds are four bytes a chunk. The error is for what could not
// even be looked at (it wraps ErrNotLogbook, ErrNewer, or is ctx's).
func Audit(ctx context.Context, dir string) (segments int, found []Damage, err error) {
	// A file in the folder's place is a wrong path, not a broken logbook.
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return 0, nil, fmt.Errorf("%w: %s is not a folder", ErrNotLogbook, dir)
	}
	return audit(ctx, osFiles{}, dir)
}

func audit(ctx context.Context, fsys fileSystem, dir string) (segments int, found []Damage, err error) {
	a, err := startAudit(ctx, fsys, dir)
	if err != nil || a.book == nil {
		return 0, a.found, err
	}
	segments = len(a.book.refs)
	defer func() {
		if r := recover(); r != nil {
			found, err = a.found, fmt.Errorf("%w: auditing %s: %v", ErrDamaged, a.book.dir, r)
		}
	}()
	for _, step := range []func() error{a.prove, a.chunks, a.rows} {
		if err := step(); err != nil {
			return segments, a.found, err
		}
		if err := ctx.Err(); err != nil {
			return segments, a.found, err
		}
	}
	a.sayWhatIsLeft()
	return segments, a.found, nil
}

// startAudit reads the summaries and the chain. The auditor's book is nil where nothing more can be looked at.
func startAudit(ctx context.Context, fsys fileSystem, dir string) (*auditor, error) {
	a := &auditor{ctx: ctx, fs: fsys}
	b, found, err := load(fsys, dir, loadOptions{})
	if errors.Is(err, ErrDamaged) {
		a.bad(0, metaName, "it is missing beside segments; restore it from a copy, nothing is answered without it")
		return a, nil
	}
	if b != nil {
		a.proved = make([]map[string]bool, len(b.refs))
	}
	a.book, a.found = b, found
	return a, err
}

// prove checks every byte: what belongs there, the key, the hashes.
func (a *auditor) prove() error {
	return errors.Join(a.strays(), a.key(), a.files())
}

type auditor struct {
	ctx    context.Context
	fs     fileSystem
	book   *Book
	found  []Damage
	proved []map[string]bool // by segment: the files that match their hashes and whose rows hold
	lens   []int32           // by id − firstID; 0: not known
}

func (a *auditor) bad(segment int, file, format string, args ...any) {
	a.found = append(a.found, Damage{segment, file, fmt.Sprintf(format, args...)})
}

// badFile reports an error about one of a segment's files; the caller goes on. It returns ctx's error.
func (a *auditor) badFile(number int, name string, err error) error {
	if a.ctx.Err() != nil {
		return a.ctx.Err()
	}
	path := a.book.dir + "/" + segmentDir(number) + "/" + name
	reason := strings.TrimPrefix(err.Error(), ErrDamaged.Error()+": ")
	reason = strings.TrimPrefix(strings.TrimPrefix(reason, "reading "), path)
	reason = strings.TrimPrefix(reason, "the logbook: ")
	a.bad(number, segmentDir(number)+"/"+name, "%s", strings.TrimLeft(reason, ":, "))
	if number <= len(a.proved) {
		delete(a.proved[number-1], name)
	}
	return nil
}

// strays looks for what does not belong into the logbook.
func (a *auditor) strays() error {
	list, err := a.fs.ReadDir(a.book.dir)
	if err != nil {
		return err
	}
	for _, e := range list {
		name := e.Name()
		switch {
		case strings.HasPrefix(name, tempPrefix), !e.IsDir(), segmentNumber(name) > 0:
			continue // unfinished; a note of the user's; a segment
		}
		if _, err := a.fs.Lstat(a.book.dir + "/" + name + "/" + summaryName); err == nil {
			a.bad(0, name, "a segment that does not belong here: its folder's name is none of a segment's")
		}
	}
	for i, ref := range a.book.refs {
		if ref == nil {
			continue
		}
		list, err := a.fs.ReadDir(ref.dir)
		if err != nil {
			return err
		}
		known := map[string]bool{summaryName: true}
		for _, f := range ref.files() {
			known[f.name] = true
		}
		for _, e := range list {
			if !known[e.Name()] {
				a.bad(i+1, segmentDir(i+1)+"/"+e.Name(), "it does not belong to the segment")
			}
		}
	}
	return nil
}

// key checks the key file, if the logbook has its own.
func (a *auditor) key() error {
	b := a.book
	name := b.dir + "/" + keyName
	if _, err := a.fs.Lstat(name); isMissing(err) && b.meta.Key.Place == keyElsewhere {
		return nil
	}
	key, err := readKey(a.fs, name)
	switch {
	case err != nil:
		a.bad(0, keyName, "%s; what was measured can be reported, but nothing new compared with it",
			strings.TrimPrefix(err.Error(), ErrKey.Error()+": "))
	case checkValue(key) != b.meta.Key.Check:
		a.bad(0, keyName, "it is not this logbook's key; what was measured can be reported, but nothing new compared with it")
	}
	return nil
}

// files proves sizes and hashes.
func (a *auditor) files() error {
	for i := range a.book.refs {
		if err := a.segmentFiles(i + 1); err != nil {
			return err
		}
	}
	return nil
}

func (a *auditor) segmentFiles(number int) error {
	ok := map[string]bool{}
	a.proved[number-1] = ok
	ref := a.book.refs[number-1]
	if ref == nil {
		return nil
	}
	ref.verified = nil // what is opened further on is checked page by page
	for _, f := range ref.files() {
		p, err := openProved(a.ctx, a.fs, ref.dir+"/"+f.name, f.storedFile, false)
		if err != nil {
			if err := a.badFile(number, f.name, err); err != nil {
				return err
			}
			continue
		}
		p.Close()
		ok[f.name] = !ref.misfit
	}
	return nil
}

// chunks walks the chunks' invariants and learns their lengths.
func (a *auditor) chunks() error {
	b := a.book
	var total int64
	for _, ref := range b.refs {
		if ref != nil && !ref.misfit {
			total = max(total, ref.doc.FirstChunk+ref.doc.Chunks-firstID)
		}
	}
	for i, ref := range b.refs {
		if ref == nil || ref.misfit || !a.proved[i][chunksName] {
			continue
		}
		// Rows that are there bound what is held: a summary alone may claim anything.
		if have := ref.doc.FirstChunk - firstID + ref.doc.Chunks; int64(len(a.lens)) < have && have <= total {
			grown := make([]int32, have)
			copy(grown, a.lens)
			a.lens = grown
		}
		if err := a.segmentChunks(i+1, ref); err != nil {
			if err := a.badFile(i+1, chunksName, err); err != nil {
				return err
			}
		}
	}
	return nil
}

func (a *auditor) segmentChunks(number int, ref *segmentRef) error {
	r, err := a.book.openChunks(a.ctx, number)
	if err != nil {
		return err
	}
	defer r.close()
	params := a.book.params
	buf := make([]ChunkRow, block)
	for {
		if err := a.ctx.Err(); err != nil {
			return err
		}
		at := r.row
		rows, err := r.next(buf)
		if err != nil {
			return err
		}
		if len(rows) == 0 {
			return nil
		}
		for i := range rows {
			c := &rows[i]
			s, err := r.columns[colChunkSnapshot].int32(at + int64(i))
			if err != nil {
				return err
			}
			switch {
			case int(s) != number:
				return fmt.Errorf("chunk %d says it is of segment %d", c.ID, s)
			case c.Len <= 0 || int(c.Len) > params.Max:
				return fmt.Errorf("chunk %d has %d bytes, the method's limit is %d", c.ID, c.Len, params.Max)
			case int(c.Len) < params.Min && c.Level != chunk.LevelEnd && c.Level != chunk.LevelNone:
				return fmt.Errorf("chunk %d has %d bytes, fewer than the method's %d, and does not end a stretch", c.ID, c.Len, params.Min)
			case c.Packed != chunk.NotMeasured && (c.Packed <= 0 || c.Packed > c.Len):
				return fmt.Errorf("chunk %d has %d bytes and %d compressed", c.ID, c.Len, c.Packed)
			case c.Level < chunk.LevelNone || c.Level > 64 && c.Level != chunk.LevelEnd:
				return fmt.Errorf("chunk %d has level %d", c.ID, c.Level)
			}
			a.lens[c.ID-firstID] = c.Len
		}
	}
}

// usable says whether a segment's file can be built upon.
func (a *auditor) usable(number int, name string) bool {
	return a.proved[number-1][name]
}

// answerable says whether snapshot n can be told although something is damaged.
func (a *auditor) answerable(n int) bool {
	for k := 1; k <= n; k++ {
		ref := a.book.refs[k-1]
		if ref == nil || ref.misfit || !a.usable(k, chunksName) {
			return false
		}
	}
	for k := n; ; k-- {
		if a.usable(k, listingName) {
			return true
		}
		if !a.usable(k, filesName) {
			return false
		}
		if k == 1 {
			return true
		}
	}
}

// sayWhatIsLeft adds to every finding about a segment what can still be answered.
func (a *auditor) sayWhatIsLeft() {
	var ranges []string
	for n := 1; n <= len(a.book.refs); n++ {
		if !a.answerable(n) {
			continue
		}
		first := n
		for n < len(a.book.refs) && a.answerable(n+1) {
			n++
		}
		if first == n {
			ranges = append(ranges, fmt.Sprint(n))
		} else {
			ranges = append(ranges, fmt.Sprintf("%d to %d", first, n))
		}
	}
	left := "no snapshot can be told from what is left"
	if len(ranges) > 0 {
		left = "still whole: " + strings.Join(ranges, ", ")
	}
	for i := range a.found {
		if a.found[i].Segment > 0 {
			a.found[i].File = filepath.ToSlash(a.found[i].File)
			a.found[i].Reason += "; " + left
		}
	}
}
