package view

import (
	"fmt"
	"time"

	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Scan answers what a scan recorded.
type Scan struct {
	Schema   string    `json:"schema"`
	Snapshot int       `json:"snapshot"`
	Taken    time.Time `json:"taken"`
	Started  time.Time `json:"started"`
	Answer   string    `json:"answer"`
	Baseline bool      `json:"baseline"`
	Partial  bool      `json:"partial"`

	Method   logbook.Method   `json:"method"`
	Coverage logbook.Coverage `json:"coverage"`
	Work     logbook.Work     `json:"work"`
	Logbook  string           `json:"logbook"`
	Roots    []ScanRoot       `json:"roots"`

	Explain       *Explain `json:"explain"`
	ExplainReason string   `json:"explain_reason,omitempty"`
	Change        *Change  `json:"change"`
	ChangeReason  string   `json:"change_reason,omitempty"`

	Warnings     []Warning `json:"warnings"`
	MoreWarnings int       `json:"more_warnings"` // beyond those listed
	Notes        []string  `json:"notes"`

	Units        units.System `json:"-"`
	LeftOutFiles int64        `json:"-"` // of Coverage.UnreadFiles: those of roots that were not asked for
}

// ScanRoot is a tree that the logbook knows.
type ScanRoot struct {
	Label string `json:"label"`
	Path
	State string `json:"state"` // "measured", or "left_out": carried forward as unknown
	Files int64  `json:"files"`
}

// Warning is one thing that went less than well.
type Warning struct {
	Path
	Reason string `json:"reason"`
}

// NewWarning makes a warning about a path given as raw bytes.
func NewWarning(path, reason string) Warning {
	return Warning{Path: newPath(path), Reason: oneLine(reason)}
}

// oneLine makes a text that may quote a name safe to print.
func oneLine(text string) string { return units.EscapeName([]byte(text)) }

// ScanParts is what a scan's view is made of. Explain and Change are nil where
// they could not be measured, with Failure as the reason.
type ScanParts struct {
	Segment  logbook.Segment
	Logbook  string // its folder
	Explain  *Explain
	Change   *Change
	Failure  string
	Warnings []Warning
	More     int // warnings beyond those listed
	Notes    []string
}

// NewScan makes the view of a scan.
func NewScan(p ScanParts, f Facts, o Options) *Scan {
	s := p.Segment
	folder, _ := jsonName(p.Logbook)
	v := &Scan{
		Schema:       "tidemark.scan/1",
		Snapshot:     s.Number,
		Taken:        s.Taken,
		Started:      s.Started,
		Baseline:     s.Number == 1,
		Partial:      s.Partial,
		Method:       f.method(),
		Coverage:     s.Coverage,
		Work:         s.Work,
		Logbook:      folder,
		Explain:      p.Explain,
		Change:       p.Change,
		Warnings:     append([]Warning{}, p.Warnings...),
		MoreWarnings: p.More,
		Notes:        append([]string{}, p.Notes...),
		Units:        o.Units,
		Roots:        []ScanRoot{},
	}
	for _, r := range s.Scope.Roots {
		label, _ := jsonName(r.Label)
		v.Roots = append(v.Roots, ScanRoot{Label: label, Path: newPath(r.Path), State: r.State, Files: r.Files})
		if r.State == "left_out" {
			v.LeftOutFiles += r.Files
		}
	}
	if v.Explain == nil {
		v.ExplainReason = p.Failure
	} else {
		v.Explain.Schema = ""
	}
	switch {
	case v.Change != nil:
		v.Change.Schema = ""
	case v.Baseline:
		v.ChangeReason = "this is the baseline; a change needs a second snapshot"
	default:
		v.ChangeReason = p.Failure
	}
	v.Answer = v.answer()
	return v
}

func (v *Scan) answer() string {
	b := v.Units.Bytes
	what := "Snapshot"
	switch {
	case v.Partial:
		what = "Partial snapshot"
	case v.Baseline:
		what = "Baseline, snapshot"
	}
	took := time.Duration(v.Work.ElapsedSeconds * float64(time.Second))
	text := fmt.Sprintf("%s %d is recorded: %s of %s.", what, v.Snapshot, Plural(v.Coverage.Files, "file"), b(v.Coverage.ApparentBytes))
	if v.Work.ReadFiles == 0 {
		return fmt.Sprintf("%s Nothing had to be read; it took %s.", text, units.Duration(took))
	}
	return fmt.Sprintf("%s %s in %s were read in %s.", text, b(v.Work.ReadBytes), Plural(v.Work.ReadFiles, "file"), units.Duration(took))
}
