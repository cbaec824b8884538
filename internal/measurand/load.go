package measurand

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"sort"
	"strings"
	"sync"

	"echotally/internal/coding"
	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/finding"
	"echotally/internal/spelling"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// entry is one measurand as written. An entry without unit adds codings to a
// measurand that is defined elsewhere.
type entry struct {
	Identifier string             `yaml:"identifier"`
	Title      string             `yaml:"title"`
	Short      string             `yaml:"short"`
	Unit       string             `yaml:"unit"`
	Shown      string             `yaml:"shown"`
	Quantity   string             `yaml:"quantity"`
	Counts     string             `yaml:"counts"`
	Sign       string             `yaml:"sign"`
	Obtain     *obtain            `yaml:"obtain"`
	Codings    []map[string]names `yaml:"codings"`

	Repeatability *repeatability `yaml:"repeatability"`
	CutOffs       []cutOff       `yaml:"cutOffs"`
}

type cutOff struct {
	Title  string  `yaml:"title"`
	Value  float64 `yaml:"value"`
	Within float64 `yaml:"within"`
	Unit   string  `yaml:"unit"`
	Source string  `yaml:"source"`
}

type obtain struct {
	Window string `yaml:"window"`
	View   string `yaml:"view"`
	How    string `yaml:"how"`
}

// names is a text or a list of texts.
type names []string

// UnmarshalYAML takes either form.
func (n *names) UnmarshalYAML(decode func(any) error) error {
	var one string
	if err := decode(&one); err == nil {
		*n = names{one}
		return nil
	}
	var many []string
	if err := decode(&many); err != nil {
		return err
	}
	*n = many
	return nil
}

// Keys of a coding besides the modifiers.
const (
	conceptNameKey  = "conceptName"
	sourceKey       = "source"
	dimensionKey    = "dimension"
	shortLabelKey   = "shortLabel"
	manufacturerKey = "manufacturer"
	sectionKey      = "section"
	absent          = "absent"
)

// source is one measurand file.
type source struct {
	name    string
	places  *datafile.Places
	entries []entry
}

// place is where a coding was written.
type place struct {
	source *source
	path   string
}

// loading holds the state of [Load].
type loading struct {
	catalogue *Catalogue
	fields    []term.Field
	keys      []string               // that a coding may have
	places    map[*Measurand][]place // of each coding
	order     []candidateIndex       // file order of codings
	faults    []error
}

type candidateIndex struct {
	measurand *Measurand
	coding    int
}

var identifierForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// Load reads measurand/*.yaml from each file system in turn (shipped first,
// then site, which adds codings); the error joins all faults. The catalogue is
// usable as far as it was understood.
func Load(terms *term.Catalogue, layers ...fs.FS) (*Catalogue, error) {
	l := &loading{catalogue: &Catalogue{Terms: terms, byID: map[string]*Measurand{}, byConcept: map[coding.Key][]candidate{}}, places: map[*Measurand][]place{}, fields: term.Fields(), keys: codingKeys()}
	for _, layer := range layers {
		sources := l.decode(layer)
		for _, s := range sources {
			for i := range s.entries {
				l.define(s, i)
			}
		}
		for _, s := range sources {
			for i := range s.entries {
				l.codings(s, i)
			}
		}
	}
	l.index()
	if slices.ContainsFunc(layers, func(layer fs.FS) bool { return !datafile.Linted(layer) }) {
		l.conflicts()
	}
	slices.SortStableFunc(l.faults, fault.ByPlace)
	return l.catalogue, fault.Join(l.faults)
}

func (l *loading) fault(s *source, at, message, hint string) {
	l.faults = append(l.faults, s.places.Fault(at, message, hint))
}

// decode reads the files of a layer; a layer may have none, a file may hold
// nothing but comments.
func (l *loading) decode(layer fs.FS) []*source {
	files, err := fs.Glob(layer, "measurand/*.yaml")
	if err != nil {
		l.faults = append(l.faults, fmt.Errorf("measurands: %w", err))
	}
	sort.Strings(files)
	var out []*source
	for _, name := range files {
		text, err := bound.ReadFile(layer, name)
		if err != nil {
			l.faults = append(l.faults, fmt.Errorf("measurands: %w", err))
			continue
		}
		s := &source{name: name, places: datafile.NewPlaces(name, text)}
		if err := datafile.Decode(name, text, &s.entries); err != nil && !errors.Is(err, datafile.ErrEmpty) {
			l.faults = append(l.faults, err)
			continue
		}
		out = append(out, s)
	}
	return out
}

