package rule

import (
	"fmt"
	"strings"

	"echotally/internal/expr"
)

// Cases says which studies may be handed in as cases of one kind.
type Cases struct {
	Identifier, Title string
	Months            int  // how old a study may be; 0 for any age
	Complete          bool // nothing required may be missing
	Clauses           []Reason
	Look              []string // what a person has to look at, since no record says it
	Reading           *Rule    // the names the clauses use
	Sources           []Artifact
}

type casesFile struct {
	Identifier string                         `yaml:"identifier"`
	Title      string                         `yaml:"title"`
	Works      []Artifact                     `yaml:"sources"`
	Measurands map[string]*MeasurandChoice    `yaml:"measurands"`
	Statements map[string]StatementChoice     `yaml:"statements"`
	Parameters map[string]*ParameterAsWritten `yaml:"parameters"`
	Months     int                            `yaml:"months"`
	Complete   bool                           `yaml:"complete"`
	Clauses    []reasonFile                   `yaml:"clauses"`
	Look       []string                       `yaml:"look"`
}

// CompileCases compiles a file of cases; nil when it cannot be decoded.
func (b *Basis) CompileCases(s *Source) (*Cases, []error) {
	var f casesFile
	if err := s.decode(&f); err != nil {
		return nil, []error{err}
	}
	c := b.around(s, File{Measurands: f.Measurands, Statements: f.Statements, Parameters: f.Parameters, RelatedArtifact: f.Works})
	c.artifacts()
	if want := strings.TrimSuffix(strings.TrimPrefix(s.Path, "cases/"), ".yaml"); f.Identifier != want {
		c.fault("$.identifier", "identifier is not the name of the file", "write identifier: "+want)
	}
	if f.Title == "" {
		c.fault("$.title", "the cases have no title", "")
	}
	c.measurands()
	c.statements()
	c.parameters()
	c.symbols()
	out := &Cases{Identifier: f.Identifier, Title: f.Title, Months: f.Months, Complete: f.Complete, Look: f.Look, Reading: c.rule, Sources: c.file.RelatedArtifact}
	for i, one := range f.Clauses {
		path := fmt.Sprintf("$.clauses[%d]", i)
		if one.When == "" || one.Words == "" {
			c.fault(path, "a clause needs both when and words", "when is the expression, words are what a reader is told")
			continue
		}
		out.Clauses = append(out.Clauses, Reason{c.program(path+".when", one.When, expr.Bool), c.template(path+".words", one.Words), one.Words})
	}
	if len(f.Clauses) == 0 {
		c.fault("$.identifier", "nothing says which studies are meant", "give clauses")
	}
	c.unused()
	return out, c.errors
}
