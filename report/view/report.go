package view

import (
	"time"

	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Report is every answer about one logbook on one page. What could not be
// answered is nil, with a sentence beside it that says what is missing and how to
// get it.
type Report struct {
	Schema    string     `json:"schema"`
	Made      time.Time  `json:"made"`
	Version   string     `json:"version"` // of the program
	Title     string     `json:"title"`
	Roots     []ScanRoot `json:"roots"`
	Snapshots int        `json:"snapshots"`
	First     time.Time  `json:"first_taken"`
	Last      time.Time  `json:"last_taken"`
	Answer    []string   `json:"answer"` // three sentences: what is stored, what a night brings, whether it fits

	Explain        *Explain  `json:"explain"`
	Trend          *Trend    `json:"trend"`
	TrendReason    string    `json:"trend_reason,omitempty"`
	Alert          *Alert    `json:"alert"`
	AlertReason    string    `json:"alert_reason,omitempty"`
	Change         *Change   `json:"change"` // all steps of the range
	ChangeReason   string    `json:"change_reason,omitempty"`
	Fixes          *Fixes    `json:"fixes"`
	FixesReason    string    `json:"fixes_reason,omitempty"`
	Curve          *Curve    `json:"curve"`
	CurveReason    string    `json:"curve_reason,omitempty"`
	Estimate       *Estimate `json:"estimate"`
	EstimateReason string    `json:"estimate_reason,omitempty"`

	Method   logbook.Method `json:"method"`
	Measured []Measured     `json:"measured"` // how each kind of figure was had
	Cautions []string       `json:"cautions"`

	Units    units.System   `json:"-"`
	Span     string         `json:"-"` // what was measured when, in one line
	Foot     string         `json:"-"`
	Figures  []ReportFigure `json:"-"`         // to be seen at a glance
	Nights   []TrendRow     `json:"-"`         // of Trend: those shown one by one
	Months   []ReportMonth  `json:"-"`         // all the way back; nil where every night is shown by itself
	StoodOut []ReportNight  `json:"stood_out"` // those among Nights that an alert would have spoken of
}

// ReportNight is a night that stood out, with what there is to see of it.
type ReportNight struct {
	To    int    `json:"to"` // the snapshot
	Date  string `json:"date"`
	Words string `json:"evidence"`

	// Unusual says that it is so by what it brought, as in trend. Others stood out
	// because of what could not be read, or because nothing was touched.
	Unusual bool `json:"unusual"`
	Unread  bool `json:"less_read"`

	Mark string `json:"-"` // that the chart names it by
}

// Mark is the name of a night that stood out, "" of others.
func (v *Report) Mark(r *TrendRow) string {
	for i := range v.StoodOut {
		if v.StoodOut[i].To == r.To {
			return v.StoodOut[i].Mark
		}
	}
	return ""
}

// ReportFigure is a number with its unit and what it is.
type ReportFigure struct{ Words, Value string }

// Measured says how one kind of figure was had.
type Measured struct {
	What string `json:"what"`
	How  string `json:"how"`
}
