package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"tidemark/chunk"
)

// Book is an open logbook. Reading needs no lock and no key; a Book sees the
// segments that were there when it was opened. It holds no open files, and is
// safe for concurrent reading.
type Book struct {
	fs       fileSystem
	dir      string
	meta     metaFile
	metaHash string
	params   chunk.Params
	refs     []*segmentRef // number − 1
	segments []Segment
	head     int // number in head.json; one less than the newest after a crash between two steps of a commit
}

// segmentRef is a segment that can be read.
type segmentRef struct {
	doc    segmentFile
	hash   string
	misfit bool // does not belong where it is

	mu       sync.Mutex
	dir      string
	verified map[string]bool // files whose hash was checked
}

// CreateOptions fix what can not be changed afterwards.
type CreateOptions struct {
	Params  chunk.Params
	KeyFile string // "": logbook.key inside the folder. An existing key file is used, never overwritten

	// Key is written to KeyFile where that is missing; nil: a new one is made.
	Key *chunk.Key
}

// Create makes an empty logbook in dir (made with mode 0700 if missing; an
// existing folder must be empty but for a key), holding the scan lock meanwhile:
// of two that begin at once, one makes the key that counts. Errors wrap
// ErrNotLogbook, ErrKey, ErrLocked.
func Create(dir string, o CreateOptions) (*Book, error) {
	dir = filepath.Clean(dir)
	_, err := os.Lstat(dir)
	isNew := isMissing(err)
	if err := (osFiles{}).MkdirAll(dir); err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	// Before the lock is made: in another's folder, a logbook's segment for one,
	// nothing may be left behind.
	if _, err := leftIn(osFiles{}, dir); err != nil {
		return nil, err
	}
	_, err = os.Lstat(dir + "/" + lockName)
	newLock := isMissing(err)
	if newLock {
		// Before it is asked for, so that its mode is right whatever the umask.
		if f, err := (osFiles{}).Create(dir + "/" + lockName); err == nil {
			f.Close()
		}
	}
	unlock, err := lockFolder(dir)
	if err != nil {
		if errors.Is(err, errNoLocks) && newLock {
			os.Remove(dir + "/" + lockName)
			if isNew {
				os.Remove(dir)
			}
		}
		return nil, err
	}
	b, err := create(osFiles{}, dir, o)
	if uerr := unlock(); err == nil && uerr != nil {
		return nil, fmt.Errorf("%s/%s: unlocking: %w", dir, lockName, uerr)
	}
	return b, err
}

// leftIn refuses a folder in which no logbook can be made, and lists what a making
// that was cut short left there.
func leftIn(fsys fileSystem, dir string) (left []string, err error) {
	list, err := fsys.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	for _, e := range list {
		switch name := e.Name(); {
		case name == metaName:
			return nil, fmt.Errorf("%w: %s holds a logbook already", ErrUsage, dir)
		case name == keyName, name == lockName:
		case name == headName, strings.HasPrefix(name, tempPrefix):
			left = append(left, name)
		default:
			return nil, fmt.Errorf("%w: %s is not empty (it holds %q); name an empty folder or one that is not there", ErrNotLogbook, dir, name)
		}
	}
	return left, nil
}

func create(fsys fileSystem, dir string, o CreateOptions) (*Book, error) {
	if _, err := methodOf(o.Params).params(); err != nil {
		return nil, fmt.Errorf("%s: making the logbook: %w", dir, err)
	}
	dir = filepath.Clean(dir)
	if err := fsys.MkdirAll(dir); err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	left, err := leftIn(fsys, dir)
	if err != nil {
		return nil, err
	}
	// Left by a making that was cut short: logbook.json comes last, and is not there.
	for _, name := range left {
		if err := removeTree(fsys, dir+"/"+name); err != nil {
			return nil, fmt.Errorf("making the logbook: %w", err)
		}
	}

	keyFile, place := o.KeyFile, keyElsewhere
	if keyFile == "" {
		keyFile, place = dir+"/"+keyName, keyInside
	}
	var key chunk.Key
	if _, err := fsys.Lstat(keyFile); isMissing(err) {
		if key, err = makeKey(fsys, keyFile, o.Key); err != nil {
			return nil, fmt.Errorf("making the key: %w", err)
		}
	} else if key, err = readKey(fsys, keyFile); err != nil {
		return nil, err
	}

	// The lock file is made here, so that its mode is right whatever the umask.
	if _, err := fsys.Lstat(dir + "/" + lockName); isMissing(err) {
		if err := writeNew(fsys, dir+"/"+lockName, nil); err != nil {
			return nil, fmt.Errorf("making the logbook: %w", err)
		}
	}
	meta := metaFile{
		Format: FormatVersion, Method: methodOf(o.Params), Created: time.Now().Round(0).Truncate(time.Second),
		Key: keyCheck{Place: place, Check: checkValue(key)},
	}
	data, hash, err := seal(meta)
	if err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	if _, err := writeHead(fsys, dir, headFile{FormatVersion, 0, hash}); err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	if _, err := replace(fsys, dir, metaName, data); err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	if err := fsys.SyncDir(filepath.Dir(dir)); err != nil {
		return nil, fmt.Errorf("making the logbook: %w", err)
	}
	return open(fsys, dir)
}

