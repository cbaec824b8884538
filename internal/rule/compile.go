package rule

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unique"

	"echotally/internal/coding"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/term"
)

// compilation turns one rule file into a Rule and gathers every fault.
type compilation struct {
	*Basis
	source *Source
	file   *File // of the rule, with the works it names
	rule   *Rule
	scope  expr.Scope
	lint   bool            // faults that only show in the file are looked for as well
	linted bool            // that was done: names and origins are right
	used   map[string]bool // names of measurands, statements and parameters
	errors []error
}

// Compile compiles a rule file at once and gives every fault it has.
func (b *Basis) Compile(s *Source) (*Rule, []error) {
	c := b.compilation(s)
	c.lint = true
	c.header()
	if s.File.Status == "retired" {
		return c.rule, c.errors // its measurands may be gone; it stays to be read
	}
	c.artifacts()
	c.prepare()
	c.complete()
	c.unused()
	if len(c.errors) == 0 && !s.NoExamples {
		c.examples() // a site's change of a linted rule brings none of its own
	}
	return c.rule, c.errors
}

// compilation begins with what a rule says of itself.
func (b *Basis) compilation(s *Source) *compilation {
	structure, _, _ := strings.Cut(s.Path, "/")
	c := &compilation{Basis: b, source: s, used: map[string]bool{}}
	c.rule = &Rule{
		File: s.File, Source: s.Text, Path: s.Path, Structure: structure, Site: s.Site || s.changes != nil,
		Kind: finding.Kind(s.File.Kind), Severity: finding.Severity(s.File.Severity),
		Each: s.File.Each, Protocols: s.File.AppliesTo.Protocol, Editions: s.File.AppliesTo.Edition, Sex: s.File.AppliesTo.Sex, basis: b, origin: s,
	}
	c.file = &c.rule.File
	c.file.RelatedArtifact = b.Works.cited(s.File.RelatedArtifact)
	c.rule.about()
	return c
}

// around begins the compilation of what is no rule but gives names as one does.
func (b *Basis) around(s *Source, f File) *compilation {
	c := &compilation{Basis: b, source: s, used: map[string]bool{},
		rule: &Rule{File: f, Aliases: map[string]*Alias{}, Statements: map[string]*Said{}, Parameters: map[string]*Parameter{}}}
	c.file = &c.rule.File
	c.file.named()
	c.file.RelatedArtifact = b.Works.cited(f.RelatedArtifact)
	return c
}

// prepare resolves the names of the rule and compiles what says for whom it is.
func (c *compilation) prepare() {
	r := c.rule
	r.Aliases, r.Statements, r.Images, r.Parameters = map[string]*Alias{}, map[string]*Said{}, map[string]*ImageAlias{}, map[string]*Parameter{}
	c.measurands()
	c.statements()
	c.imageAliases()
	c.parameters()
	c.symbols()
	if c.lint {
		c.definitions()
	}
	c.appliesTo()
}

// complete compiles what the rule demands and says.
func (c *compilation) complete() {
	c.demand()
	c.words()
	if len(c.errors) == 0 {
		c.rule.index()
	}
}

// digest is over the bytes of the rule file or row, of the site's change to it
// and of the works cited.
func (s *Source) digest(cited []Artifact) string {
	b := slices.Clone(s.Text)
	if s.row != "" {
		b = slices.Clone(rowText(s.Text, s.row))
	}
	if s.changes != nil {
		b = append(append(b, 0), s.changes.Text...)
	}
	for _, a := range cited {
		b = append(append(b, 0), a.Citation...)
	}
	return digest(b)
}

func (c *compilation) fault(path, message, hint string) {
	c.errors = append(c.errors, c.source.Fault(path, 0, message, hint))
}

var (
	versionForm = regexp.MustCompile(`^\d+\.\d+\.\d+$`)
	nameForm    = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
)

