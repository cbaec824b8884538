package reference

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/datafile/written"
	"echotally/internal/measurand"
	"echotally/internal/ucum"
)

// folder holds the tables in every layer.
const folder = "reference"

// tableFile is a table as written; rules/README.md explains the keys.
type tableFile struct {
	Identifier      string                    `yaml:"identifier"`
	Title           string                    `yaml:"title"`
	Status          string                    `yaml:"status"`
	Names           []string                  `yaml:"names"`
	Population      string                    `yaml:"population"`
	RelatedArtifact artifact                  `yaml:"relatedArtifact"`
	Origin          string                    `yaml:"origin"`
	Age             written.Range             `yaml:"age"`
	Surface         written.Range             `yaml:"bodySurfaceArea"`
	Formula         string                    `yaml:"bodySurfaceAreaFormula"`
	Form            string                    `yaml:"form"`
	Values          []map[string]written.Text `yaml:"values"`
}

type artifact struct {
	Label    string `yaml:"label"`
	Citation string `yaml:"citation"`
	Locator  string `yaml:"locator"`
}

// Keys of a value besides the coefficients of its form.
const (
	measurandKey = "measurand"
	unitKey      = "unit"
)

// plainOrigins are those that are no publication.
var plainOrigins = []string{"common practice", "site choice", "from memory"}

// Load reads the tables of the layers; of two with one identifier the later
// counts. Drafts are left out unless asked for. The error joins all faults.
func Load(known *measurand.Catalogue, drafts bool, layers ...fs.FS) (*Catalogue, error) {
	byName := map[string]*Table{}
	var faults []error
	for _, layer := range layers {
		names, err := fs.Glob(layer, folder+"/*.yaml")
		if err != nil {
			return nil, fmt.Errorf("reference tables: %w", err)
		}
		for _, name := range names {
			src, err := bound.ReadFile(layer, name)
			if err != nil {
				return nil, fmt.Errorf("reference tables: %w", err)
			}
			l := &loading{name: name, src: src, places: datafile.NewPlaces(name, src), known: known}
			t := l.table()
			faults = append(faults, l.faults...)
			delete(byName, t.Identifier)
			if drafts && t.Draft || l.file.Status == "active" {
				byName[t.Identifier] = t
			}
		}
	}
	c := &Catalogue{}
	for _, t := range byName {
		c.Tables = append(c.Tables, t)
	}
	slices.SortFunc(c.Tables, func(a, b *Table) int { return cmp.Compare(a.Identifier, b.Identifier) })
	return c, fault.Join(faults)
}

// loading is one file being read.
type loading struct {
	name   string
	src    []byte
	places *datafile.Places
	file   tableFile
	known  *measurand.Catalogue
	faults []error
}

func (l *loading) fault(at, message, hint string) {
	l.faults = append(l.faults, l.places.Fault(at, message, hint))
}

func (l *loading) table() *Table {
	t := &Table{}
	if err := datafile.Decode(l.name, l.src, &l.file); err != nil {
		l.faults = append(l.faults, err)
		return t
	}
	f := l.file
	*t = Table{Identifier: f.Identifier, Title: f.Title, Draft: f.Status == "draft", Names: f.Names, Population: f.Population,
		Citation: f.RelatedArtifact.Citation, Locator: f.RelatedArtifact.Locator, Origin: f.Origin, Formula: f.Formula}
	if want := strings.TrimSuffix(path.Base(l.name), ".yaml"); f.Identifier != want {
		l.fault("$.identifier", "identifier is not the name of the file", "write identifier: "+want)
	}
	if !slices.Contains([]string{"active", "draft", "retired"}, f.Status) {
		l.fault("$.status", fmt.Sprintf("status %q is not known", f.Status), "active, draft or retired")
	}
	l.header()
	t.Age, t.Surface = l.rangeIn("a", "$.age", f.Age), l.rangeIn("m2", "$.bodySurfaceArea", f.Surface)
	i := slices.IndexFunc(Forms(), func(k Form) bool { return k.Name == f.Form })
	if i < 0 {
		l.fault("$.form", fmt.Sprintf("form %q is not known", f.Form), "one of "+formNames())
		return t
	}
	t.Form = Forms()[i]
	for n, v := range f.Values {
		if one := l.value(fmt.Sprintf("$.values[%d]", n), t, v); one != nil {
			t.Values = append(t.Values, one)
		}
	}
	if len(f.Values) == 0 {
		l.fault("$.values", "a table without values", "one line for each measurand")
	}
	return t
}

