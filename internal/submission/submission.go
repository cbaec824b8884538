// Package submission finds the studies that may be handed in as cases to who
// accredits a lab: each clause of what is asked for put to each study, and those
// that meet all of them spread over the staff.
package submission

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"echotally/internal/answer"
	"echotally/internal/audit"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// Clause is what became of one clause in a study.
type Clause struct {
	Words  string
	Answer expr.Truth
}

// Candidate is a study with what became of every clause.
type Candidate struct {
	Study       string // Study Instance UID
	Date        time.Time
	Sonographer string // pseudonyms
	Reader      string
	Clauses     []Clause
}

// Fits tells whether all clauses are met; it cannot be told where one cannot and
// none fails.
func (c *Candidate) Fits() expr.Truth {
	out := expr.True
	for _, one := range c.Clauses {
		switch one.Answer {
		case expr.False:
			return expr.False
		case expr.Unknown:
			out = expr.Unknown
		}
	}
	return out
}

// Put puts the clauses to a study. Counted is the same study as the audit counts
// it; the clause about completeness needs it.
func Put(lib *library.Library, of *rule.Cases, s *echo.Study, counted *counted.Study, opt *audit.Options, today time.Time) Candidate {
	c := Candidate{Study: counted.UID, Date: counted.Date, Sonographer: counted.Sonographer, Reader: counted.Reader}
	answers := answer.Read(lib, s).To(of.Reading)
	for _, one := range of.Clauses {
		c.Clauses = append(c.Clauses, Clause{answers.Write(one.Words), answers.Truth(one.When)})
	}
	if of.Months > 0 {
		c.Clauses = append(c.Clauses, Clause{fmt.Sprintf("no older than %d months", of.Months), truth(!counted.Date.Before(today.AddDate(0, -of.Months, 0)))})
	}
	if of.Complete {
		m, _ := opt.Find(audit.Complete)
		told, met := m.Of(counted)
		answer := truth(met)
		if !told {
			answer = expr.Unknown
		}
		c.Clauses = append(c.Clauses, Clause{"nothing required is missing", answer})
	}
	return c
}

func truth(b bool) expr.Truth {
	if b {
		return expr.True
	}
	return expr.False
}

// Choose takes so many of those that fit, spread over the staff: next is always
// the one whose sonographer and reader have the fewest so far, of several the
// latest. Nobody is preferred by who they are.
func Choose(all []Candidate, n int) []Candidate {
	var fit []Candidate
	for _, c := range all {
		if c.Fits() == expr.True {
			fit = append(fit, c)
		}
	}
	slices.SortFunc(fit, func(a, b Candidate) int { return cmp.Or(b.Date.Compare(a.Date), cmp.Compare(a.Study, b.Study)) })
	var out []Candidate
	have := map[string]int{}
	load := func(c Candidate) int { return have["s"+c.Sonographer] + have["r"+c.Reader] }
	for len(out) < n && len(fit) > 0 {
		next := 0
		for i := range fit {
			if load(fit[i]) < load(fit[next]) {
				next = i
			}
		}
		c := fit[next]
		have["s"+c.Sonographer]++
		have["r"+c.Reader]++
		out, fit = append(out, c), slices.Delete(fit, next, next+1)
	}
	return out
}

// Code names a study on a list that leaves the lab: it follows from the UID and a
// keyed hash, and nobody without the key gets back from it.
func Code(mark func(string) string, study string) string {
	sum := sha256.Sum256([]byte(mark("case " + study)))
	return "case-" + hex.EncodeToString(sum[:4])
}

// Tables are the list of the chosen cases, why the others do not fit, and every
// study with every clause. No study is named but by its code, no person at all.
func Tables(of *rule.Cases, all, chosen []Candidate, code func(study string) string) []table.Table {
	list := table.Table{
		Identifier: "chosen", Title: "Chosen: " + of.Title, Note: "Studies that meet every clause, spread over sonographers and readers; codes of studies and persons are of this list alone.",
		Columns: []table.Column{
			{Identifier: "case", Title: "Case", Kind: table.Words, Meaning: "code of the study"}, {Identifier: "month", Title: "Month", Kind: table.Words, Meaning: "month of the study"},
			{Identifier: "sonographer", Title: "Sonographer", Kind: table.Words, Meaning: "code of this list"}, {Identifier: "reader", Title: "Reader", Kind: table.Words, Meaning: "code of this list"},
		},
	}
	people := map[string]string{}
	person := func(role, who string) string {
		if who == "" {
			return "(not known)"
		}
		if people[role+who] == "" {
			n := 0
			for key := range people {
				if key[:1] == role[:1] {
					n++
				}
			}
			people[role+who] = fmt.Sprintf("%s %d", role, n+1)
		}
		return people[role+who]
	}
	for _, c := range chosen {
		list.Add(table.TextCell(code(c.Study)), table.TextCell(c.Date.Format("2006-01")), table.TextCell(person("Sonographer", c.Sonographer)), table.TextCell(person("Reader", c.Reader)))
	}
	return []table.Table{list, clauses(of, all), every(of, all, code)}
}

// clauses counts how many studies meet each clause, and how many fail it alone.
func clauses(of *rule.Cases, all []Candidate) table.Table {
	t := table.Table{
		Identifier: "clauses", Title: "Clauses", Note: "Of the studies looked at, how many meet each clause, and how many meet all others but fail this one or leave it open.",
		Columns: []table.Column{
			{Identifier: "clause", Title: "Clause", Kind: table.Words, Meaning: "what is asked for"}, {Identifier: "met", Title: "Met", Kind: table.Share, Meaning: "studies that meet it"},
			{Identifier: "cannot_tell", Title: "Cannot tell", Kind: table.Count, Meaning: "studies in which it cannot be told"}, {Identifier: "alone", Title: "Fails alone", Kind: table.Count, Meaning: "studies that fail this clause and no other"},
		},
	}
	if len(all) == 0 {
		return t
	}
	for i, one := range all[0].Clauses {
		met, open, alone := stats.Proportion{Total: len(all)}, 0, 0
		for _, c := range all {
			switch c.Clauses[i].Answer {
			case expr.True:
				met.Count++
				continue
			case expr.Unknown:
				open++
			}
			others := true
			for k, other := range c.Clauses {
				others = others && (k == i || other.Answer == expr.True)
			}
			if others {
				alone++
			}
		}
		t.Add(table.TextCell(one.Words), table.ShareCell(met), table.CountCell(open), table.CountCell(alone))
	}
	return t
}

func every(of *rule.Cases, all []Candidate, code func(string) string) table.Table {
	t := table.Table{
		Identifier: "studies", Title: "Every study and clause", Unprinted: true, Note: "yes, no or cannot tell.",
		Columns: []table.Column{
			{Identifier: "case", Title: "Case", Kind: table.Words, Meaning: "code of the study"}, {Identifier: "clause", Title: "Clause", Kind: table.Words, Meaning: "what is asked for"},
			{Identifier: "answer", Title: "Met", Kind: table.Words, Meaning: "yes, no or cannot tell"},
		},
	}
	for _, c := range all {
		for _, one := range c.Clauses {
			t.Add(table.TextCell(code(c.Study)), table.TextCell(one.Words), table.TextCell(Words(one.Answer)))
		}
	}
	return t
}

// Words is an answer in words.
func Words(t expr.Truth) string {
	switch t {
	case expr.True:
		return "yes"
	case expr.False:
		return "no"
	}
	return "cannot tell"
}
