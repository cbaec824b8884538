// Package library owns the rule library: the layers of files it is made of, the
// site's changes to shipped rules, its digests, and what of it is in force. What
// stands in one file is the matter of package rule.
package library

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"runtime"
	"slices"
	"sort"
	"strings"
	"sync"
	"sync/atomic"

	"echotally/internal/datafile"
	"echotally/internal/derive"
	"echotally/internal/measurand"
	"echotally/internal/mistake"
	"echotally/internal/reference"
	"echotally/internal/rule"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/internal/ultrasound"
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
	Cases      []*rule.Cases        // studies that may be handed in
	Private    []ultrasound.Private // where scanners write settings of their own
	Own        []string             // files of the lab's own, by path within their folder, in the order they were read
}

// Settings are the lab's choices.
type Settings struct {
	Drafts  bool   // run draft rules as well
	Edition string // of the guidelines; [rule.DefaultEdition] when empty

	NoExamples bool // the rules are only put to studies: the examples of shipped ones are not read
}

// Folders of the rule tree that hold no rules.
var otherFolders = []string{"cases", "measurand", "phrases", "protocol", "reference", "relation", "requirements", "review", "schema"}

// loose are the files that lie in no folder.
var loose = []string{"abbreviations.yaml", "mistakes.yaml", "scanners.yaml", "terms.yaml", worksFile}

// worksFile holds each work that rules rest on once.
const worksFile = "sources.yaml"

// Load reads the shipped rules and then the site folders; the error joins all
// faults (errors.Join of *datafile.Error). Rules that are embedded in the program
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
	for i, layer := range layers {
		files, err := yamlFiles(layer)
		if err != nil {
			return nil, err
		}
		if slices.Contains(files, worksFile) {
			l.works(l.readSource(layer, worksFile, i > 0))
		}
		l.layer(layer, files, i > 0)
	}
	l.finish()
	if len(l.faults) > 0 {
		sort.SliceStable(l.faults, func(i, j int) bool { return before(l.faults[i], l.faults[j]) })
		return nil, datafile.Join(l.faults)
	}
	return l.library, nil
}

