// Package chart draws the report's pictures: gonum's plot lays out axes, scales
// and shapes, and a canvas of our own writes them as SVG that has no colour or
// font in it, only classes, so that the page's style sheet decides how they look
// on light and dark screens and on paper.
//
// Each chart is drawn twice, for a wide and for a narrow column. Scaling one
// picture down to a phone would make its letters too small to read.
package chart

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Size of a drawing.
type Size struct {
	Name  string  // a class of the svg element
	Width float64 // in CSS pixels of the column that it is made for
	Text  float64 // size of letters, pixels
}

// Sizes that a page shows one of.
var (
	Wide   = Size{Name: "wide", Width: 760, Text: 13}
	Narrow = Size{Name: "narrow", Width: 340, Text: 12.5}
)

func (s Size) narrow() bool { return s.Width < 500 }

// Ink is what a shape or a text is; the style sheet gives it a colour. Shapes
// get the classes f-INK (filled) or s-INK (stroked), texts t-INK.
type Ink string

// RGBA makes an Ink a color.Color, as which it passes through the library. The
// value is never looked at.
func (Ink) RGBA() (r, g, b, a uint32) { return 0, 0, 0, 0xffff }

// Inks of the charts.
const (
	Text   Ink = "text"
	Muted  Ink = "muted"  // text of less weight
	Grid   Ink = "grid"   // lines behind
	Axis   Ink = "axis"   // the line that bars stand on
	Main   Ink = "main"   // what is measured
	Second Ink = "second" // beside it
	Band   Ink = "band"   // a range
	Saved  Ink = "saved"  // what is taken away
	Alarm  Ink = "alarm"  // what stands out
	Added  Ink = "added"  // what comes on top
)

// style of a text.
func (s Size) style(ink Ink, x text.XAlignment) text.Style {
	return text.Style{
		Color:   ink,
		Font:    font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, vg.Length(s.Text)),
		XAlign:  x,
		YAlign:  draw.YCenter,
		Handler: anchored{text.Plain{Fonts: font.DefaultCache}},
	}
}

func line(ink Ink, width float64, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: ink, Width: vg.Length(width), Dashes: dashes}
}

// base is an empty plot in our look: no frame, light lines behind, ticks that
// are words alone.
func (s Size) base() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle = line(Grid, 0)
		a.Tick.LineStyle = line(Grid, 0)
		a.Tick.Length = 0
		a.Padding = 0
	}
	p.X.Tick.Label = s.style(Muted, draw.XCenter)
	p.X.Tick.Label.YAlign = draw.YTop
	p.X.Padding = 6
	p.Y.Tick.Label = s.style(Muted, draw.XRight)
	p.Y.Padding = 6
	return p
}

// ticks are fixed marks.
type ticks []plot.Tick

func (t ticks) Ticks(_, _ float64) []plot.Tick { return t }

// svg draws a plot into a picture of so many pixels' height. by are the ids of
// the elements that name it.
func (s Size) svg(p *plot.Plot, height float64, by string) string {
	c := newCanvas(s.Width, height)
	p.Draw(draw.Crop(draw.NewCanvas(c, vg.Length(s.Width), vg.Length(height)), 1, -1, 1, -1))
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s">`,
		s.Name, number(s.Width), number(height), escape(by))
	b.WriteString(c.String())
	b.WriteString("</svg>")
	return b.String()
}
