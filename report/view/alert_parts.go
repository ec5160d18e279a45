package view

import (
	"strings"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// AlertParts is what an alert is made of.
type AlertParts struct {
	Segments []logbook.Segment // up to the snapshot that is judged; may be empty
	Trend    *measure.Trend    // of them; nil where they are empty
	Alert    engine.Alert
	Now      time.Time // zero: an earlier snapshot is judged, so no age is
	Plan     *PlanFull // nil: no needs file names a current plan with a capacity

	// Unread is asked for the folders whose bytes could not be read, only where
	// coverage is a reason; nil: not asked.
	Unread func() ([]measure.UnreadFolder, error)
}

// PlanFull is what the estimate says of the current plan.
type PlanFull struct {
	Name          string
	Taken         time.Time // of the newest snapshot, from which days count
	CapacityBytes int64
	Full          bool  // what is kept today is measured to be more than it takes
	NowBytes      int64 // what is kept today, where Full

	Days  *float64 // until it is full, as likely earlier as later; 0 where Full; nil: see Reason
	Low   *float64 // of the 80 % interval; nil: not known
	High  *float64
	Early time.Time // the dates of Low, Days and High, where Days is given and it is not Full
	Mid   time.Time
	Late  *time.Time // nil: not known

	Reason  string
	Refused bool // too little was measured to say; else: not full within the horizon
}

// NewAlert judges the newest night.
func NewAlert(p AlertParts, o Options) *Alert {
	v := &Alert{Schema: "tidemark.alert/1", Reasons: []AlertReason{}, Judged: []AlertReason{}, Notes: []string{}, Units: o.Units}
	if len(p.Segments) == 0 {
		v.Status, v.TakenReason = StatusUnknown, "there is no snapshot yet"
		v.Line = "UNKNOWN: the logbook holds no snapshot yet"
		return v
	}
	last := p.Segments[len(p.Segments)-1]
	v.Snapshot, v.Taken = last.Number, &last.Taken
	j := &judge{AlertParts: p, view: v, last: &last, units: o.Units}
	if n := len(p.Trend.Nights); n > 0 {
		j.night, j.before = &p.Trend.Nights[n-1], p.Trend.Nights[:n-1]
		j.shares = newShareHistory()
		for i := range j.before {
			j.shares.add(&j.before[i])
		}
		v.DayClass = j.night.Class
	}
	j.newBytes()
	j.nothingTouched()
	j.compressed()
	j.renamed()
	j.covered()
	j.age()
	j.planFull()
	v.settle()
	return v
}

// UnknownAlert is the answer where nothing could be judged at all.
func UnknownAlert(reason string) *Alert {
	// Backslashes stay single, as a person would type them.
	reason = strings.ReplaceAll(oneLine(reason), `\\`, `\`)
	return &Alert{
		Schema: "tidemark.alert/1", Status: StatusUnknown, TakenReason: reason,
		Line:    inert("UNKNOWN: " + reason),
		Reasons: []AlertReason{}, Judged: []AlertReason{}, Notes: []string{},
	}
}
