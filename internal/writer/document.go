package writer

import (
	"bytes"
	"io"

	"echotally/internal/layout"
	"echotally/internal/run"
)

// Document is a measurement list or a gap sheet being written, study by study:
// no more of it is held than the study in hand, and for people one line of each.
type Document struct {
	w     io.Writer
	open  func(*run.Run) (form, error)
	form  form
	lines []line
	begun bool
}

// form is how a document looks in one format. leaf may be called by several
// goroutines.
type form interface {
	begin(w io.Writer, first *line) error
	leaf(w *bytes.Buffer, s *run.Study) (*line, error)
	between() string // what stands between studies
	end(w io.Writer, all []line) error
}

// line is what the overview shows of a study.
type line struct {
	Anchor, Date, UID, Where string
	Counts                   counts
	NotRead                  int
}

// Leaf is one study laid out.
type Leaf struct {
	content []byte
	line    *line // nil in formats that have no overview
}

// Measurements is a document of what the reports hold.
func Measurements(w io.Writer, f layout.Format) *Document {
	return &Document{w: w, open: func(r *run.Run) (form, error) {
		switch f {
		case layout.JSON:
			return measurementsJSON{r}, nil
		case layout.NDJSON:
			return measurementsNDJSON{r}, nil
		case layout.CSV:
			return measurementsCSV{r}, nil
		case layout.HTML:
			h, err := newWebPage(r, "measurements.html.tmpl", measurementsMark)
			return measurementsHTML{h}, err
		}
		return measurementsText{newPage(r)}, nil
	}}
}

// GapSheet is a document of what the rules found in the studies.
func GapSheet(w io.Writer, f layout.Format, opt Options) *Document {
	return &Document{w: w, open: func(r *run.Run) (form, error) {
		switch f {
		case layout.JSON:
			return checkJSON{r}, nil
		case layout.NDJSON:
			return checkNDJSON{r}, nil
		case layout.CSV:
			return checkCSV{r}, nil
		case layout.HTML:
			h, err := newWebPage(r, "gapsheet.html.tmpl", gapSheetMark)
			return gapSheetHTML{h, opt}, err
		}
		if opt.Brief {
			return briefText{newPage(r)}, nil
		}
		return gapSheetText{newPage(r), opt}, nil
	}}
}

// Begin takes note of the run. Nothing is written before there is a study, or
// none.
func (d *Document) Begin(r *run.Run) (err error) {
	d.form, err = d.open(r)
	return err
}

// Leaf lays out one study. It may be called by several goroutines.
func (d *Document) Leaf(s *run.Study) (Leaf, error) {
	var b bytes.Buffer
	line, err := d.form.leaf(&b, s)
	return Leaf{b.Bytes(), line}, err
}

// Add writes a study.
func (d *Document) Add(l Leaf) error {
	if l.line != nil {
		d.lines = append(d.lines, *l.line)
	}
	if !d.begun {
		d.begun = true
		if err := d.form.begin(d.w, l.line); err != nil {
			return err
		}
	} else if _, err := io.WriteString(d.w, d.form.between()); err != nil {
		return err
	}
	_, err := d.w.Write(l.content)
	return err
}

// End writes what follows the studies.
func (d *Document) End() error {
	if !d.begun {
		if err := d.form.begin(d.w, nil); err != nil {
			return err
		}
	}
	return d.form.end(d.w, d.lines)
}
