package period

import (
	"net/url"
	"strconv"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/layout"
	"echotally/internal/web/frame"
)

// mostStudies is how many one page lists.
const mostStudies = 200

// list is the studies behind a figure as the template gets it.
type list struct {
	Title, Of, Period, Back string
	Action                  string // where an action about the measure is begun, "" for none
	Count                   int
	Tabs                    []tab
	Rows                    []row
	Standing                bool // rows say how they stand to a measure
	From, To                int
	Earlier, Later          string
}

type tab struct {
	Title, Path string
	Count       int
	Here        bool
}

// row is a study by what stands for it; nothing names whom it is of, or who made it.
type row struct {
	Number                                int
	Path, Date, Protocol, Scanner, Stands string
}

// Studies lists the studies behind a figure.
func (p *Pages) Studies(c *frame.Call) error {
	a, _, err := read(c)
	if err != nil {
		return err
	}
	all, err := studies(c, a.period)
	if err != nil {
		return err
	}
	q := c.R.URL.Query()
	opt, b := p.options(c, a), audit.Behind{Measure: q.Get("measure"), As: audit.As(q.Get("as")), Cause: q.Get("cause")}
	title, known := titleOf(c, &opt, b)
	if !known {
		return frame.ErrNotFound
	}
	found := opt.Behind(all, b)
	v := &list{Title: title, Of: a.only.Words(), Period: a.period.Words(), Back: "/lab?" + a.values().Encode(), Count: len(found), Standing: b.Measure != ""}
	here := func(change ...string) string {
		return a.behind(append(keep(q, "measure", "as", "cause"), change...)...)
	}
	stands := map[string]string{}
	if b.Measure != "" {
		v.Action = "/actions?" + url.Values{"measure": {b.Measure}}.Encode() + "#begin"
		for _, as := range []audit.As{"", audit.NotMet, audit.Met, audit.Reasoned, audit.CannotTell} {
			one := b
			one.As = as
			these := opt.Behind(all, one)
			if as != "" {
				for _, s := range these {
					stands[s.UID] = standsWords(as)
				}
			}
			if len(these) > 0 || as == b.As {
				v.Tabs = append(v.Tabs, tab{standsWords(as), here("as", string(as)), len(these), as == b.As})
			}
		}
	}
	from := v.part(q, len(found), here)
	for i, s := range found[from:v.To] {
		v.Rows = append(v.Rows, row{
			Number: from + i + 1, Path: c.Lab.Study(s.UID), Date: s.Date.Format("2006-01-02"), Protocol: layout.OrElse(s.Kind, "kind not recognised"),
			Scanner: layout.OrElse(strings.TrimSpace(s.Device.Station+" "+s.Device.Software), "not named"), Stands: stands[s.UID],
		})
	}
	return c.Page(frame.View{Title: "Studies behind a figure", Name: "lab-studies", Data: v})
}

// part chooses which of the studies the page lists.
func (v *list) part(q url.Values, count int, here func(...string) string) (from int) {
	n, _ := strconv.Atoi(q.Get("from-number"))
	from = min(max(0, n), max(0, count-1)/mostStudies*mostStudies)
	v.From, v.To = from+1, min(count, from+mostStudies)
	if from > 0 {
		v.Later = here("from-number", strconv.Itoa(from-mostStudies))
	}
	if v.To < count {
		v.Earlier = here("from-number", strconv.Itoa(from+mostStudies))
	}
	return from
}

func keep(q url.Values, names ...string) []string {
	var out []string
	for _, n := range names {
		if q.Get(n) != "" {
			out = append(out, n, q.Get(n))
		}
	}
	return out
}

func standsWords(as audit.As) string {
	return map[audit.As]string{"": "counted", audit.Met: "met", audit.NotMet: "not met", audit.Reasoned: "not met, with a reason", audit.CannotTell: "cannot tell"}[as]
}

// titleOf says what is asked for; false when there is no such measure.
func titleOf(c *frame.Call, opt *audit.Options, b audit.Behind) (string, bool) {
	title := "All studies"
	if b.Cause != "" {
		title = "Contradictions whose likely slip is: " + strings.ReplaceAll(b.Cause, "-", " ")
	}
	if b.Measure == "" {
		return title, true
	}
	m, known := opt.Find(b.Measure)
	if name, is := audit.RuleOf(b.Measure); is {
		known = false
		for _, r := range c.Lab.Desk().Library.Rules {
			if r.File.Identifier == name {
				m.Title, known = r.File.Title, true
			}
		}
	}
	return m.Title, known
}
