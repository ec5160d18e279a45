package view

import (
	"time"

	"tidemark/report/units"
)

// AlertStatus says how unusual the newest night is.
type AlertStatus string

// States of an alert. Unknown: what would be judged can not be judged yet, or at all.
const (
	StatusUsual    AlertStatus = "usual"
	StatusWarning  AlertStatus = "warning"
	StatusCritical AlertStatus = "critical"
	StatusUnknown  AlertStatus = "unknown"
)

// ExitCode is what a monitoring system is told.
func (s AlertStatus) ExitCode() int {
	switch s {
	case StatusUsual:
		return 0
	case StatusWarning:
		return 1
	case StatusCritical:
		return 2
	}
	return 3
}

// Measures that an alert judges.
const (
	MeasureNewBytes        = "new_bytes"
	MeasureTouchedFiles    = "touched_files" // only that nothing at all was touched
	MeasureCompressedShare = "compressed_share"
	MeasureRenamedFiles    = "renamed_files"
	MeasureCoveredShare    = "covered_share"
	MeasureGoodScanAge     = "good_scan_age_seconds"
	MeasurePlanFull        = "plan_full_days"
)

// Alert answers whether last night was unusual. It says so and shows the
// evidence; it names no cause.
type Alert struct {
	Schema      string        `json:"schema"`
	Status      AlertStatus   `json:"status"`
	Line        string        `json:"line"`  // the answer in one line
	Taken       *time.Time    `json:"taken"` // of the snapshot that is judged; null where there is none
	TakenReason string        `json:"taken_reason,omitempty"`
	Snapshot    int           `json:"snapshot"`  // 0: none
	DayClass    string        `json:"day_class"` // "": no night
	Reasons     []AlertReason `json:"reasons"`   // what is not usual, worst first
	Judged      []AlertReason `json:"judged"`    // all that was looked at, the reasons included
	Notes       []string      `json:"notes"`

	Units units.System `json:"-"`
}

// AlertReason is one measure beside what is usual for it.
type AlertReason struct {
	Measure string      `json:"measure"`
	Of      *AlertOf    `json:"of,omitempty"` // whose it is; absent: the whole tree's
	Status  AlertStatus `json:"status"`

	Value           *float64      `json:"value"` // in the unit that ends the measure's name
	ValueReason     string        `json:"value_reason,omitempty"`
	UsualLow        *float64      `json:"usual_low"`
	UsualLowReason  string        `json:"usual_low_reason,omitempty"`
	UsualHigh       *float64      `json:"usual_high"`
	UsualHighReason string        `json:"usual_high_reason,omitempty"`
	Median          *float64      `json:"usual_median"`
	MedianReason    string        `json:"usual_median_reason,omitempty"`
	Score           *float64      `json:"score"` // modified z-score
	ScoreReason     string        `json:"score_reason,omitempty"`
	Nights          int           `json:"nights"`   // that what is usual rests on
	Evidence        string        `json:"evidence"` // one sentence
	Folders         []AlertFolder `json:"folders"`  // at most three, those with most of it

	wait bool // unknown for want of nights only: more of them will answer
}

// TooYoung says that nothing is amiss but that nights like this one are too few yet
// to judge by: time mends it, and nobody needs to be called.
func (v *Alert) TooYoung() bool {
	if v.Status != StatusUnknown || v.Snapshot == 0 {
		return false
	}
	for i := range v.Reasons {
		if r := &v.Reasons[i]; decides(r.Measure) && !r.wait {
			return false
		}
	}
	return true
}

// AlertOf names a type or a folder.
type AlertOf struct {
	Kind string `json:"kind"` // "type" or "folder"
	Name
}

// AlertFolder is a folder's part of a reason.
type AlertFolder struct {
	Name
	Value float64 `json:"value"` // in the unit of the measure
	Words string  `json:"words"` // the same for a person
}
