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

// Ask adds a question of a newcomer to the page, with its answers.
func (v *Tour) Ask(question string, parts ...TourPart) {
	for i := range parts {
		parts[i].Arguments = append([]string{}, parts[i].Arguments...)
		parts[i].Says = append([]string{}, parts[i].Says...)
	}
	v.Steps = append(v.Steps, TourStep{Number: len(v.Steps) + 1, Question: question, Parts: parts})
}

// middle is the median of numbers; 0 of none.
func middle[T cmp.Ordered](list []T) (m T) {
	if len(list) == 0 {
		return m
	}
	sorted := slices.Sorted(slices.Values(list))
	return sorted[(len(sorted)-1)/2]
}

func seconds(s float64) string { return units.Duration(time.Duration(s * float64(time.Second))) }

// TourFirst says what is measured and what a night costs from then on. habit
// tells in words what becomes of a folder.
func TourFirst(scans []*Scan, habit func(folder string) string) []TourPart {
	first := scans[0]
	b := first.Units.Bytes
	says := []string{first.Answer}
	if later := scans[1:]; len(later) > 0 {
		var took []float64
		var read, passed []int64
		for _, s := range later {
			took = append(took, s.Work.ElapsedSeconds)
			read = append(read, s.Work.ReadBytes)
			passed = append(passed, s.Work.ReusedFiles)
		}
		says = append(says, fmt.Sprintf(
			"That was the only time that everything was read. The later scans look at names, sizes and times and read what differs: of %d scans the middle one took %s, the longest %s; the middle one read %s and passed %s by unread.",
			len(later), seconds(middle(took)), seconds(slices.Max(took)), b(middle(read)), Plural(middle(passed), "file")))
	}
	t := &TourTable{Title: "What lies there", Head: []string{"size", "files", ""}}
	for _, r := range first.Explain.ByFolder {
		t.Rows = append(t.Rows, []string{b(r.ApparentBytes), units.Count(r.Files), FolderText(r.Raw) + ": " + habit(r.Raw)})
	}
	return []TourPart{{Says: says, Table: t}}
}

// TourFile is what one night did to one file.
type TourFile struct {
	Path         string // label/relative
	WrittenBytes int64  // really written over or put in, by the truth
	SizeBytes    int64
	NewBytes     int64
}

// TourInPart says why some files are touched whole and new in part.
func TourInPart(c *Change, files []TourFile) TourPart {
	p := TourPart{}
	if len(files) == 0 || c.MeanNewChunkBytes == nil {
		return p
	}
	b := c.Units.Bytes
	p.Says = []string{fmt.Sprintf(
		"A container, a ledger and a machine's image are written to in small places all over. By their times they are touched whole; new is only each chunk around a place that was written, and the chunks that were new in %s are %s long on average:",
		c.Period, b(*c.MeanNewChunkBytes))}
	p.Table = &TourTable{Title: "Written, new, touched in " + c.Period, Head: []string{"really written", "new", "of size", "size", ""}}
	for _, f := range files {
		p.Table.Rows = append(p.Table.Rows, []string{
			b(f.WrittenBytes), b(f.NewBytes), units.Share(share(f.NewBytes, f.SizeBytes)), b(f.SizeBytes), units.EscapeName([]byte(f.Path)),
		})
	}
	return p
}

