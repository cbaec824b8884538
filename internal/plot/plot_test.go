package plot_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot/vg"

	"echotally/internal/plot"
	"echotally/internal/stats/funnel"
)

func month(n int) time.Time { return time.Date(2026, time.Month(n), 1, 0, 0, 0, 0, time.UTC) }

func control() plot.Control {
	c := plot.Control{Identifier: "views", Title: "Views are stated <here>", Target: 0.95, Phases: []plot.Phase{{At: month(8), Mark: "1", Title: "teaching"}}}
	for i := 1; i <= 12; i++ {
		p := plot.Point{Month: month(i), Value: 0.9 + 0.01*float64(i%3), YearBefore: 0.86, Centre: 0.9, Low: 0.82, High: 0.98, Limits: true, Counted: "90/100"}
		if i == 5 {
			p.Value, p.Limits = math.NaN(), false
		}
		if i == 9 {
			p.Value, p.Signal = 0.75, true
		}
		c.Points = append(c.Points, p)
	}
	return c
}

func figures() []*plot.Figure {
	f := plot.Funnel{Identifier: "readers", Title: "Signed in time", Target: 0.9,
		Units: []plot.Unit{{Label: "Reader 1", Studies: 120, Value: 0.92}, {Label: "Reader 2", Studies: 80, Value: 0.7}, {Label: "Reader 3", Studies: 30, Value: 0.9}},
		Limits: func(n int) (a, b, c, d float64) {
			return funnel.ExactFunnelLimit(n, 0.9, 0.025), funnel.ExactFunnelLimit(n, 0.9, 0.975), funnel.ExactFunnelLimit(n, 0.9, 0.001), funnel.ExactFunnelLimit(n, 0.9, 0.999)
		}}
	b := plot.Bars{Identifier: "digits", Title: "End digits", Labels: strings.Split("0123456789", ""), Counts: []int{40, 3, 2, 4, 3, 38, 2, 1, 4, 3}}
	return []*plot.Figure{control().Figure(300, 130), f.Figure(300, 180), b.Figure(200, 120), learning().Figure(300, 120),
		plot.Agreement{Identifier: "agreement", Title: "TAPSE", Unit: "cm", First: []float64{2, 2.2, 1.8}, Second: []float64{2.1, 2.1, 1.7}, Bias: -0.03, Lower: -0.2, Upper: 0.15}.Figure(250, 150)}
}

// learning is a curve with a decision of each kind.
func learning() plot.Learning {
	l := plot.Learning{Identifier: "curve", Title: "Nothing is missing", Accept: 0.5, Review: 1.5}
	for i, sum := range []float64{-0.2, -0.4, -0.6, 0.8, 1.6, -0.2} {
		s := plot.Step{Date: month(1 + i/3), Met: i != 3 && i != 4, Sum: sum}
		if i == 2 || i == 4 {
			s.Decide, s.Passed = map[bool]string{true: "acceptable", false: "look"}[i == 2], i == 2
		}
		l.Steps = append(l.Steps, s)
	}
	return l
}

// A chart in a page is well-formed, named, described, and has its figures in a
// table for those who cannot see it.
func TestSVGCanBeRead(t *testing.T) {
	for _, f := range figures() {
		svg, err := f.SVG()
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{`role="img"`, `aria-labelledby="` + f.Identifier + `-title`, "<title", "<desc"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s: no %s", f.Identifier, want)
			}
		}
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: not well-formed: %v", f.Identifier, err)
			}
		}
		if len(f.Rows) == 0 || len(f.Rows[0]) != len(f.Columns) {
			t.Errorf("%s: the table does not fit its columns", f.Identifier)
		}
	}
}

// What signals differs by shape, not by colour: a chart with and without the
// signal differs although no colour other than grey is used.
func TestOnlyGrey(t *testing.T) {
	for _, f := range figures() {
		b, err := f.PNG(96)
		if err != nil {
			t.Fatal(err)
		}
		if dir := os.Getenv("ECHOTALLY_SHOW"); dir != "" {
			big, _ := f.PNG(200)
			os.WriteFile(dir+"/"+f.Identifier+".png", big, 0o644)
		}
		img, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		dark := 0
		for y := range img.Bounds().Dy() {
			for x := range img.Bounds().Dx() {
				r, g, bl, _ := img.At(x, y).RGBA()
				if r != g || g != bl {
					t.Fatalf("%s: a coloured dot at %d,%d", f.Identifier, x, y)
				}
				if r < 0x4000 {
					dark++
				}
			}
		}
		if dark < 200 {
			t.Errorf("%s: only %d dark dots: nothing was drawn", f.Identifier, dark)
		}
	}
}

func TestSignalsHaveAShapeOfTheirOwn(t *testing.T) {
	plain := control()
	for i := range plain.Points {
		plain.Points[i].Signal = false
	}
	a, err := control().Figure(300, 130).SVG()
	if err != nil {
		t.Fatal(err)
	}
	b, err := plain.Figure(300, 130).SVG()
	if err != nil {
		t.Fatal(err)
	}
	if a == b || control().Figure(vg.Length(300), 130).Rows[8][4] != "yes" {
		t.Error("a signal looks like any other month")
	}
}

// TestSpotsLieOnTheirPoints holds the places at which one can point against the dots
// that are drawn.
func TestSpotsLieOnTheirPoints(t *testing.T) {
	f := control().Figure(250, 70)
	spots := f.Spots()
	if len(spots) != 11 { // the month without data has none
		t.Fatalf("%d spots", len(spots))
	}
	for i, s := range spots {
		if s.X < 0 || s.X > 250 || s.Y < 0 || s.Y > 70 || f.Rows[s.Row][1] == "no data" || i > 0 && s.X <= spots[i-1].X {
			t.Errorf("spot %d: %+v", i, s)
		}
	}
	at := map[int]float64{}
	for _, s := range spots {
		at[s.Row] = s.Y
	}
	if !(at[8] > at[0] && at[0] > at[1]) { // 75 % lies below 91 %, and that below 92 %
		t.Errorf("heights do not follow the shares: %v", at)
	}
}
