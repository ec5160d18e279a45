package view

import (
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
)

// WhatIf answers what a snapshot and its nights would be with files left out,
// in another engine, or under another retention. A null has its reason in the
// field of the same name with _reason behind. Negative savings are what it would
// take more.
type WhatIf struct {
	Schema   string    `json:"schema"`
	Snapshot int       `json:"snapshot"`
	Taken    time.Time `json:"taken"`
	Answer   string    `json:"answer"`

	Before WhatIfSide `json:"before"`
	After  WhatIfSide `json:"after"`

	LeftOutFiles     int64    `json:"left_out_files"` // names
	LeftOutBytes     int64    `json:"left_out_bytes"` // their sizes
	SavedUniqueBytes int64    `json:"saved_unique_bytes"`
	SavedBytes       *int64   `json:"saved_bytes"` // of what is stored now
	SavedReason      string   `json:"saved_bytes_reason,omitempty"`
	SavedShare       *float64 `json:"saved_share"` // of that
	SavedShareReason string   `json:"saved_share_reason,omitempty"`

	From                  *int   `json:"from"` // the nights behind the nightly figures led from here
	FromReason            string `json:"from_reason,omitempty"`
	Nights                int    `json:"nights"`
	SavedNightlyBytes     *int64 `json:"saved_nightly_bytes"` // of what travels in a night, on average
	SavedNightlyReason    string `json:"saved_nightly_bytes_reason,omitempty"`
	SavedNightlyNewBytes  *int64 `json:"saved_nightly_new_bytes"` // of what is new in a night, on average
	SavedNightlyNewReason string `json:"saved_nightly_new_bytes_reason,omitempty"`
	SavedKeptBytes        *int64 `json:"saved_kept_bytes"` // of what the retention keeps
	SavedKeptReason       string `json:"saved_kept_bytes_reason,omitempty"`

	KeepOnly    bool      `json:"keep_only"`         // what the rules name stays, instead of going
	Rules       []RuleRow `json:"rules"`             // each by itself, in the order given; never null
	AloneBytes  *int64    `json:"rules_alone_bytes"` // their savings of stored bytes added up; together they save saved_bytes where nothing else changes
	AloneReason string    `json:"rules_alone_bytes_reason,omitempty"`
	Notes       []string  `json:"notes"`

	Units units.System  `json:"-"`
	Table []ComparedRow `json:"-"`
}

// WhatIfSide is the tree before or after: an explanation, and its nights.
type WhatIfSide struct {
	*Explain
	NightlyNewBytes     *int64 `json:"nightly_new_bytes"` // on average
	NightlyNewReason    string `json:"nightly_new_bytes_reason,omitempty"`
	NightlyUploadBytes  *int64 `json:"nightly_upload_bytes"` // on average; with what the retention makes travel again
	NightlyUploadReason string `json:"nightly_upload_bytes_reason,omitempty"`
	Retention           string `json:"retention"` // in words; "" where none is asked about
	KeptSnapshots       []int  `json:"kept_snapshots"`
	KeptBytes           *int64 `json:"kept_bytes"` // the union of what they hold, as stored
	KeptReason          string `json:"kept_bytes_reason,omitempty"`
	KeptPlainBytes      int64  `json:"kept_plain_bytes"` // of kept_bytes, counted uncompressed since nothing like them was measured
}

// RuleRow is what one rule does by itself, in the engine of before.
type RuleRow struct {
	Rule           string `json:"rule"`  // as it was given, safe to show
	Files          int64  `json:"files"` // names in the snapshot that it names
	Bytes          int64  `json:"bytes"` // their sizes
	EverFiles      int64  `json:"ever_files"`
	MatchesNothing bool   `json:"matches_nothing"` // on no night

	SavedUniqueBytes     int64  `json:"saved_unique_bytes"`
	SavedBytes           *int64 `json:"saved_bytes"`
	SavedReason          string `json:"saved_bytes_reason,omitempty"`
	SavedNightlyBytes    *int64 `json:"saved_nightly_bytes"` // of what travels
	SavedNightlyReason   string `json:"saved_nightly_bytes_reason,omitempty"`
	SavedNightlyNewBytes *int64 `json:"saved_nightly_new_bytes"`
	SavedNewReason       string `json:"saved_nightly_new_bytes_reason,omitempty"`
}

