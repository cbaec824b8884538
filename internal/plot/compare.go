package plot

import (
	"fmt"

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
	p.Y.Tick.Marker = plot.ConstantTicks(percentTicks(p.Y.Min, p.Y.Max))
	p.Add(line(plotter.XYs{{X: 0, Y: f.Target}, {X: p.X.Max, Y: f.Target}}, 0.8, ink, vg.Points(5), vg.Points(3)))
	if f.Limits != nil {
		f.limits(p, least)
	}
	var at plotter.XYs
	for _, u := range f.Units {
		at = append(at, plotter.XY{X: float64(u.Studies), Y: u.Value})
		label(p, float64(u.Studies), u.Value, u.Label, vg.Points(4), vg.Points(3), draw.XLeft)
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
}

// Figure draws the bars with a dotted line at the even spread.
func (b Bars) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	top, total := 1, 0
	for _, n := range b.Counts {
		top, total = max(top, n), total+n
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
	even := float64(total) / float64(max(1, len(b.Counts)))
	p.Add(line(plotter.XYs{{X: p.X.Min, Y: even}, {X: p.X.Max, Y: even}}, 0.8, ink, vg.Points(1), vg.Points(2)))
	f := &Figure{Identifier: b.Identifier, Title: b.Title, Width: width, Height: height, plot: p,
		Description: fmt.Sprintf("%d values by last digit; the dotted line is an even spread.", total), Columns: []string{"Digit", "Values"}}
	for i, n := range b.Counts {
		f.Rows = append(f.Rows, []string{b.Labels[i], fmt.Sprint(n)})
	}
	return f
}
