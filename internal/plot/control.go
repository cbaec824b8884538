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
	Target            float64 // NaN for none
	Phases            []Phase
}

// Point is one month. Value is NaN where nothing was counted.
type Point struct {
	Month      time.Time
	Value      float64
	YearBefore float64 // of the same month a year earlier, NaN for none
	Centre     float64 // NaN for none
	Counted    string  // "101/120"
	Low, High  float64
	Limits     bool
	Signal     bool
}

// Phase is a vertical mark.
type Phase struct {
	At    time.Time
	Mark  string // what stands at it, in brackets
	Title string
}

// Figure draws the chart: a wash between the limits, a dashed centre line, a
// dotted target, dots for months, ringed diamonds for signals, a thin line for
// the year before. Words stand where no line runs: the target to the right, the
// marks above.
func (c Control) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	var values []float64
	for _, pt := range c.Points {
		values = append(values, pt.Value, pt.YearBefore, pt.Centre)
		if pt.Limits {
			values = append(values, pt.Low, pt.High)
		}
	}
	values = append(values, c.Target)
	low, high := span(values)
	p.Y.Min, p.Y.Max = low, high
	if len(c.Phases) > 0 {
		p.Y.Max += 0.3 * (high - low)
	}
	p.X.Min, p.X.Max = -0.5, c.end()
	if !math.IsNaN(c.Target) {
		p.X.Max += 0.1 * float64(len(c.Points)+1)
	}
	p.Y.Tick.Marker = plot.ConstantTicks(percentTicks(low, high, int(height/17)))
	p.X.Tick.Marker = plot.ConstantTicks(c.months())
	c.band(p)
	c.levels(p)
	c.yearBefore(p)
	c.series(p)
	c.phases(p)
	f := &Figure{Identifier: c.Identifier, Title: c.Title, Description: c.describe(), Width: width, Height: height, plot: p}
	f.Columns = []string{"Month", "Share", "Counted", "Limits", "Signal", "A year earlier"}
	for i, pt := range c.Points {
		f.Rows, f.at = append(f.Rows, pt.row()), append(f.at, plotter.XY{X: float64(i), Y: pt.Value})
	}
	return f
}

// end is where the months end.
func (c Control) end() float64 { return float64(len(c.Points)) - 0.5 }

// nearMarks is how near, in months, marks share their words, which would
// overprint each other.
const nearMarks = 0.9

func (c Control) phases(p *plot.Plot) {
	for i := 0; i < len(c.Phases); {
		at, words := c.position(c.Phases[i].At), ""
		for k := i; i < len(c.Phases) && (i == k || c.position(c.Phases[i].At)-at < nearMarks); i++ {
			x := c.position(c.Phases[i].At)
			p.Add(line(plotter.XYs{{X: x, Y: p.Y.Min}, {X: x, Y: p.Y.Max}}, 0.8, ink, vg.Points(1), vg.Points(2)))
			words += fmt.Sprintf("(%s)", c.Phases[i].Mark)
		}
		align, offset := draw.XLeft, vg.Points(2)
		if at > 0.8*c.end() {
			align, offset = draw.XRight, vg.Points(-2)
		}
		label(p, at, p.Y.Max, words, offset, vg.Points(-4), align)
	}
}

// yearBefore draws the year before where it is known.
func (c Control) yearBefore(p *plot.Plot) {
	var run plotter.XYs
	for i, pt := range c.Points {
		if !math.IsNaN(pt.YearBefore) {
			run = append(run, plotter.XY{X: float64(i), Y: pt.YearBefore})
		}
		if (math.IsNaN(pt.YearBefore) || i == len(c.Points)-1) && len(run) > 0 {
			p.Add(line(run, 0.6, grey))
			run = nil
		}
	}
}

func (p Point) row() []string {
	row := []string{p.Month.Format("2006-01"), "no data", p.Counted, "", "", ""}
	if !math.IsNaN(p.YearBefore) {
		row[5] = fmt.Sprintf("%.1f %%", 100*p.YearBefore)
	}
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
	last := math.NaN()
	for i, p := range c.Points {
		if !math.IsNaN(p.Centre) && p.Centre != last {
			out += fmt.Sprintf(" Centre line %.1f %% from %s.", 100*p.Centre, c.Points[i].Month.Format("2006-01"))
			last = p.Centre
		}
	}
	if !math.IsNaN(c.Target) {
		out += fmt.Sprintf(" Target %.0f %%.", 100*c.Target)
	}
	for _, p := range c.Phases {
		out += fmt.Sprintf(" Mark %s: %s, %s.", p.Mark, p.At.Format(time.DateOnly), p.Title)
	}
	return out
}

// months labels every month by its name, the first and every January with the
// year below.
func (c Control) months() []plot.Tick {
	var out []plot.Tick
	for i, p := range c.Points {
		name := p.Month.Format("Jan") + "\n " // two lines all, to stand on one
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
	for i := 0; i < len(c.Points); {
		from, y := i, c.Points[i].Centre
		for i < len(c.Points) && (c.Points[i].Centre == y || i == from) {
			i++
		}
		if !math.IsNaN(y) {
			p.Add(line(plotter.XYs{{X: float64(from) - 0.5, Y: y}, {X: float64(i) - 0.5, Y: y}}, 0.8, ink, vg.Points(5), vg.Points(3)))
		}
	}
	if !math.IsNaN(c.Target) {
		p.Add(line(plotter.XYs{{X: p.X.Min, Y: c.Target}, {X: c.end(), Y: c.Target}}, 0.9, grey, vg.Points(1), vg.Points(2)))
		label(p, c.end(), c.Target, "target", vg.Points(2), 0, draw.XLeft)
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
