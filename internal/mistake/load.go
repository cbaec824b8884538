package mistake

import (
	"fmt"
	"maps"
	"slices"

	"echotally/internal/datafile"
	"echotally/internal/measurand"
	"echotally/internal/mistake/likeness"
	"echotally/internal/spelling"
	"echotally/internal/ucum"
)

// loading is the file being read.
type loading struct {
	measurands *measurand.Catalogue
	places     *datafile.Places
	file       asWritten
	out        *Table
	faults     []error
}

func (l *loading) fault(path, message, hint string) {
	l.faults = append(l.faults, l.places.Fault(path, message, hint))
}

func (l *loading) table() *Table {
	l.out = &Table{slips: map[string]*Slip{}, quantities: map[string]ucum.Unit{}}
	for _, name := range slices.Sorted(maps.Keys(l.file.Slips)) {
		s := l.file.Slips[name]
		if s.Commonness < 1 {
			l.fault("$.slips."+name, "slip "+name+" has no commonness", "1 for the most common, more for rarer ones")
		}
		l.out.slips[name] = &Slip{Identifier: name, Commonness: s.Commonness, Early: s.Early, Computing: s.Computing, Reckoned: s.Reckoned}
	}
	for _, name := range slices.Sorted(maps.Keys(l.file.Quantities)) {
		unit, err := ucum.Parse(l.file.Quantities[name])
		if err != nil {
			l.fault("$.quantities."+name, err.Error(), "a UCUM code")
		}
		l.out.quantities[name] = unit
	}
	for i := range l.file.Factors {
		l.factor(i)
	}
	for i, u := range l.file.Usual {
		path := fmt.Sprintf("$.usual[%d]", i)
		if u.Source == "" {
			l.fault(path, "nobody stands behind the values", "write source: who recommends them, or common practice")
		}
		l.out.Usual = append(l.out.Usual, Usual{l.slip(path, u.Slip), l.measurand(path, u.Measurand), u.Values, u.Twice, u.Source})
	}
	for i, s := range l.file.Swapped {
		path := fmt.Sprintf("$.swapped[%d]", i)
		if len(s.Measurands) != 2 {
			l.fault(path, "two measurands change places", "measurands: [first, second]")
			continue
		}
		l.out.Swapped = append(l.out.Swapped, Swapped{l.slip(path, s.Slip), l.measurand(path, s.Measurands[0]), l.measurand(path, s.Measurands[1]), s.Title})
	}
	if x := l.file.Indexed; x != nil {
		l.out.Indexed = Indexed{l.slip("$.indexed", x.Slip), l.measurand("$.indexed", x.By), x.Title}
	}
	if x := l.file.Remaining; x != nil {
		l.quantity("$.remaining", x.Quantity)
		l.out.Remaining = Remaining{l.slip("$.remaining", x.Slip), x.Quantity, x.Title}
	}
	l.out.Words = likeness.Words{Times: l.file.Times, Methods: l.file.Methods, Sides: map[string]string{}}
	for side, words := range l.file.Sides {
		for _, w := range words {
			l.out.Sides[w] = side
		}
	}
	l.limits()
	return l.out
}

func (l *loading) factor(i int) {
	f, path := l.file.Factors[i], fmt.Sprintf("$.factors[%d]", i)
	if !(f.By > 0) {
		l.fault(path, "a factor multiplies by more than nought", "")
	}
	if f.Measurand != "" {
		l.measurand(path, f.Measurand)
	}
	l.quantity(path, f.Quantity)
	l.quantity(path, f.Except)
	if f.Up == "" {
		l.fault(path, "a factor does not say what it undoes", "write up, and down where dividing is a slip as well")
	}
	l.out.factors = append(l.out.factors, factor{l.slip(path, f.Slip), f.Quantity, f.Except, f.Measurand, f.By, f.Up, f.Down})
}

func (l *loading) quantity(path, q string) {
	_, known := l.out.quantities[q]
	if q != "" && !known && !slices.ContainsFunc(l.measurands.Measurands, func(m *measurand.Measurand) bool { return m.Quantity == q }) {
		l.fault(path, "no measurand is a "+q, "a name under quantities, or of a measurand file")
	}
}

func (l *loading) limits() {
	if l.file.Limits == nil {
		l.fault("$", "no limits are given", "write limits: how far slips are looked for")
		return
	}
	l.out.Limits = *l.file.Limits
	if x := l.out.Limits; x.TypedDigits < 1 || x.CopiedDigits < 1 || !(x.CopyReach > 1) || !(x.MostEdited > 1) || !(x.OneSlip > 1) || !(x.Misread > 1) || !(x.Chance > 0) {
		l.fault("$.limits", "a limit is missing or looks nowhere", "digits from 1, factors above 1")
	}
}

func (l *loading) slip(path, name string) *Slip {
	s := l.out.slips[name]
	if s == nil {
		hint := spelling.Nearest(name, slices.Sorted(maps.Keys(l.out.slips)))
		if hint != "" {
			hint = "did you mean " + hint + "?"
		}
		l.fault(path, "unknown slip "+name, hint)
	}
	return s
}

func (l *loading) measurand(path, name string) string {
	if l.measurands.Find(name) == nil {
		l.fault(path, "unknown measurand "+name, "")
	}
	return name
}
