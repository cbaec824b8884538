// Package rule owns the rule file and the rule set: strict decoding, linting
// (all faults, not the first), compiling, site overlays, digests. It evaluates
// nothing.
package rule

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"runtime"
	"slices"
	"sort"
	"strings"

	"golang.org/x/sync/errgroup"

	"echotally/internal/coding"
	"echotally/internal/datafile"
	"echotally/internal/derive"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/reference"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/internal/ucum"
	"echotally/internal/ultrasound"
)

// Set is everything loaded from the rule folders.
type Set struct {
	Version    string
	Digest     string  // SHA-256 over all files and the lab's choices, hex
	Foundation string  // the same over the files on which every rule may rest
	Rules      []*Rule // those that run, sorted by identifier
	Resting    []*Rule // drafts and retired rules, which do not
	Protocols  []*Protocol
	Relations  []*Relation
	Measurands *measurand.Catalogue
	Statements *statement.Catalogue
	Terms      *term.Catalogue
	References *reference.Catalogue // tables of reference values by body size
	Private    []ultrasound.Private // where scanners write settings of their own
	Edition    string               // of the guidelines, where a parameter depends on it

	functions map[string]expr.Function
}

// Rule is one rule, compiled.
type Rule struct {
	File        File // as decoded, site changes applied
	Source      []byte
	Path        string
	Require     *expr.Program // nil when the rule recomputes or forbids
	Recompute   *Recompute
	ZScore      *ZScore
	When        *expr.Program
	Review      *expr.Program
	SeverityIf  []Escalation
	Message     *expr.Template
	Aliases     map[string]*Alias
	Statements  map[string]*Said
	Images      map[string]*ImageAlias
	Parameters  map[string]*Parameter
	Stated      []*Said // appliesTo.stated
	Unless      []*Said
	ExcusedBy   []*Said
	Age         Ages
	Structure   string // folder
	Kind        finding.Kind
	Severity    finding.Severity
	Digest      string
	Site        bool // from a site folder, or changed by one
	AboutImages bool // only images can answer what it demands
	AboutPrior  bool // only an earlier study of the same person can

	programs   []*expr.Program
	names      []string
	measurands []string
}

// Names are the aliases, statements and parameters that a result rests on, in
// order of appearance.
func (r *Rule) Names() []string { return r.names }

// MeasurandNames are the identifiers of the measurands behind [Rule.Names].
func (r *Rule) MeasurandNames() []string { return r.measurands }

// OnEdition reports whether a number of the rule depends on the edition of the
// guidelines.
func (r *Rule) OnEdition() bool {
	for _, p := range r.Parameters {
		if slices.ContainsFunc(p.Cases, func(c Case) bool { return c.Edition != "" }) {
			return true
		}
	}
	return false
}

// Programs are the expressions that decide or tell the result.
func (r *Rule) Programs() []*expr.Program { return r.programs }

// index gathers once what is asked of every study.
func (r *Rule) index() {
	r.programs = r.deciding()
	if r.Recompute != nil {
		r.names = append(r.names, r.Recompute.Stated)
	}
	for _, p := range r.programs {
		for _, in := range p.Inputs {
			if !slices.Contains(r.names, in.Name) {
				r.names = append(r.names, in.Name)
			}
		}
	}
	for _, name := range r.names {
		a := r.Aliases[name]
		if a == nil {
			continue
		}
		for _, m := range a.Measurands {
			if !slices.Contains(r.measurands, m.Identifier) {
				r.measurands = append(r.measurands, m.Identifier)
			}
		}
	}
}

func (r *Rule) deciding() []*expr.Program {
	var out []*expr.Program
	for _, p := range []*expr.Program{r.Require, r.Review} {
		if p != nil {
			out = append(out, p)
		}
	}
	if r.Recompute != nil {
		for _, f := range r.Recompute.Forms {
			out = append(out, f.Value)
		}
	}
	if r.ZScore != nil {
		for _, f := range r.ZScore.BodySurfaceArea {
			out = append(out, f.Value)
		}
	}
	if r.Message != nil {
		out = append(out, r.Message.Programs()...)
	}
	return out
}

// Recompute is the compiled demand that a stated value follows from others.
type Recompute struct {
	Stated    string // alias
	Forms     []CompiledForm
	Allowance *Parameter // nil when rounding alone may separate them
}

// ZScore is the compiled demand that every z-score of the record is what its
// table of reference values gives.
type ZScore struct {
	BodySurfaceArea []CompiledForm // tried in order, in m2
}

// CompiledForm is one way to compute the stated value.
type CompiledForm struct {
	Title string
	Value *expr.Program
}

// Escalation replaces the severity when it holds.
type Escalation struct {
	When     *expr.Program
	Severity finding.Severity
}