// Lint returns every fault of the rule folders, the embedded one among them.
func Lint(settings Settings, layers ...fs.FS) []error {
	unlinted := make([]fs.FS, len(layers))
	for i, layer := range layers {
		unlinted[i] = datafile.Unlinted(layer)
	}
	_, err := Load(settings, unlinted...)
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
	set := &Library{Basis: rule.Basis{Edition: settings.Edition, Functions: rule.Functions(table), Works: rule.Works{}}}
	if set.Edition == "" {
		set.Edition = rule.DefaultEdition
	}
	if !slices.Contains(rule.Editions, set.Edition) {
		return fmt.Errorf("unknown edition %q: one of %s", set.Edition, strings.Join(rule.Editions, ", "))
	}
	var faults []error
	if set.Private, err = ultrasound.LoadPrivate(layers...); err != nil {
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
	l.here = map[string]bool{}
	read := make([]*source, len(names))
	sideBySide(len(names), func(i int) {
		read[i] = l.readSource(layer, names[i], site)
	})
	for _, s := range read {
		l.take(s)
	}
}

// source is one file of a layer, and what reading it came to.
type source struct {
	*rule.Source
	rules []*rule.Source // that it holds
	err   error          // it cannot be read or is no rule file
}

func (l *loader) readSource(layer fs.FS, name string, site bool) *source {
	s := &source{Source: &rule.Source{Path: name, Site: site, Linted: datafile.Linted(layer) && !site}}
	s.NoExamples = s.Linted && l.settings.NoExamples
	if s.Text, s.err = datafile.ReadFile(layer, name); s.err != nil {
		s.err = fmt.Errorf("rule file %s: %w", name, s.err)
	} else if isRule(name) && !l.reading {
		s.rules, s.err = s.Read()
	}
	return s
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

// isRule tells a rule file from the other files of a layer by its folder.
func isRule(name string) bool {
	folder, _, inFolder := strings.Cut(name, "/")
	return inFolder && !slices.Contains(otherFolders, folder)
}

// forReading tells the files by which reports are read, or that are compared one
// by one: they change nothing in how a study that was read is judged.
func forReading(name string) bool {
	switch folder, _, _ := strings.Cut(name, "/"); folder {
	case "measurand", "protocol", "cases", "relation", "requirements", "review", "abbreviations.yaml", "scanners.yaml", worksFile:
		return true
	case "phrases":
		return name != "phrases/coded.yaml"
	}
	return false
}

// Structures lists, sorted, the anatomic structures that have rules in any of the layers.
func Structures(layers ...fs.FS) ([]string, error) {
	seen := map[string]bool{}
	for _, layer := range layers {
		names, err := yamlFiles(layer)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			if isRule(name) {
				structure, _, _ := strings.Cut(name, "/")
				seen[structure] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(seen)), nil
}

// HoldsRules reports whether a folder of that name may hold rules.
func HoldsRules(folder string) bool { return isRule(folder + "/x.yaml") }

// take adds one file of one layer.
func (l *loader) take(s *source) {
	if s.Text == nil { // it could not be read
		l.faults = append(l.faults, s.err)
		return
	}
	line := s.Path + " " + digest(s.Text)
	l.digest = append(l.digest, line)
	if s.Site {
		l.library.Own = append(l.library.Own, s.Path)
	}
	if !isRule(s.Path) && !forReading(s.Path) {
		l.under = append(l.under, line)
	}
	switch folder, _, _ := strings.Cut(s.Path, "/"); {
	case s.Site && folder == s.Path && !slices.Contains(loose, s.Path):
		l.faults = append(l.faults, datafile.At(s.Path, s.Text, 1, 1, "nobody reads a file of this name here", "a rule lies in the folder of its structure, such as right-ventricle/"+s.Path))
	case l.reading:
	case folder == "protocol":
		l.protocol(s)
	case folder == "relation":
		l.relation(s)
	case folder == "cases":
		l.cases(s)
	case isRule(s.Path):
		l.rule(s)
	}
}

// works adds the works of one layer.
func (l *loader) works(s *source) {
	if s.err == nil && !l.reading {
		l.faults = append(l.faults, l.library.Works.Add(s.Source)...)
	}
}

// unusedWorks tells of the works nothing in the library names.
func (l *loader) unusedWorks(files []*rule.Rule) []error {
	named := map[string]bool{}
	note := func(artifacts []rule.Artifact) {
		for _, a := range artifacts {
			named[a.Label] = true
		}
	}
	for _, r := range files {
		note(r.File.RelatedArtifact)
	}
	for _, r := range l.library.Relations {
		note(r.Sources)
	}
	for _, p := range l.library.Protocols {
		note(p.Sources)
	}
	for _, c := range l.library.Cases {
		note(c.Sources)
	}
	return l.library.Works.Unused(named)
}

// protocol adds a protocol; a later layer replaces an earlier one of the same
// identifier.
func (l *loader) protocol(s *source) {
	p, faults := l.library.CompileProtocol(s.Source)
	l.faults = append(l.faults, faults...)
	if p == nil {
		return
	}
	l.library.Protocols = slices.DeleteFunc(l.library.Protocols, func(old *rule.Protocol) bool { return old.Identifier == p.Identifier })
	l.library.Protocols = append(l.library.Protocols, p)
	sort.SliceStable(l.library.Protocols, func(i, j int) bool {
		a, b := l.library.Protocols[i], l.library.Protocols[j]
		if a.Order != b.Order {
			return a.Order < b.Order
		}
		return a.Identifier < b.Identifier
	})
}

// relation adds a relation; a later layer replaces an earlier one of the same
// identifier.
func (l *loader) relation(s *source) {
	r, faults := l.library.CompileRelation(s.Source)
	l.faults = append(l.faults, faults...)
	if r == nil {
		return
	}
	l.library.Relations = slices.DeleteFunc(l.library.Relations, func(old *rule.Relation) bool { return old.Identifier == r.Identifier })
	l.library.Relations = append(l.library.Relations, r)
	sort.SliceStable(l.library.Relations, func(i, j int) bool {
		return l.library.Relations[i].Identifier < l.library.Relations[j].Identifier
	})
}

// cases adds what may be handed in; a later layer replaces an earlier one of the
// same identifier.
func (l *loader) cases(s *source) {
	c, faults := l.library.CompileCases(s.Source)
	l.faults = append(l.faults, faults...)
	if c == nil {
		return
	}
	l.library.Cases = slices.DeleteFunc(l.library.Cases, func(old *rule.Cases) bool { return old.Identifier == c.Identifier })
	l.library.Cases = append(l.library.Cases, c)
	sort.SliceStable(l.library.Cases, func(i, j int) bool { return l.library.Cases[i].Identifier < l.library.Cases[j].Identifier })
}

// rule adds the rules of a file, or a site's changes to rules.
func (l *loader) rule(s *source) {
	if s.err != nil {
		l.faults = append(l.faults, s.err)
		return
	}
	for _, one := range s.rules {
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
	paths := make([]string, 0, len(l.files))
	for p := range l.files {
		paths = append(paths, p)
	}
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
	if len(l.faults) == 0 {
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
