package ruletest_test

import (
	"slices"
	"sync"
	"testing"

	"echotally/internal/expr"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/ruletest"
	"echotally/rules"
)

// What is read off the words of a rule before it is compiled is what the
// compiled expressions say.
func TestWordsSayWhatIsCompiled(t *testing.T) {
	for _, r := range ruletest.Load(t).Rules {
		var measurands []string
		for _, name := range r.Names() {
			a := r.Aliases[name]
			for i := 0; a != nil && i < len(a.Measurands); i++ {
				if id := a.Measurands[i].Identifier; !slices.Contains(measurands, id) {
					measurands = append(measurands, id)
				}
			}
		}
		if !slices.Equal(measurands, r.MeasurandNames()) {
			t.Errorf("%s is about %v, its words say %v", r.Path, measurands, r.MeasurandNames())
		}
		images, prior := len(r.File.Forbid) > 0, slices.Contains(r.File.Forbid, rule.BirthDateDiffers) || slices.Contains(r.File.Forbid, rule.SexDiffers)
		for _, word := range r.File.Forbid {
			images = images && slices.Contains(rule.ImageFaults(), word)
		}
		for _, p := range []*expr.Program{r.Require, r.Review, r.When} {
			for i := 0; p != nil && i < len(p.Inputs); i++ {
				in := p.Inputs[i]
				images = images || r.Images[in.Name] != nil || expr.Scope{}.AboutImages(in)
				prior = prior || in.AboutPrior()
			}
		}
		if images != r.AboutImages || prior != r.AboutPrior {
			t.Errorf("%s: about images %t, about an earlier study %t; its words say %t and %t", r.Path, images, prior, r.AboutImages, r.AboutPrior)
		}
	}
}

// A shipped rule is not compiled before it is asked for, and then once however
// many ask.
func TestARuleIsCompiledWhenAskedFor(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range set.Rules[:50] {
		if r.Aliases != nil || r.When != nil || r.Require != nil {
			t.Fatalf("%s was compiled while loading", r.Path)
		}
		var all sync.WaitGroup
		seen := make([]*expr.Program, 8)
		for i := range seen {
			all.Go(func() {
				r.Complete()
				seen[i] = r.Require
			})
		}
		all.Wait()
		if (r.File.Require == "") != (seen[0] == nil) || slices.ContainsFunc(seen, func(p *expr.Program) bool { return p != seen[0] }) {
			t.Errorf("%s: compiled as %v", r.Path, seen)
		}
	}
}
