// Package library owns the rule library: the layers of files it is made of, the
// site's changes to shipped rules, its digests, and what of it is in force. What
// stands in one file is the matter of package rule.
package library

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"echotally/internal/datafile"
	"echotally/internal/datafile/fault"
	"echotally/internal/derive"
	"echotally/internal/library/layer"
	"echotally/internal/measurand"
	"echotally/internal/mistake"
	"echotally/internal/reference"
	"echotally/internal/rule"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/internal/ultrasound/private"
)

// Library is everything loaded from the rule folders.
type Library struct {
	rule.Basis
	Version    string
	Digest     string // SHA-256 over all files and the lab's choices, hex
	Foundation string // the same over the files on which every rule may rest
	Mistakes   *mistake.Table
	Rules      []*rule.Rule // those that run, sorted by identifier
	Resting    []*rule.Rule // drafts and retired rules, which do not
	Relations  []*rule.Relation
	Cases      []*rule.Cases     // studies that may be handed in
	Private    []private.Mapping // where scanners write settings of their own
	Own        []string          // files of the lab's own, by path within their folder, in the order they were read
}

// Settings are the lab's choices.
type Settings struct {
	Drafts  bool   // run draft rules as well
	Edition string // of the guidelines; [rule.DefaultEdition] when empty

	NoExamples bool // the rules are only put to studies: the examples of shipped ones are not read
}

// Load reads the shipped rules and then the site folders; the error joins all
// faults (errors.Join of *fault.Error). Rules that are embedded in the program
// and not changed by a site were linted when it was built and are compiled when
// they are first put to a study; all others are compiled here.
func Load(settings Settings, layers ...fs.FS) (*Library, error) {
	return load(&loader{settings: settings}, layers)
}

// LoadForReading loads what a report is read by and leaves out all that judges
// it: rules, protocols and relations. Digest and version are those of the whole.
func LoadForReading(settings Settings, layers ...fs.FS) (*Library, error) {
	return load(&loader{settings: settings, reading: true}, layers)
}

func load(l *loader, layers []fs.FS) (*Library, error) {
	if err := l.begin(layers); err != nil {
		return nil, err
	}
	l.linted = !slices.ContainsFunc(layers, func(layer fs.FS) bool { return !datafile.Linted(layer) })
	for i, one := range layers {
		files, err := layer.Files(one)
		if err != nil {
			return nil, err
		}
		if slices.Contains(files, layer.Works) && !l.reading { // before the rules, which name them
			if s := (layer.Reading{Site: i > 0}).Read(one, layer.Works); s.Err == nil {
				l.faults = append(l.faults, l.library.Works.Add(s.Source)...)
			}
		}
		l.layer(one, files, i > 0)
	}
	l.finish()
	if len(l.faults) > 0 {
		slices.SortStableFunc(l.faults, byPlace)
		return nil, fault.Join(l.faults)
	}
	return l.library, nil
}

// Lint returns every fault of the rule folders, the embedded one among them, and if there is
// none every example of a phrase that comes out otherwise than it says.
func Lint(settings Settings, layers ...fs.FS) []error {
	unlinted := make([]fs.FS, len(layers))
	for i, one := range layers {
		unlinted[i] = datafile.Unlinted(one)
	}
	lib, err := Load(settings, unlinted...)
	if err == nil {
		err = lib.Statements.CheckExamples()
	}
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
	library  *Library
	settings Settings
	reading  bool                    // rules are left out
	linted   bool                    // every layer is
	files    map[string]*rule.Source // by path; site changes are added to it
	faults   []error
	digest   []string
	here     map[string]bool // paths of the rules of this layer
	under    []string        // of the files that are no rules
}

