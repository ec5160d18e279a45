package view

import (
	"cmp"
	"slices"
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Change answers what really changed from one snapshot to a later one. A null
// has its reason in the field of the same name with _reason behind.
type Change struct {
	Schema    string    `json:"schema,omitempty"` // not repeated inside another answer
	From      int       `json:"from"`
	To        int       `json:"to"`
	FromTaken time.Time `json:"from_taken"`
	ToTaken   time.Time `json:"to_taken"`
	Spanned   int       `json:"spanned"` // local dates from From to To; 1 is an ordinary night, 0 a second scan on one date
	Answer    string    `json:"answer"`  // one or two sentences

	TouchedBytes        int64  `json:"touched_bytes"`
	TouchedFiles        int64  `json:"touched_files"`
	ChangedBytes        int64  `json:"changed_bytes"`
	ChangedFiles        int64  `json:"changed_files"`
	NewBytes            int64  `json:"new_bytes"`
	NewChunks           int64  `json:"new_chunks"`
	NewCompressedBytes  *int64 `json:"new_compressed_bytes"`
	NewCompressedReason string `json:"new_compressed_bytes_reason,omitempty"`
	NewPackedLowBytes   *int64 `json:"new_compressed_low_bytes"` // the same where nothing is estimated
	NewPackedLowReason  string `json:"new_compressed_low_bytes_reason,omitempty"`
	NewPackedHighBytes  *int64 `json:"new_compressed_high_bytes"`
	NewPackedHighReason string `json:"new_compressed_high_bytes_reason,omitempty"`
	EngineNewBytes      int64  `json:"engine_new_bytes"` // what the engine would take for new; new_bytes where it keeps the logbook's own chunks
	OverheadBytes       int64  `json:"overhead_bytes"`
	OverheadNote        string `json:"overhead_note,omitempty"` // why nothing was counted
	UploadBytes         *int64 `json:"upload_bytes"`
	UploadReason        string `json:"upload_bytes_reason,omitempty"`
	ReturningBytes      int64  `json:"returning_bytes"`
	ReturningChunks     int64  `json:"returning_chunks"`
	FreedBytes          int64  `json:"freed_bytes"`
	StillNewBytes       int64  `json:"still_new_bytes"` // of new_bytes: what the last snapshot still holds

	FirstSeenFiles    int64 `json:"first_seen_files"` // baseline, in no figure above
	FirstSeenBytes    int64 `json:"first_seen_bytes"`
	FirstSeenNewBytes int64 `json:"first_seen_new_bytes"`

	MeanNewChunkBytes  *int64           `json:"mean_new_chunk_bytes"`
	MeanNewChunkReason string           `json:"mean_new_chunk_bytes_reason,omitempty"`
	Engine             *Engine          `json:"engine,omitempty"` // the profile of the needs file
	Method             logbook.Method   `json:"method"`
	Partial            bool             `json:"partial"`  // any snapshot after From
	Coverage           logbook.Coverage `json:"coverage"` // of To

	Nights   []NightRow  `json:"nights"`
	Causes   []CauseRow  `json:"causes"`    // by NewBytes, then by Bytes
	ByFolder []ChangeRow `json:"by_folder"` // by NewBytes, then by TouchedBytes
	ByType   []ChangeRow `json:"by_type"`
	Top      []FileRow   `json:"top"`
	Notes    []string    `json:"notes"`

	Units   units.System `json:"-"`
	Period  string       `json:"-"` // "the night of Friday 2026-10-02"
	Ladder  []Step       `json:"-"`
	Folders []ChangeRow  `json:"-"` // ByFolder as a person is shown it
	Types   []ChangeRow  `json:"-"`
	Fresh   []FileRow    `json:"-"` // those of Top that hold something new
}

// NightRow is one step of the way from From to To.
type NightRow struct {
	From         int   `json:"from"`
	To           int   `json:"to"`
	Spanned      int   `json:"spanned"`
	TouchedBytes int64 `json:"touched_bytes"`
	ChangedBytes int64 `json:"changed_bytes"`
	NewBytes     int64 `json:"new_bytes"`
}

// CauseRow is one cause's share. NewBytes add up to the total.
type CauseRow struct {
	Cause         measure.Cause `json:"cause"`
	Files         int64         `json:"files"`
	Bytes         int64         `json:"bytes"` // sizes of the files; of deleted ones the last
	NewBytes      int64         `json:"new_bytes"`
	BaselineBytes int64         `json:"baseline_bytes,omitempty"` // of first_seen: chunks that only these files hold

	Words    string  `json:"-"`
	NewShare float64 `json:"-"`
}

// ChangeRow is one folder's or type's share; each column adds up to its total.
type ChangeRow struct {
	Name
	TouchedFiles        int64  `json:"touched_files"`
	TouchedBytes        int64  `json:"touched_bytes"`
	ChangedBytes        int64  `json:"changed_bytes"`
	NewBytes            int64  `json:"new_bytes"`
	NewCompressedBytes  *int64 `json:"new_compressed_bytes"`
	NewCompressedReason string `json:"new_compressed_bytes_reason,omitempty"`
	NewNames            int64  `json:"new_names"` // files with a new path

	NewShare float64 `json:"-"` // of all new bytes
	Rest     int     `json:"-"` // > 0: this row adds up that many others
}

// FileRow is one file's share, over all the nights.
type FileRow struct {
	Path
	Cause        measure.Cause `json:"cause"` // of the night with the most new bytes
	Nights       int           `json:"nights"`
	TouchedBytes int64         `json:"touched_bytes"`
	NewBytes     int64         `json:"new_bytes"`

	NewShare float64 `json:"-"`
}

// NewChange makes the view of one measured change.
func NewChange(m *measure.Change, f Facts, o Options) *Change {
	v := &Change{
		Schema:              "tidemark.change/1",
		From:                m.From,
		To:                  m.To,
		Spanned:             m.Spanned,
		TouchedBytes:        m.TouchedBytes,
		TouchedFiles:        m.TouchedFiles,
		ChangedBytes:        m.ChangedBytes,
		ChangedFiles:        m.ChangedFiles,
		NewBytes:            m.NewBytes,
		NewChunks:           m.NewChunks,
		NewCompressedBytes:  measured(m.NewCompressedBytes),
		OverheadBytes:       m.OverheadBytes,
		UploadBytes:         measured(m.UploadBytes),
		ReturningBytes:      m.ReturningBytes,
		ReturningChunks:     m.ReturningChunks,
		FreedBytes:          m.FreedBytes,
		StillNewBytes:       m.StillNewBytes,
		FirstSeenFiles:      m.FirstSeenFiles,
		FirstSeenBytes:      m.FirstSeenBytes,
		FirstSeenNewBytes:   m.FirstSeenNewBytes,
		MeanNewChunkReason:  reasonNoChunks,
		EngineNewBytes:      max(m.EngineNewBytes, m.NewBytes),
		Engine:              newEngine(o.Profile),
		Method:              f.method(),
		Coverage:            logbook.Coverage{CoveredShare: 1},
		Units:               o.Units,
		NewCompressedReason: because(measured(m.NewCompressedBytes), reasonNoCompression),
		UploadReason:        because(measured(m.UploadBytes), reasonNoCompression),
	}
	if m.NewChunks > 0 {
		v.MeanNewChunkBytes, v.MeanNewChunkReason = some((m.NewBytes+m.NewChunks/2)/m.NewChunks), ""
	}
	if m.NewCompressedBytes >= 0 {
		// A caller that knows no interval has none.
		v.NewPackedLowBytes, v.NewPackedHighBytes = some(min(m.NewCompressedLowBytes, m.NewCompressedBytes)), some(max(m.NewCompressedHighBytes, m.NewCompressedBytes))
		if m.NewCompressedLowBytes <= 0 && m.NewCompressedHighBytes <= 0 {
			v.NewPackedLowBytes, v.NewPackedHighBytes = some(m.NewCompressedBytes), some(m.NewCompressedBytes)
		}
	}
	v.NewPackedLowReason, v.NewPackedHighReason = v.NewCompressedReason, v.NewCompressedReason
	if o.Profile == nil {
		v.OverheadNote = overheadNote
	}
	if s := f.segment(m.From); s != nil {
		v.FromTaken = s.Taken
	}
	if s := f.segment(m.To); s != nil {
		v.ToTaken, v.Coverage = s.Taken, s.Coverage
	}
	for _, s := range f.Segments {
		v.Partial = v.Partial || (s.Partial && s.Number > m.From && s.Number <= m.To)
	}
	v.Nights = nightRows(m.Nights)
	v.Causes = causeRows(m)
	v.ByFolder, v.ByType = changeRows(m.ByFolder, m.NewBytes), changeRows(m.ByType, m.NewBytes)
	v.Folders, v.Types = firstRows(v.ByFolder, o.rows(), mergeChange), firstRows(v.ByType, o.rows(), mergeChange)
	v.Top = fileRows(m)
	for _, row := range v.Top {
		if row.NewBytes > 0 {
			v.Fresh = append(v.Fresh, row)
		}
	}
	v.Period = v.period()
	v.Ladder = v.ladder()
	v.Answer = v.answer()
	v.Notes = v.notes(m, f, o)
	return v
}

func nightRows(nights []measure.Night) []NightRow {
	rows := make([]NightRow, 0, len(nights))
	for _, n := range nights {
		rows = append(rows, NightRow(n))
	}
	return rows
}

func causeRows(m *measure.Change) []CauseRow {
	rows := make([]CauseRow, 0, len(m.Causes))
	for _, c := range m.Causes {
		cause := measure.Cause(c.Cause)
		row := CauseRow{
			Cause: cause, Files: c.Files, Bytes: c.Bytes, NewBytes: c.NewBytes,
			Words: causeWords[cause], NewShare: share(c.NewBytes, m.NewBytes),
		}
		if cause == measure.FirstSeen {
			row.BaselineBytes = m.FirstSeenNewBytes
		}
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(a, b CauseRow) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(b.Bytes, a.Bytes), cmp.Compare(causeRank[a.Cause], causeRank[b.Cause]))
	})
	return rows
}

