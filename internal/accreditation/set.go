package accreditation

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
)

// folder holds the sets of requirements, one file each.
const folder = "requirements"

// Set is what one body asks for in one edition.
type Set struct {
	Identifier   string        `yaml:"-"` // of the file
	Title        string        `yaml:"title"`
	Body         string        `yaml:"body"`
	Edition      string        `yaml:"edition"`
	Source       string        `yaml:"source"`
	Requirements []Requirement `yaml:"requirements"`
}

// Requirement is one thing that is asked for.
type Requirement struct {
	Identifier string `yaml:"identifier"`
	Section    string `yaml:"section"`
	Text       string `yaml:"text"`       // in our own words
	Data       *Data  `yaml:"data"`       // what the lab's data can show of it, nil for nothing
	Attachment string `yaml:"attachment"` // what has to be attached, "" for nothing
	Otherwise  string `yaml:"otherwise"`  // what may be attached where the data do not show it, "" for nothing
	Seen       string `yaml:"seen"`       // what of it was not seen in the source itself
}

// Data says which of the lab's data show a requirement. One of its fields says
// what is counted.
type Data struct {
	Measure   string     `yaml:"measure"` // a measure of the audit, or rule: and a rule
	Least     float64    `yaml:"least"`   // share of studies, 0 to 1; the lab's target when it is left out
	Cover     string     `yaml:"cover"`   // whose work has to be among the studies: sonographer
	Volume    *Volume    `yaml:"volume"`
	Cases     *PerPeriod `yaml:"cases"`    // drawn at random, per quarter
	Readings  *PerPeriod `yaml:"readings"` // read again by a second reader, per quarter
	Meetings  *PerPeriod `yaml:"meetings"` // held, per year
	Retention *Retention `yaml:"retention"`
	Correlate *PerPeriod `yaml:"correlation"` // findings compared with another test, per year
	Archive   bool       `yaml:"archive"`     // images and report of every study
	Justified bool       `yaml:"appropriateness"`
	Actions   bool       `yaml:"actions"`
}

// Volume is how many studies a person needs a year.
type Volume struct {
	Of    string `yaml:"of"` // reader or sonographer
	Least int    `yaml:"least"`
}

// PerPeriod is how many of something are needed.
type PerPeriod struct {
	Least    int  `yaml:"least"`
	Everyone bool `yaml:"everyone"`    // every member of the staff took part once
	Modality bool `yaml:"perModality"` // of each modality; of cases and readings
}

// Retention is how long studies are kept.
type Retention struct {
	Years int `yaml:"years"`
}

// kinds names what the data counts, to be one.
func (d *Data) kinds() []string {
	var out []string
	for name, given := range map[string]bool{
		"measure": d.Measure != "", "volume": d.Volume != nil, "cases": d.Cases != nil, "readings": d.Readings != nil,
		"meetings": d.Meetings != nil, "retention": d.Retention != nil, "archive": d.Archive, "actions": d.Actions,
		"correlation": d.Correlate != nil, "appropriateness": d.Justified,
	} {
		if given {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// Names are the sets of the layers.
func Names(layers ...fs.FS) ([]string, error) {
	var out []string
	for _, layer := range layers {
		files, err := fs.Glob(layer, folder+"/*.yaml")
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			out = append(out, strings.TrimSuffix(path.Base(f), ".yaml"))
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// Load reads a set from the last layer that has it. The error joins all faults.
func Load(name string, layers ...fs.FS) (*Set, error) {
	file := folder + "/" + name + ".yaml"
	var src []byte
	for _, layer := range layers {
		switch text, err := bound.ReadFile(layer, file); {
		case err == nil:
			src = text
		case !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrInvalid):
			return nil, fmt.Errorf("%s: %w", file, err)
		}
	}
	if src == nil {
		known, err := Names(layers...)
		if err != nil {
			return nil, err
		}
		return nil, fmt.Errorf("no set %q; there are: %s", name, strings.Join(known, ", "))
	}
	s := &Set{Identifier: name}
	if err := datafile.Decode(file, src, s); err != nil {
		return nil, err
	}
	l := &lint{places: datafile.NewPlaces(file, src), seen: map[string]bool{}}
	for i := range s.Requirements {
		l.requirement(i, &s.Requirements[i])
	}
	if s.Title == "" || s.Source == "" || len(s.Requirements) == 0 {
		l.wrong("title", "a set needs a title, a source and at least one requirement", "see the shipped sets")
	}
	return s, fault.Join(l.faults)
}

type lint struct {
	places *datafile.Places
	seen   map[string]bool
	faults []error
}

func (l *lint) wrong(path, message, hint string) {
	l.faults = append(l.faults, l.places.Fault("$."+path, message, hint))
}

func (l *lint) requirement(i int, r *Requirement) {
	at := fmt.Sprintf("requirements[%d]", i)
	switch {
	case r.Identifier == "" || r.Text == "":
		l.wrong(at, "a requirement needs an identifier and its text", "")
	case l.seen[r.Identifier]:
		l.wrong(at+".identifier", fmt.Sprintf("%q stands twice", r.Identifier), "one name for one requirement")
	}
	l.seen[r.Identifier] = true
	if r.Otherwise != "" && (r.Data == nil || r.Attachment != "") {
		l.wrong(at+".otherwise", "what is attached otherwise belongs to data alone", "without data give attachment; with one that is always asked for, say both there")
	}
	if r.Data == nil {
		if r.Attachment == "" {
			l.wrong(at, "nothing says how it is shown", "give data, an attachment, or both")
		}
		return
	}
	d := r.Data
	opt := audit.Defaults()
	_, known := opt.Find(d.Measure)
	switch kinds := d.kinds(); {
	case len(kinds) != 1:
		l.wrong(at+".data", "one thing is counted for a requirement", "one of measure, volume, cases, readings, meetings, correlation, appropriateness, retention, archive, actions")
	case d.Measure != "" && !known:
		l.wrong(at+".data.measure", fmt.Sprintf("unknown measure %q", d.Measure), "headlines.csv of an audit lists them; or rule: and the identifier of a rule")
	case d.Least < 0 || d.Least > 1:
		l.wrong(at+".data.least", "a share lies between 0 and 1", "")
	case d.Cover != "" && d.Cover != "sonographer" && d.Cover != "reader":
		l.wrong(at+".data.cover", "nobody is called so", "sonographer or reader")
	case d.Volume != nil && (d.Volume.Least < 1 || d.Volume.Of != "reader" && d.Volume.Of != "sonographer"):
		l.wrong(at+".data.volume", "whose studies, and how many a year?", "of: reader or sonographer, least: a number")
	}
	for name, p := range map[string]*PerPeriod{"cases": d.Cases, "readings": d.Readings, "meetings": d.Meetings, "correlation": d.Correlate} {
		if p != nil && p.Least < 1 {
			l.wrong(at+".data."+name, "at least how many?", "least: a number from 1")
		}
	}
}
