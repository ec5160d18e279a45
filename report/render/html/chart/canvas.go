package chart

import (
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// canvas is a vg.Canvas that writes SVG elements. Its unit is the CSS pixel, its
// origin the lower left corner as the library has it; the elements have it in
// the upper left one.
type canvas struct {
	strings.Builder
	width, height float64
	state
	stack []state
}

type state struct {
	ink    Ink
	line   vg.Length
	dashes []vg.Length
	// To the picture's coordinates: x' = a·x + c·y + e, y' = b·x + d·y + f.
	a, b, c, d, e, f float64
}

func newCanvas(width, height float64) *canvas {
	c := &canvas{width: width, height: height}
	c.state = state{a: 1, d: 1}
	vg.Initialize(c)
	return c
}

func (c *canvas) Size() (x, y vg.Length)                 { return vg.Length(c.width), vg.Length(c.height) }
func (c *canvas) SetLineWidth(w vg.Length)               { c.line = w }
func (c *canvas) SetLineDash(d []vg.Length, _ vg.Length) { c.dashes = d }
func (c *canvas) Push()                                  { c.stack = append(c.stack, c.state) }

func (c *canvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

// SetColor takes an Ink; whatever else the library has by default is text.
func (c *canvas) SetColor(col color.Color) {
	ink, ok := col.(Ink)
	if !ok {
		ink = Text
	}
	c.ink = ink
}

func (c *canvas) Translate(p vg.Point) {
	x, y := float64(p.X), float64(p.Y)
	c.e, c.f = c.a*x+c.c*y+c.e, c.b*x+c.d*y+c.f
}

func (c *canvas) Scale(x, y float64) {
	c.a, c.b, c.c, c.d = c.a*x, c.b*x, c.c*y, c.d*y
}

func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.a, c.b, c.c, c.d = c.a*cos+c.c*sin, c.b*cos+c.d*sin, c.c*cos-c.a*sin, c.d*cos-c.b*sin
}

// at is a point's place in the picture.
func (c *canvas) at(p vg.Point) (x, y float64) {
	px, py := float64(p.X), float64(p.Y)
	return c.a*px + c.c*py + c.e, c.height - (c.b*px + c.d*py + c.f)
}

func (c *canvas) Fill(path vg.Path) {
	fmt.Fprintf(c, `<path class="f-%s" d="%s"/>`, c.ink, c.data(path))
}

func (c *canvas) Stroke(path vg.Path) {
	if c.line <= 0 {
		return
	}
	fmt.Fprintf(c, `<path class="s-%s" d="%s" stroke-width="%s"`, c.ink, c.data(path), number(float64(c.line)))
	if len(c.dashes) > 0 {
		c.WriteString(` stroke-dasharray="`)
		for i, d := range c.dashes {
			if i > 0 {
				c.WriteByte(' ')
			}
			c.WriteString(number(float64(d)))
		}
		c.WriteByte('"')
	}
	c.WriteString("/>")
}

func (c *canvas) data(path vg.Path) string {
	var b strings.Builder
	to := func(command string, points ...vg.Point) {
		b.WriteString(command)
		for i, p := range points {
			x, y := c.at(p)
			if i > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(number(x) + " " + number(y))
		}
	}
	for _, comp := range path {
		switch comp.Type {
		case vg.MoveComp:
			to("M", comp.Pos)
		case vg.LineComp:
			to("L", comp.Pos)
		case vg.CurveComp:
			command := "Q"
			if len(comp.Control) == 2 {
				command = "C"
			}
			to(command, append(append([]vg.Point{}, comp.Control...), comp.Pos)...)
		case vg.ArcComp:
			arc(&b, to, comp)
		case vg.CloseComp:
			b.WriteByte('Z')
		}
	}
	return b.String()
}

// arc is drawn in parts of a quarter turn at most: a whole circle in one part
// has no size in SVG.
func arc(b *strings.Builder, to func(string, ...vg.Point), comp vg.PathComp) {
	on := func(angle float64) vg.Point {
		sin, cos := math.Sincos(angle)
		return comp.Pos.Add(vg.Point{X: comp.Radius * vg.Length(cos), Y: comp.Radius * vg.Length(sin)})
	}
	command := "M"
	if b.Len() > 0 {
		command = "L"
	}
	to(command, on(comp.Start))
	parts := max(1, math.Ceil(math.Abs(comp.Angle)/(math.Pi/2)-1e-9))
	sweep := 0 // the picture's y grows downwards: what the library turns left is right in it
	if comp.Angle < 0 {
		sweep = 1
	}
	r := number(float64(comp.Radius))
	for i := 1.0; i <= parts; i++ {
		to(fmt.Sprintf("A%s %s 0 0 %d ", r, r, sweep), on(comp.Start+comp.Angle*i/parts))
	}
}

// FillString is what the library's own text handler calls; ours calls text.
func (c *canvas) FillString(f font.Face, p vg.Point, txt string) {
	c.text(float64(f.Font.Size), "start", p, txt)
}

func (c *canvas) text(size float64, anchor string, p vg.Point, txt string) {
	x, y := c.at(p)
	fmt.Fprintf(c, `<text class="t-%s" x="%s" y="%s" font-size="%s"`, c.ink, number(x), number(y), number(size))
	if anchor != "start" {
		fmt.Fprintf(c, ` text-anchor="%s"`, anchor)
	}
	if turn := -math.Atan2(c.b, c.a) * 180 / math.Pi; turn != 0 {
		fmt.Fprintf(c, ` transform="rotate(%s %s %s)"`, number(turn), number(x), number(y))
	}
	fmt.Fprintf(c, ">%s</text>", escape(txt))
}

// DrawImage draws nothing: no chart holds one.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

// titled says in words what the elements drawn by f are: a mouse resting on
// them shows it.
func titled(c draw.Canvas, words string, f func()) {
	own := target(c)
	fmt.Fprintf(own, "<g><title>%s</title>", escape(words))
	f()
	own.WriteString("</g>")
}

// anchored is a text handler that leaves the alignment to the browser: the
// letters there have other widths than those that the library measures with.
type anchored struct{ text.Plain }

func (h anchored) Draw(c vg.Canvas, txt string, sty text.Style, pt vg.Point) {
	own := target(c)
	if own == nil || sty.Rotation != 0 {
		h.Plain.Draw(c, txt, sty, pt)
		return
	}
	own.SetColor(sty.Color)
	e := h.Extents(sty.Font)
	lines := h.Lines(txt)
	top := pt.Y + sty.Height(txt)*(1+vg.Length(sty.YAlign))
	for i, words := range lines {
		if words == "" {
			continue
		}
		anchor := "start"
		switch sty.XAlign {
		case text.XCenter:
			anchor = "middle"
		case text.XRight:
			anchor = "end"
		}
		base := top - e.Ascent - vg.Length(i)*sty.Font.Size*1.25
		own.text(float64(sty.Font.Size), anchor, vg.Point{X: pt.X, Y: base}, words)
	}
}

// target is the canvas behind the library's wrappers.
func target(c vg.Canvas) *canvas {
	for {
		switch is := c.(type) {
		case *canvas:
			return is
		case *draw.Canvas:
			c = is.Canvas
		case draw.Canvas:
			c = is.Canvas
		default:
			return nil
		}
	}
}

// escape makes a text harmless in SVG, in elements and in attributes.
func escape(s string) string { return html.EscapeString(s) }

// number is a coordinate to a tenth of a pixel.
func number(f float64) string {
	return strconv.FormatFloat(math.Round(f*10)/10, 'f', -1, 64)
}
