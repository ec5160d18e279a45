package view

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

var statusRank = map[AlertStatus]int{StatusCritical: 0, StatusWarning: 1, StatusUnknown: 2, StatusUsual: 3}

// settle draws the status and the line from what was judged. Something unusual
// outweighs what is not known; that nothing was new yet to compare is told only
// where nothing is unusual.
func (v *Alert) settle() {
	v.Status = StatusUsual
	for _, r := range v.Judged {
		if statusRank[r.Status] < statusRank[v.Status] && (r.Status != StatusUnknown || decides(r.Measure)) {
			v.Status = r.Status
		}
		if r.Status != StatusUsual {
			v.Reasons = append(v.Reasons, r)
		}
	}
	slices.SortStableFunc(v.Reasons, func(a, b AlertReason) int {
		return cmp.Or(cmp.Compare(statusRank[a.Status], statusRank[b.Status]), cmp.Compare(scoreOf(b), scoreOf(a)))
	})
	v.Line = inert(v.line())
}

// decides says of which measures not to know is an answer of its own.
func decides(measure string) bool { return measure == MeasureNewBytes || measure == MeasureGoodScanAge }

// ofNight says which measures speak of the night itself: that a plan fills up or the
// last scan is old makes no night unusual.
func ofNight(measure string) bool { return measure != MeasureGoodScanAge && measure != MeasurePlanFull }

func scoreOf(r AlertReason) float64 {
	if r.Score == nil {
		return 0
	}
	return *r.Score
}

func (v *Alert) line() string {
	what := fmt.Sprintf("%s: snapshot %d", strings.ToUpper(string(v.Status)), v.Snapshot)
	if v.Taken != nil {
		what += ", night of " + night(*v.Taken)
	}
	if v.Status == StatusUsual {
		for _, r := range v.Judged {
			if r.Measure == MeasureNewBytes {
				return what + ": nothing unusual; " + r.Evidence
			}
		}
		return what + ": nothing unusual"
	}
	var parts, besides []string
	for _, r := range v.Reasons {
		text := r.Evidence
		if r.Status == StatusUnknown && (v.Status != StatusUnknown || !decides(r.Measure)) {
			continue // what is unusual comes first, and --all shows the rest
		}
		if r.Status == StatusUnknown {
			text = "can not be judged yet: " + text
		} else if r.Score != nil {
			text += fmt.Sprintf(", score %.1f", *r.Score)
		}
		// One folder's own figure names it, and the others are no part of it.
		if len(r.Folders) > 0 && r.Status != StatusUnknown && (r.Of == nil || r.Of.Kind != "folder") {
			text += " [" + foldersWords(r.Folders) + "]"
		}
		if v.Status != StatusUnknown && !ofNight(r.Measure) {
			besides = append(besides, text)
			continue
		}
		parts = append(parts, text)
	}
	switch {
	case len(parts) == 0:
		parts = besides
	case v.Status != StatusUnknown:
		what += " is unusual"
		if len(besides) > 0 {
			parts = append(parts, "besides, "+strings.Join(besides, "; "))
		}
	}
	return what + ": " + strings.Join(parts, "; ")
}

func foldersWords(folders []AlertFolder) string {
	list := make([]string, len(folders))
	for i, f := range folders {
		list[i] = FolderText(f.Raw) + " " + f.Words
	}
	return strings.Join(list, ", ")
}

// inert keeps a line one line: monitoring systems read what follows a bar as
// figures of their own (common practice, no source). Names in it are escaped
// already, so a backslash can not stand alone.
func inert(text string) string {
	return strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(text, "|", `\x7c`), "\n", " "), "\r", " ")
}