// define adds the measurand of an entry that has a unit.
func (l *loading) define(s *source, i int) {
	e, at := s.entries[i], fmt.Sprintf("$[%d]", i)
	if !identifierForm.MatchString(e.Identifier) {
		l.fault(s, at+".identifier", fmt.Sprintf("identifier %q", e.Identifier), "lower case words joined by hyphens")
		return
	}
	if e.Unit == "" {
		l.additionOnly(s, at, e)
		return
	}
	if l.catalogue.byID[e.Identifier] != nil {
		l.fault(s, at+".identifier", "measurand "+e.Identifier+" is defined twice", "to add codings, give only identifier and codings")
		return
	}
	m := &Measurand{Identifier: e.Identifier, Title: e.Title, Short: e.Short, Quantity: e.Quantity}
	m.Counts, m.Sign = l.counts(s, at, e.Counts), l.sign(s, at, e.Sign)
	m.Structure = strings.TrimSuffix(path.Base(s.name), ".yaml")
	if e.Title == "" {
		l.fault(s, at+".identifier", "measurand "+e.Identifier+" has no title", "")
	}
	if e.Short == "" {
		m.Short = e.Title
	}
	unit, err := ucum.Parse(e.Unit)
	if err != nil {
		l.fault(s, at+".unit", err.Error(), unitHint(e.Unit))
	}
	m.Unit = unit
	m.Shown = l.shown(s, at+".shown", m, e.Shown)
	if m.Quantity != "" && !identifierForm.MatchString(m.Quantity) {
		l.fault(s, at+".quantity", fmt.Sprintf("quantity %q", m.Quantity), "lower case words joined by hyphens")
	}
	m.Obtain = l.obtain(s, at, e.Obtain)
	m.Repeatability = l.repeatability(s, at+".repeatability", m, e.Repeatability)
	for i, c := range e.CutOffs {
		l.cutOff(s, fmt.Sprintf("%s.cutOffs[%d]", at, i), m, c)
	}
	l.catalogue.byID[m.Identifier] = m
	l.catalogue.Measurands = append(l.catalogue.Measurands, m)
}

func (l *loading) counts(s *source, at, word string) Counts {
	switch c := Counts(word); c {
	case Highest, Lowest, Last, Mean:
		return c
	case "":
	default:
		l.fault(s, at+".counts", "unknown word "+word, "highest, lowest, last or mean")
	}
	return Last
}

func (l *loading) sign(s *source, at, word string) Sign {
	switch g := Sign(word); g {
	case PartOfValue, Direction:
		return g
	case "":
	default:
		l.fault(s, at+".sign", "unknown word "+word, "value or direction")
	}
	return PartOfValue
}

// additionOnly refuses what an entry without unit cannot change.
func (l *loading) additionOnly(s *source, at string, e entry) {
	if e.Title != "" || e.Short != "" || e.Quantity != "" || e.Counts != "" || e.Sign != "" || e.Obtain != nil || e.Repeatability != nil || e.CutOffs != nil {
		l.fault(s, at+".identifier", "measurand "+e.Identifier+" has no unit", "write unit in UCUM; an entry that only adds codings has identifier and codings")
	}
}

func (l *loading) obtain(s *source, at string, o *obtain) *finding.Obtain {
	if o == nil {
		return nil
	}
	if o.Window != "" && l.catalogue.Terms.Find(term.Window, o.Window) == nil {
		l.fault(s, at+".obtain.window", "unknown window "+o.Window, "one of "+strings.Join(l.catalogue.Terms.Ordered(term.Window), ", "))
	}
	return &finding.Obtain{Window: o.Window, View: o.View, How: o.How}
}

// shown reads how people say a value; nil when the file does not tell.
func (l *loading) shown(s *source, at string, m *Measurand, text string) *Shown {
	if text == "" {
		return nil
	}
	step, code, _ := strings.Cut(text, " ")
	decimals := slices.Index([]string{"1", "0.1", "0.01", "0.001"}, step)
	unit, err := ucum.Parse(code)
	switch {
	case decimals < 0:
		l.fault(s, at, fmt.Sprintf("last digit %q", step), "write 1, 0.1, 0.01 or 0.001 and a unit: 0.01 m/s")
	case err != nil:
		l.fault(s, at, err.Error(), unitHint(code))
	case !unit.Convertible(m.Unit):
		l.fault(s, at, fmt.Sprintf("%s cannot be converted to %s, the unit of %s", code, m.Unit, m.Identifier), "")
	default:
		return &Shown{Unit: unit, Decimals: decimals}
	}
	return nil
}

// unitHint proposes the UCUM code of a known spelling.
func unitHint(text string) string {
	if u, _, err := ucum.Recognize(text, "UCUM", text); err == nil {
		return "did you mean " + u.Code() + "?"
	}
	return "write a UCUM code"
}

// codings adds the codings of an entry to its measurand.
func (l *loading) codings(s *source, i int) {
	e, at := s.entries[i], fmt.Sprintf("$[%d]", i)
	m := l.catalogue.byID[e.Identifier]
	if m == nil {
		if identifierForm.MatchString(e.Identifier) {
			l.fault(s, at+".identifier", "unknown measurand "+e.Identifier, didYouMean(e.Identifier, l.identifiers(), "to define it, give title and unit"))
		}
		return
	}
	for j, written := range e.Codings {
		where := place{s, fmt.Sprintf("%s.codings[%d]", at, j)}
		base := l.coding(m, where, written)
		if base == nil {
			continue
		}
		for _, text := range written[conceptNameKey] {
			if key, ok := l.concept(where, text); ok {
				g := *base
				g.ConceptName = key
				l.order = append(l.order, candidateIndex{m, len(m.Codings)})
				m.Codings = append(m.Codings, g)
				l.places[m] = append(l.places[m], where)
			}
		}
	}
}

