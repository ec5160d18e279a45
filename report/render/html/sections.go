package html

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"

	"tidemark/report/measure"
	"tidemark/report/render/html/chart"
	"tidemark/report/units"
	"tidemark/report/view"
)

func percent(share float64) string {
	return strconv.FormatFloat(100*min(max(share, 0), 1), 'f', 1, 64)
}

func pageOf(v *view.Report) *page {
	p := &page{
		Title: v.Title, Kind: "Measured with tidemark", Style: template.CSS(style), StyleHash: styleHash,
		Answer: v.Answer,
		Span:   v.Span,
		Foot:   v.Foot,
	}
	for _, f := range v.Figures {
		p.Figures = append(p.Figures, figure{f.Words, f.Value})
	}
	p.Sections = []section{
		waySection(v),
		nightsSection(v),
		changeSection(v),
		fixSection(v),
		curveSection(v),
		lineSection(v),
		keepSection(v),
		howSection(v),
	}
	return p
}

// waySection leads from the source to what is stored.
func waySection(v *view.Report) section {
	s := section{ID: "way", Title: "From source to stored"}
	e := v.Explain
	if e == nil {
		s.Missing = "There is no snapshot to explain yet."
		return s
	}
	s.Lead = []string{e.Answer}
	s.Blocks = append(s.Blocks, block{Chart: ladderPicture("way-chart", "What becomes of the bytes of snapshot "+strconv.Itoa(e.Snapshot),
		"Each bar begins where the one before it ended.", e.Ladder, v.Units, "of the source")})
	if len(e.Types) > 0 {
		s.Blocks = append(s.Blocks, block{Table: explainTable("By folder", "Folder", e.Folders, v.Units, true)},
			block{Table: explainTable("By type of file", "Type", e.Types, v.Units, false)})
	}
	return s
}

// ladderPicture draws the steps; those of 0 bytes stand in the table alone.
func ladderPicture(id, caption, sub string, steps []view.Step, u units.System, of string) *picture {
	var drawn []chart.WayStep
	twin := table{Caption: caption, Head: head(name("Step"), num("Bytes"), num("Size"), num("Share "+of))}
	for _, step := range steps {
		value, exact, part := "not measured", "not measured", ""
		if step.Known {
			value, exact, part = u.Bytes(step.Bytes), units.Count(step.Bytes)+" B", units.Share(step.Share)
		}
		sign := string(step.Sign)
		if step.Sign == view.Start {
			sign = ""
		}
		label := step.Words
		if sign != "" {
			label = sign + " " + label
		}
		r := cells(name(label), num(exact), num(value), num(part))
		r.Sum = step.Sign == view.Equals || step.Sign == view.Start
		twin.Rows = append(twin.Rows, r)
		if !step.Known || (step.Bytes == 0 && !r.Sum) {
			continue
		}
		w := chart.WayStep{Words: step.Words, Value: value, From: step.From, To: step.To, Ink: chart.Main}
		switch step.Sign {
		case view.Minus:
			w.Ink, w.Value = chart.Saved, "− "+value
		case view.Plus:
			w.Ink, w.Value = chart.Added, "+ "+value
		}
		drawn = append(drawn, w)
	}
	p := draw(id, caption, sub, twin, func(s chart.Size, by string) string { return chart.Way(s, drawn, by) })
	p.Key = []key{{chart.Main, "held"}, {chart.Saved, "saved"}}
	for _, d := range drawn {
		if d.Ink == chart.Added {
			p.Key = append(p.Key, key{chart.Added, "added"})
			break
		}
	}
	return p
}

// column is a column of numbers: its heading, and what stands below it.
type column[R any] struct {
	title string
	of    func(R) string
	least bool // left out on a phone
}

// barTable sets rows beside bars of their shares: the longest bar is the largest
// share. The share stands behind the first column too.
func barTable[R any](caption, first, barHead string, rows []R, title func(R) string, share func(R) float64, columns ...column[R]) *table {
	written := func(r R) string { return units.Share(min(1, share(r))) } // estimated ones may come out above all
	columns = slices.Insert(columns, 1, column[R]{"Share", written, true})
	t := &table{Caption: caption, Head: head(name(first), cell{Text: barHead, Class: "bar"})}
	for _, c := range columns {
		t.Head = append(t.Head, c.cell(c.title))
	}
	most := 0.0
	for _, r := range rows {
		most = max(most, share(r))
	}
	for _, r := range rows {
		drawn := 0.0
		if most > 0 {
			drawn = share(r) / most
		}
		list := cells(name(title(r)), bar(drawn, written(r)))
		for _, c := range columns {
			list.Cells = append(list.Cells, c.cell(c.of(r)))
		}
		t.Rows = append(t.Rows, list)
	}
	return t
}

