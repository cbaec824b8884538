package plot

import (
	"fmt"
	"math"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Learning is a cumulative sum over studies in order, with the two boundaries
// of its test.
type Learning struct {
	Identifier, Title string
	Of                string // what is done in order, singular: study
	Steps             []Step
	Accept, Review    float64 // −Accept and +Review are the boundaries
}

// Step is one study.
type Step struct {
	Date   time.Time
	Met    bool
	Sum    float64 // of a decision, the sum that made it; the next begins at zero
	Decide string  // "", or what was decided
	Passed bool    // the decision is in favour
}

// learningWords is the room for the words at the boundaries.
const learningWords = 82.0

// Figure draws the curve: it rises with a study that lacks something and falls
// with the others. A filled pyramid on the dashed lower line marks a decision in
// favour, a ringed diamond on the plain upper one a decision to look; after
// either the curve begins anew at zero.
func (l Learning) Figure(width, height vg.Length) *Figure {
	p := newPlot()
	low, high := -l.Accept, l.Review
	for _, s := range l.Steps {
		low, high = math.Min(low, s.Sum), math.Max(high, s.Sum)
	}
	p.Y.Min, p.Y.Max = low-0.12*(high-low), high+0.12*(high-low)
	// Room for the words beyond the curve, which marks would else cover.
	whole := math.Max(2*learningWords, float64(width)-axisWidth)
	p.X.Min, p.X.Max = 0, math.Max(1, float64(len(l.Steps)))*whole/(whole-learningWords)
	p.X.Label.Text = l.many() + ", in order"
	p.X.Tick.Marker = plot.ConstantTicks(countTicks(p.X.Max))
	p.Y.Tick.Marker = plot.ConstantTicks([]plot.Tick{{Value: -l.Accept, Label: fmt.Sprintf("−%.1f", l.Accept)}, {Value: 0, Label: "0"}, {Value: l.Review, Label: fmt.Sprintf("+%.1f", l.Review)}})
	across := func(y float64) plotter.XYs { return plotter.XYs{{X: 0, Y: y}, {X: p.X.Max, Y: y}} }
	p.Add(line(across(0), 0.5, grey, vg.Points(1), vg.Points(2)), line(across(-l.Accept), 0.8, ink, vg.Points(5), vg.Points(3)), line(across(l.Review), 0.8, grey))
	label(p, p.X.Max, l.Review, "look at it together", vg.Points(-2), vg.Points(6), draw.XRight)
	label(p, p.X.Max, -l.Accept, "acceptable", vg.Points(-2), vg.Points(-6), draw.XRight)
	l.curve(p)
	f := &Figure{Identifier: l.Identifier, Title: l.Title, Description: l.describe(), Width: width, Height: height, plot: p, Columns: []string{"Month", strings.ToUpper(l.many()[:1]) + l.many()[1:], "Not met", "Sum at the end", "Decisions"}}
	f.Rows = l.months()
	return f
}

func (l Learning) many() string {
	if l.Of == "study" {
		return "studies"
	}
	return l.Of + "s"
}

func (l Learning) curve(p *plot.Plot) {
	run := plotter.XYs{{}}
	var passed, look plotter.XYs
	for i, s := range l.Steps {
		at := plotter.XY{X: float64(i + 1), Y: s.Sum}
		run = append(run, at)
		if s.Decide == "" {
			continue
		}
		if s.Passed {
			passed = append(passed, at)
		} else {
			look = append(look, at)
		}
		p.Add(line(run, 1, ink))
		run = plotter.XYs{{X: at.X}}
	}
	if len(run) > 1 {
		p.Add(line(run, 1, ink))
	}
	p.Add(dots(passed, draw.PyramidGlyph{}, 3), dots(look, diamond{}, 4.2))
}

func (l Learning) describe() string {
	out := fmt.Sprintf("Cumulative sum over %d %s in order, boundaries −%.1f and +%.1f, beginning anew after each decision.", len(l.Steps), l.many(), l.Accept, l.Review)
	for i, s := range l.Steps {
		if s.Decide != "" {
			out += fmt.Sprintf(" At %s %d: %s.", l.Of, i+1, s.Decide)
		}
	}
	return out
}

// months sums up the curve for the table: a row for every study would be too
// long to be read.
func (l Learning) months() [][]string {
	type month struct {
		name         string
		studies, not int
		end          float64
		decided      string
	}
	var all []month
	for i, s := range l.Steps {
		name := s.Date.Format("2006-01")
		if len(all) == 0 || all[len(all)-1].name != name {
			all = append(all, month{name: name})
		}
		m := &all[len(all)-1]
		m.studies++
		if !s.Met {
			m.not++
		}
		m.end = s.Sum
		if s.Decide != "" {
			m.end = 0
			if m.decided != "" {
				m.decided += "; "
			}
			m.decided += fmt.Sprintf("%s %d: %s", l.Of, i+1, s.Decide)
		}
	}
	var rows [][]string
	for _, m := range all {
		rows = append(rows, []string{m.name, fmt.Sprint(m.studies), fmt.Sprint(m.not), fmt.Sprintf("%.2f", m.end), m.decided})
	}
	return rows
}
