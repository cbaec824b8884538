// Package rulebook owns the pages about the rules: the catalogue to search, one rule with
// what becomes of it in this lab, and how a lab changes one: what if, proposed by one
// person and adopted by another.
package rulebook

import (
	"cmp"
	"context"
	"embed"
	"io/fs"
	"net/url"
	"slices"
	"strings"

	"echotally/internal/account"
	"echotally/internal/audit"
	"echotally/internal/catalogue"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/table"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages about rules.
type Pages struct {
	// Load reads the rules as they lie in the folders now, and further layers over them.
	Load func(library.Settings, ...fs.FS) (*library.Library, error)
	// Shipped gives the rules without those of the lab.
	Shipped func() (*library.Library, error)
	// Renew has studies judged by the rules as they lie in the folders now. On a fault
	// those of before stay in force.
	Renew func() error
	// Site is the folder of the lab's own rule files, "" for none.
	Site   string
	Period *period.Pages
}

// row is a rule in the list.
type row struct {
	Path, Title, Identifier, Severity, Kind, Status, Sources string
	Site                                                     bool
	Rate                                                     *rate
}

// rate is what became of a rule in the lab.
type rate struct {
	Met, NotMet, Reasoned, CannotTell int
	Share                             string // not met, of those in which it could be told
	Path                              string // of the studies in which it is not met, for who may see them
}

// count is in how many studies it is not met, -1 where it could be told in none. Rules go
// by that and not by their share: one study of one is 100 %.
func (r *rate) count() int {
	if r == nil || r.Met+r.NotMet+r.Reasoned == 0 {
		return -1
	}
	return r.NotMet
}

type structure struct {
	Name, Title, Path string
	Count             int
	Here              bool
}

type list struct {
	Query, Structure, Guideline, Severity, Order string
	Asked                                        bool
	Structures                                   []structure
	Guidelines                                   []string
	Rows                                         []row
	Total                                        int
	Rates                                        *rates // nil while they are being counted
	Open                                         int    // changes that wait for a second person
	Manager                                      bool
}

// mostShown is how many rules are shown where nothing was asked for.
const mostShown = 20

// List is the catalogue.
func (p *Pages) List(c *frame.Call) error {
	var err error
	q := c.R.URL.Query()
	v := &list{Query: strings.TrimSpace(q.Get("q")), Structure: q.Get("structure"), Guideline: q.Get("guideline"), Severity: q.Get("severity"), Order: q.Get("order"), Manager: c.Session.Has(account.QualityManager)}
	v.Asked = v.Query+v.Structure+v.Guideline+v.Severity != ""
	if v.Rates, err = p.rates(c); err != nil {
		return err
	}
	rules := catalogue.All(c.Lab.Desk().Library)
	v.Total = len(rules)
	for _, r := range rules {
		v.count(r, q)
		if !v.takes(r) {
			continue
		}
		one := rowOf(r)
		one.Rate = v.Rates.of(r.File.Identifier)
		v.Rows = append(v.Rows, one)
	}
	slices.Sort(v.Guidelines)
	v.Guidelines = slices.Compact(v.Guidelines)
	if !v.Asked || v.Order == "fails" {
		slices.SortStableFunc(v.Rows, func(a, b row) int { return cmp.Compare(b.Rate.count(), a.Rate.count()) })
	}
	if !v.Asked {
		v.Rows = v.Rows[:min(mostShown, len(v.Rows))]
		v.Rows = slices.DeleteFunc(v.Rows, func(r row) bool { return r.Rate.count() <= 0 })
	}
	if v.Open, err = waiting(c); err != nil {
		return err
	}
	return c.Page(frame.View{Title: "Rules", Name: "rules", Data: v})
}

// count adds a rule to what may be chosen.
func (v *list) count(r *rule.Rule, q url.Values) {
	name, _, _ := strings.Cut(r.File.Identifier, "/")
	if n := len(v.Structures); n == 0 || v.Structures[n-1].Name != name {
		v.Structures = append(v.Structures, structure{Name: name, Title: strings.ReplaceAll(name, "-", " "), Path: "/rules?structure=" + url.QueryEscape(name), Here: name == v.Structure})
	}
	v.Structures[len(v.Structures)-1].Count++
	for _, a := range r.File.RelatedArtifact {
		if a.Citation != "" {
			v.Guidelines = append(v.Guidelines, a.Label)
		}
	}
}

func (v *list) takes(r *rule.Rule) bool {
	f := r.File
	filter := catalogue.Filter{Guideline: v.Guideline}
	if v.Structure != "" {
		filter.Prefix = v.Structure + "/"
	}
	if !v.Asked && f.Severity == "information" || !filter.Takes(r) || v.Severity != "" && f.Severity != v.Severity {
		return false
	}
	text := strings.ToLower(strings.Join([]string{f.Identifier, f.Title, f.Purpose}, " "))
	for _, word := range strings.Fields(strings.ToLower(v.Query)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}

func rowOf(r *rule.Rule) row {
	var sources []string
	for _, a := range r.File.RelatedArtifact {
		if !slices.Contains(sources, a.Label) {
			sources = append(sources, a.Label)
		}
	}
	return row{Path: "/rules/" + r.File.Identifier, Title: r.File.Title, Identifier: r.File.Identifier, Severity: severityWord(r.File.Severity), Kind: r.File.Kind,
		Status: r.File.Status, Sources: strings.Join(sources, ", "), Site: r.Site}
}

func severityWord(s string) string {
	if s == "information" {
		return "note"
	}
	return s
}

// rates are what became of each rule over the twelve months up to the last study.
type rates struct {
	Months, name string
	by           map[string]map[audit.As]int
	manager      bool
}

// rates gives them, nil while they are being counted.
func (p *Pages) rates(c *frame.Call) (*rates, error) {
	opt, studies, err := p.Period.Lately(c)
	if frame.BeingMade(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	made, err := c.Made("rates "+opt.Period.Name, func(context.Context) (any, error) { return opt.Rates(studies), nil })
	if frame.BeingMade(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &rates{opt.Period.Words(), opt.Period.Name, made.(map[string]map[audit.As]int), c.Session.Has(account.QualityManager)}, nil
}

func (r *rates) of(identifier string) *rate {
	if r == nil || r.by[identifier] == nil {
		return nil
	}
	n := r.by[identifier]
	out := &rate{Met: n[audit.Met], NotMet: n[audit.NotMet], Reasoned: n[audit.Reasoned], CannotTell: n[audit.CannotTell]}
	out.Share = table.Percent(proportion(out.NotMet, out.Met+out.NotMet+out.Reasoned))
	if r.manager {
		out.Path = "/lab/studies?" + url.Values{"period": {r.name}, "measure": {"rule:" + identifier}, "as": {string(audit.NotMet)}}.Encode()
	}
	return out
}
