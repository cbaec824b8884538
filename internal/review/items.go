package review

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/datafile/written"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

// itemsFile says what is measured again; a site's file replaces the shipped one.
const itemsFile = "review/cases.yaml"

// Items are what a second reader measures and grades again.
type Items struct {
	Measurements []Measurement
	Grades       []Grade
}

// Measurement is a quantity that is measured again.
type Measurement struct {
	Measurands []*measurand.Measurand // the first that a case has is taken
	Unit       ucum.Unit
	Within     float64 // how far two readings may lie apart, in Unit; 0 when Percent says it
	Percent    float64 // the same of the mean of both
	Possible   [2]float64
	Source     string

	aliases []*rule.Alias // one per measurand
}

// Grade is a lesion that is graded again.
type Grade struct {
	Lesion string
	Title  string
	Scale  []string // least first; lesion and word make the statement
}

// Agree reports whether two grades are the same, or on a fine scale neighbours.
func (g Grade) Agree(a, b string) bool { return g.Steps(a, b) <= g.Allowed() }

// Steps is how far apart two grades are.
func (g Grade) Steps(a, b string) int {
	d := slices.Index(g.Scale, a) - slices.Index(g.Scale, b)
	return max(d, -d)
}

// Allowed is how many steps apart two grades agree.
func (g Grade) Allowed() int {
	if len(g.Scale) >= fine {
		return 1
	}
	return 0
}

// fine is the number of steps from which neighbours agree (site choice).
const fine = 6

// statement is the identifier of a step of the scale.
func (g Grade) statement(step string) string { return g.Lesion + "-" + step }

// Tolerance is how far two readings may lie apart, in words.
func (m Measurement) Tolerance() string {
	if m.Percent > 0 {
		return fmt.Sprintf("%g %% of the mean", m.Percent)
	}
	if m.Unit.Code() == "%" {
		return fmt.Sprintf("%g points", m.Within)
	}
	return fmt.Sprintf("%g %s", m.Within, m.Unit.Code())
}

// Agree reports whether two readings lie no further apart than the lab allows.
func (m Measurement) Agree(a, b float64) bool { return m.Apart(a, b) <= 1+1e-9 }

// Apart is how many times as far the readings lie apart as the lab allows.
func (m Measurement) Apart(a, b float64) float64 {
	limit := m.Within
	if m.Percent > 0 {
		limit = m.Percent / 100 * abs(a+b) / 2
	}
	if a == b {
		return 0
	}
	return abs(a-b) / limit
}

func abs(x float64) float64 { return max(x, -x) }

// file is the file as written.
type file struct {
	Measurements []struct {
		Measurands    []string  `yaml:"measurands"`
		Unit          string    `yaml:"unit"`
		Possible      []float64 `yaml:"possible"`
		Within        float64   `yaml:"within"`
		WithinPercent float64   `yaml:"withinPercent"`
		Source        string    `yaml:"source"`
	} `yaml:"measurements"`
	Grades []struct {
		Lesion string   `yaml:"lesion"`
		Title  string   `yaml:"title"`
		Scale  []string `yaml:"scale"`
	} `yaml:"grades"`
}

// LoadItems reads what is measured again from the last layer that says it. The
// error joins all faults.
func LoadItems(lib *library.Library, layers ...fs.FS) (*Items, error) {
	var src []byte
	for _, layer := range layers {
		switch text, err := bound.ReadFile(layer, itemsFile); {
		case err == nil:
			src = text
		case !errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("%s: %w", itemsFile, err)
		}
	}
	var f file
	if err := datafile.Decode(itemsFile, src, &f); err != nil {
		return nil, err
	}
	l := &loader{lib: lib, places: datafile.NewPlaces(itemsFile, src), items: &Items{}}
	for i := range f.Measurements {
		l.measurement(&f, i)
	}
	for i := range f.Grades {
		l.grade(&f, i)
	}
	if len(f.Measurements)+len(f.Grades) == 0 {
		l.wrong("measurements", "nothing is measured or graded again", "name at least one measurement or grade")
	}
	return l.items, fault.Join(l.faults)
}

type loader struct {
	lib    *library.Library
	places *datafile.Places
	items  *Items
	faults []error
}

func (l *loader) wrong(path, message, hint string) {
	l.faults = append(l.faults, l.places.Fault("$."+path, message, hint))
}

func (l *loader) measurement(f *file, i int) {
	one, path := f.Measurements[i], fmt.Sprintf("measurements[%d]", i)
	out := Measurement{Within: one.Within, Percent: one.WithinPercent, Source: one.Source}
	unit, err := ucum.Parse(written.Unit(one.Unit))
	if err != nil {
		l.wrong(path+".unit", fmt.Sprintf("unit %q is not understood", one.Unit), "a UCUM unit, such as mm or m/s")
		return
	}
	out.Unit = unit
	if (one.Within > 0) == (one.WithinPercent > 0) {
		l.wrong(path, "how far two readings may lie apart is not said, or twice", "give within or withinPercent, above 0")
	}
	if len(one.Possible) != 2 || one.Possible[0] >= one.Possible[1] {
		l.wrong(path, "what is possible is not said", "possible: [lowest, highest], in the unit")
		return
	}
	out.Possible = [2]float64(one.Possible)
	if one.Source == "" {
		l.wrong(path, "no source of the tolerance", "say who published it, or site choice and why")
	}
	for _, name := range one.Measurands {
		m := l.lib.Measurands.Find(name)
		switch {
		case m == nil:
			l.wrong(path+".measurands", fmt.Sprintf("no measurand %q", name), "echotally rules list shows what there is")
			continue
		case !m.Unit.Convertible(unit):
			l.wrong(path+".unit", fmt.Sprintf("%s is not measured in %s", m.Title, one.Unit), "its unit is "+m.Unit.Code())
			continue
		}
		out.Measurands = append(out.Measurands, m)
		out.aliases = append(out.aliases, &rule.Alias{Name: "again", Measurands: []*measurand.Measurand{m}, Unit: unit})
	}
	if len(out.Measurands) > 0 {
		l.items.Measurements = append(l.items.Measurements, out)
	} else {
		l.wrong(path, "no measurand", "name at least one")
	}
}

func (l *loader) grade(f *file, i int) {
	one, path := f.Grades[i], fmt.Sprintf("grades[%d]", i)
	g := Grade{Lesion: one.Lesion, Title: one.Title, Scale: one.Scale}
	for _, step := range one.Scale {
		if l.lib.Statements.Find(g.statement(step)) == nil {
			l.wrong(path+".scale", fmt.Sprintf("no statement %q", g.statement(step)), "a step of the scale and the lesion make a statement of phrases/coded.yaml")
		}
	}
	if len(g.Scale) < 2 || strings.TrimSpace(g.Title) == "" {
		l.wrong(path, "a grade needs a title and a scale of at least two steps", "")
	}
	l.items.Grades = append(l.items.Grades, g)
}