// TourExplain leads from source to stored and says where most of each step lies.
func TourExplain(e *Explain) TourPart {
	p := TourPart{Says: []string{e.Answer}, Ladder: e.Ladder, Whole: "of source"}
	b := e.Units.Bytes
	most := func(what string, total int64, of func(*ExplainRow) int64) {
		var first *ExplainRow
		for i := range e.ByFolder {
			if r := &e.ByFolder[i]; first == nil || of(r) > of(first) {
				first = r
			}
		}
		if total > 0 && first != nil && of(first) > 0 {
			where := fmt.Sprintf("the largest part of it, %s,", units.Share(share(of(first), total)))
			if of(first) == total {
				where = "all of it"
			}
			p.After = append(p.After, fmt.Sprintf("%s: %s; %s in %s.", what, b(total), where, FolderText(first.Raw)))
		}
	}
	most("Further names of a file", e.HardlinkBytes, func(r *ExplainRow) int64 { return r.HardlinkBytes })
	most("Runs of zeros", e.ZeroBytes, func(r *ExplainRow) int64 { return r.ZeroBytes })
	most("Held more than once, as whole files or in part", e.SourceBytes-e.UniqueBytes, func(r *ExplainRow) int64 { return r.SourceBytes - r.UniqueBytes })
	if e.CompressionBytes != nil {
		most("Saved by compression", *e.CompressionBytes, func(r *ExplainRow) int64 {
			if r.CompressedBytes == nil {
				return 0
			}
			return r.UniqueBytes - *r.CompressedBytes
		})
	}
	return p
}

// TourEvent is a night that something happened to, and what of it the event did.
type TourEvent struct {
	Change *Change
	Cause  measure.Cause // the event's own
	Done   string        // what was done to the tree, in words
}

// TourTrend is what the nights brought, and what is usual.
func TourTrend(v *Trend) TourPart {
	b := v.Units.Bytes
	or := func(n *int64) string {
		if n == nil {
			return "–"
		}
		return b(*n)
	}
	t := &TourTable{Title: "Nights", Head: []string{"night", "class of day", "touched", "new", "upload", ""}}
	for _, r := range v.Nights {
		if r.Missed > 0 {
			t.Rows = append(t.Rows, []string{"no scan", "", "", "", "", Plural(int64(r.Missed), "date") + " missed"})
		}
		t.Rows = append(t.Rows, []string{r.Weekday[:3] + " " + r.Date, r.DayClass, or(r.TouchedBytes), or(r.NewBytes), or(r.UploadBytes), r.Remarks})
	}
	return TourPart{Says: []string{v.Answer}, Table: t}
}

// TourNights sets whole nights beside each other.
func TourNights(title string, events []TourEvent) TourPart {
	t := &TourTable{Title: title, Head: []string{"night", "touched", "new", "to upload", "returning", "freed", ""}}
	for _, e := range events {
		c := e.Change
		b := c.Units.Bytes
		upload := "–"
		if c.UploadBytes != nil {
			upload = b(*c.UploadBytes)
		}
		t.Rows = append(t.Rows, []string{
			logbook.Night(c.ToTaken).Format("2 Jan"), b(c.TouchedBytes), b(c.NewBytes), upload, b(c.ReturningBytes), b(c.FreedBytes), e.Done,
		})
	}
	return TourPart{Table: t}
}

// TourCauses sets what events did beside each other, apart from what else went
// on in their nights.
func TourCauses(title string, events []TourEvent) TourPart {
	t := &TourTable{Title: title, Head: []string{"night", "files", "size", "new", "cause", ""}}
	for _, e := range events {
		for _, r := range e.Change.Causes {
			if r.Cause == e.Cause {
				b := e.Change.Units.Bytes
				fresh := b(r.NewBytes)
				if r.Cause == measure.FirstSeen {
					fresh = "baseline: " + b(r.BaselineBytes)
				}
				t.Rows = append(t.Rows, []string{
					logbook.Night(e.Change.ToTaken).Format("2 Jan"), units.Count(r.Files), b(r.Bytes), fresh, string(r.Cause), e.Done,
				})
			}
		}
	}
	return TourPart{Table: t}
}

// TourEstimate is what the needs file asks, answered after so many nights.
func TourEstimate(v *Estimate) TourPart {
	p := TourPart{Says: []string{fmt.Sprintf("After %s%s: %s", Plural(int64(v.Nights), "measured night"), v.spannedWords(), v.Answer)}}
	for _, d := range v.Details {
		p.Says = append(p.Says, "· "+d)
	}
	if len(v.Refused) > 0 {
		p.After = append(p.After, "Not answered yet:")
	}
	for _, r := range v.Refused {
		p.After = append(p.After, "· "+r.Reason)
	}
	return p
}