// header checks what tells a table from others and who stands behind it.
func (l *loading) header() {
	f := l.file
	if f.Title == "" || f.Population == "" {
		l.fault("$.title", "a table says what it is and whom it was measured on", "give title and population")
	}
	if len(f.Names) == 0 {
		l.fault("$.names", "no report could name the table", "give names: the words by which reports do")
	}
	if f.RelatedArtifact.Label == "" || f.RelatedArtifact.Citation == "" {
		l.fault("$.relatedArtifact", "nobody stands behind the table", "give label, citation and locator of the publication")
	}
	if f.Origin != f.RelatedArtifact.Label && !slices.Contains(plainOrigins, f.Origin) || f.Origin == "" {
		l.fault("$.origin", "numbers without an origin", "origin is the label of relatedArtifact, or one of "+strings.Join(plainOrigins, ", "))
	}
	if f.Status == "active" && f.Origin == "from memory" {
		l.fault("$.status", "numbers that nobody has confirmed judge no child", "status: draft")
	}
}

func (l *loading) value(at string, t *Table, w map[string]written.Text) *Value {
	m := l.known.Find(string(w[measurandKey]))
	if m == nil {
		l.fault(at, fmt.Sprintf("unknown measurand %q", w[measurandKey]), "an identifier of the measurand files")
		return nil
	}
	if t.Find(m.Identifier) != nil {
		l.fault(at, m.Identifier+" stands twice", "one line for each measurand")
	}
	unit, err := ucum.Parse(string(w[unitKey]))
	if err != nil || !unit.Convertible(m.Unit) {
		l.fault(at, fmt.Sprintf("unit %q is none of %s", w[unitKey], m.Title), "such as "+m.Unit.Code())
		return nil
	}
	out := &Value{Measurand: m, Unit: unit}
	for _, name := range t.Form.Coefficients {
		text, given := w[name]
		if !given {
			l.fault(at, "no "+name, t.Form.Name+" needs "+strings.Join(t.Form.Coefficients, ", "))
			continue
		}
		out.coefficients = append(out.coefficients, l.number(at, name, text))
	}
	for name := range w {
		if name != measurandKey && name != unitKey && !slices.Contains(t.Form.Coefficients, name) {
			l.fault(at, "unknown key "+name, t.Form.Name+" has "+strings.Join(t.Form.Coefficients, ", "))
		}
	}
	return out
}

func (l *loading) number(at, name string, text written.Text) float64 {
	d, notes, err := ucum.ParseDecimal(string(text))
	if err != nil || len(notes) > 0 {
		l.fault(at, fmt.Sprintf("%s %q is not a number", name, text), "")
		return 0
	}
	x := d.Float()
	if x <= 0 && (name == "sd" || name == "mse") {
		l.fault(at, name+" is not above zero", "")
	}
	return x
}

// rangeIn reads a range in a unit.
func (l *loading) rangeIn(unit, at string, r written.Range) Range {
	return Range{Low: l.bound(at+".low", r.Low, unit), High: l.bound(at+".high", r.High, unit)}
}

func (l *loading) bound(at string, b *written.Bound, unit string) *float64 {
	if b == nil {
		return nil
	}
	d, _, errD := ucum.ParseDecimal(string(b.Value))
	u, errU := ucum.Parse(b.Unit)
	want, errW := ucum.Parse(unit)
	if err := errors.Join(errD, errU, errW); err != nil {
		l.fault(at, "not a quantity", "such as {value: 18, unit: "+unit+"}")
		return nil
	}
	x, err := ucum.Quantity{Value: d, Unit: u}.Float(want)
	if err != nil {
		l.fault(at, "not in "+unit, "such as {value: 18, unit: "+unit+"}")
		return nil
	}
	return &x
}

func formNames() string {
	var out []string
	for _, f := range Forms() {
		out = append(out, f.Name)
	}
	return strings.Join(out, ", ")
}