// Alias is a measurand, or several that serve alike, narrowed by modifiers.
type Alias struct {
	Name       string
	Measurands []*measurand.Measurand
	Unit       ucum.Unit // of the first measurand
	Counts     measurand.Counts
	Conditions []measurand.Condition
}

// Title is the alias in words.
func (a *Alias) Title() string { return a.Measurands[0].Title }

// Said is a statement, or several that serve alike, in some view.
type Said struct {
	Name        string
	Definitions []*statement.Definition
	Views       []coding.Key // empty: any
}

// Title is the statement in words.
func (s *Said) Title() string { return s.Definitions[0].Title }

// Settings are the lab's choices.
type Settings struct {
	Drafts  bool   // run draft rules as well
	Edition string // of the guidelines; DefaultEdition when empty
}

// DefaultEdition is the guideline edition that judges when the lab chooses
// none.
const DefaultEdition = "2015"

// Folders of the rule tree that hold no rules.
var otherFolders = []string{"measurand", "phrases", "protocol", "reference", "relation", "schema"}

// Load reads the shipped rules and then the site folders; the error joins all
// faults (errors.Join of *datafile.Error).
func Load(settings Settings, layers ...fs.FS) (*Set, error) {
	l, err := newLoader(settings, layers)
	if err != nil {
		return nil, err
	}
	for i, layer := range layers {
		files, err := yamlFiles(layer)
		if err != nil {
			return nil, err
		}
		l.layer(layer, files, i > 0)
	}
	l.finish()
	if len(l.faults) > 0 {
		sort.SliceStable(l.faults, func(i, j int) bool { return before(l.faults[i], l.faults[j]) })
		return nil, errors.Join(l.faults...)
	}
	return l.set, nil
}

// Compile reads one rule file against the catalogues and protocols of the set,
// without adding it.
func (s *Set) Compile(path string, src []byte) (*Rule, error) {
	one := &source{path: path, src: src}
	if err := datafile.Decode(path, src, &one.file); err != nil {
		return nil, err
	}
	l := &loader{set: s}
	r, faults := l.compile(one)
	return r, errors.Join(faults...)
}

// Lint returns every fault of the rule folders.
func Lint(settings Settings, layers ...fs.FS) []error {
	_, err := Load(settings, layers...)
	var joined interface{ Unwrap() []error }
	if errors.As(err, &joined) {
		return joined.Unwrap()
	}
	if err != nil {
		return []error{err}
	}
	return nil
}

type loader struct {
	set      *Set
	settings Settings
	files    map[string]*source // by path; site changes are added to it
	faults   []error
	digest   []string
	under    []string // of the files that are no rules
}

func newLoader(settings Settings, layers []fs.FS) (*loader, error) {
	table, err := derive.Load()
	if err != nil {
		return nil, err
	}
	set := &Set{Edition: settings.Edition, functions: Functions(table)}
	if set.Edition == "" {
		set.Edition = DefaultEdition
	}
	if !slices.Contains(Editions, set.Edition) {
		return nil, fmt.Errorf("unknown edition %q: one of %s", set.Edition, strings.Join(Editions, ", "))
	}
	var faults []error
	if set.Private, err = ultrasound.LoadPrivate(layers...); err != nil {
		faults = append(faults, err)
	}
	if set.Terms, err = term.Load(layers...); err != nil {
		return nil, err
	}
	if set.Measurands, err = measurand.Load(set.Terms, layers...); err != nil {
		faults = append(faults, err)
	}
	if set.Measurands != nil {
		if set.References, err = reference.Load(set.Measurands, settings.Drafts, layers...); err != nil {
			faults = append(faults, err)
		}
	}
	if set.Statements, err = statement.Load(set.Terms, layers...); err != nil {
		faults = append(faults, err)
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return &loader{set: set, settings: settings, files: map[string]*source{}}, nil
}

// Functions makes the formula table usable in expressions.
func Functions(table *derive.Table) map[string]expr.Function {
	out := map[string]expr.Function{}
	for _, f := range table.All() {
		fn := expr.Function{Name: f.Name, Title: f.Title, Result: f.Unit, Text: f.Text, Call: func(args []float64) (float64, error) { return f.Compute(args...) }}
		for _, p := range f.Parameters {
			fn.Names = append(fn.Names, p.Name)
			fn.Parameters = append(fn.Parameters, expr.Symbol{Unit: p.Unit})
		}
		out[f.Name] = fn
	}
	return out
}

func yamlFiles(layer fs.FS) ([]string, error) {
	var out []string
	err := fs.WalkDir(layer, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("rule folder: %w", err)
		}
		if !d.IsDir() && path.Ext(name) == ".yaml" {
			out = append(out, name)
		}
		return nil
	})
	sort.Strings(out)
	return out, err
}

