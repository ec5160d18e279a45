package view

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Explain answers where the bytes of one snapshot go between source and store.
// A null has its reason in the field of the same name with _reason behind.
type Explain struct {
	Schema   string    `json:"schema,omitempty"` // not repeated inside another answer
	Snapshot int       `json:"snapshot"`
	Taken    time.Time `json:"taken"`
	Answer   string    `json:"answer"` // one or two sentences

	Files                int64  `json:"files"` // hard links counted once
	Names                int64  `json:"names"` // all names
	ApparentBytes        int64  `json:"apparent_bytes"`
	HardlinkBytes        int64  `json:"hardlink_bytes"`
	ZeroBytes            int64  `json:"zero_bytes"`
	SourceBytes          int64  `json:"source_bytes"`
	DuplicateFileBytes   int64  `json:"duplicate_file_bytes"`
	DuplicateChunkBytes  int64  `json:"duplicate_chunk_bytes"`
	UniqueBytes          int64  `json:"unique_bytes"`
	UniqueChunks         int64  `json:"unique_chunks"`
	References           int64  `json:"references"` // of files to chunks, repeated ones too
	CompressionBytes     *int64 `json:"compression_bytes"`
	CompressionReason    string `json:"compression_bytes_reason,omitempty"`
	CompressedBytes      *int64 `json:"compressed_bytes"`
	CompressedReason     string `json:"compressed_bytes_reason,omitempty"`
	CompressedLowBytes   *int64 `json:"compressed_low_bytes"`
	CompressedLowReason  string `json:"compressed_low_bytes_reason,omitempty"`
	CompressedHighBytes  *int64 `json:"compressed_high_bytes"`
	CompressedHighReason string `json:"compressed_high_bytes_reason,omitempty"`
	OverheadBytes        int64  `json:"overhead_bytes"`
	OverheadNote         string `json:"overhead_note,omitempty"` // why nothing was counted
	StoredBytes          *int64 `json:"stored_bytes"`
	StoredReason         string `json:"stored_bytes_reason,omitempty"`

	DedupRatio             *float64 `json:"dedup_ratio"` // source / unique
	DedupRatioReason       string   `json:"dedup_ratio_reason,omitempty"`
	CompressionRatio       *float64 `json:"compression_ratio"` // unique / compressed
	CompressionRatioReason string   `json:"compression_ratio_reason,omitempty"`
	ReductionRatio         *float64 `json:"reduction_ratio"` // source / stored
	ReductionRatioReason   string   `json:"reduction_ratio_reason,omitempty"`

	Engine          *Engine          `json:"engine,omitempty"` // the profile of the needs file
	Method          logbook.Method   `json:"method"`
	MeanChunkBytes  *int64           `json:"mean_chunk_bytes"` // measured, beside the nominal average
	MeanChunkReason string           `json:"mean_chunk_bytes_reason,omitempty"`
	Partial         bool             `json:"partial"`
	Coverage        logbook.Coverage `json:"coverage"`
	ByType          []ExplainRow     `json:"by_type"`   // by SourceBytes
	ByFolder        []ExplainRow     `json:"by_folder"` // by SourceBytes
	Notes           []string         `json:"notes"`
	Before          *Explain         `json:"before,omitempty"` // an earlier snapshot, where one was asked for

	Units   units.System `json:"-"`
	Ladder  []Step       `json:"-"`
	Types   []ExplainRow `json:"-"` // ByType as a person is shown it
	Folders []ExplainRow `json:"-"`
	Since   []SinceRow   `json:"-"` // the steps beside those of Before
}

// ExplainRow is one type's or folder's share. UniqueBytes belong to the first
// file in order that holds a chunk and add up to the total; ExclusiveBytes are
// what would be left out of the store if nothing but this row went away.
type ExplainRow struct {
	Name
	Files            int64  `json:"files"`
	ApparentBytes    int64  `json:"apparent_bytes"`
	HardlinkBytes    int64  `json:"hardlink_bytes"`
	ZeroBytes        int64  `json:"zero_bytes"`
	SourceBytes      int64  `json:"source_bytes"`
	UniqueBytes      int64  `json:"unique_bytes"`
	CompressedBytes  *int64 `json:"compressed_bytes"`
	CompressedReason string `json:"compressed_bytes_reason,omitempty"`
	Exclusive        *int64 `json:"exclusive_bytes"`
	ExclusiveReason  string `json:"exclusive_bytes_reason,omitempty"`

	ExclusiveBytes int64 `json:"-"` // Exclusive, −1 where it is absent

	SourceShare float64 `json:"-"` // of all source bytes
	Rest        int     `json:"-"` // > 0: this row adds up that many others, and has no ExclusiveBytes
}

