package chart

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Run is one bar of Clock.
type Run struct {
	Words    string  // all of it in one line
	Name     string  // left of it; "": none
	From, To float64 // hours after the axis' beginning
	Late     bool
	Goes     bool // on beyond the picture
}

// Clock is what ran when, a row each, against the hours of a night.
type Clock struct {
	Runs           []Run // the first on top
	Opens, Closes  float64
	Hours          []Mark
	Max            float64 // hours shown
	Window, Closed string  // what is written above the window and its end
}

// Draw draws the runs in front of the window.
func (k Clock) Draw(s Size, by string) string {
	p := s.base()
	var names, hours ticks
	for i, r := range k.Runs {
		if r.Name != "" {
			names = append(names, plot.Tick{Value: float64(len(k.Runs) - 1 - i), Label: r.Name})
		}
	}
	for i, m := range k.Hours {
		if s.narrow() && i%2 == 1 {
			continue
		}
		hours = append(hours, plot.Tick{Value: m.At, Label: m.Words})
	}
	if len(names) == 0 {
		names = ticks{{Value: 0, Label: " "}}
	}
	p.X.Tick.Marker, p.Y.Tick.Marker = hours, names
	p.X.Min, p.X.Max = 0, k.Max
	row := min(max(300/float64(max(len(k.Runs), 1)), 9), 22)
	const words = 24 // pixels above the rows
	p.Y.Min, p.Y.Max = -0.5, float64(len(k.Runs))-0.5+words/row
	p.Add(clock{s, k})
	return s.svg(p, row*float64(len(k.Runs))+words+40, by)
}

type clock struct {
	size Size
	Clock
}

func (k clock) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	top := c.Max.Y
	high := y(float64(len(k.Runs)) - 0.5)
	c.SetColor(Band)
	c.Fill(rect(x(k.Opens), c.Min.Y, x(min(k.Closes, k.Max)), high))
	for _, h := range k.Hours {
		c.StrokeLine2(line(Grid, 1), x(h.At), c.Min.Y, x(h.At), high)
	}
	row := (high - c.Min.Y) / vg.Length(max(len(k.Runs), 1))
	half := min(row*0.32, 6)
	for i, r := range k.Runs {
		mid := y(float64(len(k.Runs) - 1 - i))
		ink := Main
		if r.Late {
			ink = Alarm
		}
		titled(c, r.Words, func() {
			c.SetColor(ink)
			from, to := x(r.From), x(min(r.To, k.Max))
			c.Fill(rect(from, mid-half, max(to, from+2), mid+half))
			if r.Goes {
				c.StrokeLine2(line("page", 2), to-6, mid-half-1, to-3, mid+half+1)
			}
		})
	}
	left, right := k.size.style(Muted, draw.XLeft), k.size.style(Text, draw.XRight)
	left.YAlign, right.YAlign = draw.YTop, draw.YTop
	if k.Closes > k.Max { // the end of the window lies beyond the picture
		c.FillText(left, vg.Point{X: x(k.Opens), Y: top}, k.Window)
		return
	}
	c.StrokeLine2(line(Alarm, 1.6, 6, 4), x(k.Closes), c.Min.Y, x(k.Closes), high+4)
	// Letters are up to a fifth wider in a browser's font than in the one that is
	// measured with here.
	if 1.2*(left.Width(k.Window)+right.Width(k.Closed))+8 < x(k.Closes)-x(k.Opens) {
		c.FillText(left, vg.Point{X: x(k.Opens), Y: top}, k.Window)
	}
	if x(k.Closes)-c.Min.X < 1.2*right.Width(k.Closed) {
		right.XAlign = draw.XLeft
	}
	c.FillText(right, vg.Point{X: x(k.Closes), Y: top}, k.Closed)
}