// TourCurve is what other average sizes would take.
func TourCurve(v *Curve) TourPart {
	t := &TourTable{Title: "At other average sizes", Head: []string{"stored", "new last night", ""}}
	or := func(n, low, high *int64) string {
		switch {
		case n != nil:
			return v.Units.Bytes(*n)
		case low != nil && high != nil:
			return v.Units.Bytes(*low) + " to " + v.Units.Bytes(*high)
		}
		return "–"
	}
	for i := range v.Points {
		q := &v.Points[i]
		t.Rows = append(t.Rows, []string{
			or(q.StoredBytes, q.StoredLowBytes, q.StoredHighBytes), or(q.NewBytes, q.NewLowBytes, q.NewHighBytes), q.AverageText(),
		})
	}
	return TourPart{Says: []string{v.Answer}, Table: t}
}

// TourUnread says what a night could not see.
func TourUnread(s *Scan, made string) TourPart {
	b := s.Units.Bytes
	p := TourPart{}
	for _, w := range s.Warnings {
		p.Says = append(p.Says, fmt.Sprintf("In the night of %s: %s: %s. %s", night(s.Taken), units.EscapeName([]byte(w.Raw)), w.Reason, made))
	}
	p.Says = append(p.Says, fmt.Sprintf(
		"What was known below it counts on as it was: %s with %s. The figures of that night stand on %s, and say so; nothing is reported deleted.",
		Plural(s.Coverage.UnreadFiles, "file"), b(s.Coverage.UnreadBytes), Covered(s.Partial, s.Coverage)))
	return p
}

// TourHidden says whether a file that was written to and given its old time again
// was found.
func TourHidden(c *Change, path string, touched bool, fresh int64) TourPart {
	b := c.Units.Bytes
	name := units.EscapeName([]byte(path))
	switch {
	case fresh == 0:
		return TourPart{Says: []string{fmt.Sprintf(
			"In %s %s was written to and its time of change put back. It was not found: this system tells no other time. --reread reads every file, whatever its times say.", c.Period, name)}}
	case touched:
		return TourPart{Says: []string{fmt.Sprintf("In %s %s was written to: %s new.", c.Period, name, b(fresh))}}
	}
	return TourPart{Says: []string{fmt.Sprintf(
		"In %s %s was written to and its time of change put back, as some programs do. By size and time it is untouched; the system's own time of the last write gave it away, so it was read, and %s in it were new.", c.Period, name, b(fresh))}}
}

// board is the scoreboard, one row a night.
func (v *Tour) board() *TourTable {
	b := v.Units.Bytes
	t := &TourTable{Title: "Every night beside what was really done", Head: []string{"night", "never seen", "measured new", "ratio", "hold", ""}}
	for _, n := range v.Board {
		ratio := ""
		if n.Ratio != nil {
			ratio = fmt.Sprintf("%.2f", *n.Ratio)
		}
		t.Rows = append(t.Rows, []string{
			weekday(n.Date) + " " + n.Date, b(n.NeverSeenBytes), b(n.NewBytes), ratio,
			fmt.Sprintf("%d of %d", n.Checks-n.Failed, n.Checks), n.Short,
		})
	}
	return t
}

// weekday of a date such as 2026-10-02, short.
func weekday(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return ""
	}
	return t.Format("Mon")
}