// begin loads the catalogues.
func (l *loader) begin(layers []fs.FS) error {
	settings := l.settings
	table, err := derive.Load()
	if err != nil {
		return err
	}
	set := &Library{Basis: rule.NewBasis(settings.Edition, table)}
	if set.Edition == "" {
		set.Edition = rule.DefaultEdition
	}
	if !slices.Contains(rule.Editions, set.Edition) {
		return fmt.Errorf("unknown edition %q: one of %s", set.Edition, strings.Join(rule.Editions, ", "))
	}
	var faults []error
	if set.Private, err = private.Load(layers...); err != nil {
		faults = append(faults, err)
	}
	if set.Terms, err = term.Load(layers...); err != nil {
		return err
	}
	if set.Measurands, err = measurand.Load(set.Terms, layers...); err != nil {
		faults = append(faults, err)
	}
	if set.Measurands != nil {
		if set.References, err = reference.Load(set.Measurands, settings.Drafts, layers...); err != nil {
			faults = append(faults, err)
		}
		if set.Mistakes, err = mistake.Load(set.Measurands, layers...); err != nil {
			faults = append(faults, err)
		}
	}
	if set.Statements, err = statement.Load(set.Terms, layers...); err != nil {
		faults = append(faults, err)
	}
	if len(faults) > 0 {
		return errors.Join(faults...)
	}
	l.library, l.files = set, map[string]*rule.Source{}
	return nil
}

// layer takes the files of one layer. Reading them is most of the work of
// loading and done side by side; all else goes in the order of the files.
func (l *loader) layer(files fs.FS, names []string, site bool) {
	l.here = map[string]bool{}
	how := layer.Reading{Site: site, NoRules: l.reading, NoExamples: l.settings.NoExamples}
	read := make([]*layer.Source, len(names))
	sideBySide(len(names), func(i int) { read[i] = how.Read(files, names[i]) })
	for _, s := range read {
		l.take(s)
	}
}

// sideBySide does something n times, as many at once as there are processors.
func sideBySide(n int, do func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	all.Wait()
}

// take adds one file of one layer.
func (l *loader) take(s *layer.Source) {
	if s.Text == nil { // it could not be read
		l.faults = append(l.faults, s.Err)
		return
	}
	line := s.Path + " " + digest(s.Text)
	l.digest = append(l.digest, line)
	if s.Site {
		l.library.Own = append(l.library.Own, s.Path)
	}
	if !layer.IsRule(s.Path) && !layer.ForReading(s.Path) {
		l.under = append(l.under, line)
	}
	switch folder, _, _ := strings.Cut(s.Path, "/"); {
	case s.Site && layer.Stray(s.Path):
		l.faults = append(l.faults, fault.At(s.Path, s.Text, 1, 1, "nobody reads a file of this name here", "a rule lies in the folder of its structure, such as right-ventricle/"+s.Path))
	case l.reading:
	case folder == "protocol":
		l.protocol(s)
	case folder == "relation":
		l.relation(s)
	case folder == "cases":
		l.cases(s)
	case layer.IsRule(s.Path):
		l.rule(s)
	}
}

// unusedWorks tells of the works nothing in the library names.
func (l *loader) unusedWorks(files []*rule.Rule) []error {
	var all []rule.Artifact
	for _, r := range files {
		all = append(all, r.File.RelatedArtifact...)
	}
	for _, r := range l.library.Relations {
		all = append(all, r.Sources...)
	}
	for _, p := range l.library.Protocols {
		all = append(all, p.Sources...)
	}
	for _, c := range l.library.Cases {
		all = append(all, c.Sources...)
	}
	named := map[string]bool{}
	for _, a := range all {
		named[a.Label] = true
	}
	return l.library.Works.Unused(named)
}

// protocol, relation and cases add one of theirs; a later layer replaces an earlier one
// of the same identifier.
func (l *loader) protocol(s *layer.Source) {
	p, faults := l.library.CompileProtocol(s.Source)
	l.faults = append(l.faults, faults...)
	l.library.Protocols = replaced(l.library.Protocols, p, func(p *rule.Protocol) string { return p.Identifier })
	slices.SortStableFunc(l.library.Protocols, func(a, b *rule.Protocol) int { return a.Order - b.Order })
}

