package rule

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/expr"
	"echotally/internal/expr/message"
)

// Protocol is a kind of study and how it is recognised.
type Protocol struct {
	Identifier, Title string
	Base              bool // exactly one base protocol holds per study
	Order             int
	DeclaredBy        []*Said
	Age               Ages     // for whom the protocol is
	Unless            []*Said  // none of these is stated where it is inferred
	Because           []Reason // one of these infers it
	Implies           []string // statements that are as good as made where it holds
	Reading           *Rule    // the names the reasons use
	Sources           []Artifact
	Digest            string // of the file
}

// Reason infers a protocol where it holds, and says so in words.
type Reason struct {
	When  *expr.Program
	Words *message.Template
	Text  string // the words as the file has them
}

type protocolFile struct {
	Identifier      string                         `yaml:"identifier"`
	Title           string                         `yaml:"title"`
	Base            bool                           `yaml:"base"`
	Order           int                            `yaml:"order"`
	Purpose         string                         `yaml:"purpose"`
	RelatedArtifact []Artifact                     `yaml:"relatedArtifact"`
	Works           []Artifact                     `yaml:"sources"` // the same, the shorter word
	DeclaredBy      Names                          `yaml:"declaredBy"`
	Age             *written.Range                 `yaml:"age"`
	Unless          Names                          `yaml:"unless"`
	Because         []reasonFile                   `yaml:"because"`
	Implies         Names                          `yaml:"implies"`
	Measurands      map[string]*MeasurandChoice    `yaml:"measurands"`
	Statements      map[string]StatementChoice     `yaml:"statements"`
	Parameters      map[string]*ParameterAsWritten `yaml:"parameters"`
}

type reasonFile struct {
	When  string `yaml:"when"`
	Words string `yaml:"words"`
}

// CompileProtocol compiles a protocol file; nil when it cannot be decoded.
func (b *Basis) CompileProtocol(s *Source) (*Protocol, []error) {
	var f protocolFile
	if err := s.decode(&f); err != nil {
		return nil, []error{err}
	}
	c := b.around(s, File{Measurands: f.Measurands, Statements: f.Statements, Parameters: f.Parameters, RelatedArtifact: slices.Concat(f.RelatedArtifact, f.Works)})
	if len(c.file.RelatedArtifact) > 0 {
		c.artifacts()
	}
	if want := strings.TrimSuffix(strings.TrimPrefix(s.Path, "protocol/"), ".yaml"); f.Identifier != want {
		c.fault("$.identifier", "identifier is not the name of the file", "write identifier: "+want)
	}
	if f.Title == "" {
		c.fault("$.title", "the protocol has no title", "")
	}
	c.measurands()
	c.statements()
	c.parameters()
	c.symbols()
	p := &Protocol{Identifier: f.Identifier, Title: f.Title, Base: f.Base, Order: f.Order, Reading: c.rule, Sources: c.file.RelatedArtifact, Digest: digest(s.Text)}
	p.DeclaredBy = c.saidList("$.declaredBy", f.DeclaredBy)
	p.Age = c.ages("$.age", f.Age)
	p.Unless = c.saidList("$.unless", f.Unless)
	p.Because = c.reasons(f.Because)
	for _, s := range c.saidList("$.implies", f.Implies) {
		for _, d := range s.Definitions {
			p.Implies = append(p.Implies, d.Identifier)
		}
	}
	if len(f.Because) == 0 && len(f.DeclaredBy) == 0 && len(c.errors) == 0 {
		c.fault("$.identifier", "nothing says when the protocol holds", "give declaredBy, because, or both")
	}
	c.unused()
	return p, c.errors
}

func (c *compilation) reasons(files []reasonFile) []Reason {
	var out []Reason
	for i, f := range files {
		path := fmt.Sprintf("$.because[%d]", i)
		if f.When == "" || f.Words == "" {
			c.fault(path, "a reason needs both when and words", "when is the expression, words are what the reader is told")
			continue
		}
		out = append(out, Reason{c.program(path+".when", f.When, expr.Bool), c.template(path+".words", f.Words), f.Words})
	}
	return out
}

// protocolName checks a protocol named by a rule.
func (c *compilation) protocolName(path, name string) {
	var known []string
	for _, p := range c.Protocols {
		if p.Identifier == name {
			return
		}
		known = append(known, p.Identifier)
	}
	c.fault(path, "unknown protocol "+name, suggest(name, known))
}