func (c *compilation) header() {
	f := c.file
	if f.Identifier != c.source.identifier() {
		c.fault("$.identifier", "identifier is not the path of the file", "write identifier: "+c.source.identifier())
	}
	if !versionForm.MatchString(f.Version) {
		c.fault("$.version", fmt.Sprintf("version %q is not of the form \"1.0.0\"", f.Version), "three numbers in quotes")
	}
	c.oneOf("status", f.Status, "active", "draft", "retired")
	c.oneOf("kind", f.Kind, string(finding.Completeness), string(finding.Consistency), string(finding.Acquisition), string(finding.Form))
	c.oneOf("severity", finding.Severity(f.Severity).Word(), finding.Error.Word(), finding.Warning.Word(), finding.Information.Word())
	if f.Each != "" {
		c.oneOf("each", f.Each, EachSeries)
	}
	for _, key := range [][2]string{{"title", f.Title}, {"purpose", f.Purpose}, {"usage", f.Usage}} {
		if strings.TrimSpace(key[1]) == "" {
			c.fault("$."+key[0], "the rule has no "+key[0], "every rule says what it is, why, and what to do")
		}
	}
}

func (c *compilation) oneOf(key, word string, allowed ...string) {
	if slices.Contains(allowed, word) {
		return
	}
	hint := suggest(word, allowed)
	if word == "" || hint == "" {
		hint = "one of " + strings.Join(allowed, ", ")
	}
	c.fault("$."+key, fmt.Sprintf("%s %q is not known", key, word), hint)
}

// artifacts checks who stands behind the file.
func (c *compilation) artifacts() {
	if len(c.file.RelatedArtifact) == 0 {
		c.fault("$.relatedArtifact", "nobody stands behind the rule", "give sources: the label of a work in sources.yaml, or common practice")
	}
	for i, a := range c.file.RelatedArtifact {
		path := fmt.Sprintf("$.relatedArtifact[%d]", i)
		switch {
		case a.Type != "citation" && a.Type != "documentation":
			c.fault(path, fmt.Sprintf("type %q is not known", a.Type), "citation or documentation")
		case a.Label == "":
			c.fault(path, "no label", "origins refer to the label")
		case a.Type == "citation" && a.Citation == "":
			c.fault(path, "no work is called "+a.Label, cmp.Or(suggest(a.Label, slices.Concat(sortedKeys(c.Works), plainOrigins)), "add it to sources.yaml: author, title, journal, year, pages"))
		case a.Type == "documentation" && a.Citation == "" && !slices.Contains(plainOrigins, a.Label):
			c.fault(path, "unknown label "+a.Label, "common practice, site choice or from memory; otherwise give the citation")
		}
	}
}

// name checks a name for use in expressions.
func (c *compilation) name(path, name string) {
	if c.linted {
		return
	}
	_, function := c.Functions[name]
	switch {
	case !nameForm.MatchString(name):
		c.fault(path, "name "+name+" cannot be used in expressions", "small letters, digits and _, beginning with a letter")
	case expr.Reserved(name) || function:
		c.fault(path, "name "+name+" already means something in expressions", "choose another")
	}
}

func (c *compilation) measurands() {
	for _, name := range sortedKeys(c.file.Measurands) {
		path := "$.measurands." + name
		c.name(path, name)
		if a := c.alias(path, name, c.file.Measurands[name]); a != nil {
			c.rule.Adopt(a)
		}
	}
}

