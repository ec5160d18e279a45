package measure

import (
	"cmp"
	"slices"
	"time"

	"tidemark/scan/logbook"
)

// TrendOf reads the nights out of the segments' summaries, in order of Number.
// There must be one at least; with only the baseline there are no nights.
func TrendOf(segments []logbook.Segment, o TrendOptions) *Trend {
	if o.LeastCovered == 0 {
		o.LeastCovered = leastCovered
	}
	t := &Trend{Baseline: segments[0]}
	for i := 1; i < len(segments); i++ {
		t.add(&segments[i-1], &segments[i], o)
	}
	for i := range t.Nights {
		n := &t.Nights[i]
		n.Aside = aside(n, o.LeastCovered)
		n.Counts = n.Aside == ""
	}
	t.Usual, t.Weekdays = usualOf(t.Nights), weekdaysOf(t.Nights)
	t.Growth = growthOf(t.Nights)
	return t
}

const leastCovered = 0.99

// add puts the step from prev to s where it belongs: to the night of its date.
func (t *Trend) add(prev, s *logbook.Segment, o TrendOptions) {
	step := stepOf(prev, s, o)
	last := len(t.Nights) - 1
	if last < 0 || !sameDate(t.Nights[last].Date, step.Date) {
		t.Nights = append(t.Nights, step)
		return
	}
	t.Nights[last].join(&step)
}

func sameDate(a, b time.Time) bool {
	ay, am, ad := a.Date()
	by, bm, bd := b.Date()
	return ay == by && am == bm && ad == bd
}

// stepOf is a night of a single step.
func stepOf(prev, s *logbook.Segment, o TrendOptions) TrendNight {
	date := logbook.Night(s.Taken)
	n := TrendNight{
		From: prev.Number, To: s.Number, Taken: s.Taken, Date: date,
		Class: DayClass(date), Spanned: spanned(prev, s),
		Partial:      prev.Partial || s.Partial,
		CoveredShare: s.Coverage.CoveredShare,
		UnreadFiles:  s.Coverage.UnreadFiles, UnreadBytes: s.Coverage.UnreadBytes, UnreadFolders: s.Coverage.UnreadFolders,
		ScanSeconds: s.Work.ElapsedSeconds, ReadBytes: s.Work.ReadBytes,
	}
	f := s.Figures
	if f == nil || f.Change == nil {
		n.NewCompressedBytes, n.UploadBytes, n.RenamedFiles, n.StoredBytes, n.CompressedBytes = -1, -1, -1, -1, -1
		return n
	}
	n.Measured = true
	c := f.Change
	n.TouchedFiles, n.TouchedBytes = c.TouchedFiles, c.TouchedBytes
	n.ChangedFiles, n.ChangedBytes = c.ChangedFiles, c.ChangedBytes
	n.NewBytes, n.NewCompressedBytes = c.NewBytes, c.NewCompressedBytes
	as := *c
	as.NewCompressedBytes = Packed(o.Profile, c.NewCompressedBytes, c.NewBytes)
	n.UploadBytes = deriveChange(&Change{ChangeTotals: as}, o.Options).UploadBytes
	n.ReturningBytes, n.FreedBytes = c.ReturningBytes, c.FreedBytes
	n.FirstSeenFiles, n.FirstSeenBytes = c.FirstSeenFiles, c.FirstSeenBytes
	n.RenamedFiles = -1
	if f.Renamed != nil {
		n.RenamedFiles, n.Renamed = f.Renamed.Files, slices.Clone(f.Renamed.Folders)
	}
	n.state(f, o)
	n.Causes = slices.Clone(c.Causes)
	n.Types, n.Folders = f.Types, f.Folders
	return n
}

// state sets what the last snapshot of a night holds.
func (n *TrendNight) state(f *logbook.Figures, o TrendOptions) {
	e := repack(&Explain{Snapshot: n.To, ExplainTotals: f.Explain}, o.Profile)
	n.StoredBytes, n.SourceBytes, n.UniqueBytes, n.CompressedBytes = e.StoredBytes, e.SourceBytes, e.UniqueBytes, f.Explain.CompressedBytes
}

