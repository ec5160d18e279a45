package html

import (
	"fmt"

	"tidemark/report/render/html/chart"
	"tidemark/report/units"
	"tidemark/report/view"
)

// curveSection shows what other chunk sizes would take.
func curveSection(v *view.Report) section {
	s := section{ID: "curve", Title: "Other chunk sizes"}
	c := v.Curve
	if c == nil || len(c.Points) == 0 {
		s.Missing = v.CurveReason
		return s
	}
	s.Lead = []string{c.Answer}
	twin := curveTable(v)
	stored := func(p *view.CurvePoint) (mid, low, high *int64) {
		return p.StoredBytes, p.StoredLowBytes, p.StoredHighBytes
	}
	fresh := func(p *view.CurvePoint) (mid, low, high *int64) { return p.NewBytes, p.NewLowBytes, p.NewHighBytes }
	if p := curvePicture(v, "curve-chart", "Stored size against the average chunk", "The band is where the figure may lie.", twin, stored); p != nil {
		s.Blocks = append(s.Blocks, block{Chart: p})
	}
	if c.Period != "" {
		if p := curvePicture(v, "curve-night", "New bytes of "+c.Period, "What was new then, had it been cut to other averages. The band is where the figure may lie.", twin, fresh); p != nil {
			s.Blocks = append(s.Blocks, block{Chart: p})
		}
	}
	s.Notes = c.Notes
	return s
}

// pointName is a point's average, or that it is whole files.
func pointName(p *view.CurvePoint) string {
	if p.AverageBytes == nil {
		return "whole files"
	}
	return units.Exact(*p.AverageBytes)
}

func curvePicture(v *view.Report, id, caption, sub string, twin table, of func(*view.CurvePoint) (mid, low, high *int64)) *picture {
	u := v.Units
	content, files := chart.Series{Ink: chart.Main, Dots: true}, chart.Series{Ink: chart.Added, Dots: true}
	top, band := 0.0, false
	for i := range v.Curve.Points {
		p := &v.Curve.Points[i]
		mid, low, high := of(p)
		if low == nil || high == nil {
			if mid == nil {
				continue
			}
			low, high = mid, mid
		}
		pt := chart.Point{X: float64(i), Low: float64(*low), High: float64(*high), Words: pointName(p)}
		if mid == nil {
			pt.Hole = true
		} else {
			pt.Y = float64(*mid)
			pt.Words += ": " + u.Bytes(*mid)
		}
		top, band = max(top, pt.High, pt.Y), band || pt.Low < pt.High
		if p.AverageBytes == nil {
			files.Points = append(files.Points, pt)
		} else {
			content.Points = append(content.Points, pt)
		}
	}
	if len(content.Points)+len(files.Points) == 0 {
		return nil
	}
	lines, most := chart.NiceScale(top, base(u))
	p := draw(id, caption, sub, twin, func(s chart.Size, by string) string {
		var marks []chart.Mark
		every := 1
		if s.Width < 500 {
			every = 3
		}
		n := len(v.Curve.Points)
		for i := range v.Curve.Points {
			last := i == n-1
			if i%every == 0 && i < n-1-every/2 || last {
				marks = append(marks, chart.Mark{At: float64(i), Words: pointName(&v.Curve.Points[i])})
			}
		}
		return chart.Lines{
			Series: []chart.Series{content, files}, X: marks,
			Y: chart.Scale{Max: most, Lines: lines, Name: round(u)},
		}.Draw(s, by)
	})
	p.Key = []key{{chart.Main, "cut by content"}}
	if len(files.Points) > 0 {
		p.Key = append(p.Key, key{chart.Added, "whole files"})
	}
	if band {
		p.Key = append(p.Key, key{chart.Band, "may lie anywhere here"})
	} else {
		p.Sub = ""
	}
	return p
}

func curveTable(v *view.Report) table {
	u, c := v.Units, v.Curve
	t := table{
		Caption: "Chunk sizes", Summary: "The sizes as a table",
		Head: head(name("Average"), least(num("Mean that came out")), num("Stored"), num("New"), least(num("To upload")), words("Note")),
	}
	for i := range c.Points {
		p := &c.Points[i]
		t.Rows = append(t.Rows, cells(name(pointName(p)), least(num(bytesOr(u, p.MeanBytes))),
			num(ranged(u, p.StoredBytes, p.StoredLowBytes, p.StoredHighBytes)), num(ranged(u, p.NewBytes, p.NewLowBytes, p.NewHighBytes)),
			least(num(ranged(u, p.UploadBytes, p.UploadLowBytes, p.UploadHighBytes))), words(p.Note)))
	}
	return t
}

// ranged is a figure, or where it may lie.
func ranged(u units.System, mid, low, high *int64) string {
	switch {
	case mid != nil:
		return u.Bytes(*mid)
	case low != nil && high != nil:
		return fmt.Sprintf("%s to %s", u.Bytes(*low), u.Bytes(*high))
	}
	return "not known"
}
