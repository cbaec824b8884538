package writer

import (
	"fmt"
	"html"
	"html/template"
	"strings"

	"echotally/internal/finding"
	"echotally/internal/layout"
)

// The picture of the acquisition is a table of signs, not a chart with axes: it
// is written as SVG directly, so that its words are set in the type of the page
// and can be searched. Shapes carry the meaning: a sector for a picture, a
// striped sector for colour, a wave for a Doppler spectrum; a dashed outline
// for what is only possible.
const (
	drawingWidth = 700
	gridLeft     = 130
	gridTop      = 30
	cellWidth    = 142
	cellHeight   = 36
	barLeft      = 266
	barWidth     = 262
	barStep      = 38
)

// svg collects the parts of the drawing.
type svg struct{ strings.Builder }

func (s *svg) add(format string, args ...any) { fmt.Fprintf(&s.Builder, format+"\n", args...) }

func (s *svg) text(x, y float64, class, words string) {
	s.add(`<text x="%.1f" y="%.1f" class="%s">%s</text>`, x, y, class, html.EscapeString(words))
}

// drawGrid draws what was imaged from which window.
func drawGrid(a *acquired) template.HTML {
	bottom := float64(gridTop + cellHeight*len(a.Rows))
	return drawing("Windows against valves", a.describe(), bottom+30, func(s *svg) { s.grid(a, bottom) })
}

// drawSpectrum draws one measured velocity on its scale. Each is a drawing of
// its own, so that a page can break between two.
func drawSpectrum(l spectrumLine) template.HTML {
	return drawing("Velocity scale of "+l.Title, l.String()+".", barStep, func(s *svg) { s.spectrum(l, 0) })
}

func drawing(title, description string, height float64, fill func(*svg)) template.HTML {
	var s svg
	s.add(`<svg class="acquired" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %.0f" role="img">`, drawingWidth, height)
	s.add(`<title>%s</title>`, html.EscapeString(title))
	s.add(`<desc>%s</desc>`, html.EscapeString(description))
	fill(&s)
	s.add(`</svg>`)
	return template.HTML(s.String()) // every word in it was escaped above
}

// describe is the grid in one paragraph.
func (a *acquired) describe() string {
	parts := []string{a.Given}
	for _, r := range a.Rows {
		var cells []string
		for i, v := range r.Cells {
			if m := marks(v); m != "-" {
				cells = append(cells, strings.ToLower(a.Columns[i])+" "+m)
			}
		}
		parts = append(parts, capital(r.Window)+": "+layout.OrElse(strings.Join(cells, ", "), "nothing")+".")
	}
	return strings.Join(parts, " ")
}

func (s *svg) grid(a *acquired, bottom float64) {
	for i, c := range a.Columns {
		s.text(float64(gridLeft+cellWidth*i)+cellWidth/2, gridTop-10, "column", capital(c))
	}
	s.add(`<path class="rule heavy" d="M0 %d H%d"/>`, gridTop, drawingWidth)
	for n, r := range a.Rows {
		top := float64(gridTop + cellHeight*n)
		s.text(0, top+cellHeight/2+5, "row", capital(r.Window))
		for i, v := range r.Cells {
			left := float64(gridLeft+cellWidth*i) + 18
			middle := top + cellHeight/2
			s.sign(left+16, middle, v.Imaged, sectorSign)
			s.sign(left+53, middle, v.Colour, colourSign)
			s.sign(left+90, middle, v.Spectrals, waveSign)
		}
		s.add(`<path class="rule" d="M0 %.0f H%d"/>`, top+cellHeight, drawingWidth)
	}
	s.legend(bottom + 20)
}

// sign is one of the three shapes.
type sign int

const (
	sectorSign sign = iota
	colourSign
	waveSign
)

