package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Night is one bar of Nights.
type Night struct {
	Day    float64 // days after the first date shown
	Words  string  // all of it in one line
	Top    float64 // the whole bar, ≥ 0
	Inner  float64 // its part from below, −1: not known
	Low    float64 // the usual range of its like …
	High   float64 // … both 0 where none is spoken of
	Mark   string  // names it in the list beside; "": nothing unusual
	Gap    bool    // nothing was measured: no bar
	Partly bool    // not all could be read: a hatched foot
	Value  string  // written where the bar is cut off
}

// DayMark is a word below the chart.
type DayMark struct {
	Day   float64
	Words string
}

// Scale says where a value's gridlines lie and how they are called.
type Scale struct {
	Max   float64 // bars that are higher are cut off there
	Lines []float64
	Name  func(float64) string
}

// Nights draws one bar a night in front of what is usual.
func Nights(s Size, nights []Night, days []DayMark, scale Scale, by string) string {
	p := s.base()
	var names, levels ticks
	for _, d := range days {
		names = append(names, plot.Tick{Value: d.Day, Label: d.Words})
	}
	for _, v := range scale.Lines {
		levels = append(levels, plot.Tick{Value: v, Label: scale.Name(v)})
	}
	p.X.Tick.Marker, p.Y.Tick.Marker = names, levels
	last := 0.0
	for _, n := range nights {
		last = max(last, n.Day)
	}
	p.X.Min, p.X.Max = -0.7, last+0.7
	p.Y.Min, p.Y.Max = 0, scale.Max*1.12 // room for what is written on top
	p.Add(gridlines(scale.Lines), nightBars{s, nights, scale.Max})
	height := 260.0
	if s.narrow() {
		height = 230
	}
	return s.svg(p, height, by)
}

// gridlines are thin lines from side to side; the one at 0 bears the bars.
type gridlines []float64

func (g gridlines) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	for _, v := range g {
		ink := Grid
		if v == 0 {
			ink = Axis
		}
		c.StrokeLine2(line(ink, 1), c.Min.X, y(v), c.Max.X, y(v))
	}
}

type nightBars struct {
	size   Size
	nights []Night
	max    float64
}

func (b nightBars) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	day := x(1) - x(0)
	half := max(min(day*0.36, 11), 0.6)
	for i := 0; i < len(b.nights); {
		from := b.nights[i]
		to := from.Day // nights of one kind side by side have one band
		for i++; i < len(b.nights) && b.nights[i].Day == to+1 && b.nights[i].Low == from.Low && b.nights[i].High == from.High; i++ {
			to++
		}
		if from.High > 0 {
			c.SetColor(Band)
			c.Fill(rect(x(from.Day-0.5), y(min(from.Low, b.max)), x(to+0.5), y(min(from.High, b.max))))
		}
	}
	for _, n := range b.nights {
		mid := x(n.Day)
		titled(c, n.Words, func() {
			if n.Gap {
				c.StrokeLine2(line(Muted, 1.5, 2, 3), mid, y(0)+1, mid, y(0)+26)
				return
			}
			top := y(min(n.Top, b.max))
			outer, inner := Second, Main
			if n.Mark != "" {
				outer, inner = "alarm2", Alarm
			}
			c.SetColor(outer)
			if n.Inner < 0 {
				c.SetColor(inner)
			}
			c.Fill(rect(mid-half, y(0), mid+half, max(top, y(0)+1.5)))
			if n.Inner >= 0 {
				c.SetColor(inner)
				c.Fill(rect(mid-half, y(0), mid+half, max(y(min(n.Inner, b.max)), y(0)+1.5)))
			}
			if n.Partly {
				c.StrokeLine2(line(Text, 2, 2, 2), mid-half, y(0)-3.5, mid+half, y(0)-3.5)
			}
			words := n.Mark
			if n.Top > b.max { // the bar goes on
				for _, at := range []vg.Length{7, 10} {
					c.StrokeLine2(line("page", 1.6), mid-half-1, top-at-2, mid+half+1, top-at+2)
				}
				if n.Value != "" && words == "" {
					words = n.Value
				}
			}
			if words != "" {
				style := b.size.style(Text, draw.XCenter)
				style.YAlign = draw.YBottom
				c.FillText(style, vg.Point{X: mid, Y: top + 2}, words)
			}
		})
	}
}

func rect(x0, y0, x1, y1 vg.Length) vg.Path {
	return vg.Rectangle{Min: vg.Point{X: x0, Y: y0}, Max: vg.Point{X: x1, Y: y1}}.Path()
}

// NiceScale is a scale from 0 to at least top, with a few lines at round values
// of a unit that grows by base (1000 or 1024).
func NiceScale(top, base float64) (lines []float64, most float64) {
	if top <= 0 || math.IsInf(top, 0) || math.IsNaN(top) {
		return []float64{0}, 1
	}
	unit := 1.0
	for top/unit >= base {
		unit *= base
	}
	step := math.Pow(10, math.Floor(math.Log10(top/unit)))
	for _, f := range []float64{0.2, 0.25, 0.5, 1, 2, 2.5, 5, 10} {
		if s := step * f; top/unit/s <= 4.5 {
			step = s
			break
		}
	}
	if unit == 1 {
		step = max(step, 1) // half a byte is none
	}
	for v := 0.0; ; v += step {
		lines = append(lines, v*unit)
		if v*unit >= top*(1-1e-9) {
			return lines, v * unit
		}
	}
}
