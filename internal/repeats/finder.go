// Package repeats owns the repeated reading: which readings of one study are of one
// quantity under like conditions, as beats within a report and as pairs of two
// reports.
package repeats

import (
	"maps"
	"slices"
	"strings"
	"unique"

	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/library"
)

// Finder finds readings that repeat each other, by the measurands, statements and
// grades of a rule library. It is for one goroutine.
type Finder struct {
	set      *library.Library
	grades   []string // the ladder, the least first
	quantity func(measurand string) *counted.Quantity
	planes   map[string]bool // measurands that may be of several planes, which only a stated view tells apart
}

// NewFinder makes one; the quantities are those that the studies share.
func NewFinder(set *library.Library, grades []string, quantity func(measurand string) *counted.Quantity) *Finder {
	return &Finder{set: set, grades: grades, quantity: quantity, planes: ofSeveralPlanes(set.Measurands)}
}

// Pairs compares, quantity by quantity, the first two reports of the study
// that give it. Reports replaced by a later one take part: how far the later one
// moved the values is what is asked. Values worked out or chosen from others are
// left out.
func (f *Finder) Pairs(s *echo.Study) []counted.Pair {
	if len(s.Documents) < 2 {
		return nil
	}
	by := map[repeatKey][]float64{}
	order := []repeatKey{} // by document and place, since the study is in this order
	for i := range s.Measurements {
		m := &s.Measurements[i]
		named := f.set.Measurands.Find(m.Measurand)
		if m.Role != echo.Result || named == nil || m.Canonical == nil || m.Modifiers.Derivation != nil || m.Modifiers.SelectionStatus != nil || copiedWithin(m) {
			continue
		}
		if m.Modifiers.ImageView == nil && f.planes[named.Identifier] {
			continue // four-chamber against two-chamber would be no pair
		}
		key := repeatOf(m)
		if by[key] == nil {
			order = append(order, key)
		}
		by[key] = append(by[key], m.Canonical.Value.Float())
	}
	reports := map[string]*echo.Document{}
	for i := range s.Documents {
		reports[s.Documents[i].SOPInstanceUID] = &s.Documents[i]
	}
	first, done := map[repeatKey]repeatKey{}, map[repeatKey]bool{}
	var out []counted.Pair
	for _, key := range order {
		whole := key
		whole.report = ""
		earlier, seen := first[whole]
		if !seen {
			first[whole] = key
			continue
		}
		if done[whole] {
			continue
		}
		done[whole] = true
		a, b := mean(by[earlier]), mean(by[key])
		out = append(out, counted.Pair{
			Quantity: f.quantity(key.measurand), Compared: observersOf(reports[earlier.report], reports[key.report]),
			First: a, Second: b, Identical: a == b,
		})
	}
	return out
}

// copiedWithin reports whether the measurement repeats another of its report.
func copiedWithin(m *echo.Measurement) bool {
	return m.DuplicateOf != nil && m.DuplicateOf.SOPInstanceUID == m.Source.SOPInstanceUID
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// observersOf tells whether two reports are by the same people. Each naming
// somebody whom the other does not name makes two; one naming more than the
// other, or nobody, does not tell.
func observersOf(a, b *echo.Document) counted.Compared {
	one, other := observers(a), observers(b)
	lacks := func(all, of []string) bool {
		return slices.ContainsFunc(of, func(name string) bool { return !slices.Contains(all, name) })
	}
	switch {
	case len(one) == 0 || len(other) == 0:
		return counted.WhoeverWrote
	case lacks(one, other) && lacks(other, one):
		return counted.TwoObservers
	case !lacks(one, other) && !lacks(other, one):
		return counted.OneObserver
	}
	return counted.WhoeverWrote
}

// observers are those who may have measured, by the ledger's pseudonym; who only
// verified did not.
func observers(d *echo.Document) []string {
	var out []string
	if d == nil {
		return nil
	}
	for _, p := range d.Staff {
		if p.Task != echo.Verified && p.Pseudonym != "" {
			out = append(out, p.Pseudonym)
		}
	}
	return out
}

// gradeGroup ends the names of the groups of statements that are grades of a
// lesion.
const gradeGroup = "-grade"

// gradeOf reads the grade that a statement gives.
func (f *Finder) gradeOf(statement string) (lesion string, grade int, ok bool) {
	def := f.set.Statements.Find(statement)
	if def == nil {
		return "", 0, false
	}
	if lesion, ok = strings.CutSuffix(def.Group, gradeGroup); !ok {
		return "", 0, false
	}
	grade = slices.Index(f.grades, strings.TrimPrefix(statement, lesion+"-"))
	return lesion, grade, grade >= 0
}

// gradesOf are the grades a report gives, by lesion; −1 where it gives several.
func (f *Finder) gradesOf(s *echo.Study, d *echo.Document) map[string]int {
	stated := d.Replaced
	if d.SupersededBy == "" {
		for i := range s.Statements {
			if st := &s.Statements[i]; !st.Negated && st.Measurement == nil && st.Source.SOPInstanceUID == d.SOPInstanceUID {
				stated = append(stated, st.Identifier)
			}
		}
	}
	out := map[string]int{}
	for _, name := range stated {
		lesion, grade, ok := f.gradeOf(name)
		if !ok {
			continue
		}
		if was, known := out[lesion]; known && was != grade {
			grade = -1
		}
		out[lesion] = grade
	}
	return out
}

// GradePairs compares, lesion by lesion, the first two reports of the study that
// grade it. A report that gives several grades of a lesion gives none.
func (f *Finder) GradePairs(s *echo.Study) []counted.GradePair {
	if len(s.Documents) < 2 {
		return nil
	}
	type first struct {
		by    *echo.Document
		grade int
	}
	seen, done := map[string]first{}, map[string]bool{}
	var out []counted.GradePair
	for i := range s.Documents {
		d := &s.Documents[i]
		grades := f.gradesOf(s, d)
		for _, lesion := range slices.Sorted(maps.Keys(grades)) {
			grade := grades[lesion]
			was, known := seen[lesion]
			switch {
			case grade < 0 || done[lesion]:
			case !known:
				seen[lesion] = first{by: d, grade: grade}
			default:
				done[lesion] = true
				out = append(out, counted.GradePair{Lesion: unique.Make(lesion).Value(), Compared: observersOf(was.by, d), First: was.grade, Second: grade})
			}
		}
	}
	return out
}
