// Package rule owns the rule, protocol and relation file: strict decoding,
// linting (all faults, not the first), compiling. It evaluates nothing.
package rule

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"unique"

	"echotally/internal/coding"
	"echotally/internal/expr"
	"echotally/internal/expr/message"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/statement"
	"echotally/internal/ucum"
)

// Rule is one rule. What it says of itself is always there; the rest is compiled
// when it is first asked for: see [Rule.Prepare] and [Rule.Complete].
type Rule struct {
	// First what is looked at for every study, whether the rule concerns it or not.
	AboutImages bool      // only images can answer what it demands
	AboutPrior  bool      // only an earlier study of the same person can
	EachValue   bool      // demands a range of every recorded value: see [Rule.Bounds]
	Each        string    // EachSeries when it is asked of each series of values
	rest        *deferred // nil when all was compiled at once
	Protocols   []string  // of which one must hold, when there are any
	Editions    []string  // of the guidelines it is of, when it is not of all
	Sex         string    // it is for, "" for any
	Kind        finding.Kind
	Severity    finding.Severity

	// After Prepare.
	Age        Ages
	Stated     []*Said // appliesTo.stated
	Unless     []*Said
	When       *expr.Program
	aliases    []*Alias // by name
	names      []string // theirs
	Aliases    map[string]*Alias
	Statements map[string]*Said
	Images     map[string]*ImageAlias
	Parameters map[string]*Parameter

	// After Complete.
	Require    *expr.Program // nil when the rule recomputes or forbids
	Recompute  *Recompute
	ZScore     *ZScore
	Review     *expr.Program
	SeverityIf []Escalation
	ExcusedBy  []*Said
	Message    *message.Template
	programs   []*expr.Program
	asks       Asks
	restsOn    []string

	File       File // as decoded, site changes applied
	Source     []byte
	Path       string
	Structure  string // folder
	Site       bool   // from a site folder, or changed by one
	basis      *Basis
	origin     *Source
	measurands func() []string
}

// Names are the aliases, statements and parameters that a result rests on, in
// order of appearance. They are known after Complete.
func (r *Rule) Names() []string { return r.restsOn }

// Digest is over the bytes of the rule file, of the site's change to it and of
// the works cited.
func (r *Rule) Digest() string { return r.origin.digest(r.File.RelatedArtifact) }

// AliasNames are the names that stand for measurands, sorted. They are known
// after Prepare.
func (r *Rule) AliasNames() []string { return r.names }

// AliasList are what the [Rule.AliasNames] stand for, in their order.
func (r *Rule) AliasList() []*Alias { return r.aliases }

// Adopt gives the rule another alias, for one that is made by hand.
func (r *Rule) Adopt(a *Alias) {
	i, _ := slices.BinarySearch(r.names, a.Name)
	r.names, r.aliases = slices.Insert(r.names, i, a.Name), slices.Insert(r.aliases, i, a)
	if r.Aliases == nil {
		r.Aliases = map[string]*Alias{}
	}
	r.Aliases[a.Name] = a
}

// OnEdition reports whether the rule, or a number of it, depends on the edition
// of the guidelines.
func (r *Rule) OnEdition() bool {
	if len(r.File.AppliesTo.Edition) > 0 {
		return true
	}
	for _, p := range r.File.Parameters {
		if slices.ContainsFunc(p.Cases, func(c CaseAsWritten) bool { return c.Edition != "" }) {
			return true
		}
	}
	return false
}

// Programs are the expressions that decide or tell the result. They are known
// after Complete.
func (r *Rule) Programs() []*expr.Program { return r.programs }

// Asks is what the result asks beside values of this study. It is known after
// Complete.
func (r *Rule) Asks() Asks { return r.asks }

// Asks is what a result asks beside values of this study and what it says.
type Asks struct {
	Wall    bool     // how the segments of the left ventricular wall move
	Earlier []string // names of which the earlier study is asked
	Shown   []string // names of whose image it asks what that shows
}

func (a *Asks) add(in expr.Input) {
	a.Wall = a.Wall || in.AboutSegments()
	if in.AboutPrior() && !slices.Contains(a.Earlier, in.Name) {
		a.Earlier = append(a.Earlier, in.Name)
	}
	if in.Question != nil && in.Question.ShownByImage() && !slices.Contains(a.Shown, in.Name) {
		a.Shown = append(a.Shown, in.Name)
	}
}

// index gathers once what is asked of every study.
func (r *Rule) index() {
	r.programs = r.deciding()
	if r.Recompute != nil {
		r.restsOn = append(r.restsOn, r.Recompute.Stated)
	}
	for _, p := range r.programs {
		for _, in := range p.Inputs {
			r.asks.add(in)
			if !slices.Contains(r.restsOn, in.Name) {
				r.restsOn = append(r.restsOn, in.Name)
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
	Title    string
	Value    *expr.Program
	Declared []coding.Key // by which an item says that it was computed so
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
	Binds      unique.Handle[string] // the same for aliases that stand for the same, whatever their names
}

// Title is the alias in words.
func (a *Alias) Title() string { return a.Measurands[0].Title }

// Said is a statement, or several that serve alike, in some view.
type Said struct {
	Name        string
	Definitions []*statement.Definition
	Views       []coding.Key // empty: any

	places    []int32 // of the definitions in their catalogue
	catalogue *statement.Catalogue
}

// Places are where the definitions stand in a catalogue; false when they are of
// another one.
func (s *Said) Places(c *statement.Catalogue) ([]int32, bool) { return s.places, s.catalogue == c }

// Title is the statement in words.
func (s *Said) Title() string { return s.Definitions[0].Title }

// Bounds returns the names of the alias and the two parameters when the rule
// demands a range and nothing else.
func (r *Rule) Bounds() (alias, from, to string, ok bool) {
	if !r.EachValue {
		return "", "", "", false
	}
	r.Prepare()
	return shortAlias, low, high, true
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
