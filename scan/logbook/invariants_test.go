package logbook

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"tidemark/chunk"
)

// forged is the newest segment of a tiny logbook, to be changed and written again
// with all hashes right: what only the invariants can tell.
type forged struct {
	files   []fileRow
	chunks  []chunkRow
	listing []fileRow
	doc     segmentFile
}

func forge(t *testing.T, base *memFiles, change func(f *forged)) *memFiles {
	t.Helper()
	fsys := base.clone()
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	ref := b.refs[len(b.refs)-1]
	f := &forged{doc: ref.doc}
	f.files = rowsOf[fileRow](t, fsys.node(ref.dir+"/"+filesName).data)
	f.chunks = rowsOf[chunkRow](t, fsys.node(ref.dir+"/"+chunksName).data)
	f.listing = rowsOf[fileRow](t, fsys.node(ref.dir+"/"+listingName).data)
	change(f)
	s := &f.doc.Stored
	s.Files = rewrite(t, fsys, ref.dir+"/"+filesName, f.files, fileSchema)
	s.Chunks = rewrite(t, fsys, ref.dir+"/"+chunksName, f.chunks, chunkSchema)
	listing := rewrite(t, fsys, ref.dir+"/"+listingName, f.listing, fileSchema)
	s.Listing = &listing
	data, hash, err := seal(f.doc)
	if err != nil {
		t.Fatal(err)
	}
	fsys.set(t, ref.dir+"/"+summaryName, data)
	if _, err := writeHead(fsys, memDir, headFile{FormatVersion, f.doc.Number, hash}); err != nil {
		t.Fatal(err)
	}
	return fsys
}

