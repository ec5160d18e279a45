package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
	"pgregory.net/rapid"
)

const hostile = `</text><script>alert(1)</script>"'&=1+1`

// every draws each kind of chart with a text in every place that takes one.
func every(s Size, words string, values []float64) map[string]string {
	scale := Scale{Max: 10, Lines: []float64{0, 5, 10}, Name: func(float64) string { return words }}
	var steps []WayStep
	var nights []Night
	var points []Point
	var runs []Run
	for i, v := range values {
		x := float64(i)
		steps = append(steps, WayStep{Words: words, Value: words, From: 0, To: v / 10, Ink: Saved})
		nights = append(nights, Night{Day: x, Words: words, Top: v, Inner: v / 2, Low: 1, High: 3, Mark: words, Value: words, Partly: true, Gap: i%5 == 4})
		points = append(points, Point{X: x, Y: v, Low: v / 2, High: v, Words: words, Hole: i%4 == 3})
		runs = append(runs, Run{Words: words, Name: words, To: v, Late: i%2 == 0, Goes: v > 8})
	}
	return map[string]string{
		"way":    Way(s, steps, "id"),
		"nights": Nights(s, nights, []DayMark{{0, words}}, scale, "id"),
		"lines": Lines{
			Series: []Series{{Ink: Main, Points: points, Dots: true}, {Ink: Added, Dashed: true, Points: points}},
			Levels: []Level{{Y: 4, Name: words}}, X: []Mark{{0, words}}, Y: scale,
		}.Draw(s, "id"),
		"clock": Clock{Runs: runs, Opens: 1, Closes: 8, Hours: []Mark{{0, words}, {4, words}}, Max: 10, Window: words, Closed: words}.Draw(s, "id"),
	}
}

var elements = []string{"svg", "g", "title", "path", "text"}

var attributes = []string{
	"class", "viewBox", "role", "aria-labelledby", "d", "x", "y",
	"stroke-width", "stroke-dasharray", "font-size", "text-anchor", "transform",
}

// read walks an SVG as an XML parser sees it: only known elements and attributes,
// no colour and no font. It returns the words in it.
func read(t testing.TB, svg string) (words []string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return words
		}
		if err != nil {
			t.Fatalf("%v in %s", err, svg)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if !slices.Contains(elements, e.Name.Local) {
				t.Errorf("an element %s", e.Name.Local)
			}
			for _, a := range e.Attr {
				if !slices.Contains(attributes, a.Name.Local) || strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s has %s=%q", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			words = append(words, string(e))
		case xml.Comment, xml.ProcInst, xml.Directive:
			t.Errorf("a %T", e)
		}
	}
}

func TestHostileWordsStayWords(t *testing.T) {
	for _, s := range []Size{Wide, Narrow} {
		for name, svg := range every(s, hostile, []float64{1, 5, 9, 14}) {
			words := read(t, svg)
			if !slices.Contains(words, hostile) {
				t.Errorf("%s %s: the words are not in it as they are: %q", name, s.Name, words)
			}
			if strings.Contains(svg, "<script") {
				t.Errorf("%s %s: markup got through", name, s.Name)
			}
		}
	}
}

var coordinates = regexp.MustCompile(`-?[0-9.]+`)

// Nothing that is drawn lies outside the picture, whatever the values.
func TestChartsStayInTheirPicture(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(0, 40), 1, 60).Draw(rt, "values")
		for i, v := range values { // steps go from 0 to 1
			values[i] = min(v, 10)
			if rapid.IntRange(0, 9).Draw(rt, "huge") == 0 && i > 0 {
				values[i] = 10
			}
		}
		for _, s := range []Size{Wide, Narrow} {
			for name, svg := range every(s, "x", values) {
				read(t, svg)
				var width, height float64
				fmt.Sscanf(svg[strings.Index(svg, `viewBox="0 0 `):], `viewBox="0 0 %g %g"`, &width, &height)
				for _, m := range regexp.MustCompile(` d="([^"]*)"`).FindAllStringSubmatch(svg, -1) {
					if strings.Contains(m[1], "A") {
						continue // a dot: its radii are no coordinates
					}
					for i, c := range coordinates.FindAllString(m[1], -1) {
						v, err := strconv.ParseFloat(c, 64)
						most := width
						if i%2 == 1 {
							most = height
						}
						if err != nil || v < -12 || v > most+12 {
							rt.Fatalf("%s %s: %s lies outside %g × %g", name, s.Name, c, width, height)
						}
					}
				}
			}
		}
	})
}

// The canvas puts a point where the definition of turning, scaling and moving has
// it: each done on plain numbers, the last first.
func TestCanvasTransforms(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := newCanvas(100, 100)
		type change func(x, y float64) (float64, float64)
		var changes []change
		for range rapid.IntRange(0, 6).Draw(rt, "n") {
			a, b := rapid.Float64Range(-3, 3).Draw(rt, "a"), rapid.Float64Range(-3, 3).Draw(rt, "b")
			switch rapid.IntRange(0, 2).Draw(rt, "kind") {
			case 0:
				c.Translate(vg.Point{X: vg.Length(a), Y: vg.Length(b)})
				changes = append(changes, func(x, y float64) (float64, float64) { return x + a, y + b })
			case 1:
				c.Scale(a, b)
				changes = append(changes, func(x, y float64) (float64, float64) { return x * a, y * b })
			default:
				c.Rotate(a)
				changes = append(changes, func(x, y float64) (float64, float64) {
					return x*math.Cos(a) - y*math.Sin(a), x*math.Sin(a) + y*math.Cos(a)
				})
			}
		}
		x, y := 2.0, -1.0
		for _, f := range slices.Backward(changes) {
			x, y = f(x, y)
		}
		gotX, gotY := c.at(vg.Point{X: 2, Y: -1})
		if math.Abs(gotX-x) > 1e-6 || math.Abs(100-gotY-y) > 1e-6 {
			rt.Fatalf("(%g, %g), want (%g, %g)", gotX, 100-gotY, x, y)
		}
	})
}

func TestNiceScale(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		base := rapid.SampledFrom([]float64{1000, 1024}).Draw(rt, "base")
		top := math.Exp(rapid.Float64Range(0, 40).Draw(rt, "top"))
		lines, most := NiceScale(top, base)
		if most < top*(1-1e-9) || lines[0] != 0 || lines[len(lines)-1] != most {
			rt.Fatalf("%g: %v up to %g", top, lines, most)
		}
		if len(lines) < 2 || len(lines) > 6 || most > 3.1*top && top > 2 {
			rt.Fatalf("%g: %d lines up to %g", top, len(lines), most)
		}
	})
	for _, top := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if lines, most := NiceScale(top, 1000); len(lines) != 1 || most != 1 {
			t.Errorf("%g: %v, %g", top, lines, most)
		}
	}
}
