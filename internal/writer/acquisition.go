package writer

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/run"
)

// acquired is how the study was acquired, in words and as a picture. Both say
// the same.
type acquired struct {
	Given   string // how many images, and what their headers leave out
	Missing string // what the headers leave out
	Columns []string
	Rows    []acquiredRow
	Spectra []spectrumLine // in doubt, or all of them
	Others  string         // how much of their scales the others take
	Drawing template.HTML  // windows against valves
}

// acquiredRow is one window with the marks of each valve.
type acquiredRow struct {
	Window string
	Cells  []finding.AcquiredValve
}

// spectrumLine is one measured velocity on the scale of its spectrum.
type spectrumLine struct {
	Title   string
	Written string
	Also    string // what else was measured on it
	Image   int
	View    string
	Low     float64
	High    float64
	Peak    float64 // signed as on the scale
	Share   float64 // of the larger end
	Sweep   string
	Likely  string // why the image is only likely the right one
	Drawing template.HTML
}

// newAcquired shows the spectra that a finding points at, or all.
func newAcquired(b *sheetBuilder, a *finding.Acquired, all bool) *acquired {
	if a == nil {
		return nil
	}
	out := &acquired{Given: imagesGiven(a), Missing: unplaced(a)}
	for _, w := range a.Windows {
		row := acquiredRow{Window: strings.ReplaceAll(w.Window, "-", " "), Cells: w.Valves}
		if len(out.Columns) == 0 {
			for _, v := range w.Valves {
				out.Columns = append(out.Columns, strings.TrimSuffix(v.Title, " valve"))
			}
		}
		out.Rows = append(out.Rows, row)
	}
	var others []spectrumLine
	for _, s := range a.Spectra {
		line := b.spectrumLine(s)
		if !all && !b.doubted[s.Image] && line.Share <= 100 {
			others = append(others, line)
			continue
		}
		line.Drawing = drawSpectrum(line)
		out.Spectra = append(out.Spectra, line)
	}
	out.Others = othersTake(others)
	out.Drawing = drawGrid(out)
	return out
}

// othersTake says how much of their scales velocities take.
func othersTake(lines []spectrumLine) string {
	if len(lines) == 0 {
		return ""
	}
	least, most := math.Inf(1), 0.0
	for _, l := range lines {
		least, most = min(least, l.Share), max(most, l.Share)
	}
	return fmt.Sprintf("%s on a spectrum: %.0f%% to %.0f%% of the velocity scale.", layout.CountOf(len(lines), "velocity", "velocities"), least, most)
}

func imagesGiven(a *finding.Acquired) string {
	return strings.Join(layout.NonEmpty(layout.Count(a.Images, "image")+", of which the headers were read", unplaced(a)), "; ") + "."
}

// unplaced says how many images do not tell their window.
func unplaced(a *finding.Acquired) string {
	if a.Unplaced == 0 {
		return ""
	}
	return fmt.Sprintf("%d of them do not say from which window", a.Unplaced)
}

// imagesWords is the line about images at the head of a sheet.
func imagesWords(s *run.Study) string {
	if n := s.Images(); n > 0 {
		return layout.Count(n, "image") + ", headers read"
	}
	return "none given: how the study was acquired was not looked at"
}

func (b *sheetBuilder) spectrumLine(s finding.AcquiredSpectrum) spectrumLine {
	value := b.value(s.Measurement)
	line := spectrumLine{
		Title: value.What, Written: speed(s), Image: s.Image.Number, View: imageView(s.Image),
		Low: s.Region.Velocities.Low, High: s.Region.Velocities.High, Peak: math.Abs(s.Velocity), Share: 100 * math.Abs(s.Velocity) / s.Reach(),
	}
	var also []string
	for _, name := range s.Also {
		also = append(also, b.title(name))
	}
	line.Also = strings.Join(also, ", ")
	if -line.Low > line.High {
		line.Peak = -line.Peak
	}
	if g := s.Region; g.Seconds != nil {
		line.Sweep = fmt.Sprintf("%.1f s across", *g.Seconds)
		if g.SweepSpeed != nil {
			line.Sweep += fmt.Sprintf(", %.0f mm/s", *g.SweepSpeed)
		}
	}
	if s.Inferred {
		line.Likely = s.Why
	}
	return line
}