func (c column[R]) cell(text string) cell {
	if c.least {
		return least(num(text))
	}
	return num(text)
}

const shareOfNew = "Share of what is new"

func explainTable(caption, first string, rows []view.ExplainRow, u units.System, folders bool) *table {
	type R = view.ExplainRow
	return barTable(caption, first, "Share of the source", rows,
		func(r R) string { return rowName(r.Raw, r.Rest, folders) },
		func(r R) float64 { return r.SourceShare },
		column[R]{"Source", func(r R) string { return u.Bytes(r.SourceBytes) }, false},
		column[R]{"Unique", func(r R) string { return u.Bytes(r.UniqueBytes) }, true},
		column[R]{"Compressed", func(r R) string { return bytesOr(u, r.CompressedBytes) }, false})
}

// rowName shows a folder's or a type's name, or how many a row adds up.
func rowName(raw string, rest int, folder bool) string {
	switch {
	case rest > 0 && folder:
		return view.Plural(int64(rest), "other folder")
	case rest > 0:
		return view.Plural(int64(rest), "other type")
	case folder:
		return view.FolderText(raw)
	case raw == "":
		return "no ending"
	}
	return "." + units.EscapeName([]byte(raw))
}

// changeSection says where the change comes from.
func changeSection(v *view.Report) section {
	s := section{ID: "change", Title: "Where the change comes from"}
	c := v.Change
	if c == nil {
		s.Missing = v.ChangeReason
		return s
	}
	s.Lead = []string{c.Answer}
	s.Blocks = append(s.Blocks, block{Chart: ladderPicture("change-chart", "From what was touched to what has to travel",
		"A copy of whole files would send the first bar, a store that knows the chunks the last.", c.Ladder, v.Units, "of what was touched")})
	if c.NewBytes > 0 {
		s.Blocks = append(s.Blocks,
			block{Table: changeTable("New bytes by folder", "Folder", c.Folders, v.Units, true)},
			block{Table: changeTable("New bytes by type of file", "Type", c.Types, v.Units, false)},
			block{Table: fileTable(c, v.Units)},
			block{Table: causeTable(c, v.Units)})
	}
	return s
}

func changeTable(caption, first string, rows []view.ChangeRow, u units.System, folders bool) *table {
	type R = view.ChangeRow
	return barTable(caption, first, shareOfNew, rows,
		func(r R) string { return rowName(r.Raw, r.Rest, folders) },
		func(r R) float64 { return r.NewShare },
		column[R]{"New", func(r R) string { return u.Bytes(r.NewBytes) }, false},
		column[R]{"Compressed", func(r R) string { return bytesOr(u, r.NewCompressedBytes) }, true},
		column[R]{"Touched", func(r R) string { return u.Bytes(r.TouchedBytes) }, false})
}

func fileTable(c *view.Change, u units.System) *table {
	type R = view.FileRow
	return barTable("The files that brought most", "File", shareOfNew, c.Fresh,
		func(r R) string { return units.EscapeName([]byte(r.Raw)) },
		func(r R) float64 { return r.NewShare },
		column[R]{"New", func(r R) string { return u.Bytes(r.NewBytes) }, false},
		column[R]{"Touched", func(r R) string { return u.Bytes(r.TouchedBytes) }, false},
		column[R]{"Nights", func(r R) string { return units.Count(int64(r.Nights)) }, true})
}

func causeTable(c *view.Change, u units.System) *table {
	type R = view.CauseRow
	return barTable("What happened to the files", "Cause", shareOfNew, c.Causes,
		func(r R) string { return r.Words },
		func(r R) float64 { return r.NewShare },
		column[R]{"New", func(r R) string {
			if r.Cause == measure.FirstSeen {
				return "baseline"
			}
			return u.Bytes(r.NewBytes)
		}, false},
		column[R]{"File sizes", func(r R) string { return u.Bytes(r.Bytes) }, false},
		column[R]{"Files", func(r R) string { return units.Count(r.Files) }, true})
}