func changeRows(splits []measure.ChangeSplit, total int64) []ChangeRow {
	rows := make([]ChangeRow, 0, len(splits))
	for _, s := range splits {
		row := ChangeRow{
			Name:               newName(s.Name),
			TouchedFiles:       s.TouchedFiles,
			TouchedBytes:       s.TouchedBytes,
			ChangedBytes:       s.ChangedBytes,
			NewBytes:           s.NewBytes,
			NewCompressedBytes: measured(s.NewPacked),
			NewNames:           s.NewNames,
			NewShare:           share(s.NewBytes, total),
		}
		row.NewCompressedReason = because(row.NewCompressedBytes, reasonNoCompression)
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(a, b ChangeRow) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(b.TouchedBytes, a.TouchedBytes), cmp.Compare(a.Raw, b.Raw))
	})
	return rows
}

func mergeChange(rest []ChangeRow) ChangeRow {
	all := ChangeRow{Rest: len(rest), NewCompressedBytes: some(0)}
	for _, r := range rest {
		all.TouchedFiles += r.TouchedFiles
		all.TouchedBytes += r.TouchedBytes
		all.ChangedBytes += r.ChangedBytes
		all.NewBytes += r.NewBytes
		all.NewNames += r.NewNames
		all.NewShare += r.NewShare
		if r.NewCompressedBytes == nil || all.NewCompressedBytes == nil {
			all.NewCompressedBytes = nil
		} else {
			*all.NewCompressedBytes += *r.NewCompressedBytes
		}
	}
	return all
}

func fileRows(m *measure.Change) []FileRow {
	rows := make([]FileRow, 0, len(m.Top))
	for _, f := range m.Top {
		rows = append(rows, FileRow{
			Path:  newPath(f.Label + "/" + string(f.Path)),
			Cause: f.Cause, Nights: f.Nights,
			TouchedBytes: f.TouchedBytes, NewBytes: f.NewBytes, NewShare: share(f.NewBytes, m.NewBytes),
		})
	}
	slices.SortStableFunc(rows, func(a, b FileRow) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(b.TouchedBytes, a.TouchedBytes))
	})
	return rows
}
