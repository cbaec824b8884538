package plot

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Funnel compares people or machines with a common share.
type Funnel struct {
	Identifier, Title string
	Target            float64
	Units             []Unit
	// Limits gives the limits at a number of studies: 95 and 99.8 %; nil for none.
	Limits func(n int) (warningLow, warningHigh, alarmLow, alarmHigh float64)
}

// Unit is one of those compared.
type Unit struct {
	Label   string
	Studies int
	Value   float64
	Counted string
}

// Figure draws the funnel: limits of 95 % dashed, of 99.8 % plain, each unit a
// dot with its label.
func (f Funnel) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	most := 10
	values := []float64{f.Target}
	for _, u := range f.Units {
		most, values = max(most, u.Studies), append(values, u.Value)
	}
	least := max(5, most/20)
	if f.Limits != nil {
		_, _, low, high := f.Limits(max(least, most/4))
		values = append(values, low, high)
	}
	p.Y.Min, p.Y.Max = span(values)
	p.X.Min, p.X.Max = 0, 1.12*float64(most)
	p.X.Label.Text = "studies"
	p.X.Tick.Marker = plot.ConstantTicks(countTicks(p.X.Max))
	p.Y.Tick.Marker = plot.ConstantTicks(percentTicks(p.Y.Min, p.Y.Max, 6))
	p.Add(line(plotter.XYs{{X: 0, Y: f.Target}, {X: p.X.Max, Y: f.Target}}, 0.8, ink, vg.Points(5), vg.Points(3)))
	if f.Limits != nil {
		f.limits(p, least)
	}
	var at plotter.XYs
	var labels []string
	for _, u := range f.Units {
		at, labels = append(at, plotter.XY{X: float64(u.Studies), Y: u.Value}), append(labels, u.Label)
	}
	for i, o := range offsets(p, at, labels, width, height) {
		behind(p, at[i], labels[i], o, width, height)
		label(p, at[i].X, at[i].Y, labels[i], o.X, o.Y, draw.XCenter)
	}
	p.Add(dots(at, draw.CircleGlyph{}, 2.4))
	out := &Figure{Identifier: f.Identifier, Title: f.Title, Width: width, Height: height, plot: p,
		Description: fmt.Sprintf("Funnel of %d about the share of all, %.1f %%; limits of 95 %% dashed, of 99.8 %% plain.", len(f.Units), 100*f.Target),
		Columns:     []string{"Who", "Share", "Counted"}}
	for _, u := range f.Units {
		out.Rows = append(out.Rows, []string{u.Label, fmt.Sprintf("%.1f %%", 100*u.Value), u.Counted})
	}
	return out
}

// Sizes by which labels are kept apart, in points: of a letter, of a dot, and
// what axes take of a figure.
const (
	letterWidth, letterHeight = 4.2, 7.0
	dotSize                   = 5.0
	axisWidth, axisHeight     = 34.0, 34.0
)

// offsets are where labels stand beside their points so that none overprints
// another or a point: the first free place around, from near to far.
func offsets(p *plot.Plot, at plotter.XYs, labels []string, width, height vg.Length) []vg.Point {
	type box struct{ x, y, w, h float64 }
	apart := func(a, b box) bool {
		return math.Abs(a.x-b.x) >= (a.w+b.w)/2 || math.Abs(a.y-b.y) >= (a.h+b.h)/2
	}
	place := func(xy plotter.XY) (x, y float64) {
		return (xy.X - p.X.Min) / (p.X.Max - p.X.Min) * (width.Points() - axisWidth), (xy.Y - p.Y.Min) / (p.Y.Max - p.Y.Min) * (height.Points() - axisHeight)
	}
	var taken []box
	for _, xy := range at {
		x, y := place(xy)
		taken = append(taken, box{x, y, dotSize, dotSize})
	}
	out := make([]vg.Point, len(at))
	for i, xy := range at {
		x, y := place(xy)
		w := letterWidth * float64(len([]rune(labels[i])))
		free := false
		for ring := 0; ring < 6 && !free; ring++ {
			far := 5.5 + 5*float64(ring)
			for _, angle := range []float64{30, -30, 150, 210, 90, 270, 0, 180} {
				dx, dy := (far+w/2)*math.Cos(angle*math.Pi/180), far*math.Sin(angle*math.Pi/180)
				b := box{x + dx, y + dy, w, letterHeight}
				free = true
				for _, t := range taken {
					free = free && apart(b, t)
				}
				if free {
					out[i] = vg.Point{X: vg.Points(dx), Y: vg.Points(dy)}
					taken = append(taken, b)
					break
				}
			}
		}
	}
	return out
}