// fixSection lists what might be changed.
func fixSection(v *view.Report) section {
	s := section{ID: "fixes", Title: "What would save most each night"}
	f := v.Fixes
	if f == nil {
		s.Missing = v.FixesReason
		return s
	}
	s.Lead = []string{f.Answer}
	if len(f.Fixes) > 0 {
		s.Lead = []string{"Suggestions to check, each with what it would have saved on the nights measured."}
	}
	var list []fix
	for i, r := range f.Fixes {
		saves := v.Units.Bytes(r.NightlyBytes) + " a night"
		if r.AtMost {
			saves = "at most " + saves
		}
		more := units.Share(min(1, r.Share)) + " of what is new"
		if r.NightlyCompressedBytes != nil {
			more += fmt.Sprintf(", %s compressed", v.Units.Bytes(*r.NightlyCompressedBytes))
		}
		evidence := r.Evidence
		if r.Within != nil {
			evidence += fmt.Sprintf(" Part of suggestion %d: the two do not add up.", *r.Within+1)
		}
		list = append(list, fix{Suggestion: fmt.Sprintf("%d. %s", i+1, r.Suggestion), Saves: saves, More: more, Evidence: evidence, Check: r.Check})
	}
	s.Blocks = []block{{Fixes: list}}
	if len(f.Folders) > 0 {
		s.Blocks = append(s.Blocks, block{Table: costTable(f)})
	}
	s.Notes = f.Notes
	return s
}

// costTable says what folders cost a night, needed or not.
func costTable(f *view.Fixes) *table {
	type R = view.FixRow
	u := f.Units
	return barTable("What each of the busiest folders costs a night, needed or not", "Folder", shareOfNew, f.Folders,
		func(r R) string { return view.FolderText(r.Raw) },
		func(r R) float64 { return r.Share },
		column[R]{"New a night", func(r R) string { return u.Bytes(r.NightlyBytes) }, false},
		column[R]{"Compressed", func(r R) string { return bytesOr(u, r.NightlyCompressedBytes) }, true},
		column[R]{"Kept now, once", func(r R) string { return u.Bytes(r.OnceBytes) }, false})
}

// howSection says how each number was had, and what to beware of.
func howSection(v *view.Report) section {
	s := section{ID: "how", Title: "How this was measured"}
	t := &table{Caption: "Where the numbers come from", Head: head(name("Number"), words("How it was had"))}
	for _, m := range v.Measured {
		t.Rows = append(t.Rows, cells(name(m.What), words(m.How)))
	}
	s.Blocks = append(s.Blocks, block{Table: t})
	w := &table{Caption: "What the words mean", Head: head(name("Word"), words("Meaning"))}
	for _, term := range view.Glossary() {
		w.Rows = append(w.Rows, cells(name(term.Word), words(term.Means)))
	}
	s.Blocks = append(s.Blocks, block{Table: w})
	if e := v.Estimate; e != nil {
		if len(e.Assumed) > 0 {
			s.Blocks = append(s.Blocks, block{Heading: "Assumed, not measured", Notes: e.Assumed})
		}
		var refused []string
		for _, r := range e.Refused {
			refused = append(refused, r.Reason)
		}
		if len(refused) > 0 {
			s.Blocks = append(s.Blocks, block{Heading: "Not answered yet", Notes: refused})
		}
		if b := e.Backtest; b != nil {
			s.Blocks = append(s.Blocks, backtestBlock(b))
		}
	}
	s.Blocks = append(s.Blocks, block{CareTitle: "Cautions", Care: v.Cautions})
	return s
}

// backtestBlock says how forecasts of nights that were hidden fared.
func backtestBlock(b *view.EstimateBacktest) block {
	out := block{Heading: "How forecasts fared"}
	if len(b.Scores) == 0 {
		if b.Reason != "" {
			out.Text = []string{b.Reason}
		}
		return out
	}
	out.Text = []string{fmt.Sprintf("The last %d nights were hidden and forecast from the ones before; an interval of 80 %% should hold the truth in about eight of ten.", b.HiddenNights)}
	t := &table{Caption: "Forecasts of hidden nights", Head: head(name("Of"), num("Held the truth"), least(num("Truth below")), least(num("Truth above")))}
	for _, s := range b.Scores {
		t.Rows = append(t.Rows, cells(name(s.Words), num(fmt.Sprintf("%d of %d", s.Covered, s.Forecasts)), least(num(strconv.Itoa(s.Below))), least(num(strconv.Itoa(s.Above)))))
	}
	out.Table = t
	return out
}