// NewExplain makes the view of one measured snapshot.
func NewExplain(m *measure.Explain, f Facts, o Options) *Explain {
	v := &Explain{
		Schema:              "tidemark.explain/1",
		Snapshot:            m.Snapshot,
		Files:               m.Files,
		Names:               m.Names,
		ApparentBytes:       m.ApparentBytes,
		HardlinkBytes:       m.HardlinkBytes,
		ZeroBytes:           m.ZeroBytes,
		SourceBytes:         m.SourceBytes,
		DuplicateFileBytes:  m.DuplicateFileBytes,
		DuplicateChunkBytes: m.DuplicateChunkBytes,
		UniqueBytes:         m.UniqueBytes,
		UniqueChunks:        m.UniqueChunks,
		References:          m.References,
		OverheadBytes:       m.OverheadBytes,
		Engine:              newEngine(o.Profile),
		Method:              f.method(),
		Coverage:            logbook.Coverage{CoveredShare: 1},
		Units:               o.Units,
	}
	if s := f.segment(m.Snapshot); s != nil {
		v.Taken, v.Partial, v.Coverage = s.Taken, s.Partial, s.Coverage
	}
	if o.Profile == nil {
		v.OverheadNote = overheadNote
	}
	v.compressed(m)
	v.DedupRatio = ratio(m.SourceBytes, m.UniqueBytes)
	v.DedupRatioReason = because(v.DedupRatio, reasonNoUnique)
	if m.UniqueChunks > 0 {
		v.MeanChunkBytes = some((m.UniqueBytes + m.UniqueChunks/2) / m.UniqueChunks)
	}
	v.MeanChunkReason = because(v.MeanChunkBytes, reasonNoChunks)

	v.ByType = explainRows(m.ByType, m.SourceBytes)
	v.ByFolder = explainRows(m.ByFolder, m.SourceBytes)
	v.Types = firstRows(v.ByType, o.rows(), mergeExplain)
	v.Folders = firstRows(v.ByFolder, o.rows(), mergeExplain)
	v.Ladder = v.ladder(m)
	v.Answer = v.answer(m)
	v.Notes = v.notes(m, f, o)
	return v
}

// compressed sets what follows from compression, or the reasons for its absence.
func (v *Explain) compressed(m *measure.Explain) {
	if v.CompressedBytes = measured(m.CompressedBytes); v.CompressedBytes == nil {
		v.CompressionReason, v.CompressedReason = reasonNoCompression, reasonNoCompression
		v.CompressedLowReason, v.CompressedHighReason = reasonNoCompression, reasonNoCompression
		v.StoredReason, v.CompressionRatioReason = reasonNoCompression, reasonNoCompression
		v.ReductionRatioReason = reasonNoCompression
		return
	}
	v.CompressionBytes = some(m.CompressionBytes)
	v.CompressedLowBytes, v.CompressedHighBytes = some(m.CompressedLowBytes), some(m.CompressedHighBytes)
	v.StoredBytes = some(m.StoredBytes)
	v.CompressionRatio = ratio(m.UniqueBytes, m.CompressedBytes)
	v.CompressionRatioReason = because(v.CompressionRatio, reasonNoStored)
	v.ReductionRatio = ratio(m.SourceBytes, m.StoredBytes)
	v.ReductionRatioReason = because(v.ReductionRatio, reasonNoStored)
}

func explainRows(splits []measure.ExplainSplit, source int64) []ExplainRow {
	rows := make([]ExplainRow, 0, len(splits))
	for _, s := range splits {
		row := ExplainRow{
			Name:            newName(s.Name),
			Files:           s.Files,
			ApparentBytes:   s.ApparentBytes,
			HardlinkBytes:   s.HardlinkBytes,
			ZeroBytes:       s.ZeroBytes,
			SourceBytes:     s.SourceBytes,
			UniqueBytes:     s.UniqueBytes,
			CompressedBytes: measured(s.CompressedBytes),
			ExclusiveBytes:  s.ExclusiveBytes,
			SourceShare:     share(s.SourceBytes, source),
		}
		row.CompressedReason = because(row.CompressedBytes, reasonNoCompression)
		row.Exclusive = measured(s.ExclusiveBytes)
		row.ExclusiveReason = because(row.Exclusive, reasonOtherUnits)
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(a, b ExplainRow) int {
		return cmp.Or(cmp.Compare(b.SourceBytes, a.SourceBytes), cmp.Compare(b.ApparentBytes, a.ApparentBytes), cmp.Compare(a.Raw, b.Raw))
	})
	return rows
}

