package study

import (
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/term"
)

// picture is which windows were imaged, and which valves and chambers measured from
// which.
type picture struct {
	Columns []string
	Rows    []pictureRow
	Images  bool // headers of images were read; otherwise only what was measured is known
	Unplain int  // images that do not say from which window
}

type pictureRow struct {
	Window string
	Cells  []pictureCell
}

// pictureCell is what there is of one structure from one window.
type pictureCell struct {
	Valve    bool // images are told apart by valve
	Imaged   finding.Seen
	Colour   finding.Seen
	Doppler  finding.Seen
	Measured int
}

// Words say the cell in words.
func (c pictureCell) Words() string {
	var out []string
	for _, s := range []struct {
		seen finding.Seen
		word string
	}{{c.Imaged, "picture"}, {c.Colour, "colour"}, {c.Doppler, "Doppler"}} {
		switch s.seen {
		case finding.SurelySeen:
			out = append(out, s.word)
		case finding.Perhaps:
			out = append(out, "perhaps "+s.word)
		}
	}
	if c.Measured > 0 {
		out = append(out, layout.Count(c.Measured, "value"))
	}
	if len(out) == 0 {
		return ""
	}
	text := out[0]
	for _, o := range out[1:] {
		text += ", " + o
	}
	return text
}

// chambers are the structures shown beside the valves, in the order of the blood's way.
var chambers = []string{"left-atrium", "left-ventricle", "aorta", "right-atrium", "right-ventricle"}

const notTold = "window not told"

func newPicture(lib *library.Library, st *state) *picture {
	p := &picture{}
	acquired := st.judgement.Acquisition
	windows := append(slices.Clone(lib.Terms.Ordered(term.Window)), "")
	valves := lib.Terms.Ordered(term.FindingSite)
	columns := append(slices.Clone(valves), chambers...)
	counts := map[[2]string]int{}
	for i := range st.study.Measurements {
		m := &st.study.Measurements[i]
		d := lib.Measurands.Find(m.Measurand)
		if d == nil || m.Role != echo.Result || m.DuplicateOf != nil || m.Superseded {
			continue
		}
		counts[[2]string{windowOf(lib, st.study, m), d.Structure}]++
	}
	for _, c := range columns {
		p.Columns = append(p.Columns, spaced(c))
	}
	for _, w := range windows {
		row := pictureRow{Window: spaced(w)}
		if w == "" {
			row.Window = notTold
		}
		any := false
		for i, c := range columns {
			cell := pictureCell{Valve: i < len(valves), Measured: counts[[2]string{w, c}]}
			if v := seenOf(acquired, w, c); v != nil {
				cell.Imaged, cell.Colour, cell.Doppler = v.Imaged, v.Colour, v.Spectrals
			}
			any = any || cell.Words() != ""
			row.Cells = append(row.Cells, cell)
		}
		if any || w != "" {
			p.Rows = append(p.Rows, row)
		}
	}
	if acquired != nil {
		p.Images, p.Unplain = true, acquired.Unplaced
	}
	return p
}

func seenOf(a *finding.Acquired, window, valve string) *finding.AcquiredValve {
	if a == nil {
		return nil
	}
	for i := range a.Windows {
		if a.Windows[i].Window != window {
			continue
		}
		for k := range a.Windows[i].Valves {
			if a.Windows[i].Valves[k].Valve == valve {
				return &a.Windows[i].Valves[k]
			}
		}
	}
	return nil
}

// windowOf is the window a measurement was taken from, as its view says, or the view
// of the image it is tied to; "" when neither tells.
func windowOf(lib *library.Library, s *echo.Study, m *echo.Measurement) string {
	if v := m.Modifiers.ImageView; v != nil {
		if t := lib.Terms.Of(term.ImageView, v.Concept.Key()); t != nil && t.Window != "" {
			return t.Window
		}
	}
	if m.Link != nil && m.Link.Image < len(s.Images) {
		if v := s.Images[m.Link.Image].View; v != nil {
			if t := lib.Terms.Of(term.ImageView, v.Concept.Key()); t != nil {
				return t.Window
			}
		}
	}
	return ""
}
