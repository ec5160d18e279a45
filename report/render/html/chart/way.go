package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// WayStep is one bar of the way from one figure to another.
type WayStep struct {
	Words, Value string
	From, To     float64 // 0 to 1 of the widest
	Ink          Ink     // Main for what is held, Saved for what goes, Added for what comes
}

// Way draws steps below each other, each bar beginning where the one before it
// ended, with words and values beside them.
func Way(s Size, steps []WayStep, by string) string {
	p := s.base()
	p.HideAxes()
	w := way{size: s, steps: steps, words: 250, value: 84, row: 34}
	if s.narrow() {
		w.words, w.value, w.row = 0, 76, 44
	}
	p.X.Min, p.X.Max = 0, 1
	p.Y.Min, p.Y.Max = 0, float64(len(steps))
	p.Add(w)
	return s.svg(p, w.row*float64(len(steps))+2, by)
}

type way struct {
	size  Size
	steps []WayStep
	words float64 // width of the column left of the bars; 0: above them
	value float64 // width of the column right of them
	row   float64
}

func (w way) Plot(c draw.Canvas, _ *plot.Plot) {
	left, right := c.Min.X+vg.Length(w.words), c.Max.X-vg.Length(w.value)
	x := func(f float64) vg.Length { return left + vg.Length(f)*(right-left) }
	row := vg.Length(w.row)
	height := vg.Length(17)
	c.StrokeLine2(line(Axis, 1), left, c.Min.Y, left, c.Max.Y)
	for i, step := range w.steps {
		top := c.Max.Y - row*vg.Length(i)
		middle := top - row/2
		if w.words == 0 {
			middle = top - row + height/2 + 4
			c.FillText(w.size.style(Text, draw.XLeft), vg.Point{X: c.Min.X + 4, Y: top - 11}, step.Words)
		} else {
			c.FillText(w.size.style(Text, draw.XRight), vg.Point{X: left - 12, Y: middle}, step.Words)
		}
		from, to := x(math.Min(step.From, step.To)), x(math.Max(step.From, step.To))
		to = max(to, from+1.5) // what is there is seen
		titled(c, step.Words+": "+step.Value, func() {
			c.SetColor(step.Ink)
			c.Fill(box(from, middle-height/2, to, middle+height/2))
		})
		if i+1 < len(w.steps) { // where the next one begins
			end := x(step.To)
			if step.Ink == Saved {
				end = x(step.From)
			}
			next := middle - row
			c.StrokeLine2(line(Axis, 1, 2, 3), end, middle-height/2, end, next+height/2)
		}
		style := w.size.style(Text, draw.XRight)
		c.FillText(style, vg.Point{X: c.Max.X - 2, Y: middle}, step.Value)
	}
}

// box is a rectangle with its corners a little rounded.
func box(x0, y0, x1, y1 vg.Length) vg.Path {
	r := min(2.5, (x1-x0)/2, (y1-y0)/2)
	var p vg.Path
	p.Move(vg.Point{X: x0 + r, Y: y0})
	p.Line(vg.Point{X: x1 - r, Y: y0})
	p.QuadTo(vg.Point{X: x1, Y: y0}, vg.Point{X: x1, Y: y0 + r})
	p.Line(vg.Point{X: x1, Y: y1 - r})
	p.QuadTo(vg.Point{X: x1, Y: y1}, vg.Point{X: x1 - r, Y: y1})
	p.Line(vg.Point{X: x0 + r, Y: y1})
	p.QuadTo(vg.Point{X: x0, Y: y1}, vg.Point{X: x0, Y: y1 - r})
	p.Line(vg.Point{X: x0, Y: y0 + r})
	p.QuadTo(vg.Point{X: x0, Y: y0}, vg.Point{X: x0 + r, Y: y0})
	p.Close()
	return p
}
