package rulebook

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"echotally/internal/catalogue"
	"echotally/internal/library"
	"echotally/internal/web/code"
	"echotally/internal/web/frame"
)

// difference is something that this lab has otherwise than the shipped rules.
type difference struct {
	Title, Path, Name string
	What              []string
	Since, Who, Why   string
}

// unknown stands for what nobody noted.
const unknown = "not noted"

// adoption is a change that was adopted.
type adoption struct {
	entry
	day, by string // when, and by whom
}

// differences are all differences of the lab, those of rules first.
func (p *Pages) differences(c *frame.Call) ([]difference, error) {
	shipped, err := c.Made("shipped rules", func(context.Context) (any, error) { return p.Shipped() })
	if err != nil {
		return nil, err
	}
	lib := c.Lab.Desk().Library
	out, files, err := p.ofRules(c, shipped.(*library.Library), lib)
	if err != nil {
		return nil, err
	}
	named, err := code.Named(c.R.Context(), c.Lab.Ledger)
	if err != nil {
		return nil, err
	}
	for _, file := range lib.Own {
		if files[file] {
			continue
		}
		d := difference{Title: "Names and words", Name: file, What: []string{"a file of the lab's own beside the shipped ones"}, Since: unknown, Who: unknown, Why: "written by hand"}
		for _, n := range named {
			if n.File == file {
				d.Title, d.What, d.Why = "Codes of scanners", nil, ""
				d.Since, d.Who = n.At.Format(time.DateOnly), c.Person(n.Who, n.Roles)
				for _, one := range n.Codes {
					d.What = append(d.What, one.Code+" ("+one.Meaning+") is "+one.Means)
					d.Why += map[bool]string{true: "", false: "; "}[d.Why == ""] + one.Why
				}
			}
		}
		out = append(out, d)
	}
	return out, nil
}

// ofRules are the differences of rules, and the files they stand in.
func (p *Pages) ofRules(c *frame.Call, shipped, lib *library.Library) ([]difference, map[string]bool, error) {
	adopted, err := p.adopted(c)
	if err != nil {
		return nil, nil, err
	}
	changes, _ := catalogue.Compare(shipped, lib)
	files := map[string]bool{}
	var out []difference
	for _, r := range catalogue.All(lib) {
		if !r.Site {
			continue
		}
		id := r.File.Identifier
		files[changed(id, "").Name] = true
		d := difference{Title: r.File.Title, Path: "/rules/" + id, Name: id, Since: r.File.ApprovalDate, Who: strings.ReplaceAll(r.File.Reviewer, "-", " "), Why: "written by hand"}
		if i := slices.IndexFunc(changes, func(o catalogue.Change) bool { return o.Identifier == id }); i >= 0 {
			d.What = plain(changes[i].What)
		}
		if len(d.What) == 0 {
			d.What = []string{"a file of the lab's own that changes nothing"}
		}
		if a, ok := adopted[id]; ok && p.asAdopted(a) {
			d.Since, d.Who, d.Why = a.day, a.by, a.Reason
		}
		for _, text := range []*string{&d.Since, &d.Who} {
			if *text == "" {
				*text = unknown
			}
		}
		out = append(out, d)
	}
	return out, files, nil
}

// plain leaves out what follows from a change of severity by itself.
func plain(what []string) []string {
	out := slices.DeleteFunc(slices.Clone(what), func(s string) bool { return s == "examples" && len(what) > 1 || strings.HasPrefix(s, "words about ") })
	for i, s := range out {
		out[i] = map[string]string{"new rule": "a rule of the lab's own", "status active to retired": "not asked any more"}[s]
		if out[i] == "" {
			out[i] = strings.ReplaceAll(s, "_", " ")
		}
	}
	return out
}

// adopted are the changes that were adopted, the latest of each rule.
func (p *Pages) adopted(c *frame.Call) (map[string]adoption, error) {
	list, err := c.Lab.Ledger.Decisions(c.R.Context(), changeKind)
	if err != nil {
		return nil, err
	}
	entries, err := read(list)
	if err != nil {
		return nil, err
	}
	of, out := map[int]entry{}, map[string]adoption{}
	for i, e := range entries {
		switch e.Event {
		case "proposed":
			of[e.Number] = e
		case "adopted":
			was := of[e.Number]
			out[was.Rule] = adoption{was, list[i].At.Format(time.DateOnly), c.Person(e.Who, e.Roles) + "; proposed by " + c.Person(was.Who, was.Roles)}
		}
	}
	return out, nil
}

// asAdopted reports whether the file is still the one that was adopted.
func (p *Pages) asAdopted(a adoption) bool {
	kept := changed(a.Rule, a.File)
	text, err := os.ReadFile(filepath.Join(p.Site, filepath.FromSlash(kept.Name)))
	return p.Site != "" && err == nil && string(text) == kept.Text
}