// join adds a later step within the same date.
func (n *TrendNight) join(s *TrendNight) {
	n.To, n.Taken = s.To, s.Taken
	n.Spanned += s.Spanned
	n.Measured = n.Measured && s.Measured
	n.Partial = n.Partial || s.Partial
	n.CoveredShare = min(n.CoveredShare, s.CoveredShare)
	n.UnreadFiles, n.UnreadBytes, n.UnreadFolders = s.UnreadFiles, s.UnreadBytes, s.UnreadFolders
	n.TouchedFiles += s.TouchedFiles
	n.TouchedBytes += s.TouchedBytes
	n.ChangedFiles += s.ChangedFiles
	n.ChangedBytes += s.ChangedBytes
	n.NewBytes += s.NewBytes
	n.NewCompressedBytes = both(n.NewCompressedBytes, s.NewCompressedBytes)
	n.UploadBytes = both(n.UploadBytes, s.UploadBytes)
	n.ReturningBytes += s.ReturningBytes
	n.FreedBytes += s.FreedBytes
	n.FirstSeenFiles += s.FirstSeenFiles
	n.FirstSeenBytes += s.FirstSeenBytes
	n.RenamedFiles = both(n.RenamedFiles, s.RenamedFiles)
	n.StoredBytes, n.SourceBytes, n.UniqueBytes, n.CompressedBytes = s.StoredBytes, s.SourceBytes, s.UniqueBytes, s.CompressedBytes
	n.ScanSeconds += s.ScanSeconds
	n.ReadBytes += s.ReadBytes
	n.Causes = joinCauses(n.Causes, s.Causes)
	n.Types, n.Folders = joinNights(n.Types, s.Types), joinNights(n.Folders, s.Folders)
	n.Renamed = joinRenamed(n.Renamed, s.Renamed)
}

// both is a sum in which −1 is not known.
func both(a, b int64) int64 {
	if a < 0 || b < 0 {
		return -1
	}
	return a + b
}

// joined adds rows of a later step to those of an earlier one, by name: a first, then
// what b alone has.
func joined[R any](a, b []R, name func(R) string, add func(sum *R, row R)) []R {
	out := slices.Clone(a)
	for _, row := range b {
		i := slices.IndexFunc(out, func(r R) bool { return name(r) == name(row) })
		if i < 0 {
			out = append(out, row)
			continue
		}
		add(&out[i], row)
	}
	return out
}

func joinCauses(a, b []logbook.CauseTotals) []logbook.CauseTotals {
	return joined(a, b, func(r logbook.CauseTotals) string { return r.Cause }, func(sum *logbook.CauseTotals, row logbook.CauseTotals) {
		sum.Files += row.Files
		sum.Bytes += row.Bytes
		sum.NewBytes += row.NewBytes
	})
}

// joinNights adds what two steps brought; what the tree holds is the later one's.
func joinNights(a, b []logbook.SplitTotals) []logbook.SplitTotals {
	return joined(b, a, func(r logbook.SplitTotals) string { return r.Name }, func(sum *logbook.SplitTotals, row logbook.SplitTotals) {
		sum.NewBytes += row.NewBytes
		sum.NewPacked = both(sum.NewPacked, row.NewPacked)
		sum.NewNames += row.NewNames
	})
}

func joinRenamed(a, b []logbook.RenamedFolder) []logbook.RenamedFolder {
	out := joined(a, b, func(r logbook.RenamedFolder) string { return r.Name }, func(sum *logbook.RenamedFolder, row logbook.RenamedFolder) {
		sum.Files += row.Files
	})
	slices.SortStableFunc(out, func(x, y logbook.RenamedFolder) int { return cmp.Compare(y.Files, x.Files) })
	return out
}

// aside says why a night does not count among the usual ones. A night after a
// stopped scan holds what that one did not reach, and so more than a night.
func aside(n *TrendNight, least float64) Aside {
	switch {
	case !n.Measured:
		return AsideUnknown
	case n.Spanned != 1:
		return AsideSpanned
	case n.Partial:
		return AsideStopped
	case n.CoveredShare < least:
		return AsideUncovered
	}
	return ""
}