func (c *compilation) alias(path, name string, choice *MeasurandChoice) *Alias {
	a := &Alias{Name: name, Counts: measurand.Counts(choice.Counts)}
	if len(choice.Measurand) == 0 {
		c.fault(path, "no measurand given", "")
	}
	for _, id := range choice.Measurand {
		m := c.Measurands.Find(id)
		if m == nil {
			c.fault(path, "unknown measurand "+id, suggest(id, measurandNames(c.Measurands)))
			continue
		}
		if len(a.Measurands) > 0 && !m.Unit.Convertible(a.Unit) {
			c.fault(path, fmt.Sprintf("%s is in %s, %s in %s", id, m.Unit.Code(), a.Measurands[0].Identifier, a.Unit.Code()), "one alias stands for quantities of one kind")
		}
		if len(a.Measurands) == 0 {
			a.Unit = m.Unit
		}
		a.Measurands = append(a.Measurands, m)
	}
	if choice.Counts != "" && !slices.Contains([]measurand.Counts{measurand.Last, measurand.Highest, measurand.Lowest, measurand.Mean}, a.Counts) {
		c.fault(path+".counts", "unknown word "+choice.Counts, "highest, lowest, last or mean")
	}
	for _, f := range choice.Modifiers {
		a.Conditions = append(a.Conditions, c.condition(path, f))
	}
	if len(a.Measurands) == 0 {
		return nil
	}
	a.Binds = unique.Make(a.standsFor(choice.Measurand))
	return a
}

// standsFor tells aliases apart by what they stand for.
func (a *Alias) standsFor(measurands Names) string {
	text := string(a.Counts) + " " + strings.Join(measurands, " ")
	if len(a.Conditions) > 0 {
		text += fmt.Sprint(a.Conditions)
	}
	return text
}

func (c *compilation) condition(path string, f FieldNames) measurand.Condition {
	out := measurand.Condition{Field: f.Field}
	for _, name := range f.Names {
		if name == "absent" {
			out.Absent = true
			continue
		}
		out.Codes = append(out.Codes, c.term(path+"."+string(f.Field), f.Field, name)...)
	}
	return out
}

func (c *compilation) term(path string, field term.Field, name string) []coding.Key {
	t := c.Terms.Find(field, name)
	if t == nil {
		c.fault(path, fmt.Sprintf("unknown %s term %s", field, name), suggest(name, c.Terms.Names(field)))
		return nil
	}
	return t.Codes
}

func (c *compilation) statements() {
	for _, name := range sortedKeys(c.file.Statements) {
		path := "$.statements." + name
		c.name(path, name)
		choice := c.file.Statements[name]
		if s := c.said(path, name, choice.Statement, choice.ImageView); s != nil {
			c.rule.Statements[name] = s
		}
		if _, twice := c.rule.Aliases[name]; twice {
			c.fault(path, "name "+name+" is also a measurand alias", "choose another")
		}
	}
}

func (c *compilation) said(path, name string, identifiers, views Names) *Said {
	s := &Said{Name: name, catalogue: c.Statements}
	for _, id := range identifiers {
		d := c.Statements.Find(id)
		if d == nil {
			c.fault(path, "unknown statement "+id, suggest(id, statementNames(c.Statements)))
			continue
		}
		s.Definitions, s.places = append(s.Definitions, d), append(s.places, int32(d.Place))
	}
	for _, v := range views {
		s.Views = append(s.Views, c.term(path+".imageView", term.ImageView, v)...)
	}
	if len(s.Definitions) == 0 {
		return nil
	}
	return s
}

// saidList resolves a list whose words are aliases of the rule or identifiers.
func (c *compilation) saidList(path string, names Names) []*Said {
	var out []*Said
	for _, n := range names {
		if s, ok := c.rule.Statements[n]; ok {
			c.used[n] = true
			out = append(out, s)
		} else if s := c.said(path, n, Names{n}, nil); s != nil {
			out = append(out, s)
		}
	}
	return out
}

// symbols makes the names known to expressions.
func (c *compilation) symbols() {
	c.scope = expr.Scope{Symbols: c, Functions: c.Functions, Fields: fieldNames, Definitions: c.trees.Define(c.file.Define), Trees: c.trees}
	for name := range c.rule.Parameters {
		if c.aliased(name) {
			c.fault("$.parameters."+name, "name "+name+" is already an alias", "choose another")
		}
	}
}

func (c *compilation) aliased(name string) bool {
	r := c.rule
	return r.Aliases[name] != nil || r.Statements[name] != nil || r.Images[name] != nil
}