// sign draws a shape around its middle; a small dot where nothing was stored.
func (s *svg) sign(x, y float64, seen finding.Seen, shape sign) {
	if seen == finding.NotSeen {
		s.add(`<circle cx="%.1f" cy="%.1f" r="1.3" class="ink"/>`, x, y)
		return
	}
	class := "sure"
	if seen == finding.Perhaps {
		class = "perhaps"
	}
	switch shape {
	case waveSign:
		s.add(`<path class="%s open" d="M%.1f %.1f h5 c2 0 4 -17 7 -17 s4 17 7 17 h5"/>`, class, x-12, y+8)
		return
	case colourSign:
		for _, share := range []float64{0.35, 0.55, 0.75, 0.95} {
			s.add(`<path class="%s" d="M%.1f %.1f h%.1f"/>`, class, x-13*share, y-13+21*share, 26*share)
		}
		class += " hollow"
	}
	// A sector as the probe shows it: apex above, an arc below.
	s.add(`<path class="%s" d="M%.1f %.1f L%.1f %.1f A22 22 0 0 0 %.1f %.1f Z"/>`, class, x, y-13, x-13, y+8, x+13, y+8)
}

func (s *svg) legend(y float64) {
	at := 0.0
	for _, l := range []struct {
		shape sign
		seen  finding.Seen
		words string
		width float64
	}{
		{sectorSign, finding.SurelySeen, "picture", 92}, {colourSign, finding.SurelySeen, "colour", 86}, {waveSign, finding.SurelySeen, "Doppler spectrum", 148},
		{sectorSign, finding.Perhaps, "may be of this valve, the header does not say", 280}, {sectorSign, finding.NotSeen, "none", 40},
	} {
		s.sign(at+13, y-4, l.seen, l.shape)
		s.text(at+31, y, "small", l.words)
		at += l.width
	}
}

func (s *svg) spectrum(l spectrumLine, top float64) {
	middle := top + barStep/2
	s.text(0, middle-2, "what", shorten(strings.Join(layout.NonEmpty(l.Title+" "+l.Written, also(l)), "; "), 44))
	s.text(0, middle+13, "small", shorten(strings.Join(layout.NonEmpty(fmt.Sprintf("image %d", l.Image), l.View), ", "), 50))
	x := func(v float64) float64 { return barLeft + barWidth*(v-l.Low)/(l.High-l.Low) }
	class := "sure"
	if l.Likely != "" {
		class = "perhaps"
	}
	s.add(`<rect class="%s hollow" x="%d" y="%.1f" width="%d" height="12"/>`, class, barLeft, middle-6, barWidth)
	peak := min(max(l.Peak, l.Low), l.High)
	zero := min(max(0, l.Low), l.High)
	from, to := min(x(zero), x(peak)), max(x(zero), x(peak))
	s.add(`<rect class="band" x="%.1f" y="%.1f" width="%.1f" height="12"/>`, from, middle-6, to-from)
	s.add(`<path class="rule heavy" d="M%.1f %.1f v20"/>`, x(zero), middle-10)
	s.mark(l, x(peak), middle)
	s.text(barLeft, middle+18, "tick", fmt.Sprintf("%.0f", l.Low))
	s.text(barLeft+barWidth, middle+18, "tick end", fmt.Sprintf("%.0f", l.High))
	if room := x(zero); room > barLeft+30 && room < barLeft+barWidth-30 {
		s.text(room, middle+18, "tick middle", "0")
	}
	s.text(barLeft+barWidth+14, middle-2, "what", l.used())
	s.text(barLeft+barWidth+14, middle+13, "small", strings.Join(layout.NonEmpty(l.Sweep, l.likely()), "; "))
}

func also(l spectrumLine) string {
	if l.Also == "" {
		return ""
	}
	return "also " + l.Also
}

// shorten cuts a text that would run into the next column.
func shorten(text string, most int) string {
	if letters := []rune(text); len(letters) > most {
		return string(letters[:most-1]) + "…"
	}
	return text
}

// mark is a triangle at the peak; one that points outward where the peak lies
// beyond the end of the scale.
func (s *svg) mark(l spectrumLine, x, y float64) {
	switch {
	case l.Peak > l.High:
		s.add(`<path class="ink" d="M%.1f %.1f v16 l9 -8 Z"/>`, x+1, y-8)
	case l.Peak < l.Low:
		s.add(`<path class="ink" d="M%.1f %.1f v16 l-9 -8 Z"/>`, x-1, y-8)
	default:
		s.add(`<path class="ink" d="M%.1f %.1f l-5 -8 h10 Z"/>`, x, y-5)
	}
}
