package view

import (
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
)

// Trend answers what each night brought, and what is usual. A null has its
// reason in the field of the same name with _reason behind.
type Trend struct {
	Schema    string    `json:"schema"`
	Answer    string    `json:"answer"` // one to three sentences
	Snapshots int       `json:"snapshots"`
	Baseline  time.Time `json:"baseline_taken"`

	Nights   []TrendRow   `json:"nights"`
	Usual    []UsualRow   `json:"usual"`    // of each class of day that was measured
	Weekdays []WeekdayRow `json:"weekdays"` // Monday first, those that were measured
	Growth   []GrowthRow  `json:"growth"`
	Notes    []string     `json:"notes"`

	Units units.System `json:"-"`
	Most  int64        `json:"-"` // new bytes of the largest night: what a bar as long as can be stands for
}

// TrendRow is one night: the steps within one local date added up.
type TrendRow struct {
	From     int       `json:"from"`
	To       int       `json:"to"`
	Taken    time.Time `json:"taken"` // of To
	Date     string    `json:"date"`  // the local date that the night belongs to, 2026-10-02
	Weekday  string    `json:"weekday"`
	Spanned  int       `json:"spanned"` // local dates covered; 1 is an ordinary night, 0 more of the baseline's own date
	Missed   int       `json:"missed"`  // dates before it without a snapshot: spanned − 1
	DayClass string    `json:"day_class"`

	TouchedBytes        *int64   `json:"touched_bytes"`
	TouchedReason       string   `json:"touched_bytes_reason,omitempty"`
	ChangedBytes        *int64   `json:"changed_bytes"`
	ChangedReason       string   `json:"changed_bytes_reason,omitempty"`
	NewBytes            *int64   `json:"new_bytes"`
	NewReason           string   `json:"new_bytes_reason,omitempty"`
	NewCompressedBytes  *int64   `json:"new_compressed_bytes"`
	NewCompressedReason string   `json:"new_compressed_bytes_reason,omitempty"`
	UploadBytes         *int64   `json:"upload_bytes"`
	UploadReason        string   `json:"upload_bytes_reason,omitempty"`
	StoredBytes         *int64   `json:"stored_bytes"` // of To
	StoredReason        string   `json:"stored_bytes_reason,omitempty"`
	SourceBytes         *int64   `json:"source_bytes"` // of To
	SourceReason        string   `json:"source_bytes_reason,omitempty"`
	CompressionRatio    *float64 `json:"compression_ratio"` // unique to compressed bytes of To, as in explain
	CompressionReason   string   `json:"compression_ratio_reason,omitempty"`
	RenamedFiles        *int64   `json:"renamed_files"` // given another name or ending
	RenamedReason       string   `json:"renamed_files_reason,omitempty"`
	FirstSeenBytes      int64    `json:"first_seen_bytes"` // baseline, in no figure above

	Partial       bool    `json:"partial"` // a scan of the step, or the one before it, was stopped
	CoveredShare  float64 `json:"covered_share"`
	UnreadFiles   int64   `json:"unread_files"`
	UnreadBytes   int64   `json:"unread_bytes"`
	UnreadFolders int64   `json:"unread_folders"`
	ScanSeconds   float64 `json:"scan_seconds"`

	Counts      bool          `json:"counts"`          // among the usual nights
	Aside       measure.Aside `json:"aside,omitempty"` // why not
	Score       *float64      `json:"score"`           // modified z of the new bytes beside the earlier nights like it
	ScoreReason string        `json:"score_reason,omitempty"`
	Unusual     bool          `json:"unusual"` // an alert would have spoken of this night, for the reasons that follow; coverage aside
	Reasons     []AlertReason `json:"reasons"`

	Bar     float64 `json:"-"` // new bytes as a share of the largest night's, 0 to 1
	BarHigh float64 `json:"-"` // the high end of what is usual for its class, on the same scale; 0: not known
	Remarks string  `json:"-"` // what a reader must not miss, in a few words
}

// UsualRow says what the new bytes of one class of day usually are.
type UsualRow struct {
	DayClass       string   `json:"day_class"`
	Nights         int      `json:"nights"` // that it rests on
	MedianNewBytes *int64   `json:"median_new_bytes"`
	MedianReason   string   `json:"median_new_bytes_reason,omitempty"`
	LowNewBytes    *int64   `json:"low_new_bytes"`
	LowReason      string   `json:"low_new_bytes_reason,omitempty"`
	HighNewBytes   *int64   `json:"high_new_bytes"`
	HighReason     string   `json:"high_new_bytes_reason,omitempty"`
	RangeShare     *float64 `json:"range_share"` // of the coming nights that lie from low to high, if they are like the earlier ones
	RangeReason    string   `json:"range_share_reason,omitempty"`
}

// WeekdayRow is the pattern of the week.
type WeekdayRow struct {
	Weekday        string `json:"weekday"` // Monday …
	Nights         int    `json:"nights"`
	MedianNewBytes int64  `json:"median_new_bytes"`

	Bar float64 `json:"-"` // as a share of the busiest weekday's median, 0 to 1
}

// GrowthRow is a straight line through the nights.
type GrowthRow struct {
	Of              string  `json:"of"`          // "stored_bytes" or "source_bytes"
	DailyBytes      int64   `json:"daily_bytes"` // by which it grows a day
	LowDailyBytes   int64   `json:"low_daily_bytes"`
	HighDailyBytes  int64   `json:"high_daily_bytes"`
	ConfidenceShare float64 `json:"confidence_share"` // of low to high
	Nights          int     `json:"nights"`
}

// TrendParts is what a trend's view is made of.
type TrendParts struct {
	Trend *measure.Trend
	Alert engine.Alert // when a night is called unusual
}