// AskTruth adds the last question: is it true?
func (v *Tour) AskTruth() {
	b := v.Units.Bytes
	exact, wrong := 0, 0
	for _, r := range v.Scoreboard {
		if r.Rule == TourExact {
			exact++
		}
		if !r.OK {
			wrong++
		}
	}
	p := TourPart{Table: v.board()}
	p.Says = append(p.Says, fmt.Sprintf(
		"What was really done is known to the byte, from the generator's own books, which share no code with the measuring. %s were held against it: %s must agree exactly (sizes touched, changed, moved, copied, restored, held twice, not read), the others have a bound. %s",
		Plural(int64(v.Checks), "figure"), units.Count(int64(exact)), held(wrong)))
	p.Says = append(p.Says, "New bytes are never less than the bytes that were written and never seen before. They are more where a change is smaller than the chunk it lies in: the ratio below says how much more.")
	for _, r := range v.Scoreboard {
		if r.Total && r.What == TourAllFiles {
			p.Says = append(p.Says, fmt.Sprintf(
				"For runs written at random places, the mathematics of cutting by content expects %s new for all nights together (a place lies in a chunk of E[L²]/E[L] bytes on average, L being the length of chunks); %s were measured, for %s written.",
				b(*r.LawBytes), b(*r.MeasuredBytes), b(*r.TruthBytes)))
		}
	}
	p.Says = append(p.Says, fmt.Sprintf("%s that must hold in every night were checked, such as source − repeated − compressed = stored; %s.", Plural(int64(v.Identities), "sum"), held2(len(v.Broken))))
	for _, r := range v.Scoreboard {
		if !r.OK {
			p.After = append(p.After, "does not hold: "+r.words(v.Units))
		}
	}
	for _, w := range v.Broken {
		p.After = append(p.After, "does not add up: "+oneLine(w))
	}
	v.Ask("Is it true?", p)
}

func held(wrong int) string {
	if wrong == 0 {
		return "All of them hold."
	}
	return Plural(int64(wrong), "of them does not hold") + "."
}

func held2(wrong int) string {
	if wrong == 0 {
		return "all do"
	}
	return fmt.Sprintf("%d do not", wrong)
}

// words tells one row of the scoreboard.
func (r *TourRow) words(u units.System) string {
	at := fmt.Sprintf("night %d (%s), %s, %s", r.Night, r.Date, r.What, r.Figure)
	if r.TruthCount != nil {
		return fmt.Sprintf("%s: %d, truth %d", at, *r.MeasuredCount, *r.TruthCount)
	}
	if r.BoundBytes != nil {
		return fmt.Sprintf("%s: %s B, at most %s B", at, units.Count(*r.MeasuredBytes), units.Count(*r.BoundBytes))
	}
	return fmt.Sprintf("%s: %s B, truth %s B", at, units.Count(*r.MeasuredBytes), units.Count(*r.TruthBytes))
}

// Finish fills in the first paragraph and the notes.
func (v *Tour) Finish() {
	b := v.Units.Bytes
	last := v.Board[len(v.Board)-1]
	var fresh, never int64
	for _, n := range v.Board[1:] {
		fresh += n.NewBytes
		never += n.NeverSeenBytes
	}
	v.Answer = fmt.Sprintf(
		"The file share of an invented workshop (Oxbow Joinery, bench.example.org) was laid out and played for %d nights up to %s, and measured %d times. After the baseline, %s really new were found where %s had been written that were never seen before. %s of %s figures agree with what was really done.",
		v.Nights, last.Date, v.Snapshots, b(fresh), b(never), units.Count(int64(v.Checks-v.Failed)), units.Count(int64(v.Checks)))
	v.Notes = []string{
		"The data are invented, and so are the needs file's line and prices: what is usual here says nothing about your own share. Measure that: tidemark scan FOLDER.",
		"An estimate is no backup, and no promise about one. Try a restore.",
		"Whether data may leave your premises, and to where, is for your local rules and your advisers.",
	}
}

// Took says what the tour cost here.
func (v *Tour) Took() string {
	return fmt.Sprintf("Made in %s: %s to lay the example out, %s to measure its nights, %s to answer the questions.",
		seconds(v.Elapsed.ElapsedSeconds), seconds(v.Elapsed.LayoutSeconds), seconds(v.Elapsed.ScanSeconds), seconds(v.Elapsed.PageSeconds))
}
