package plot

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Agreement is the plot of Bland and Altman: the difference of two readings
// against their mean.
type Agreement struct {
	Identifier, Title string
	Unit              string
	First, Second     []float64
	Bias              float64
	Lower, Upper      float64
}

// Figure draws a ring for each pair, the bias dashed and the limits plain; zero
// is dotted.
func (a Agreement) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	var at plotter.XYs
	most := math.Max(math.Abs(a.Lower), math.Abs(a.Upper))
	p.X.Min, p.X.Max = math.Inf(1), math.Inf(-1)
	for i := range a.First {
		x, y := (a.First[i]+a.Second[i])/2, a.Second[i]-a.First[i]
		at = append(at, plotter.XY{X: x, Y: y})
		most = math.Max(most, math.Abs(y))
		p.X.Min, p.X.Max = math.Min(p.X.Min, x), math.Max(p.X.Max, x)
	}
	if most == 0 || math.IsNaN(most) {
		most = 1
	}
	room := math.Max(0.05*(p.X.Max-p.X.Min), 0.01*math.Abs(p.X.Max))
	p.X.Min, p.X.Max = p.X.Min-room, p.X.Max+room
	p.Y.Min, p.Y.Max = -1.1*most, 1.1*most
	p.X.Label.Text = "mean of both, " + a.Unit
	p.Y.Label.Text = "second less first"
	p.X.Tick.Marker, p.Y.Tick.Marker = plot.ConstantTicks(roundTicks(p.X.Min, p.X.Max)), plot.ConstantTicks(roundTicks(p.Y.Min, p.Y.Max))
	across := func(y float64) plotter.XYs { return plotter.XYs{{X: p.X.Min, Y: y}, {X: p.X.Max, Y: y}} }
	p.Add(line(across(0), 0.6, grey, vg.Points(1), vg.Points(2)))
	p.Add(dots(at, draw.RingGlyph{}, 1.6))
	p.Add(line(across(a.Bias), 0.9, ink, vg.Points(5), vg.Points(3)), line(across(a.Lower), 0.9, ink), line(across(a.Upper), 0.9, ink))
	return &Figure{Identifier: a.Identifier, Title: a.Title, Width: width, Height: height, plot: p,
		Description: fmt.Sprintf("Differences of %d pairs against their mean in %s: bias %s, limits of agreement %s to %s.", len(a.First), a.Unit, short(a.Bias), short(a.Lower), short(a.Upper)),
		Columns:     []string{"Line", "Difference, " + a.Unit},
		Rows:        [][]string{{"Upper limit", short(a.Upper)}, {"Bias", short(a.Bias)}, {"Lower limit", short(a.Lower)}},
	}
}

func short(x float64) string { return fmt.Sprintf("%.3g", x) }

// roundTicks are round numbers, at most six.
func roundTicks(low, high float64) []plot.Tick {
	if !(high > low) {
		return nil
	}
	step := math.Pow(10, math.Floor(math.Log10(high-low)))
	for _, part := range []float64{0.1, 0.2, 0.5, 1, 2} {
		if (high-low)/(step*part) <= 6 {
			step *= part
			break
		}
	}
	places := int(math.Max(0, math.Ceil(-math.Log10(step)-1e-9)))
	var out []plot.Tick
	for k := math.Ceil(low / step); k*step <= high; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: fmt.Sprintf("%.*f", places, k*step+0)})
	}
	return out
}