func rowsOf[T any](t *testing.T, data []byte) []T {
	t.Helper()
	rows, err := parquet.Read[T](bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func rewrite[T any](t *testing.T, fsys *memFiles, name string, rows []T, schema *parquet.Schema) storedFile {
	t.Helper()
	if err := fsys.Remove(name); err != nil {
		t.Fatal(err)
	}
	s, err := newSink[T](fsys, name, schema, 1<<14, 1<<14)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		s.add(r, 1)
	}
	stored, err := s.close()
	if err != nil {
		t.Fatal(err)
	}
	return stored
}

// Every invariant that an audit is said to walk is broken once, by a writer that
// got all hashes right, and the audit names the file and says what is wrong.
func TestAuditWalksTheInvariants(t *testing.T) {
	lowerListingFloor(t)
	base := tinyBook(t, 3)
	params := func() chunk.Params { b, _ := open(base, memDir); return b.params }()
	i32 := func(n int32) *int32 { return &n }
	if _, found, err := audit(context.Background(), forge(t, base, func(*forged) {}), memDir); err != nil || len(found) > 0 {
		t.Fatalf("what is only written again is damaged: %v, %v", found, err)
	}
	for name, c := range map[string]struct {
		change func(f *forged)
		at     string
		says   string
	}{
		"an id beyond the last chunk":    {func(f *forged) { f.files[0].Recipe[0].First = 10 }, filesName, "refers to chunk 10"},
		"an id before the first":         {func(f *forged) { f.files[0].Recipe[0].First = 0 }, filesName, "begins with chunk 0"},
		"more chunks than there are":     {func(f *forged) { f.files[2].Recipe[0].Chunks = 2 }, filesName, "refers to chunk"},
		"a recipe short of the size":     {func(f *forged) { f.files[0].Size++ }, filesName, "add up to 5000 bytes instead of 5001"},
		"a run longer than its chunks":   {func(f *forged) { f.files[0].Size++; f.files[0].Recipe[0].Bytes++ }, filesName, "its chunks have 5000"},
		"a gap before the first run":     {func(f *forged) { f.files[0].Recipe[0].At = 1 }, filesName, "begins at byte 1"},
		"a run of nothing":               {func(f *forged) { f.files[0].Recipe[0].Bytes = 0 }, filesName, "has 0 bytes"},
		"zeros that are not there":       {func(f *forged) { f.files[0].ZeroBytes = 5 }, filesName, "zeros"},
		"a negative size":                {func(f *forged) { f.files[0].Size = -1 }, filesName, "-1 bytes"},
		"new and there before":           {func(f *forged) { f.files[0].State = "new" }, filesName, "was there before"},
		"changed and not there before":   {func(f *forged) { f.files[2].Path = []byte("e") }, filesName, "was not there before"},
		"gone and not there before":      {func(f *forged) { f.files[2].Path, f.files[2].State = []byte("e"), "gone" }, filesName, "was not there before"},
		"names out of order":             {func(f *forged) { f.files[0], f.files[2] = f.files[2], f.files[0] }, filesName, ""},
		"a name twice":                   {func(f *forged) { f.files[1] = f.files[0] }, filesName, ""},
		"a path with an empty component": {func(f *forged) { f.files[1].Path, f.files[1].State = []byte("b//c"), "new" }, filesName, "empty component"},
		"another segment's row":          {func(f *forged) { f.files[0].Snapshot = 2 }, filesName, "of segment 2"},
		"a recipe without contents":      {func(f *forged) { f.files[0].Contents = nil }, filesName, "recipe and no contents"},
		"contents never read":            {func(f *forged) { f.files[0].NeverRead = true }, filesName, "was never read"},
		"a difference from nothing": {func(f *forged) {
			f.files[0].State, f.files[0].Path, f.files[0].Difference = "new", []byte("A"), true
		}, filesName, "difference from nothing"},
		"a count of differences": {func(f *forged) { f.files[0].Chain = 3 }, filesName, ""},
		"other contents, the same recipe": {func(f *forged) {
			f.files[0].Recipe[0].First = 4 // the second snapshot's
		}, filesName, "contradict"},
		"a chunk longer than the most":   {func(f *forged) { f.chunks[0].Length = int32(params.Max) + 1 }, chunksName, "the method's limit"},
		"a chunk shorter than the least": {func(f *forged) { f.chunks[0].Length = int32(params.Min) - 1 }, chunksName, "fewer than the method's"},
		"a chunk of nothing":             {func(f *forged) { f.chunks[0].Length = 0 }, chunksName, "has 0 bytes"},
		"packed longer than it is":       {func(f *forged) { f.chunks[0].Packed = i32(5001) }, chunksName, "5001 compressed"},
		"packed to nothing":              {func(f *forged) { f.chunks[0].Packed = i32(0) }, chunksName, "0 compressed"},
		"a level below none":             {func(f *forged) { f.chunks[0].Level = -2 }, chunksName, "level -2"},
		"a level beyond the hash":        {func(f *forged) { f.chunks[0].Level = 65 }, chunksName, "level 65"},
		"a chunk id left out":            {func(f *forged) { f.chunks[1].ID++ }, chunksName, "instead of 8"},
		"a chunk of another segment":     {func(f *forged) { f.chunks[2].Snapshot = 1 }, chunksName, "of segment 1"},
		"a listing of another size":      {func(f *forged) { f.listing[0].Size++ }, listingName, "not as the segments say"},
		"a listing without a name":       {func(f *forged) { f.listing = f.listing[:2] }, listingName, ""},
		"a listing with one more":        {func(f *forged) { f.listing = append(f.listing, f.listing[2]); f.listing[3].Path = []byte("zz") }, listingName, "not there then"},
		"a total of files":               {func(f *forged) { f.doc.Coverage.Files = 4 }, summaryName, "4 files"},
		"a total of bytes":               {func(f *forged) { f.doc.Coverage.ApparentBytes-- }, summaryName, "14999 bytes"},
		"a total of unread files":        {func(f *forged) { f.doc.Coverage.UnreadFiles = 1 }, summaryName, "are unread"},
		"a share above one":              {func(f *forged) { f.doc.Coverage.CoveredShare = 1.5 }, summaryName, "contradicts itself"},
		"a total of runs":                {func(f *forged) { f.doc.Stored.Runs++ }, summaryName, "runs in files.parquet"},
		"a total of a listing's runs":    {func(f *forged) { f.doc.Stored.ListingRuns++ }, summaryName, "runs in listing.parquet"},
		"a total of rows":                {func(f *forged) { f.doc.Rows++ }, summaryName, "row counts"},
		"a total of chunks":              {func(f *forged) { f.doc.Chunks-- }, summaryName, "row counts"},
		"ids that begin elsewhere":       {func(f *forged) { f.doc.FirstChunk++ }, summaryName, "begin at 8 instead of 7"},
		"a time before the last":         {func(f *forged) { f.doc.Taken = f.doc.Taken.Add(-48 * time.Hour) }, summaryName, "not taken after"},
	} {
		t.Run(name, func(t *testing.T) {
			_, found, err := audit(context.Background(), forge(t, base, c.change), memDir)
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range found {
				if d.Segment == 3 && strings.HasSuffix(d.File, "/"+c.at) && strings.Contains(d.Reason, c.says) {
					return
				}
			}
			t.Errorf("not found in %s as %q: %v", c.at, c.says, found)
		})
	}
}