// layer takes the files of one layer. Reading them is most of the work of
// loading and done side by side; all else goes in the order of the files.
func (l *loader) layer(layer fs.FS, names []string, site bool) {
	read := make([]*source, len(names))
	sideBySide(len(names), func(i int) {
		s := &source{path: names[i], site: site}
		if s.src, s.err = fs.ReadFile(layer, s.path); s.err != nil {
			s.err = fmt.Errorf("rule file %s: %w", s.path, s.err)
		} else if isRule(s.path) {
			s.err = datafile.Decode(s.path, s.src, &s.file)
		}
		read[i] = s
	})
	for _, s := range read {
		l.take(s)
	}
}

// sideBySide does something n times, as many at once as there are processors.
func sideBySide(n int, do func(i int)) {
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		group.Go(func() error { do(i); return nil })
	}
	group.Wait() // nothing comes back: what is done keeps its own errors
}

// isRule tells a rule file from the other files of a layer by its folder.
func isRule(name string) bool {
	folder, _, inFolder := strings.Cut(name, "/")
	return inFolder && !slices.Contains(otherFolders, folder)
}

// forReading tells the files by which reports are read, or that are compared one
// by one: they change nothing in how a study that was read is judged.
func forReading(name string) bool {
	switch folder, _, _ := strings.Cut(name, "/"); folder {
	case "measurand", "protocol", "relation", "abbreviations.yaml", "scanners.yaml":
		return true
	case "phrases":
		return name != "phrases/coded.yaml"
	}
	return false
}

// take adds one file of one layer.
func (l *loader) take(s *source) {
	if s.src == nil { // it could not be read
		l.faults = append(l.faults, s.err)
		return
	}
	line := s.path + " " + digest(s.src)
	l.digest = append(l.digest, line)
	if !isRule(s.path) && !forReading(s.path) {
		l.under = append(l.under, line)
	}
	switch folder, _, _ := strings.Cut(s.path, "/"); {
	case folder == "protocol":
		l.protocol(s.path, s.src)
	case folder == "relation":
		l.relation(s.path, s.src)
	case isRule(s.path):
		l.rule(s)
	}
}

// rule adds a rule file or a site's change to one.
func (l *loader) rule(s *source) {
	if s.err != nil {
		l.faults = append(l.faults, s.err)
		return
	}
	base, changes := l.files[s.path]
	switch {
	case !changes && s.file.DerivedFrom != "":
		l.faults = append(l.faults, s.fault("$.derivedFrom", 0, "there is no shipped rule of this path to derive from", "leave derivedFrom out: this is a rule of the site"))
	case !changes:
		l.files[s.path] = s
	default:
		l.faults = append(l.faults, base.overlay(s)...)
	}
}

// finish compiles all rules once every layer is read.
func (l *loader) finish() {
	paths := make([]string, 0, len(l.files))
	for p := range l.files {
		paths = append(paths, p)
	}
	sort.Strings(paths)
	rules, faults := make([]*Rule, len(paths)), make([][]error, len(paths))
	sideBySide(len(paths), func(i int) { rules[i], faults[i] = l.compile(l.files[paths[i]]) })
	for i, r := range rules {
		l.faults = append(l.faults, faults[i]...)
		active := r.File.Status == "active" || l.settings.Drafts && r.File.Status == "draft"
		if active {
			l.set.Rules = append(l.set.Rules, r)
		} else {
			l.set.Resting = append(l.set.Resting, r)
		}
	}
	if l.set.Edition != DefaultEdition {
		l.digest = append(l.digest, "edition "+l.set.Edition)
	}
	if l.settings.Drafts {
		l.digest = append(l.digest, "drafts")
	}
	l.set.Digest = digest([]byte(strings.Join(l.digest, "\n")))
	l.set.Foundation = digest([]byte(strings.Join(l.under, "\n")))
	l.set.Version = l.set.Digest[:12]
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func before(a, b error) bool {
	var x, y *datafile.Error
	if !errors.As(a, &x) || !errors.As(b, &y) {
		return a.Error() < b.Error()
	}
	if x.File != y.File {
		return x.File < y.File
	}
	if x.Line != y.Line {
		return x.Line < y.Line
	}
	return x.Column < y.Column
}

// between matches a demand that states a plausible range and nothing else.
var between = regexp.MustCompile(`^between\((\w+), (\w+), (\w+)\)$`)

// Bounds returns the names of the alias and the two parameters when the rule
// states a plausible range and nothing else.
func (r *Rule) Bounds() (alias, low, high string, ok bool) {
	if r.Require == nil {
		return "", "", "", false
	}
	m := between.FindStringSubmatch(strings.TrimSpace(r.Require.Source))
	if m == nil || r.Aliases[m[1]] == nil || r.Parameters[m[2]] == nil || r.Parameters[m[3]] == nil {
		return "", "", "", false
	}
	return m[1], m[2], m[3], true
}