// Find is what a name of the rule stands for.
func (c *compilation) Find(name string) (expr.Symbol, bool) {
	r := c.rule
	if p := r.Parameters[name]; p != nil {
		return expr.Symbol{Unit: p.Unit, Place: expr.NoAlias, Of: p}, true
	}
	if r.Images[name] != nil {
		return expr.Symbol{Images: true, Place: expr.NoAlias}, true
	}
	if s := r.Statements[name]; s != nil {
		return expr.Symbol{Kind: expr.Bool, Said: true, Place: expr.NoAlias, Of: s}, true
	}
	i, ok := slices.BinarySearch(r.names, name)
	if !ok {
		return expr.Symbol{}, false
	}
	a := r.aliases[i]
	return expr.Symbol{Unit: a.Unit, Set: true, Place: i + 1, Repeatable: a.Measurands[0].Repeatability != nil}, true
}

// Names are all names of the rule.
func (c *compilation) Names() []string {
	r := c.rule
	return slices.Concat(r.names, sortedKeys(r.Statements), sortedKeys(r.Images), sortedKeys(r.Parameters))
}

// definitions checks each named part by itself, so that a fault is told where
// it stands.
func (c *compilation) definitions() {
	for _, name := range sortedKeys(c.file.Define) {
		path := "$.define." + name
		c.name(path, name)
		if c.aliased(name) || c.rule.Parameters[name] != nil {
			c.fault(path, "name "+name+" is used already", "choose another")
		}
		if _, err := expr.Compile(c.file.Define[name], c.scope); err != nil {
			c.errors = append(c.errors, c.source.expression(path, err))
		}
	}
}

func (c *compilation) appliesTo() {
	a := c.file.AppliesTo
	c.rule.Age = c.ages("$.appliesTo.age", a.Age)
	c.sex("$.appliesTo.sex", a.Sex)
	for _, e := range a.Edition {
		c.edition("$.appliesTo.edition", e)
	}
	c.rule.Stated = c.saidList("$.appliesTo.stated", a.Stated)
	c.rule.Unless = c.saidList("$.appliesTo.unless", a.Unless)
	c.rule.When = c.program("$.appliesTo.when", a.When, expr.Bool)
}

// program compiles an expression that must give a kind; nil for an empty one.
func (c *compilation) program(path, text string, kind expr.Kind) *expr.Program {
	if text == "" {
		return nil
	}
	p, err := expr.Compile(text, c.scope)
	if err != nil {
		c.errors = append(c.errors, c.source.expression(path, err))
		return nil
	}
	if p.Kind != kind {
		c.fault(path, map[expr.Kind]string{expr.Bool: "must be true or false", expr.Number: "must be a number"}[kind], "")
		return nil
	}
	c.uses(p)
	return p
}

func (c *compilation) uses(p *expr.Program) {
	for _, in := range p.Inputs {
		c.used[in.Name] = true
	}
}

// unused refuses names nobody reads: they are slips more often than not.
func (c *compilation) unused() {
	if len(c.errors) > 0 {
		return
	}
	for _, kind := range []struct {
		key   string
		names []string
	}{
		{"measurands", sortedKeys(c.rule.Aliases)}, {"statements", sortedKeys(c.rule.Statements)}, {"images", sortedKeys(c.rule.Images)}, {"parameters", sortedKeys(c.rule.Parameters)},
	} {
		for _, n := range kind.names {
			if !c.used[n] {
				c.fault("$."+kind.key+"."+n, n+" is never used", "use it or take it out")
			}
		}
	}
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func measurandNames(c *measurand.Catalogue) []string {
	var out []string
	for _, m := range c.Measurands {
		out = append(out, m.Identifier)
	}
	return out
}

func fieldNames() []string {
	var out []string
	for _, f := range term.Fields() {
		out = append(out, string(f))
	}
	return out
}
