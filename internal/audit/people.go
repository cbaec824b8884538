package audit

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/funnel"
	"echotally/internal/table"
)

// role is a task of staff that is compared.
type role struct {
	name     string // in words
	of       func(*counted.Study) string
	measures []string
	curve    bool // completeness is their work, study by study
}

func roles() []role {
	return []role{
		{"sonographer", func(s *counted.Study) string { return s.Sonographer }, []string{Complete, Consistent}, true},
		{"reader", func(s *counted.Study) string { return s.Reader }, []string{ReadInTime, SignedInTime}, false},
	}
}

// label draws the codes of staff for this period and audience: numbers in the
// order of a keyed hash, so that nobody keeps a number.
func (r *builder) label() {
	r.labels = map[string]string{}
	for _, one := range roles() {
		var names []string
		for _, s := range r.look {
			if n := one.of(s); n != "" && !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
		marks := map[string]string{}
		for _, n := range names {
			marks[n] = r.mark(one.name + " " + n)
		}
		sort.Slice(names, func(i, j int) bool { return marks[names[i]] < marks[names[j]] })
		for i, n := range names {
			r.labels[one.name+n] = fmt.Sprintf("%s %d", table.InWords(one.name), i+1)
		}
	}
	r.report.labels = r.labels
}

// mark is the keyed hash of a text for this period and audience.
func (r *builder) mark(text string) string {
	if r.opt.Mark == nil {
		return text
	}
	return r.opt.Mark(strings.Join([]string{"staff", r.opt.Period.Name, r.opt.Audience, text}, " "))
}

// LabelOf is the code a member of staff has in this report, "" when there is
// none. It is for the one person, never for a list.
func (r *Report) LabelOf(pseudonym string) string {
	for _, one := range roles() {
		if label := r.labels[one.name+pseudonym]; label != "" {
			return label
		}
	}
	return ""
}

// person is the studies of one member of staff in one role.
type person struct {
	pseudonym, label string
	studies          []*counted.Study
}

func (r *builder) staff(one role) []person {
	by := map[string]*person{}
	for _, s := range r.now {
		if n := one.of(s); n != "" {
			if by[n] == nil {
				by[n] = &person{pseudonym: n, label: r.labels[one.name+n]}
			}
			by[n].studies = append(by[n].studies, s)
		}
	}
	var out []person
	for _, p := range by {
		out = append(out, *p)
	}
	// By the number of the label, which is as random as the label.
	sort.Slice(out, func(i, j int) bool {
		return len(out[i].label) < len(out[j].label) || len(out[i].label) == len(out[j].label) && out[i].label < out[j].label
	})
	return out
}

// FunnelOf is the funnel of one role on one measure.
type FunnelOf struct {
	Title  string
	Labels []string
	Funnel funnel.Funnel
	Aside  int // people who differ, left out of the target
}

// people compares the members of staff, or says why it does not.
func (r *builder) people() []table.Table {
	var out []table.Table
	for _, one := range roles() {
		staff := r.staff(one)
		if len(staff) == 0 {
			continue
		}
		t := table.Table{
			Identifier: one.name + "s", Title: "By " + one.name,
			Note: fmt.Sprintf("Codes are drawn anew for every period and audience. Nobody is judged under %d studies, nobody compared among fewer than %d people. Case-mix stands beside the shares; a difference is a question, not a verdict.",
				r.opt.Floor, r.opt.People),
			Columns: []table.Column{
				table.NewColumn("person", "Person", table.Words, "code of this period and audience"), table.NewColumn("studies", "Studies", table.Count, "studies of the period"),
			},
		}
		var chosen []Measure
		for _, id := range one.measures {
			m, _ := r.opt.Find(id)
			chosen = append(chosen, m)
			t.Columns = append(t.Columns, table.NewColumn(strings.ReplaceAll(id, "-", "_"), m.Title, table.Share, m.Meaning))
		}
		t.Columns = append(t.Columns, table.NewColumn("arrhythmia", "Arrhythmia", table.Share, "studies that state atrial fibrillation or flutter"),
			table.NewColumn("poor_windows", "Poor windows", table.Share, "studies that state poor windows or fair image quality"),
			table.NewColumn("body_size", "Median BSA, m²", table.Number, "median body surface area"))
		if len(staff) < r.opt.People {
			t.Note += fmt.Sprintf(" There are %d: no figures of single persons are shown.", len(staff))
			out = append(out, t)
			continue
		}
		for _, m := range chosen {
			r.funnel(one, staff, m)
		}
		r.personRows(&t, staff, chosen)
		out = append(out, t)
	}
	return out
}

func (r *builder) personRows(t *table.Table, staff []person, chosen []Measure) {
	sizes := make([]int, len(staff))
	for i, p := range staff {
		sizes[i] = len(p.studies)
	}
	reasons := r.withheldStaff(sizes, nil)
	for i, p := range staff {
		row := []table.Cell{table.TextCell(p.label), r.small(len(p.studies))}
		why := reasons[i]
		if why != "" {
			row[1] = table.WithheldCell(why)
		}
		for _, m := range append(chosen, caseMeasures()...) {
			if why != "" {
				row = append(row, table.WithheldCell(why))
			} else {
				row = append(row, table.ShareCell(m.over(p.studies)))
			}
		}
		if why != "" {
			row = append(row, table.WithheldCell(why))
		} else {
			row = append(row, table.NumberCell(bodySize(p.studies)))
		}
		t.Add(row...)
	}
}

// withheldStaff says for each person why nothing is shown, "" when it is: who is
// below the floor, who is withheld already elsewhere in the report, and one more
// where the rest would tell.
func (r *builder) withheldStaff(sizes []int, already []string) []string {
	out, hidden := make([]string, len(sizes)), make([]bool, len(sizes))
	for i, n := range sizes {
		if n < r.opt.Floor {
			out[i] = "too few to judge"
		} else if already != nil {
			out[i] = already[i]
		}
		hidden[i] = out[i] != ""
	}
	for i, h := range complement(hidden, sizes) {
		if h && out[i] == "" {
			out[i] = "withheld, so that another cannot be worked out"
		}
	}
	return out
}

func caseMeasures() []Measure {
	return []Measure{
		{Of: func(s *counted.Study) (bool, bool) { return !s.Unread, s.Case.Arrhythmia }},
		{Of: func(s *counted.Study) (bool, bool) { return !s.Unread, s.Case.PoorWindows }},
	}
}

func bodySize(studies []*counted.Study) float64 {
	var x []float64
	for _, s := range studies {
		if s.Case.BodySize > 0 {
			x = append(x, s.Case.BodySize)
		}
	}
	return stats.Quantile(x, 0.5)
}

// small shows a count of people's work unless it is too small to be shown.
func (r *builder) small(n int) table.Cell {
	if n > 0 && n < r.opt.SmallCell {
		return table.WithheldCell(fmt.Sprintf("fewer than %d", r.opt.SmallCell))
	}
	return table.CountCell(n)
}

// complement hides one more row when exactly one is hidden: with the total
// known, a single hidden one is the rest.
func complement(hidden []bool, sizes []int) []bool {
	out := slices.Clone(hidden)
	n, least := 0, -1
	for i, h := range out {
		if h {
			n++
		} else if sizes[i] > 0 && (least < 0 || sizes[i] < sizes[least]) {
			least = i
		}
	}
	if n == 1 && least >= 0 {
		out[least] = true
	}
	return out
}

// setAside is the level, over all people, at which one who differs is left out
// of what the others are compared with; else one who is far off would make the
// others look different too.
const setAside = 0.01

// funnel draws one measure over people and tests each against the others.
func (r *builder) funnel(one role, staff []person, m Measure) {
	var points []stats.Proportion
	var who []person
	for _, p := range staff {
		if x := m.over(p.studies); x.Total >= r.opt.Floor {
			points, who = append(points, x), append(who, p)
		}
	}
	if len(points) < r.opt.People {
		return
	}
	f := funnel.NewFunnel(points)
	aside, values := against(points)
	var labels []string
	for i, p := range who {
		labels = append(labels, p.label)
		pv := values[i]
		if f.Dispersed {
			pv = f.Units[i].PValue
		}
		rest := restOf(points, aside, i)
		direction := "above"
		if points[i].Value() < rest.Value() {
			direction = "below"
		}
		r.test(pv, Signal{
			Kind: OfPerson, Measure: m.Identifier, Where: p.label, Person: p.pseudonym, Title: m.Title, From: rest, To: points[i], Lost: lost(points[i], rest),
			Text: fmt.Sprintf("%s: %s at %s, %s the others' %s", m.Title, p.label, table.Percent(points[i]), direction, table.Percent(rest)),
		})
	}
	r.report.Funnels = append(r.report.Funnels, FunnelOf{Title: m.Title + ", by " + one.name, Labels: labels, Funnel: f, Aside: countTrue(aside)})
}

// lost is how many of the studies would have been met at the share of the rest.
func lost(own, rest stats.Proportion) float64 {
	return math.Max(0, (rest.Value()-own.Value())*float64(own.Total))
}

// against tests each against the rest, those who differ most being taken out of
// the rest one after the other.
func against(points []stats.Proportion) (aside []bool, p []float64) {
	aside, p = make([]bool, len(points)), make([]float64, len(points))
	for {
		worst := -1
		for i := range points {
			p[i] = stats.FisherExact(points[i], restOf(points, aside, i))
			if !aside[i] && (worst < 0 || p[i] < p[worst]) {
				worst = i
			}
		}
		// At least two must remain to compare with.
		if worst < 0 || p[worst]*float64(len(points)) >= setAside || countTrue(aside)+3 > len(points) {
			return aside, p
		}
		aside[worst] = true
	}
}

// restOf pools all but one and those set aside.
func restOf(points []stats.Proportion, aside []bool, i int) stats.Proportion {
	var rest stats.Proportion
	for j, p := range points {
		if j != i && !aside[j] {
			rest.Count, rest.Total = rest.Count+p.Count, rest.Total+p.Total
		}
	}
	return rest
}

func countTrue(b []bool) int {
	n := 0
	for _, x := range b {
		if x {
			n++
		}
	}
	return n
}
