package plot

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Control is a control chart of shares by month.
type Control struct {
	Identifier, Title string
	Points            []Point
	Centre            float64 // NaN for none
	Target            float64 // NaN for none
	Phases            []Phase
}

// Point is one month. Value is NaN where nothing was counted.
type Point struct {
	Month     time.Time
	Value     float64
	Counted   string // "101/120"
	Low, High float64
	Limits    bool
	Signal    bool
}

// Phase is a vertical mark.
type Phase struct {
	At    time.Time
	Title string
}

// Figure draws the chart: a wash between the limits, a dashed centre line, a
// dotted target, dots for months and ringed diamonds for signals.
func (c Control) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	var values []float64
	for _, pt := range c.Points {
		values = append(values, pt.Value)
		if pt.Limits {
			values = append(values, pt.Low, pt.High)
		}
	}
	values = append(values, c.Centre, c.Target)
	p.Y.Min, p.Y.Max = span(values)
	p.X.Min, p.X.Max = -0.5, float64(len(c.Points))-0.5
	p.Y.Tick.Marker = plot.ConstantTicks(percentTicks(p.Y.Min, p.Y.Max))
	p.X.Tick.Marker = plot.ConstantTicks(c.months())
	c.band(p)
	c.levels(p)
	c.series(p)
	for i, phase := range c.Phases {
		x := c.position(phase.At)
		p.Add(line(plotter.XYs{{X: x, Y: p.Y.Min}, {X: x, Y: p.Y.Max}}, 0.8, ink, vg.Points(1), vg.Points(2)))
		label(p, x, p.Y.Max, fmt.Sprintf("(%d)", i+1), vg.Points(2), vg.Points(-4), draw.XLeft)
	}
	f := &Figure{Identifier: c.Identifier, Title: c.Title, Description: c.describe(), Width: width, Height: height, plot: p}
	f.Columns = []string{"Month", "Share", "Counted", "Limits", "Signal"}
	for _, pt := range c.Points {
		f.Rows = append(f.Rows, pt.row())
	}
	return f
}

func (p Point) row() []string {
	row := []string{p.Month.Format("2006-01"), "no data", p.Counted, "", ""}
	if !math.IsNaN(p.Value) {
		row[1] = fmt.Sprintf("%.1f %%", 100*p.Value)
	}
	if p.Limits {
		row[3] = fmt.Sprintf("%.1f to %.1f %%", 100*p.Low, 100*p.High)
	}
	if p.Signal {
		row[4] = "yes"
	}
	return row
}

func (c Control) describe() string {
	signals, shown := 0, 0
	for _, p := range c.Points {
		if !math.IsNaN(p.Value) {
			shown++
		}
		if p.Signal {
			signals++
		}
	}
	out := fmt.Sprintf("Share by month, %d months with data, %d beyond their limits.", shown, signals)
	if !math.IsNaN(c.Centre) {
		out += fmt.Sprintf(" Centre line %.1f %%.", 100*c.Centre)
	}
	if !math.IsNaN(c.Target) {
		out += fmt.Sprintf(" Target %.0f %%.", 100*c.Target)
	}
	for i, p := range c.Phases {
		out += fmt.Sprintf(" Mark %d: %s, %s.", i+1, p.At.Format(time.DateOnly), p.Title)
	}
	return out
}

// months labels every month by its name, the first and every January with the
// year below.
func (c Control) months() []plot.Tick {
	var out []plot.Tick
	for i, p := range c.Points {
		name := p.Month.Format("Jan")
		if i == 0 || p.Month.Month() == time.January {
			name = p.Month.Format("Jan\n2006")
		}
		out = append(out, plot.Tick{Value: float64(i), Label: name})
	}
	return out
}

// position is where a date lies between the months.
func (c Control) position(at time.Time) float64 {
	for i, p := range c.Points {
		if next := p.Month.AddDate(0, 1, 0); at.Before(next) {
			return float64(i) - 0.5 + at.Sub(p.Month).Hours()/next.Sub(p.Month).Hours()
		}
	}
	return float64(len(c.Points)) - 0.5
}

// band washes the space between the limits in steps, month by month.
func (c Control) band(p *plot.Plot) {
	for i, pt := range c.Points {
		if !pt.Limits {
			continue
		}
		low, high := math.Max(pt.Low, p.Y.Min), math.Min(pt.High, p.Y.Max)
		x := float64(i)
		corners := plotter.XYs{{X: x - 0.5, Y: low}, {X: x + 0.5, Y: low}, {X: x + 0.5, Y: high}, {X: x - 0.5, Y: high}}
		p.Add(&plotter.Polygon{XYs: []plotter.XYs{corners}, Color: wash})
		for _, y := range []float64{low, high} {
			p.Add(line(plotter.XYs{{X: x - 0.5, Y: y}, {X: x + 0.5, Y: y}}, 0.5, grey))
		}
	}
}

func (c Control) levels(p *plot.Plot) {
	ends := func(y float64) plotter.XYs { return plotter.XYs{{X: p.X.Min, Y: y}, {X: p.X.Max, Y: y}} }
	if !math.IsNaN(c.Centre) {
		p.Add(line(ends(c.Centre), 0.8, ink, vg.Points(5), vg.Points(3)))
	}
	if !math.IsNaN(c.Target) {
		p.Add(line(ends(c.Target), 0.9, grey, vg.Points(1), vg.Points(2)))
		label(p, p.X.Min, c.Target, "target", vg.Points(2), vg.Points(4), draw.XLeft)
	}
}

// series draws the months; a month without data breaks the line.
func (c Control) series(p *plot.Plot) {
	var run, plain, signals plotter.XYs
	flush := func() {
		if len(run) > 1 {
			p.Add(line(run, 1.1, ink))
		}
		run = nil
	}
	for i, pt := range c.Points {
		if math.IsNaN(pt.Value) {
			flush()
			continue
		}
		at := plotter.XY{X: float64(i), Y: pt.Value}
		run = append(run, at)
		if pt.Signal {
			signals = append(signals, at)
		} else {
			plain = append(plain, at)
		}
	}
	flush()
	p.Add(dots(plain, draw.CircleGlyph{}, 2.2), dots(signals, diamond{}, 4.6))
}

// diamond is the mark of a signal: a filled diamond in a ring.
type diamond struct{}

// DrawGlyph implements draw.GlyphDrawer.
func (diamond) DrawGlyph(c *draw.Canvas, style draw.GlyphStyle, at vg.Point) {
	r := style.Radius
	var p vg.Path
	p.Move(vg.Point{X: at.X, Y: at.Y + r*0.75})
	p.Line(vg.Point{X: at.X + r*0.75, Y: at.Y})
	p.Line(vg.Point{X: at.X, Y: at.Y - r*0.75})
	p.Line(vg.Point{X: at.X - r*0.75, Y: at.Y})
	p.Close()
	c.SetColor(style.Color)
	c.Fill(p)
	c.SetLineWidth(vg.Points(0.8))
	var ring vg.Path
	ring.Move(vg.Point{X: at.X + r*1.25, Y: at.Y})
	ring.Arc(at, r*1.25, 0, 2*math.Pi)
	c.Stroke(ring)
}