// Exists says whether dir holds a logbook (logbook.json is there).
func Exists(dir string) bool {
	_, err := osFiles{}.Lstat(dir + "/" + metaName)
	return err == nil
}

// Open opens the logbook in dir for reading, checks format version, the head
// record and the chain of segment summaries, and that the Parquet files are
// there with their recorded sizes. Their contents are checked against their
// hashes when they are first read. Errors wrap ErrNotLogbook, ErrDamaged, ErrNewer.
func Open(dir string) (*Book, error) { return open(osFiles{}, dir) }

// OpenAt opens the logbook as it was when snapshot newest was its last:
// whatever came later, and the head record, is not looked at. It is the way to
// what damage further on left readable. Errors as Open's, or ErrNoSnapshot.
func OpenAt(dir string, newest int) (*Book, error) {
	b, err := openUpTo(osFiles{}, dir, newest)
	if err != nil {
		return nil, err
	}
	return b, b.snapshot(newest)
}

func open(fsys fileSystem, dir string) (*Book, error) { return openUpTo(fsys, dir, 0) }

func openUpTo(fsys fileSystem, dir string, newest int) (*Book, error) {
	b, damages, err := load(fsys, dir, loadOptions{first: true, newest: newest})
	if err != nil {
		return nil, err
	}
	if len(damages) > 0 {
		d := damages[0]
		return nil, fmt.Errorf("%w: %s: %s; run audit for the whole of it", ErrDamaged, filepath.Join(dir, filepath.FromSlash(d.File)), d.Reason)
	}
	return b, nil
}

type loadOptions struct {
	first  bool // stop at the first thing that does not fit; look at the sizes of the Parquet files, too
	newest int  // leave later segments and the head record alone; 0: none is too late
}

