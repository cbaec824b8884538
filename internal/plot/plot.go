// Package plot owns the charts: each is drawn once and put on any canvas, the
// same in a page, in print and in a picture. Shapes carry the meaning, so that a
// chart reads in black and white, and every chart has a title, a description in
// words and a table of what it shows for those who cannot see it.
package plot

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Figure is a chart ready to be drawn.
type Figure struct {
	Identifier  string
	Title       string
	Description string // what is seen, in words
	Columns     []string
	Rows        [][]string
	Width       vg.Length
	Height      vg.Length

	plot *plot.Plot
	at   []plotter.XY // of the rows, in the units of the axes
}

// Spot is where a row of the figure stands on it, in points from its upper left.
type Spot struct {
	X, Y float64
	Row  int
}

// Spots are those of the rows that are drawn, for a page on which one can point at
// them; none where the figure has no such points.
func (f *Figure) Spots() []Spot {
	area := f.plot.DataCanvas(draw.NewCanvas(vgsvg.New(f.Width, f.Height), f.Width, f.Height))
	x, y := f.plot.Transforms(&area)
	var out []Spot
	for i, at := range f.at {
		if !math.IsNaN(at.Y) {
			out = append(out, Spot{x(at.X).Points(), (f.Height - y(at.Y)).Points(), i})
		}
	}
	return out
}

// Ink on paper: one black, one grey, one wash.
var (
	ink   = color.Gray{Y: 0x11}
	grey  = color.Gray{Y: 0x70}
	wash  = color.Gray{Y: 0xEC}
	paper = color.Gray{Y: 0xFF}
)

const (
	fontSize  = vg.Length(9)
	smallSize = vg.Length(8)
)

// Draw puts the figure on a canvas of its width and height.
func (f *Figure) Draw(c vg.Canvas) {
	f.plot.Draw(draw.NewCanvas(c, f.Width, f.Height))
}

// SVG gives the figure as an element to stand in a page: role="img", named by
// its title and described in words.
func (f *Figure) SVG() (string, error) {
	c := vgsvg.New(f.Width, f.Height)
	f.Draw(c)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("draw %s: %w", f.Identifier, err)
	}
	drawn := b.String()
	start := strings.Index(drawn, "<svg")
	if start < 0 {
		return "", fmt.Errorf("draw %s: the canvas gave no drawing", f.Identifier)
	}
	head, rest, _ := strings.Cut(drawn[start:], ">")
	head = strings.Replace(head, "<svg", fmt.Sprintf(`<svg role="img" aria-labelledby="%[1]s-title %[1]s-text"`, html.EscapeString(f.Identifier)), 1)
	out := head + ">" + fmt.Sprintf(`<title id="%[1]s-title">%[2]s</title><desc id="%[1]s-text">%[3]s</desc>`,
		html.EscapeString(f.Identifier), html.EscapeString(f.Title), html.EscapeString(f.Description)) + rest
	return strings.ReplaceAll(out, "font-family:Liberation Serif", "font-family:Georgia,'Liberation Serif',serif"), nil
}

// PNG gives the figure as a picture of so many dots per inch.
func (f *Figure) PNG(dpi int) ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(f.Width, f.Height), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(paper))
	f.Draw(c)
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw %s: %w", f.Identifier, err)
	}
	return b.Bytes(), nil
}

// newPlot is the look: no frame, thin axes, a serif letter.
func newPlot() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	face := font.Font{Typeface: "Liberation", Variant: "Serif", Size: fontSize}
	small := face
	small.Size = smallSize
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle.Color, a.LineStyle.Width = ink, vg.Points(0.6)
		a.Tick.LineStyle.Color, a.Tick.LineStyle.Width = ink, vg.Points(0.6)
		a.Tick.Length = vg.Points(3)
		a.Tick.Label.Font, a.Tick.Label.Color = small, ink
		a.Label.TextStyle.Font, a.Label.TextStyle.Color = small, ink
		a.Padding = vg.Points(4)
	}
	p.TextHandler = text.Plain{Fonts: font.DefaultCache}
	return p
}

func line(points plotter.XYs, width float64, c color.Color, dashes ...vg.Length) *plotter.Line {
	return &plotter.Line{XYs: points, LineStyle: draw.LineStyle{Color: c, Width: vg.Points(width), Dashes: dashes}}
}

func dots(points plotter.XYs, shape draw.GlyphDrawer, radius float64) *plotter.Scatter {
	return &plotter.Scatter{XYs: points, GlyphStyle: draw.GlyphStyle{Color: ink, Radius: vg.Points(radius), Shape: shape}}
}

// label writes words at a point, moved by an offset.
func label(p *plot.Plot, x, y float64, words string, dx, dy vg.Length, align text.XAlignment) {
	style := draw.TextStyle{Color: ink, Font: font.Font{Typeface: "Liberation", Variant: "Serif", Size: smallSize}, XAlign: align, YAlign: draw.YCenter, Handler: p.TextHandler}
	p.Add(&plotter.Labels{XYs: plotter.XYs{{X: x, Y: y}}, Labels: []string{words}, TextStyle: []text.Style{style}, Offset: vg.Point{X: dx, Y: dy}})
}

// percentTicks are round shares with labels, at most so many or so.
func percentTicks(low, high float64, most int) []plot.Tick {
	step := 0.5
	for _, s := range []float64{0.01, 0.02, 0.05, 0.1, 0.2, 0.25} {
		if (high-low)/s <= float64(most) {
			step = s
			break
		}
	}
	var out []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: fmt.Sprintf("%.0f %%", math.Abs(100*k*step))})
	}
	return out
}

// span widens a range a little and keeps it within 0 and 1.
func span(values []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	if low > high {
		return 0, 1
	}
	room := math.Max(0.02, 0.08*(high-low))
	return math.Max(0, low-room), math.Min(1, high+room)
}