func mergeExplain(rest []ExplainRow) ExplainRow {
	all := ExplainRow{Rest: len(rest), CompressedBytes: some(0)}
	for _, r := range rest {
		all.Files += r.Files
		all.ApparentBytes += r.ApparentBytes
		all.HardlinkBytes += r.HardlinkBytes
		all.ZeroBytes += r.ZeroBytes
		all.SourceBytes += r.SourceBytes
		all.UniqueBytes += r.UniqueBytes
		all.SourceShare += r.SourceShare
		if r.CompressedBytes == nil || all.CompressedBytes == nil {
			all.CompressedBytes = nil
		} else {
			*all.CompressedBytes += *r.CompressedBytes
		}
	}
	return all
}

func (v *Explain) ladder(m *measure.Explain) []Step {
	l := &ladder{whole: m.SourceBytes, top: max(m.ApparentBytes, m.StoredBytes)}
	l.start("sizes of all names added up", m.ApparentBytes)
	l.minus("further names of a file (hard links)", m.HardlinkBytes)
	l.minus("runs of zeros", m.ZeroBytes)
	l.equals("source")
	l.minus("whole files held more than once", m.DuplicateFileBytes)
	l.minus("chunks held more than once", m.DuplicateChunkBytes)
	l.equals("unique: each chunk once")
	if v.CompressedBytes == nil {
		l.unknown(Minus, "compression")
		l.unknown(Equals, "compressed")
		return l.steps
	}
	l.minus("compression", m.CompressionBytes)
	l.equals("compressed")
	if v.OverheadNote == "" {
		l.plus("overhead of the store", m.OverheadBytes)
	}
	l.equals("stored")
	return l.steps
}

func (v *Explain) answer(m *measure.Explain) string {
	b := v.Units.Bytes
	if m.SourceBytes == 0 {
		return fmt.Sprintf("Snapshot %d holds no file contents to store.", m.Snapshot)
	}
	head := fmt.Sprintf("The %s in %s of snapshot %d", b(m.SourceBytes), Plural(m.Files, "file"), m.Snapshot)
	if v.StoredBytes == nil {
		return fmt.Sprintf("%s are %s when each chunk is kept once (%s); how far that compresses was not measured.",
			head, b(m.UniqueBytes), units.Share(share(m.UniqueBytes, m.SourceBytes)))
	}
	aside := ""
	if v.OverheadNote != "" {
		aside = ", its own bookkeeping aside"
	}
	return fmt.Sprintf("%s need %s in a store%s: %s of their size. %s",
		head, b(m.StoredBytes), aside, units.Share(share(m.StoredBytes, m.SourceBytes)), v.why(m))
}

// why names the step that matters most.
func (v *Explain) why(m *measure.Explain) string {
	if m.StoredBytes > m.SourceBytes {
		return fmt.Sprintf("That is more than the source: the store adds %s, and repetition and compression save only %s.",
			v.Units.Bytes(m.OverheadBytes), v.Units.Bytes(m.SourceBytes-m.CompressedBytes))
	}
	most, words := m.DuplicateFileBytes, "whole files held more than once"
	if m.DuplicateChunkBytes > most {
		most, words = m.DuplicateChunkBytes, "chunks held more than once"
	}
	if m.CompressionBytes > most {
		most, words = m.CompressionBytes, "compression"
	}
	if most == 0 {
		return "Nothing in them repeats or compresses."
	}
	return fmt.Sprintf("The largest saving is %s: %s.", words, v.Units.Bytes(most))
}

func (v *Explain) notes(m *measure.Explain, f Facts, o Options) []string {
	n := notes{units: o.Units}
	n.coverage(v.Snapshot, v.Partial, v.Coverage)
	if f.ownWay(o.Profile) || o.Assumed == nil {
		n.sampled(m.ExplainTotals)
	} else if m.CompressedLowBytes < m.CompressedHighBytes {
		n.add("The compressed size lies between %s and %s.", o.Units.Bytes(m.CompressedLowBytes), o.Units.Bytes(m.CompressedHighBytes))
	}
	n.engineChunks(f, o, v.MeanChunkBytes, "")
	n.engine(f, o)
	n.exclusive(len(v.ByFolder) > 0 && v.ByFolder[0].Exclusive != nil)
	n.unmeasured()
	return n.lines
}