// ComparedRow is one figure before and after. Nil: not known.
type ComparedRow struct {
	Words                string
	Before, After, Saved *int64
	Count                bool // of things, not bytes
	Strong               bool // what most readers look for
}

// WhatIfParts are what NewWhatIf puts together.
type WhatIfParts struct {
	Result   *measure.WhatIfResult
	Rules    []string // as typed, in the order of the selection
	KeepOnly bool
	After    *engine.Profile // nil: the profile of Options
	// Retention of before and of after; nil: none is asked about.
	KeptBefore, KeptAfter *Kept
}

// Kept is what a retention holds of the measured snapshots.
type Kept struct {
	Retention  *engine.Retention // nil: everything
	Snapshots  []int
	Bytes      int64 // −1: of nothing was measured what it compresses to
	PlainBytes int64 // of it, counted as they are: what they compress to was not measured
	AgainBytes int64 // travels again in the nights looked at, all of them together
}

const (
	reasonNoRetention = "no retention was given: neither --retention nor one in a needs file"
	reasonNoStep      = "no night led to the baseline"
	reasonNoRules     = "no rule was given"
)

// NewWhatIf makes the view.
func NewWhatIf(p WhatIfParts, f Facts, o Options) *WhatIf {
	m := p.Result
	v := &WhatIf{
		Schema: "tidemark.whatif/1", Snapshot: m.Snapshot, KeepOnly: p.KeepOnly,
		LeftOutFiles: m.LeftOutFiles, LeftOutBytes: m.LeftOutBytes, SavedUniqueBytes: m.SavedUniqueBytes,
		Nights: m.NightlyNights, Rules: []RuleRow{}, Units: o.Units,
	}
	after := o
	if p.After != nil {
		after.Profile = p.After
	}
	// Both sides are measured as their engines have them.
	o.Assumed, after.Assumed = []measure.ProfileNote{}, m.Assumed
	v.Before = newSide(m.Before, m.BeforeNew, m.BeforeUpload, m.NightlyNights, p.KeptBefore, f, o)
	v.After = newSide(m.After, m.AfterNew, m.AfterUpload, m.NightlyNights, p.KeptAfter, f, after)
	v.Taken = v.Before.Taken

	v.SavedBytes = less(v.Before.StoredBytes, v.After.StoredBytes)
	v.SavedReason = because(v.SavedBytes, reasonNoCompression)
	if v.SavedBytes != nil {
		v.SavedShare = ratio(*v.SavedBytes, *v.Before.StoredBytes)
		v.SavedShareReason = because(v.SavedShare, reasonNoStored)
	} else {
		v.SavedShareReason = reasonNoCompression
	}
	if m.From > 0 {
		from := m.From
		v.From = &from
	}
	v.FromReason = because(v.From, reasonNoStep)
	v.SavedNightlyBytes = less(v.Before.NightlyUploadBytes, v.After.NightlyUploadBytes)
	v.SavedNightlyReason = because(v.SavedNightlyBytes, v.Before.NightlyUploadReason+v.After.NightlyUploadReason)
	if v.SavedNightlyBytes == nil {
		v.SavedNightlyReason = reasonNoCompression
		if v.From == nil {
			v.SavedNightlyReason = reasonNoStep
		}
	}
	v.SavedNightlyNewBytes = less(v.Before.NightlyNewBytes, v.After.NightlyNewBytes)
	v.SavedNightlyNewReason = because(v.SavedNightlyNewBytes, reasonNoStep)
	v.SavedKeptBytes = less(v.Before.KeptBytes, v.After.KeptBytes)
	if v.SavedKeptBytes == nil {
		if v.SavedKeptReason = v.Before.KeptReason; v.SavedKeptReason == "" {
			v.SavedKeptReason = v.After.KeptReason
		}
	}
	v.rules(p)
	v.table()
	v.Answer = v.answer(p)
	v.Notes = v.notes(p, f, o)
	return v
}

// less is a − b where both are known.
func less(a, b *int64) *int64 {
	if a == nil || b == nil {
		return nil
	}
	return some(*a - *b)
}

// mean of a sum over nights, rounded half away from zero.
func mean(sum int64, nights int) int64 {
	n := int64(nights)
	if sum < 0 {
		return -((-sum + n/2) / n)
	}
	return (sum + n/2) / n
}

