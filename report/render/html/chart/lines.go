package chart

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Series is a line through points, or a band where it has a width.
type Series struct {
	Ink    Ink
	Dashed bool
	Points []Point // by rising X
	Dots   bool    // the points themselves are seen
}

// Point of a series. Low = High = Y: no range is known.
type Point struct {
	X, Y, Low, High float64
	Hole            bool   // Y is not known: the line breaks, the range stands
	Words           string // shown by a mouse resting on a dot
}

// Level is a line across: a capacity, say.
type Level struct {
	Y    float64
	Name string
}

// Lines are series over an axis.
type Lines struct {
	Series []Series
	Levels []Level
	X      []Mark
	Y      Scale
	Height float64 // of the wide drawing, pixels; 0: 260
}

// Mark names a place on the axis.
type Mark struct {
	At    float64
	Words string
}

// Draw draws the lines.
func (l Lines) Draw(s Size, by string) string {
	p := s.base()
	var names, levels ticks
	for _, m := range l.X {
		names = append(names, plot.Tick{Value: m.At, Label: m.Words})
	}
	for _, v := range l.Y.Lines {
		levels = append(levels, plot.Tick{Value: v, Label: l.Y.Name(v)})
	}
	p.X.Tick.Marker, p.Y.Tick.Marker = names, levels
	p.Y.Min, p.Y.Max = 0, l.Y.Max
	for _, series := range l.Series {
		for _, pt := range series.Points {
			p.X.Min, p.X.Max = min(p.X.Min, pt.X), max(p.X.Max, pt.X)
		}
	}
	p.Add(gridlines(l.Y.Lines))
	for _, series := range l.Series {
		p.Add(drawn{s, series})
	}
	p.Add(across{s, l.Levels})
	height := l.Height
	if height == 0 {
		height = 260
	}
	if s.narrow() {
		height = min(height, 230)
	}
	return s.svg(p, height, by)
}

type drawn struct {
	size Size
	Series
}

func (d drawn) Plot(c draw.Canvas, p *plot.Plot) {
	d.band(c, p)
	for _, run := range d.runs() {
		style := line(d.Ink, 2.2)
		if d.Dashed {
			style.Dashes = []vg.Length{5, 4}
		}
		l := plotter.Line{XYs: run, LineStyle: style}
		l.Plot(c, p)
	}
	x, y := p.Transforms(&c)
	for _, pt := range d.Points {
		if !d.Dots || pt.Hole {
			continue
		}
		at := vg.Point{X: x(pt.X), Y: y(pt.Y)}
		titled(c, pt.Words, func() {
			c.SetColor(d.Ink)
			var dot vg.Path
			dot.Arc(at, 3.6, 0, 6.283185307)
			dot.Close()
			c.Fill(dot)
		})
	}
}

// band fills the ranges.
func (d drawn) band(c draw.Canvas, p *plot.Plot) {
	var ring plotter.XYs
	for _, pt := range d.Points {
		ring = append(ring, plotter.XY{X: pt.X, Y: pt.High})
	}
	some := false
	for i := len(d.Points) - 1; i >= 0; i-- {
		ring = append(ring, plotter.XY{X: d.Points[i].X, Y: d.Points[i].Low})
		some = some || d.Points[i].Low < d.Points[i].High
	}
	if !some {
		return
	}
	(&plotter.Polygon{XYs: []plotter.XYs{ring}, Color: Band}).Plot(c, p)
}

// runs are the stretches without holes.
func (d drawn) runs() []plotter.XYs {
	var out []plotter.XYs
	var run plotter.XYs
	for _, pt := range d.Points {
		if pt.Hole {
			if len(run) > 0 {
				out = append(out, run)
			}
			run = nil
			continue
		}
		run = append(run, plotter.XY{X: pt.X, Y: pt.Y})
	}
	if len(run) > 0 {
		out = append(out, run)
	}
	return out
}

type across struct {
	size   Size
	levels []Level
}

func (a across) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	for _, level := range a.levels {
		c.StrokeLine2(line(Alarm, 1.6, 7, 4), c.Min.X, y(level.Y), c.Max.X, y(level.Y))
		style := a.size.style(Text, draw.XLeft)
		style.YAlign = draw.YBottom
		c.FillText(style, vg.Point{X: c.Min.X + 4, Y: y(level.Y) + 2}, level.Name)
	}
}
