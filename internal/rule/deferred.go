package rule

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"echotally/internal/finding"
	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
)

// deferred is what of a rule is not compiled yet.
type deferred struct {
	prepared, completed sync.Once
	work                *compilation // nil when all is compiled
}

// Defer makes a rule of a file that is known to be free of faults, one that
// ships with the program and was linted when it was built. It is compiled when
// first asked for, since most rules never apply to most studies.
func (b *Basis) Defer(s *Source) *Rule {
	c := b.compilation(s)
	c.linted = true
	if s.File.Status != "retired" {
		c.rule.rest = &deferred{work: c}
	}
	return c.rule
}

// Prepare resolves the names of the rule and compiles what tells whether it
// applies, unless that was done before. It is safe for use by several
// goroutines; a copy of the rule may be made once it is complete.
func (r *Rule) Prepare() {
	d := r.rest
	if d == nil {
		return
	}
	d.prepared.Do(func() {
		d.work.of(r).prepare()
		d.work.faultless()
	})
}

// Complete compiles all of the rule, unless that was done before. It is safe for
// use by several goroutines.
func (r *Rule) Complete() {
	d := r.rest
	if d == nil {
		return
	}
	r.Prepare()
	d.completed.Do(func() {
		d.work.of(r).complete()
		d.work.faultless()
		d.work = nil
	})
}

// of makes sure that the rule asked is the one that is filled in.
func (c *compilation) of(r *Rule) *compilation {
	if c.rule != r {
		panic("rule " + r.File.Identifier + " was copied before it was complete")
	}
	return c
}

// faultless stops a program that was built with a faulty rule file: a rule left
// out in silence would look like one that passed.
func (c *compilation) faultless() {
	if len(c.errors) > 0 {
		panic(fmt.Sprintf("rule %s of this program is faulty: %v", c.file.Identifier, errors.Join(c.errors...)))
	}
}

// about reads off the words of the rule what must be known before it is
// compiled.
func (r *Rule) about() {
	r.measurands = sync.OnceValue(r.measurandNames)
	f := &r.File
	r.EachValue = f.Bounds() != nil
	for _, text := range []string{f.Require, f.Review, f.AppliesTo.When} {
		eachWord(text, f.Define, func(w string) {
			_, images := f.Images[w]
			q := questionnaire.Find(w)
			r.AboutImages = r.AboutImages || images || q != nil && q.From == question.ImageOfValue
			r.AboutPrior = r.AboutPrior || q != nil && q.From == question.EarlierStudy
		})
	}
	forbids := func(word string) bool { return slices.Contains(f.Forbid, word) }
	r.AboutPrior = r.AboutPrior || forbids(BirthDateDiffers) || forbids(SexDiffers)
	r.AboutImages = r.AboutImages || len(f.Forbid) > 0 && !slices.ContainsFunc(f.Forbid, func(w string) bool { return !slices.Contains(ImageFaults(), w) })
}

// MeasurandNames are the identifiers of the measurands behind [Rule.Names]. They
// are known of every rule.
func (r *Rule) MeasurandNames() []string { return r.measurands() }

func (r *Rule) measurandNames() []string {
	var out []string
	take := func(word string) {
		choice := r.File.Measurands[word]
		if choice == nil {
			return
		}
		for _, m := range choice.Measurand {
			if !slices.Contains(out, m) {
				out = append(out, m)
			}
		}
	}
	f := &r.File
	if f.Status == "retired" {
		return nil
	}
	texts := []string{f.Require, f.Review}
	if d := f.Recompute; d != nil {
		take(d.Stated)
		for _, form := range d.From {
			texts = append(texts, form.Value)
		}
	}
	if d := f.ZScore; d != nil {
		for _, form := range d.BodySurfaceArea {
			texts = append(texts, form.Value)
		}
	}
	for _, text := range texts {
		eachWord(text, f.Define, take)
	}
	eachInBraces(f.Message, func(text string) { eachWord(text, f.Define, take) })
	return out
}

// Obtain says how what the rule asks for is got: in its own words, otherwise in
// those of the first of its measurands that has some; nil when nobody says.
func (r *Rule) Obtain() *finding.Obtain {
	if o := r.File.Obtain; o != nil {
		return &finding.Obtain{Window: o.Window, View: o.View, How: o.How}
	}
	for _, name := range sortedKeys(r.File.Measurands) {
		choice := r.File.Measurands[name].Measurand
		if len(choice) == 0 {
			continue
		}
		if m := r.basis.Measurands.Find(choice[0]); m != nil && m.Obtain != nil {
			return m.Obtain
		}
	}
	return nil
}