func newSide(m *measure.Explain, fresh, upload int64, nights int, kept *Kept, f Facts, o Options) WhatIfSide {
	s := WhatIfSide{Explain: NewExplain(m, f, o), KeptSnapshots: []int{}, KeptReason: reasonNoRetention}
	s.Schema = ""
	s.NightlyNewReason, s.NightlyUploadReason = reasonNoStep, reasonNoStep
	if nights > 0 {
		s.NightlyNewBytes, s.NightlyNewReason = some(mean(fresh, nights)), ""
		s.NightlyUploadReason = reasonNoCompression
		if upload >= 0 {
			if kept != nil {
				upload += kept.AgainBytes
			}
			s.NightlyUploadBytes, s.NightlyUploadReason = some(mean(upload, nights)), ""
		}
	}
	if kept != nil {
		s.Retention, s.KeptSnapshots = retentionWords(kept.Retention), append(s.KeptSnapshots, kept.Snapshots...)
		s.KeptBytes = measured(kept.Bytes)
		if s.KeptBytes != nil {
			s.KeptPlainBytes = kept.PlainBytes
		}
		s.KeptReason = because(s.KeptBytes, reasonNoCompression)
	}
	return s
}

func (v *WhatIf) rules(p WhatIfParts) {
	m := p.Result
	v.AloneReason = reasonNoRules
	var stored, sent int64
	for i := range m.Rules {
		r := &m.Rules[i]
		row := RuleRow{
			Rule: units.EscapeName([]byte(p.Rules[i])), Files: r.Files, Bytes: r.Bytes, EverFiles: r.EverFiles, MatchesNothing: r.EverFiles == 0,
			SavedUniqueBytes: r.SavedUniqueBytes,
		}
		if r.StoredKnown {
			row.SavedBytes = some(r.SavedBytes)
		}
		row.SavedReason = because(row.SavedBytes, reasonNoCompression)
		row.SavedNightlyReason, row.SavedNewReason = reasonNoStep, reasonNoStep
		if n := m.Snapshot - max(m.RulesFrom, 1); n > 0 {
			row.SavedNightlyNewBytes, row.SavedNewReason = some(mean(r.SavedNewBytes, n)), ""
			row.SavedNightlyReason = reasonNoCompression
			if r.UploadKnown {
				row.SavedNightlyBytes, row.SavedNightlyReason = some(mean(r.SavedUploadBytes, n)), ""
			}
		}
		stored += r.SavedBytes
		sent += r.SavedUploadBytes
		v.Rules = append(v.Rules, row)
		if row.SavedBytes == nil {
			v.AloneReason = reasonNoCompression
		}
	}
	if len(v.Rules) > 0 && v.AloneReason == reasonNoRules {
		v.AloneBytes, v.AloneReason = some(stored), ""
	}
}

func (v *WhatIf) table() {
	a, z := &v.Before, &v.After
	row := func(words string, before, after *int64, strong bool) {
		if before == nil && after == nil {
			return
		}
		v.Table = append(v.Table, ComparedRow{Words: words, Before: before, After: after, Saved: less(before, after), Strong: strong})
	}
	v.Table = append(v.Table, ComparedRow{Words: "files", Before: &a.Files, After: &z.Files, Saved: less(&a.Files, &z.Files), Count: true})
	if names := a.Names - z.Names; names != a.Files-z.Files {
		v.Table = append(v.Table, ComparedRow{Words: "names of files", Before: &a.Names, After: &z.Names, Saved: less(&a.Names, &z.Names), Count: true})
	}
	row("source", &a.SourceBytes, &z.SourceBytes, false)
	row("unique: each chunk once", &a.UniqueBytes, &z.UniqueBytes, false)
	row("compressed", a.CompressedBytes, z.CompressedBytes, false)
	row("overhead of the store", &a.OverheadBytes, &z.OverheadBytes, false)
	row("stored", a.StoredBytes, z.StoredBytes, true)
	row("kept under the retention", a.KeptBytes, z.KeptBytes, true)
	row("new "+v.nightWord(), a.NightlyNewBytes, z.NightlyNewBytes, false)
	row("travels "+v.nightWord(), a.NightlyUploadBytes, z.NightlyUploadBytes, true)
}
