package view

import (
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Metrics are gauges for a monitoring system: the newest snapshot, the night that
// led to it, what is usual and what the alert says. What was not measured has no
// sample: a 0 would be a lie, and so would the value of an earlier night.
type Metrics struct{ Families []MetricFamily }

// MetricFamily is one gauge with its samples. Name ends in its unit; Help is one line.
type MetricFamily struct {
	Name, Help string
	Samples    []MetricSample
}

// MetricSample is one value. Labels are in order; their values are escaped as
// names are shown everywhere, but not yet for the format.
type MetricSample struct {
	Labels []MetricLabel
	Value  float64
}

// MetricLabel is a label's name and value.
type MetricLabel struct{ Name, Value string }

// MetricsParts is what metrics are made of.
type MetricsParts struct {
	Segments []logbook.Segment // at least one
	Trend    *measure.Trend    // of them
	Alert    *Alert            // nil: not judged
}

// NewMetrics makes the gauges.
func NewMetrics(p MetricsParts) *Metrics {
	m := &Metrics{}
	last := &p.Segments[len(p.Segments)-1]
	m.snapshot(p.Segments, last)
	if f := last.Figures; f != nil {
		m.tree(p, f)
	}
	if n := len(p.Trend.Nights); n > 0 && p.Trend.Nights[n-1].Measured {
		m.night(&p.Trend.Nights[n-1])
	}
	m.usual(p.Trend)
	if p.Alert != nil {
		m.alert(p.Alert)
	}
	return m
}

const metricPrefix = "tidemark_"

// add begins a gauge, or goes on with it.
func (m *Metrics) add(name, help string, value float64, labels ...string) {
	if n := len(m.Families); n == 0 || m.Families[n-1].Name != metricPrefix+name {
		m.Families = append(m.Families, MetricFamily{Name: metricPrefix + name, Help: help})
	}
	s := MetricSample{Value: value}
	for i := 0; i+1 < len(labels); i += 2 {
		s.Labels = append(s.Labels, MetricLabel{labels[i], units.EscapeName([]byte(labels[i+1]))})
	}
	f := &m.Families[len(m.Families)-1]
	f.Samples = append(f.Samples, s)
}

func (m *Metrics) bytes(name, help string, n int64, labels ...string) {
	if n >= 0 {
		m.add(name+"_bytes", help, float64(n), labels...)
	}
}

func unix(t time.Time) float64 { return float64(t.Unix()) }

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func (m *Metrics) snapshot(all []logbook.Segment, s *logbook.Segment) {
	m.add("snapshots", "Snapshots in the logbook.", float64(len(all)))
	m.add("snapshot_taken_timestamp_seconds", "What moment the newest snapshot shows, Unix time.", unix(s.Taken))
	m.add("scan_started_timestamp_seconds", "When the newest scan began, Unix time.", unix(s.Started))
	for i := len(all) - 1; i >= 0; i-- {
		if !all[i].Partial && all[i].Coverage.UnreadFiles+all[i].Coverage.UnreadFolders == 0 {
			m.add("complete_scan_started_timestamp_seconds", "When the newest scan that read everything began, Unix time.", unix(all[i].Started))
			break
		}
	}
	m.add("scan_duration_seconds", "What the newest scan took.", s.Work.ElapsedSeconds)
	m.bytes("scan_read", "What the newest scan read from the file system.", s.Work.ReadBytes)
	m.add("snapshot_partial", "1 where the newest scan was stopped before its end.", flag(s.Partial))
	m.add("covered_ratio", "Share of the bytes that the newest snapshot's figures stand on, 0 to 1.", s.Coverage.CoveredShare)
	m.bytes("unread", "Sizes of the files that the newest scan could not read.", s.Coverage.UnreadBytes)
	m.add("unread_files", "Files that the newest scan could not read.", float64(s.Coverage.UnreadFiles))
	m.add("unread_folders", "Folders that the newest scan could not open.", float64(s.Coverage.UnreadFolders))
	for _, r := range s.Scope.Roots {
		m.add("root_files", "Files known below each root.", float64(r.Files), "root", r.Label)
	}
}

func (m *Metrics) tree(p MetricsParts, f *logbook.Figures) {
	e := &f.Explain
	m.bytes("apparent", "Sizes of all names in the newest snapshot.", e.ApparentBytes)
	m.bytes("source", "The source: hard links once, runs of zeros left out.", e.SourceBytes)
	m.bytes("unique", "Each chunk once.", e.UniqueBytes)
	m.bytes("compressed", "Each chunk once, compressed.", e.CompressedBytes)
	if n := len(p.Trend.Nights); n > 0 { // the baseline's is in no night
		m.bytes("stored", "Compressed, with the store's overhead where the needs file has a profile.", p.Trend.Nights[n-1].StoredBytes)
	}
	for _, t := range f.Folders {
		m.bytes("folder_source", "The source of each of the largest and busiest folders.", t.SourceBytes, "folder", t.Name)
	}
}

func (m *Metrics) night(n *measure.TrendNight) {
	m.add("night_spanned_dates", "Local dates that the last night covers; 1 is an ordinary night.", float64(n.Spanned))
	m.bytes("night_touched", "Last night: sizes of files that are new or have another size or time.", n.TouchedBytes)
	m.bytes("night_changed", "Last night: sizes of files with other contents.", n.ChangedBytes)
	m.bytes("night_new", "Last night: chunks never seen before.", n.NewBytes)
	m.bytes("night_new_compressed", "Last night: chunks never seen before, compressed.", n.NewCompressedBytes)
	m.bytes("night_upload", "Last night: what would have to travel.", n.UploadBytes)
	m.bytes("night_returning", "Last night: chunks seen before that came back.", n.ReturningBytes)
	m.bytes("night_freed", "Last night: chunks that no name refers to any more.", n.FreedBytes)
	m.bytes("night_first_seen", "Last night: sizes of files that came in for the first time, which is no change.", n.FirstSeenBytes)
	if n.RenamedFiles >= 0 {
		m.add("night_renamed_files", "Last night: files given another name or ending.", float64(n.RenamedFiles))
	}
	for _, c := range n.Causes {
		m.add("night_cause_files", "Last night: files by cause.", float64(c.Files), "cause", c.Cause)
	}
	for _, c := range n.Causes {
		m.bytes("night_cause_new", "Last night: new chunks by cause.", c.NewBytes, "cause", c.Cause)
	}
	for _, t := range n.Folders {
		m.bytes("night_folder_new", "Last night: new chunks by folder, the busiest and largest.", t.NewBytes, "folder", t.Name)
	}
	for _, t := range n.Types {
		m.bytes("night_type_new", "Last night: new chunks by type, the busiest and largest.", t.NewBytes, "type", t.Name)
	}
}

func (m *Metrics) usual(t *measure.Trend) {
	for _, u := range t.Usual {
		m.add("usual_nights", "Nights that what is usual rests on, by class of day.", float64(u.Nights), "day_class", u.Class)
	}
	for _, u := range t.Usual {
		m.add("usual_new_median_bytes", "Median of the new chunks of a night, by class of day.", u.Median, "day_class", u.Class)
	}
	for _, u := range t.Usual {
		if u.Coverage > 0 {
			m.add("usual_new_low_bytes", "Low end of the usual range of new chunks, by class of day.", u.Low, "day_class", u.Class)
		}
	}
	for _, u := range t.Usual {
		if u.Coverage > 0 {
			m.add("usual_new_high_bytes", "High end of the usual range of new chunks, by class of day.", u.High, "day_class", u.Class)
		}
	}
}

func (m *Metrics) alert(a *Alert) {
	m.add("alert_status", "0 usual, 1 warning, 2 critical, 3 unknown.", float64(a.Status.ExitCode()))
	for i := range a.Judged {
		r := &a.Judged[i]
		m.add("alert_measure_status", "The same for each measure that was judged.", float64(r.Status.ExitCode()), alertLabels(r)...)
	}
	for i := range a.Judged {
		if r := &a.Judged[i]; r.Score != nil {
			m.add("alert_score", "How unusual each measure is, as a modified z-score.", *r.Score, alertLabels(r)...)
		}
	}
	for i := range a.Judged {
		if r := &a.Judged[i]; r.Measure == MeasurePlanFull && r.Value != nil {
			const day = 24 * 60 * 60
			m.add("plan_full_seconds", "Estimated time until the current plan is full.", *r.Value*day)
		}
	}
}

func alertLabels(r *AlertReason) []string {
	labels := []string{"measure", r.Measure, "kind", "", "name", ""}
	if r.Of != nil {
		labels[3], labels[5] = r.Of.Kind, r.Of.Raw
	}
	return labels
}
