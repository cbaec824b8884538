package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Row is a line of a worksheet: one thing to be measured or graded again in one
// case. What was reported is not in it, nor who did it.
type Row struct {
	Draw  int      `json:"draw"`
	Case  int      `json:"case"`
	Study string   `json:"study"` // by which the images are found
	Date  string   `json:"date"`
	Item  string   `json:"item"` // measurand, or the lesion that is graded
	Title string   `json:"title"`
	How   string   `json:"how,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	Scale []string `json:"scale,omitempty"` // of a grade
	Value string   `json:"value"`           // filled in: a number, a step of the scale, or NotMeasurable
}

// NotMeasurable is what is filled in when a second reader could not measure it.
const NotMeasurable = "no"

// Worksheet are the rows of a draw: of each case what was reported of it, and
// every grade, whether one was reported or not.
func (d *Draw) Worksheet(items *Items) []Row {
	var out []Row
	for _, c := range d.Cases {
		row := func(item, title string) Row {
			return Row{Draw: d.Number, Case: c.Number, Study: c.Study, Date: c.Date, Item: item, Title: title}
		}
		for _, m := range items.Measurements {
			for _, one := range m.Measurands {
				if _, ok := c.Reported.Values[one.Identifier]; !ok {
					continue
				}
				r := row(one.Identifier, one.Title)
				r.Unit = m.Unit.Code()
				if o := one.Obtain; o != nil {
					r.How = strings.Join(slices.DeleteFunc([]string{o.View, o.How}, func(s string) bool { return s == "" }), "; ")
				}
				out = append(out, r)
			}
		}
		for _, g := range items.Grades {
			r := row(g.Lesion, "Grade: "+g.Title)
			r.Scale = g.Scale
			out = append(out, r)
		}
	}
	return out
}

// RowFault is what is wrong with a row that was entered.
type RowFault struct {
	Line         int // of the file; its head is line 1
	Case         int
	Item         string
	Reason, Hint string
}

func (f RowFault) String() string {
	out := fmt.Sprintf("line %d, case %d, %s: %s", f.Line, f.Case, f.Item, f.Reason)
	if f.Hint != "" {
		out += " (hint: " + f.Hint + ")"
	}
	return out
}

// Entry is what one reader found in the cases of a draw.
type Entry struct {
	Draw   int     `json:"draw"`
	Reader string  `json:"reader"` // pseudonym
	From   string  `json:"from"`   // worksheet or report
	Rows   []Again `json:"rows"`
}

// Again is one thing measured or graded again.
type Again struct {
	Case          int      `json:"case"`
	Item          string   `json:"item"`
	Value         *float64 `json:"value,omitempty"` // in the unit of the item
	Grade         string   `json:"grade,omitempty"`
	NotMeasurable bool     `json:"notMeasurable,omitempty"`
}

// Enter takes what a reader filled in. Rows left empty are passed over, rows that
// cannot stand are told and not taken. What the reader entered before is not taken
// again, also when it was withdrawn: by now what was reported has been seen.
func (d *Draw) Enter(items *Items, before []Entry, e Entry, rows []Row) (Entry, []RowFault) {
	var faults []RowFault
	e.Draw, e.Rows = d.Number, nil
	known := map[[2]string]bool{}
	for _, earlier := range before {
		if earlier.Draw == d.Number && earlier.Reader == e.Reader {
			for _, a := range earlier.Rows {
				known[a.key()] = true
			}
		}
	}
	earlier := len(known)
	for i, r := range rows {
		if strings.TrimSpace(r.Value) == "" {
			continue
		}
		a, reason, hint := d.again(items, r)
		switch {
		case reason != "":
		case known[a.key()] && earlier > 0:
			reason, hint = "this reader has entered it before, and has seen what was reported", "the first entry stands; another reader may enter it"
		case known[a.key()]:
			reason, hint = "it stands in the worksheet twice", "leave one of them"
		}
		if reason != "" {
			faults = append(faults, RowFault{i + 2, r.Case, r.Item, reason, hint})
			continue
		}
		known[a.key()] = true
		e.Rows = append(e.Rows, a)
	}
	return e, faults
}

func (a Again) key() [2]string { return [2]string{fmt.Sprint(a.Case), a.Item} }

// again reads one row; a reason says why it cannot stand.
func (d *Draw) again(items *Items, r Row) (a Again, reason, hint string) {
	c := d.Find(r.Case)
	a = Again{Case: r.Case, Item: r.Item}
	switch {
	case r.Draw != d.Number:
		return a, fmt.Sprintf("it is of draw %d", r.Draw), fmt.Sprintf("this is draw %d", d.Number)
	case c == nil:
		return a, fmt.Sprintf("draw %d has no case %d", d.Number, r.Case), fmt.Sprintf("cases are numbered 1 to %d", len(d.Cases))
	case r.Study != "" && r.Study != c.Study:
		return a, fmt.Sprintf("case %d is another study", r.Case), "leave the columns of case and study as they were written"
	}
	text := strings.ToLower(strings.TrimSpace(r.Value))
	if text == NotMeasurable {
		a.NotMeasurable = true
	}
	if g := items.Grade(r.Item); g != nil {
		if a.Grade = text; a.NotMeasurable {
			a.Grade = ""
		} else if !slices.Contains(g.Scale, text) {
			return a, "no step of the scale", "one of " + strings.Join(g.Scale, ", ") + ", or " + NotMeasurable
		}
		return a, "", ""
	}
	m := items.Measurement(r.Item)
	if m == nil {
		return a, "nothing of this name is measured again", "leave the column item as it was written"
	}
	if a.NotMeasurable {
		return a, "", ""
	}
	x, err := number(text)
	if err != nil {
		return a, "not a number", "a number in the unit of the row, or " + NotMeasurable
	}
	if x < m.Possible[0] || x > m.Possible[1] {
		return a, "no heart has this", fmt.Sprintf("from %g to %g %s is possible", m.Possible[0], m.Possible[1], m.Unit.Code())
	}
	a.Value = &x
	return a, "", ""
}

// Grade is the one of the lesion, nil for none.
func (i *Items) Grade(lesion string) *Grade {
	at := slices.IndexFunc(i.Grades, func(g Grade) bool { return g.Lesion == lesion })
	if at < 0 {
		return nil
	}
	return &i.Grades[at]
}

// Measurement is the one that the measurand is of, nil for none.
func (i *Items) Measurement(measurand string) *Measurement {
	for k := range i.Measurements {
		for _, m := range i.Measurements[k].Measurands {
			if m.Identifier == measurand {
				return &i.Measurements[k]
			}
		}
	}
	return nil
}

// EnteredFrom are the rows that a second report of a case fills in.
func (d *Draw) EnteredFrom(items *Items, c *Case, again Reported) []Row {
	rows := slices.DeleteFunc(d.Worksheet(items), func(r Row) bool { return r.Case != c.Number })
	for i := range rows {
		if x, ok := again.Values[rows[i].Item]; ok {
			rows[i].Value = fmt.Sprint(x)
		}
		rows[i].Value = cmp.Or(rows[i].Value, again.Grades[rows[i].Item])
	}
	return rows
}