// speed is the measured velocity with the digits a reader wants.
func speed(s finding.AcquiredSpectrum) string {
	c := s.Measurement.Canonical
	return rounded(c.Value.Rat()) + " " + unitWord(c.Unit.Code())
}

// imageView is the view as the scanner calls it, in short.
func imageView(i *echo.Image) string {
	if i.View == nil {
		return ""
	}
	return shortView(layout.OrElse(i.View.Concept.CodeMeaning, i.View.Name))
}

// shortView is the name of a view without the words that every name of a view
// holds.
func shortView(name string) string {
	words := strings.Fields(name)
	var kept []string
	for n, w := range words {
		switch lower := strings.ToLower(w); {
		case lower == "view", n > 0 && strings.EqualFold(words[n-1], "view") && (lower == "of" || lower == "at"), lower == "the":
		case w == strings.ToUpper(w):
			kept = append(kept, w) // RV stays RV
		default:
			kept = append(kept, lower)
		}
	}
	return strings.Join(kept, " ")
}

// String is the line in words.
func (l spectrumLine) String() string {
	text := fmt.Sprintf("%s %s on image %d: scale %.0f to %.0f cm/s, %s", l.Title, l.Written, l.Image, l.Low, l.High, l.used())
	return strings.Join(layout.NonEmpty(text, l.Sweep, l.likely()), "; ")
}

// used says how much of the scale the signal takes.
func (l spectrumLine) used() string {
	if l.Share > 100 {
		return fmt.Sprintf("beyond the scale (%.0f%%)", l.Share)
	}
	return fmt.Sprintf("%.0f%% of the scale", l.Share)
}

func (l spectrumLine) beyond() string {
	if l.Share > 100 {
		return "beyond"
	}
	return ""
}

func (l spectrumLine) likely() string {
	if l.Likely == "" {
		return ""
	}
	return "likely image"
}

// marks are the words for what one window shows of one valve.
func marks(v finding.AcquiredValve) string {
	var parts []string
	for _, m := range []struct {
		word string
		seen finding.Seen
	}{{"2D", v.Imaged}, {"col", v.Colour}, {"Dop", v.Spectrals}} {
		switch m.seen {
		case finding.SurelySeen:
			parts = append(parts, m.word)
		case finding.Perhaps:
			parts = append(parts, m.word+"?")
		}
	}
	return layout.OrElse(strings.Join(parts, " "), "-")
}

// acquired writes what the picture shows, in words.
func (p printer) acquired(a *acquired) {
	if a == nil {
		return
	}
	p.Heading("How it was acquired")
	line := fmt.Sprintf("  %-18s", "window")
	for _, c := range a.Columns {
		line += fmt.Sprintf("%-15s", strings.ToLower(c))
	}
	p.Line(line)
	for _, r := range a.Rows {
		line := fmt.Sprintf("  %-18s", r.Window)
		for _, v := range r.Cells {
			line += fmt.Sprintf("%-15s", marks(v))
		}
		p.Line(line)
	}
	p.Wrapped("  ", "col: colour, Dop: Doppler spectrum, ?: the header does not say of which valve. "+capital(a.Missing))
	for _, s := range a.Spectra {
		remark := strings.Join(layout.NonEmpty(s.beyond(), strings.TrimSuffix(s.likely(), " image")), ", ")
		p.Line(fmt.Sprintf("  %-22s image %-3d %5.0f to %3.0f cm/s  takes %3.0f%%  %-6s %s", s.Title+" "+s.Written, s.Image, s.Low, s.High, s.Share, strings.ReplaceAll(s.Sweep, " across", ""), remark))
	}
	if a.Others != "" {
		p.Wrapped("  ", a.Others)
	}
}
