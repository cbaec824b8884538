package review

import "fmt"

// Line is one thing read again beside what was reported, in words.
type Line struct {
	Case                          int
	What, Reported, Again, Agrees string
}

// Beside shows an entry beside what was reported of the cases.
func (d *Draw) Beside(items *Items, e Entry) []Line {
	var out []Line
	for _, a := range e.Rows {
		c := d.Find(a.Case)
		l := Line{Case: a.Case, What: a.Item, Reported: "not reported", Again: "not measurable", Agrees: "cannot tell"}
		if g := items.Grade(a.Item); g != nil {
			l.What = g.Title
			was, ok := c.Reported.Grades[a.Item]
			if ok {
				l.Reported = was
			}
			if !a.NotMeasurable {
				l.Again = a.Grade
			}
			if ok && !a.NotMeasurable {
				l.Agrees = yes(g.Agree(was, a.Grade))
			}
		} else if m := items.Measurement(a.Item); m != nil {
			was, ok := c.Reported.Values[a.Item]
			l.What = m.Title(a.Item)
			if ok {
				l.Reported = fmt.Sprintf("%.4g %s", was, m.Unit.Code())
			}
			if a.Value != nil {
				l.Again = fmt.Sprintf("%.4g %s", *a.Value, m.Unit.Code())
			}
			if ok && a.Value != nil {
				l.Agrees = yes(m.Agree(was, *a.Value))
			}
		}
		out = append(out, l)
	}
	return out
}

// Title is that of one of the measurands.
func (m *Measurement) Title(identifier string) string {
	for _, one := range m.Measurands {
		if one.Identifier == identifier {
			return one.Title
		}
	}
	return identifier
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
