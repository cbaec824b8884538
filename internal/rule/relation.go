package rule

import (
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/expr"
)

// Relation ties quantities of one study: both sides are equal when the heart is
// as the relation presumes. Joint reconciliation works on these.
type Relation struct {
	Identifier, Title string
	Equation          string // both sides as written
	Sources           []Artifact
	Left, Right       *expr.Program
	Log               bool       // compared as a ratio, otherwise as a difference
	Derives           string     // alias of the value that systems compute from the others, "" when each is measured by itself
	Uncertainty       *Parameter // of the relation itself; nil when it is arithmetic
	Unless            []*Said
	When              *expr.Program
	Age               Ages  // of whom it may be presumed
	Reading           *Rule // the names the expressions use
}

type relationFile struct {
	Identifier      string                         `yaml:"identifier"`
	Title           string                         `yaml:"title"`
	Purpose         string                         `yaml:"purpose"`
	RelatedArtifact []Artifact                     `yaml:"relatedArtifact"`
	Works           []Artifact                     `yaml:"sources"` // the same, the shorter word
	Measurands      map[string]*MeasurandChoice    `yaml:"measurands"`
	Statements      map[string]StatementChoice     `yaml:"statements"`
	Parameters      map[string]*ParameterAsWritten `yaml:"parameters"`
	Left            string                         `yaml:"left"`
	Right           string                         `yaml:"right"`
	Compare         string                         `yaml:"compare"`
	Derives         string                         `yaml:"derives"`
	Uncertainty     string                         `yaml:"uncertainty"`
	Unless          Names                          `yaml:"unless"`
	When            string                         `yaml:"when"`
	Age             *written.Range                 `yaml:"age"`
}

// CompileRelation compiles a relation file; nil when it cannot be decoded.
func (b *Basis) CompileRelation(s *Source) (*Relation, []error) {
	var f relationFile
	if err := s.decode(&f); err != nil {
		return nil, []error{err}
	}
	c := b.around(s, File{Measurands: f.Measurands, Statements: f.Statements, Parameters: f.Parameters, RelatedArtifact: slices.Concat(f.RelatedArtifact, f.Works)})
	if want := strings.TrimSuffix(strings.TrimPrefix(s.Path, "relation/"), ".yaml"); f.Identifier != want {
		c.fault("$.identifier", "identifier is not the name of the file", "write identifier: "+want)
	}
	if f.Title == "" {
		c.fault("$.title", "the relation has no title", "")
	}
	c.artifacts()
	c.measurands()
	c.statements()
	c.parameters()
	c.symbols()
	r := &Relation{Identifier: f.Identifier, Title: f.Title, Equation: f.Left + " = " + f.Right, Sources: c.file.RelatedArtifact, Derives: f.Derives, Log: f.Compare == "ratio", Reading: c.rule}
	c.sides(r, f)
	r.Unless = c.saidList("$.unless", f.Unless)
	r.When, r.Age = c.program("$.when", f.When, expr.Bool), c.ages("$.age", f.Age)
	c.uncertainty(r, f)
	c.unused()
	return r, c.errors
}

func (c *compilation) sides(r *Relation, f relationFile) {
	r.Left, r.Right = c.program("$.left", f.Left, expr.Number), c.program("$.right", f.Right, expr.Number)
	if (r.Left == nil || r.Right == nil) && len(c.errors) == 0 {
		c.fault("$.identifier", "a relation has two sides", "give left and right")
	}
	if r.Left != nil && r.Right != nil && !r.Left.Unit.Convertible(r.Right.Unit) {
		c.fault("$.right", "the left side is in "+r.Left.Unit.Code()+", the right side in "+r.Right.Unit.Code(), "")
	}
	if f.Compare != "ratio" && f.Compare != "difference" {
		c.fault("$.compare", "unknown word "+f.Compare, "ratio or difference")
	}
	if f.Derives != "" && c.rule.Aliases[f.Derives] == nil {
		c.fault("$.derives", "unknown name "+f.Derives, suggest(f.Derives, sortedKeys(c.file.Measurands)))
	}
	if alias, bare := bareName(r.Right); f.Derives != "" && len(c.errors) == 0 && (!bare || alias != f.Derives) {
		c.fault("$.derives", "what is derived stands alone on the right side", "write right: "+f.Derives)
	}
}

func bareName(p *expr.Program) (string, bool) {
	if p == nil {
		return "", false
	}
	return p.Alias()
}

func (c *compilation) uncertainty(r *Relation, f relationFile) {
	if f.Uncertainty == "" {
		return
	}
	c.used[f.Uncertainty] = true
	r.Uncertainty = c.rule.Parameters[f.Uncertainty]
	switch {
	case r.Uncertainty == nil:
		c.fault("$.uncertainty", "unknown parameter "+f.Uncertainty, suggest(f.Uncertainty, sortedKeys(c.file.Parameters)))
	case r.Log && r.Uncertainty.Unit.Code() != "%":
		c.fault("$.uncertainty", "the uncertainty of a ratio is given in %", "")
	case !r.Log && r.Right != nil && !r.Uncertainty.Unit.Convertible(r.Right.Unit):
		c.fault("$.uncertainty", "the uncertainty is in "+r.Uncertainty.Unit.Code()+", the sides in "+r.Right.Unit.Code(), "")
	}
}