// behind clears the paper where a label stands, so that no line runs through it.
func behind(p *plot.Plot, at plotter.XY, words string, offset vg.Point, width, height vg.Length) {
	x, y := (p.X.Max-p.X.Min)/(width.Points()-axisWidth), (p.Y.Max-p.Y.Min)/(height.Points()-axisHeight) // of a point
	at.X, at.Y = at.X+offset.X.Points()*x, at.Y+offset.Y.Points()*y
	x, y = x*letterWidth*float64(len([]rune(words)))/2, y*letterHeight/2
	p.Add(&plotter.Polygon{XYs: []plotter.XYs{{{X: at.X - x, Y: at.Y - y}, {X: at.X + x, Y: at.Y - y}, {X: at.X + x, Y: at.Y + y}, {X: at.X - x, Y: at.Y + y}}}, Color: paper})
}

// countTicks are whole numbers, at most six.
func countTicks(high float64) []plot.Tick {
	step := 1.0
	for _, s := range []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000} {
		if step = s; high/s <= 6 {
			break
		}
	}
	var out []plot.Tick
	for x := 0.0; x <= high; x += step {
		out = append(out, plot.Tick{Value: x, Label: fmt.Sprintf("%.0f", x)})
	}
	return out
}

func (f Funnel) limits(p *plot.Plot, least int) {
	var lines [4]plotter.XYs
	step := max(1, int(p.X.Max)/120)
	for n := least; float64(n) <= p.X.Max; n += step {
		a, b, c, d := f.Limits(n)
		for i, y := range []float64{a, b, c, d} {
			if y >= p.Y.Min && y <= p.Y.Max {
				lines[i] = append(lines[i], plotter.XY{X: float64(n), Y: y})
			}
		}
	}
	for i, l := range lines {
		if i < 2 {
			p.Add(line(l, 0.7, grey, vg.Points(3), vg.Points(2)))
		} else {
			p.Add(line(l, 0.7, grey))
		}
	}
}

// Bars are counts by category, against an even spread.
type Bars struct {
	Identifier, Title string
	Labels            []string
	Counts            []int
	Others            []int // to compare with, scaled to as many; nil for an even spread
}

// Figure draws the bars with rings where the others would be, or a dotted line
// at the even spread.
func (b Bars) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	top, total := 1, 0
	for _, n := range b.Counts {
		top, total = max(top, n), total+n
	}
	for _, n := range b.Others {
		top = max(top, int(b.scale(total)*float64(n)))
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -0.6, float64(len(b.Counts))-0.4, 0, 1.1*float64(top)
	var ticks []plot.Tick
	for i, n := range b.Counts {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: b.Labels[i]})
		x, y := float64(i), float64(n)
		p.Add(&plotter.Polygon{XYs: []plotter.XYs{{{X: x - 0.32, Y: 0}, {X: x + 0.32, Y: 0}, {X: x + 0.32, Y: y}, {X: x - 0.32, Y: y}}},
			Color: wash, LineStyle: draw.LineStyle{Color: ink, Width: vg.Points(0.7)}})
	}
	p.X.Tick.Marker = plot.ConstantTicks(ticks)
	p.Y.Tick.Marker = plot.ConstantTicks(countTicks(p.Y.Max))
	f := &Figure{Identifier: b.Identifier, Title: b.Title, Width: width, Height: height, plot: p, Columns: []string{"Digit", "Values"}}
	if scale := b.scale(total); b.Others != nil {
		var rings plotter.XYs
		for i, n := range b.Others {
			rings = append(rings, plotter.XY{X: float64(i), Y: scale * float64(n)})
		}
		p.Add(dots(rings, draw.RingGlyph{}, 2.2))
		f.Description = fmt.Sprintf("%d values by last digit; the rings are as the others' digits tell.", total)
	} else {
		even := float64(total) / float64(max(1, len(b.Counts)))
		p.Add(line(plotter.XYs{{X: p.X.Min, Y: even}, {X: p.X.Max, Y: even}}, 0.8, ink, vg.Points(1), vg.Points(2)))
		f.Description = fmt.Sprintf("%d values by last digit; the dotted line is an even spread.", total)
	}
	for i, n := range b.Counts {
		f.Rows = append(f.Rows, []string{b.Labels[i], fmt.Sprint(n)})
	}
	return f
}

// scale makes the others as many as those shown.
func (b Bars) scale(total int) float64 {
	others := 0
	for _, n := range b.Others {
		others += n
	}
	return float64(total) / float64(max(1, others))
}
