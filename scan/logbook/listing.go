package logbook

import "context"

// A merge has one reader for each segment since the last complete listing, so a
// listing is written now and then: as soon as the rows since the last one are
// twice as many as the entries, so that reading a state costs at most about three
// times its entries, and only if rows and recipes together outweigh the listing's,
// so that listings never take more than the nights do, and mostly half. The first segment is a complete
// listing by itself.

// listingFloor is the number of rows from which on a listing is worth a file. A variable for tests.
var listingFloor int64 = 4096

// listingDue says whether a listing should come with a segment that stores s.
func (b *Book) listingDue(s *storedFiles) bool {
	if len(b.refs) == 0 {
		return false
	}
	// Cost of a file: its rows and its runs.
	rows, runs := s.Files.Rows, s.Runs
	grownRows, grownRuns := s.GrownRows, s.GrownRuns
	for n := len(b.refs); n > 0; n-- {
		t := &b.refs[n-1].doc.Stored
		if n == 1 || t.Listing != nil {
			baseRows, baseRuns := t.Files.Rows, t.Runs
			if t.Listing != nil {
				baseRows, baseRuns = t.Listing.Rows, t.ListingRuns
			}
			entries := max(0, baseRows+grownRows)
			return rows >= max(2*entries, listingFloor) && rows+runs > entries+max(0, baseRuns+grownRuns)
		}
		rows, runs = rows+t.Files.Rows, runs+t.Runs
		grownRows, grownRuns = grownRows+t.GrownRows, grownRuns+t.GrownRuns
	}
	return false
}

// writeListing writes the complete listing at the newest snapshot of b to dir.
func (b *Book) writeListing(ctx context.Context, dir string) (file storedFile, runs int64, err error) {
	out, err := newEntrySink(b.fs, dir+"/"+listingName)
	if err != nil {
		return file, 0, err
	}
	defer out.abandon()
	n := len(b.refs)
	var werr error
	err = b.histories(ctx, HistoryOptions{From: n, To: n, Recipes: true}, false, func(h *History) bool {
		e := &h.Versions[0].Entry
		runs += int64(len(e.Recipe))
		werr = out.put(entryRow(e, e.Since, stateNew), e.Path, e.Contents, e.Recipe)
		return werr == nil
	})
	if err == nil {
		err = werr
	}
	if err != nil {
		return file, 0, err
	}
	file, err = out.close()
	return file, runs, err
}