func (l *loading) identifiers() []string {
	var out []string
	for _, m := range l.catalogue.Measurands {
		out = append(out, m.Identifier)
	}
	return out
}

func didYouMean(word string, known []string, otherwise string) string {
	if n := spelling.Nearest(word, known); n != "" {
		return "did you mean " + n + "?"
	}
	return otherwise
}

func (l *loading) concept(where place, text string) (coding.Key, bool) {
	key, ok := coding.ParseKey(text)
	if !ok {
		l.fault(where.source, where.path+"."+conceptNameKey, fmt.Sprintf("%q is no code", text), `write "SCHEME:value"`)
		return key, false
	}
	if !key.CheckDigit() {
		l.fault(where.source, where.path+"."+conceptNameKey, fmt.Sprintf("%s has a wrong check digit", key), "look the code up again")
		return key, false
	}
	return key, true
}

// coding reads what a coding asks for; nil when it asks for something unknown.
func (l *loading) coding(m *Measurand, where place, written map[string]names) *Coding {
	before := len(l.faults)
	g := &Coding{}
	for _, required := range []string{conceptNameKey, sourceKey} {
		if len(written[required]) == 0 {
			l.fault(where.source, where.path, "coding without "+required, "every coding says which code it is and where it comes from")
		}
	}
	for _, f := range l.fields {
		if list, ok := written[string(f)]; ok {
			g.Conditions = append(g.Conditions, l.condition(where.at(string(f)), f, list))
		}
	}
	if list, ok := written[sectionKey]; ok {
		section := l.condition(where.at(sectionKey), term.FindingSite, list)
		g.Section = &section
	}
	for _, one := range []struct {
		key string
		to  *string
	}{{sourceKey, &g.Source}, {shortLabelKey, &g.ShortLabel}, {manufacturerKey, &g.Manufacturer}} {
		*one.to = l.single(where, written, one.key)
	}
	if text := l.single(where, written, dimensionKey); text != "" {
		g.Dimension = l.dimension(m, where, text)
	}
	for _, key := range sortedKeys(written) {
		if !slices.Contains(l.keys, key) {
			l.fault(where.source, where.path+"."+key, "unknown key "+key, didYouMean(key, l.keys, "one of "+strings.Join(l.keys, ", ")))
		}
	}
	if len(l.faults) > before {
		return nil
	}
	return g
}

func (p place) at(key string) place { return place{p.source, p.path + "." + key} }

func sortedKeys(m map[string]names) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

func codingKeys() []string {
	out := []string{conceptNameKey, sourceKey, dimensionKey, shortLabelKey, manufacturerKey, sectionKey}
	for _, f := range term.Fields() {
		out = append(out, string(f))
	}
	return out
}

// single returns the text of a key that takes no list.
func (l *loading) single(where place, written map[string]names, key string) string {
	list, ok := written[key]
	if !ok {
		return ""
	}
	if len(list) != 1 || strings.TrimSpace(list[0]) == "" {
		l.fault(where.source, where.path+"."+key, key+" wants one text", "")
		return ""
	}
	return list[0]
}

func (l *loading) condition(where place, f term.Field, list names) Condition {
	out := Condition{Field: f}
	if len(list) == 0 {
		l.fault(where.source, where.path, "a condition that asks for nothing", "give a term, a list of terms, or absent")
	}
	for _, name := range list {
		if name == absent {
			out.Absent = true
			continue
		}
		t := l.catalogue.Terms.Find(f, name)
		if t == nil {
			l.fault(where.source, where.path, fmt.Sprintf("unknown %s term %s", f, name), didYouMean(name, l.catalogue.Terms.Names(f), "terms.yaml lists the terms"))
			continue
		}
		out.Codes = append(out.Codes, t.Codes...)
	}
	return out
}

func (l *loading) dimension(m *Measurand, where place, text string) *ucum.Unit {
	u, err := ucum.Parse(text)
	if err != nil {
		l.fault(where.source, where.path+"."+dimensionKey, err.Error(), unitHint(text))
		return nil
	}
	if !u.Convertible(m.Unit) {
		l.fault(where.source, where.path+"."+dimensionKey, fmt.Sprintf("%s cannot be converted to %s, the unit of %s", text, m.Unit, m.Identifier), "")
		return nil
	}
	return &u
}

// index makes the finished catalogue searchable.
func (l *loading) index() {
	c := l.catalogue
	sort.Slice(c.Measurands, func(i, j int) bool { return c.Measurands[i].Identifier < c.Measurands[j].Identifier })
	for i, m := range c.Measurands {
		m.Place = i
	}
	for _, o := range l.order {
		g := &o.measurand.Codings[o.coding]
		c.byConcept[g.ConceptName] = append(c.byConcept[g.ConceptName], candidate{o.measurand, g})
	}
	c.lexicon = sync.OnceValue(func() *lexicon { return newLexicon(c) })
}