// load reads logbook.json, head.json and every segment.json, and reports what
// does not fit together. The error is for what could not be looked at. The Book
// is nil where nothing can be read; a segment whose summary can not be read is
// nil in its refs.
func load(fsys fileSystem, dir string, o loadOptions) (*Book, []Damage, error) {
	dir = filepath.Clean(dir)
	var found []Damage
	bad := func(segment int, file, format string, args ...any) {
		found = append(found, Damage{segment, file, fmt.Sprintf(format, args...)})
	}

	b := &Book{fs: fsys, dir: dir}
	data, err := readAll(fsys, dir+"/"+metaName)
	switch {
	case isMissing(err):
		return nil, nil, notLogbook(fsys, dir)
	case err != nil:
		if errors.Is(err, syscall.ENOTDIR) {
			return nil, nil, noFolder(dir)
		}
		if info, lerr := fsys.Lstat(dir); lerr == nil && info.Mode().IsRegular() {
			return nil, nil, notLogbook(fsys, dir)
		}
		return nil, nil, fmt.Errorf("opening the logbook: %w", err)
	}
	if b.metaHash, err = unseal(data, &b.meta); err != nil {
		if errors.Is(err, ErrNewer) {
			return nil, nil, fmt.Errorf("%s/%s: %w; use a newer program", dir, metaName, err)
		}
		bad(0, metaName, "%v; method and parameters can not be trusted, so nothing is answered", err)
		return nil, found, nil
	}
	if b.params, err = b.meta.Method.params(); err != nil {
		return nil, nil, fmt.Errorf("%s/%s: %w; use a newer program", dir, metaName, err)
	}

	// The head is read before the folder: a commit in between adds a segment
	// that the head does not know, never the reverse.
	var head headFile
	var headErr error
	if o.newest == 0 {
		head, headErr = readHead(fsys, dir)
	}
	if headErr != nil {
		bad(0, headName, "%v; segments are whole or not by themselves, but a lost newest one would go unnoticed", headErr)
		if o.first {
			return nil, found, nil
		}
	}
	list, err := fsys.ReadDir(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("opening the logbook: %w", err)
	}
	var numbers []int
	for _, e := range list {
		if n := segmentNumber(e.Name()); n > 0 && (o.newest == 0 || n <= o.newest) {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)

	previous := b.metaHash
	for _, n := range numbers {
		if n-len(b.refs) > maxGap {
			bad(n, segmentDir(n), "it does not belong to this logbook: the segment before it is %d", len(b.refs))
			continue
		}
		for len(b.refs) < n-1 {
			missing := len(b.refs) + 1
			bad(missing, segmentDir(missing), "the segment is missing")
			b.refs = append(b.refs, nil)
			previous = ""
			if o.first {
				return nil, found, nil
			}
		}
		ref, err := readSummary(fsys, dir+"/"+segmentDir(n))
		if errors.Is(err, ErrNewer) {
			return nil, nil, fmt.Errorf("%s/%s: %w; use a newer program", dir, segmentDir(n), err)
		}
		if err == nil {
			err = b.fits(ref, n, previous)
			ref.misfit = err != nil
		}
		if err == nil && o.first {
			err = b.complete(ref)
		}
		if err != nil {
			bad(n, segmentDir(n)+"/"+summaryName, "%v", err)
			if o.first {
				return nil, found, nil
			}
		}
		b.refs = append(b.refs, ref)
		previous = ""
		if ref != nil {
			previous = ref.hash
		}
	}

	if headErr == nil && o.newest == 0 {
		b.head = head.Number
		b.checkHead(head, bad)
		if o.first && len(found) > 0 {
			return nil, found, nil
		}
	}
	for _, r := range b.refs {
		if r != nil {
			b.segments = append(b.segments, r.doc.Segment)
		}
	}
	return b, found, nil
}

// maxGap bounds the run of missing segments that is told one by one.
const maxGap = 10_000

// fits checks a summary against its place in the chain. previous is "" where
// the segment before is not known.
func (b *Book) fits(ref *segmentRef, number int, previous string) error {
	d := &ref.doc
	switch {
	case d.Number != number:
		return fmt.Errorf("it is segment %d's summary", d.Number)
	case previous != "" && d.Previous != previous && number == 1:
		return errors.New("it does not belong to this logbook's " + metaName)
	case previous != "" && d.Previous != previous:
		return fmt.Errorf("it does not follow segment %d as that is now", number-1)
	}
	next, taken := int64(firstID), time.Time{}
	if number > 1 {
		if before := b.refs[number-2]; before != nil {
			next, taken = before.doc.FirstChunk+before.doc.Chunks, before.doc.Taken
		} else {
			next = d.FirstChunk
		}
	}
	switch {
	case d.FirstChunk != next || next < firstID || d.Chunks < 0 || d.FirstChunk+d.Chunks < d.FirstChunk:
		return fmt.Errorf("its chunk ids begin at %d instead of %d", d.FirstChunk, next)
	case !d.Taken.After(taken):
		return errors.New("it was not taken after the segment before it")
	case d.Rows != d.Stored.Files.Rows || d.Chunks != d.Stored.Chunks.Rows || d.Rows < 0:
		return errors.New("its row counts contradict each other")
	}
	return nil
}

// complete says whether the files beside a summary are there with their sizes.
func (b *Book) complete(ref *segmentRef) error {
	for _, f := range ref.files() {
		info, err := b.fs.Lstat(ref.dir + "/" + f.name)
		switch {
		case err != nil && isMissing(err):
			return fmt.Errorf("its %s is missing", f.name)
		case err != nil:
			return err
		case info.Size() != f.Bytes:
			return fmt.Errorf("its %s has %d bytes instead of %d", f.name, info.Size(), f.Bytes)
		}
	}
	return nil
}

// checkHead compares the head record with the segments that are there.
func (b *Book) checkHead(head headFile, bad func(int, string, string, ...any)) {
	hash := func(n int) string {
		switch {
		case n == 0:
			return b.metaHash
		case b.refs[n-1] == nil:
			return ""
		}
		return b.refs[n-1].hash
	}
	newest := len(b.refs)
	at := slices.IndexFunc(b.refs, func(r *segmentRef) bool { return r != nil && r.hash == head.Hash }) + 1
	switch {
	case at > 0 && at != head.Number:
		bad(0, headName, "it names segment %d by the hash of segment %d", head.Number, at)
	case head.Number > newest:
		bad(head.Number, segmentDir(head.Number), "the newest segment is missing: there are %d, and %s names %d", newest, headName, head.Number)
	case head.Number < newest-1:
		bad(0, headName, "it names segment %d, but %d are there", head.Number, newest)
	case hash(head.Number) != "" && hash(head.Number) != head.Hash:
		bad(head.Number, headName, "it does not name segment %d as that is now", head.Number)
	}
	// One more segment than the head names: the commit was cut short after the
	// segment was in place. It is whole and follows in the chain, so it counts.
}

func notLogbook(fsys fileSystem, dir string) error {
	switch info, err := fsys.Lstat(dir); {
	case err != nil && isMissing(err):
		return fmt.Errorf("%w: %s is not there; a first scan makes it, or name another by --logbook DIR", ErrNotLogbook, dir)
	case err != nil:
		return fmt.Errorf("opening the logbook: %w", err)
	case info.Mode().IsRegular():
		return noFolder(dir)
	}
	if list, err := fsys.ReadDir(dir); err == nil {
		for _, e := range list {
			if segmentNumber(e.Name()) > 0 {
				return fmt.Errorf("%w: %s/%s is missing beside segments; restore it from a copy", ErrDamaged, dir, metaName)
			}
		}
	}
	return fmt.Errorf("%w: %s has no %s; a first scan makes one in an empty folder, or name another by --logbook DIR", ErrNotLogbook, dir, metaName)
}

// noFolder is the error for what is a file, a device, or a link to one.
func noFolder(dir string) error {
	return fmt.Errorf("%w: %s is not a folder; name the logbook's folder by --logbook DIR", ErrNotLogbook, dir)
}

func readHead(fsys fileSystem, dir string) (h headFile, err error) {
	data, err := readAll(fsys, dir+"/"+headName)
	if isMissing(err) {
		return h, errors.New("it is missing")
	}
	if err != nil {
		return h, err
	}
	if err := json.Unmarshal(data, &h); err != nil {
		return h, err
	}
	if want, err := encodeHead(h); err != nil || string(want) != string(data) || h.Format != FormatVersion || h.Number < 0 || len(h.Hash) != hashHex {
		return h, errors.New("it is not as this program writes it")
	}
	return h, nil
}

func encodeHead(h headFile) ([]byte, error) {
	data, err := json.Marshal(h)
	return append(data, '\n'), err
}

func writeHead(fsys fileSystem, dir string, h headFile) (placed bool, err error) {
	data, err := encodeHead(h)
	if err != nil {
		return false, err
	}
	return replace(fsys, dir, headName, data)
}

func readSummary(fsys fileSystem, dir string) (*segmentRef, error) {
	data, err := readAll(fsys, dir+"/"+summaryName)
	if err != nil {
		if isMissing(err) {
			err = errors.New("it is missing")
		}
		return nil, err
	}
	ref := &segmentRef{dir: dir}
	if ref.hash, err = unseal(data, &ref.doc); err != nil {
		return nil, err
	}
	return ref, nil
}

type namedFile struct {
	name string
	storedFile
}

func (r *segmentRef) files() []namedFile {
	s := &r.doc.Stored
	list := []namedFile{{filesName, s.Files}, {chunksName, s.Chunks}}
	if s.Listing != nil {
		list = append(list, namedFile{listingName, *s.Listing})
	}
	return list
}

// Dir is the logbook's folder.
func (b *Book) Dir() string { return b.dir }

// Params are the chunking parameters fixed when the logbook was made.
func (b *Book) Params() chunk.Params { return b.params }

// Segments lists the summaries in order of Number, 1 first. The slice is the Book's.
func (b *Book) Segments() []Segment { return b.segments }

// Last is the newest segment, nil where there is none.
func (b *Book) Last() *Segment {
	if len(b.segments) == 0 {
		return nil
	}
	return &b.segments[len(b.segments)-1]
}

// snapshot checks a snapshot's number.
func (b *Book) snapshot(n int) error {
	if n < 1 || n > len(b.refs) {
		return fmt.Errorf("%w: %d; there are %d in %s", ErrNoSnapshot, n, len(b.refs), b.dir)
	}
	return nil
}

// Sweep removes what a scan that was cut short left behind, and brings the
// head record up to date. The lock must be held.
func (b *Book) Sweep() error {
	list, err := b.fs.ReadDir(b.dir)
	if err != nil {
		return fmt.Errorf("sweeping the logbook: %w", err)
	}
	for _, e := range list {
		if strings.HasPrefix(e.Name(), tempPrefix) {
			if err := removeTree(b.fs, b.dir+"/"+e.Name()); err != nil {
				return fmt.Errorf("sweeping the logbook: %w", err)
			}
		}
	}
	if n := len(b.refs); b.head < n {
		if _, err := writeHead(b.fs, b.dir, headFile{FormatVersion, n, b.refs[n-1].hash}); err != nil {
			return fmt.Errorf("sweeping the logbook: %w", err)
		}
		b.head = n
	}
	return nil
}
