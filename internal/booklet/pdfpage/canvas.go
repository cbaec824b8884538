// Package pdfpage owns the page of a PDF: texts in the letters of embedded fonts,
// and the lines and letters of charts.
package pdfpage

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// canvas draws charts into a PDF page as lines and letters, not as a
// picture. The chart's origin is at the lower left, in points; the page's at
// the upper left, in millimetres.
type canvas struct {
	pdf   *Pages
	state canvasState
	stack []canvasState
}

// canvasState is what Push keeps: the transformation x' = a x + c y + e,
// y' = b x + d y + f from chart to page.
type canvasState struct {
	a, b, c, d, e, f float64
	width            float64 // of lines, mm
}

const Millimetres = 25.4 / 72 // per point

// NewCanvas puts the chart's lower left corner at x, y of the page.
func NewCanvas(pdf *Pages, x, y float64) *canvas {
	return &canvas{pdf: pdf, state: canvasState{a: Millimetres, d: -Millimetres, e: x, f: y, width: 0.2}}
}

func (c *canvas) at(p vg.Point) (x, y float64) {
	s := c.state
	return s.a*float64(p.X) + s.c*float64(p.Y) + s.e, s.b*float64(p.X) + s.d*float64(p.Y) + s.f
}

// multiply puts another transformation before the present one.
func (c *canvas) multiply(a, b, cc, d, e, f float64) {
	s := c.state
	c.state.a, c.state.b = s.a*a+s.c*b, s.b*a+s.d*b
	c.state.c, c.state.d = s.a*cc+s.c*d, s.b*cc+s.d*d
	c.state.e, c.state.f = s.a*e+s.c*f+s.e, s.b*e+s.d*f+s.f
}

// SetLineWidth sets the width of lines to come. It and the methods below are
// those of vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) {
	c.state.width = float64(w) * Millimetres
	c.pdf.SetLineWidth(c.state.width)
}

// SetLineDash sets the pattern of lines to come.
func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	dashes := make([]float64, len(pattern))
	for i, l := range pattern {
		dashes[i] = float64(l) * Millimetres
	}
	c.pdf.SetDashPattern(dashes, float64(offset)*Millimetres)
}

// SetColor sets the colour of lines, fillings and letters.
func (c *canvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	r, g, b, _ := clr.RGBA()
	c.pdf.SetDrawColor(int(r>>8), int(g>>8), int(b>>8))
	c.pdf.SetFillColor(int(r>>8), int(g>>8), int(b>>8))
	c.pdf.SetTextColor(int(r>>8), int(g>>8), int(b>>8))
}

// Rotate turns what is drawn next.
func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.multiply(cos, sin, -sin, cos, 0, 0)
}

// Translate moves what is drawn next.
func (c *canvas) Translate(p vg.Point) { c.multiply(1, 0, 0, 1, float64(p.X), float64(p.Y)) }

// Scale stretches what is drawn next.
func (c *canvas) Scale(x, y float64) { c.multiply(x, 0, 0, y, 0, 0) }

// Push keeps the state.
func (c *canvas) Push() { c.stack = append(c.stack, c.state) }

// Stroke draws a line along the path.
func (c *canvas) Stroke(path vg.Path) { c.draw(path, "D") }

// Fill fills the path.
func (c *canvas) Fill(path vg.Path) { c.draw(path, "F") }

// Pop takes the kept state back.
func (c *canvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
	c.pdf.SetLineWidth(c.state.width)
}

func (c *canvas) draw(path vg.Path, style string) {
	if style == "D" && c.state.width <= 0 {
		return
	}
	for _, part := range path {
		switch part.Type {
		case vg.MoveComp:
			c.pdf.MoveTo(c.at(part.Pos))
		case vg.LineComp:
			c.pdf.LineTo(c.at(part.Pos))
		case vg.ArcComp:
			c.arc(part)
		case vg.CurveComp:
			c.curve(part)
		case vg.CloseComp:
			c.pdf.ClosePath()
		}
	}
	c.pdf.DrawPath(style)
}

// curve draws a Bézier curve with one or two control points.
func (c *canvas) curve(part vg.PathComp) {
	if len(part.Control) == 1 {
		x0, y0 := c.at(part.Control[0])
		x, y := c.at(part.Pos)
		c.pdf.CurveTo(x0, y0, x, y)
		return
	}
	x0, y0 := c.at(part.Control[0])
	x1, y1 := c.at(part.Control[1])
	x, y := c.at(part.Pos)
	c.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
}

// arc draws a circular arc as cubic curves of at most a quarter each: control
// points at 4/3 tan(angle/4) of the radius along the tangents.
func (c *canvas) arc(part vg.PathComp) {
	n := max(1, int(math.Ceil(math.Abs(part.Angle)/(math.Pi/2)-1e-9)))
	step := part.Angle / float64(n)
	k := 4.0 / 3 * math.Tan(step/4)
	point := func(angle, along float64) vg.Point {
		sin, cos := math.Sincos(angle)
		return vg.Point{X: part.Pos.X + part.Radius*vg.Length(cos-along*sin), Y: part.Pos.Y + part.Radius*vg.Length(sin+along*cos)}
	}
	c.pdf.LineTo(c.at(point(part.Start, 0)))
	for i := range n {
		from, to := part.Start+float64(i)*step, part.Start+float64(i+1)*step
		x0, y0 := c.at(point(from, k))
		x1, y1 := c.at(point(to, -k))
		x, y := c.at(point(to, 0))
		c.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
	}
}

// FillString writes words with their base line beginning at the point.
func (c *canvas) FillString(f font.Face, p vg.Point, text string) {
	c.pdf.SetFont(Font, "", float64(f.Font.Size))
	x, y := c.at(p)
	angle := math.Atan2(-c.state.b, c.state.a) * 180 / math.Pi
	if math.Abs(angle) < 0.01 {
		c.pdf.Text(x, y, text)
		return
	}
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(angle, x, y)
	c.pdf.Text(x, y, text)
	c.pdf.TransformEnd()
}

// DrawImage is not used by our charts.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {
	c.pdf.SetErrorf("internal error: a chart holds a picture")
}