func (l *loader) relation(s *layer.Source) {
	r, faults := l.library.CompileRelation(s.Source)
	l.faults = append(l.faults, faults...)
	l.library.Relations = replaced(l.library.Relations, r, func(r *rule.Relation) string { return r.Identifier })
}

func (l *loader) cases(s *layer.Source) {
	c, faults := l.library.CompileCases(s.Source)
	l.faults = append(l.faults, faults...)
	l.library.Cases = replaced(l.library.Cases, c, func(c *rule.Cases) string { return c.Identifier })
}

// replaced is the list with one more in the place of any of its identifier, by identifier.
func replaced[T any](list []*T, one *T, identifier func(*T) string) []*T {
	if one == nil { // it has faults
		return list
	}
	out := slices.DeleteFunc(list, func(old *T) bool { return identifier(old) == identifier(one) })
	out = append(out, one)
	slices.SortStableFunc(out, func(a, b *T) int { return strings.Compare(identifier(a), identifier(b)) })
	return out
}

// rule adds the rules of a file, or a site's changes to rules.
func (l *loader) rule(s *layer.Source) {
	if s.Err != nil {
		l.faults = append(l.faults, s.Err)
		return
	}
	for _, one := range s.Rules {
		base := l.files[one.Path]
		switch {
		case base == nil && one.File.DerivedFrom != "":
			l.faults = append(l.faults, one.Fault("$.derivedFrom", 0, "there is no shipped rule of this path to derive from", "leave derivedFrom out: this is a rule of the site"))
		case base == nil:
			l.files[one.Path] = one
		case l.here[one.Path]:
			l.faults = append(l.faults, one.Fault("$", 0, "this rule stands in "+base.Where()+" as well", "keep one of them"))
		default:
			l.faults = append(l.faults, base.Overlay(one)...)
		}
		l.here[one.Path] = true
	}
}

// finish compiles all rules once every layer is read.
func (l *loader) finish() {
	paths := slices.Collect(maps.Keys(l.files))
	// By identifier, not by path: the ending would put a-b before a.
	slices.SortFunc(paths, func(a, b string) int { return strings.Compare(l.files[a].File.Identifier, l.files[b].File.Identifier) })
	rules, faults := make([]*rule.Rule, len(paths)), make([][]error, len(paths))
	sideBySide(len(paths), func(i int) {
		if s := l.files[paths[i]]; s.Linted {
			rules[i] = l.library.Defer(s)
		} else {
			rules[i], faults[i] = l.library.Compile(s)
			if l.runs(rules[i]) {
				faults[i] = append(faults[i], s.Unwritten()...)
			}
		}
	})
	l.faults = append(l.faults, slices.Concat(faults...)...)
	if len(l.faults) == 0 && !l.linted {
		l.faults = l.unusedWorks(rules)
	}
	for _, r := range rules {
		if l.runs(r) {
			l.library.Rules = append(l.library.Rules, r)
		} else {
			l.library.Resting = append(l.library.Resting, r)
		}
	}
	if l.library.Edition != rule.DefaultEdition {
		l.digest = append(l.digest, "edition "+l.library.Edition)
	}
	if l.settings.Drafts {
		l.digest = append(l.digest, "drafts")
	}
	l.library.Digest = digest([]byte(strings.Join(l.digest, "\n")))
	l.library.Foundation = digest([]byte(strings.Join(l.under, "\n")))
	l.library.Version = l.library.Digest[:12]
}

// runs reports whether a rule is put to studies.
func (l *loader) runs(r *rule.Rule) bool {
	return r.File.Status == "active" || l.settings.Drafts && r.File.Status == "draft"
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func byPlace(a, b error) int {
	var x, y *fault.Error
	if !errors.As(a, &x) || !errors.As(b, &y) {
		return strings.Compare(a.Error(), b.Error())
	}
	return cmp.Or(strings.Compare(x.File, y.File), cmp.Compare(x.Line, y.Line), cmp.Compare(x.Column, y.Column))
}
