package view

import (
	"fmt"
	"slices"

	"tidemark/report/engine"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

const overheadNote = "no engine profile is given (--needs FILE), so nothing is added for the store's own bookkeeping"

const (
	storedUnknown = "Compression was not measured, so no stored size can be given. Scan without --compress off to learn it."
	// Off, or a sample in which nothing of a night happened to be.
	uploadUnknown = "Of what is new nothing was compressed, so no upload can be given. Scan with --compress all to learn it."
	bothUnknown   = "Compression was not measured, so no stored size and no upload can be given. Scan without --compress off to learn it."
)

// unpacked says which answers lack compressed bytes.
func (n *notes) unpacked(stored, upload bool) {
	switch {
	case stored && upload:
		n.add(bothUnknown)
	case stored:
		n.add(storedUnknown)
	case upload:
		n.add(uploadUnknown)
	}
}

// notes gathers what a reader must know beside the figures.
type notes struct {
	units units.System
	lines []string
}

func (n *notes) add(format string, args ...any) {
	n.lines = append(n.lines, fmt.Sprintf(format, args...))
}

// coverage tells of everything in a snapshot that the figures do not stand on.
func (n *notes) coverage(snapshot int, partial bool, c logbook.Coverage) {
	if partial {
		n.add("Snapshot %d is partial: its scan was stopped. Names that it did not reach count as they were last known, and those never seen in no figure.", snapshot)
	}
	if c.UnreadFiles > 0 {
		n.add("In snapshot %d this was not read (denied, failed, not reached or left out): %s, %s. It counts as it was last known, or not at all where it never was. The figures stand on %s.",
			snapshot, Plural(c.UnreadFiles, "file"), n.units.Bytes(c.UnreadBytes), Covered(partial, c))
	}
	if c.UnreadFolders > 0 {
		n.add("In snapshot %d, %s could not be opened. What lies below and was never seen is in no figure.",
			snapshot, Plural(c.UnreadFolders, "folder"))
	}
	if c.TornFiles > 0 {
		n.add("In snapshot %d %s changed while being read; the second reading counts, and may mix two states.",
			snapshot, Plural(c.TornFiles, "file"))
	}
}

// nights tells of a range of nights what its figures do not stand on: dates that
// no snapshot parts, and of each snapshot what was not read.
func (n *notes) nights(f Facts, from, to int) {
	if a, z := f.segment(from), f.segment(to); a != nil && z != nil && to == from+1 {
		if d := dates(a.Taken, z.Taken); d > 1 {
			n.add("This step covers %d dates, since no snapshot was taken between them. It is not divided by them.", d)
		}
	}
	var gaps []*logbook.Segment
	for i := range f.Segments {
		s := &f.Segments[i]
		c := &s.Coverage
		if s.Number >= from && s.Number <= to && (s.Partial || c.UnreadFiles > 0 || c.UnreadFolders > 0 || c.TornFiles > 0) {
			gaps = append(gaps, s)
		}
	}
	if len(gaps) > mostGaps {
		n.add("%s of the %s from %d to %d were not read whole: files or folders were denied, failed, changed while being read or were not reached. Those count as they were last known, or not at all where they never were; tidemark trend shows each night.",
			units.Count(int64(len(gaps))), Plural(int64(to-from+1), "snapshot"), from, to)
		gaps = slices.DeleteFunc(gaps, func(s *logbook.Segment) bool { return s.Number != to })
	}
	for _, s := range gaps {
		n.coverage(s.Number, s.Partial, s.Coverage)
	}
}

// mostGaps is how many snapshots are told of one by one.
const mostGaps = 5

// Covered says what the figures of a snapshot stand on. What was never reached
// has no known size: the share is then a bound, and says nothing where all that
// is known was read.
func Covered(partial bool, c logbook.Coverage) string {
	switch beyond := partial || c.UnreadFolders > 0; {
	case beyond && c.CoveredShare == 1:
		return "what was reached; how much lies beyond is not known"
	case beyond:
		return "at most " + units.Share(c.CoveredShare) + " of the bytes"
	}
	return units.Share(c.CoveredShare) + " of the bytes"
}

// sampled says how certain a compressed size is.
func (n *notes) sampled(t logbook.ExplainTotals) {
	switch {
	case t.CompressedBytes < 0:
		n.add(storedUnknown)
	case t.MeasuredBytes < t.UniqueBytes:
		n.add("Compression was measured on a sample, %s of the unique bytes. The compressed size lies between %s and %s (95 %% interval).",
			units.Share(share(t.MeasuredBytes, t.UniqueBytes)), n.units.Bytes(t.CompressedLowBytes), n.units.Bytes(t.CompressedHighBytes))
	}
}

// chunks puts the mean that came out beside the nominal average.
func (n *notes) chunks(m logbook.Method, mean *int64, which string) {
	if mean == nil {
		return
	}
	n.add("Chunks are cut by content (method %s, nominal average %s); the mean %schunk measured here is %s.",
		m.Name, units.Exact(int64(m.AverageBytes)), which, n.units.Bytes(*mean))
}

func (n *notes) overhead(p *engine.Profile) {
	if p == nil {
		n.add("No overhead is counted: %s.", overheadNote)
		return
	}
	if p.Name != "" {
		n.add("Overhead is counted for the engine profile %q of the needs file.", units.EscapeName([]byte(p.Name)))
	}
}

func (n *notes) exclusive(folders bool) {
	if folders {
		n.add("A folder's unique bytes are counted where a chunk is met first. \"Only here\" is what no other folder holds: leaving the folder out saves that much before compression, not more.")
	}
}

// unmeasured claims nothing for what a scan can not see.
func (n *notes) unmeasured() {
	n.add("Not measured: alternate data streams, access lists and other attributes, and what programs hold open and unsaved.")
}
