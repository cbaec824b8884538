package answer

import (
	"maps"
	"math"
	"slices"
	"unique"

	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Binding is what the study holds for an alias, and for all that stand for the same.
type Binding struct {
	Alias  *rule.Alias // one of them: its name is of no account
	Items  []Item      // with a usable value, in document order
	Empty  []*echo.Measurement
	Chosen Item   // the value that counts
	Note   string // why this one counts, "" when it is the only one

	reading *Reading
}

// Item is one usable value in the unit of the alias.
type Item struct {
	Measurement *echo.Measurement // nil for a mean we had to form
	X           float64
	HalfStep    float64 // half a unit of the last digit as written
	derived     bool    // a recorded mean or best value
	computed    bool    // worked out from others, so that it is no beat
	selected    bool
	best        bool // a recorded best value: one of the beats, or a copy of it
	newest      bool // selected among readings of its own series only
}

// bind looks up what the study holds for an alias. Many rules ask for the same,
// so what it stands for is looked up once.
func (r *Reading) bind(a *rule.Alias) *Binding {
	if a.Binds == (unique.Handle[string]{}) {
		return r.lookUp(a)
	}
	known := r.bound[a.Binds]
	if known == nil {
		known = r.lookUp(a)
		r.bound[a.Binds] = known
	}
	return known
}

func (r *Reading) lookUp(a *rule.Alias) *Binding {
	b := r.newBinding()
	*b = Binding{Alias: a, Items: b.Items[:0], Empty: b.Empty[:0], Chosen: Item{X: math.NaN()}, reading: r}
	for _, named := range a.Measurands {
		found := r.measured.of(named)
		b.Items = slices.Grow(b.Items, len(found))
		for _, m := range found {
			if !meets(m, a.Conditions) {
				continue
			}
			if it, ok := r.Item(m, a.Unit); ok {
				b.Items = append(b.Items, it)
			} else {
				b.Empty = append(b.Empty, m)
			}
		}
	}
	b.choose()
	return b
}

// newBinding is room for a binding: a study has some hundreds, which come and go
// together. It may hold one that is done with.
func (r *Reading) newBinding() *Binding {
	if r.used == len(bindings{})*len(r.bindings) {
		r.bindings = append(r.bindings, new(bindings))
	}
	b := &r.bindings[r.used/len(bindings{})][r.used%len(bindings{})]
	r.used++
	return b
}

type bindings [64]Binding

// factor is [Factor], which is worked out once.
func (r *Reading) factor(from, to ucum.Unit) float64 {
	units := [2]string{from.Code(), to.Code()}
	if units[0] == units[1] {
		return 1
	}
	known, ok := r.factors[units]
	if !ok {
		known = Factor(from, to)
		r.factors[units] = known
	}
	return known
}

// Item is the value of a measurement in a unit; false when it has none.
func (r *Reading) Item(m *echo.Measurement, unit ucum.Unit) (Item, bool) {
	if m.Canonical == nil || m.Quantity == nil {
		return Item{}, false
	}
	x, err := m.Canonical.Float(unit)
	if err != nil || !m.Quantity.Unit.Convertible(unit) {
		return Item{}, false
	}
	h := m.Quantity.Value.HalfStepFloat()
	out := Item{Measurement: m, X: x, HalfStep: math.Abs(h * r.factor(m.Quantity.Unit, unit)), selected: m.Modifiers.SelectionStatus != nil}
	if s := m.Modifiers.SelectionStatus; s != nil {
		t := r.Library.Terms.Of(term.SelectionStatus, s.Concept.Key())
		out.newest = t != nil && t.Newest
	}
	if d := m.Modifiers.Derivation; d != nil {
		if t := r.Library.Terms.Of(term.Derivation, d.Concept.Key()); t != nil {
			out.derived, out.best, out.computed = t.Several, t.Name == "best-value", t.Name == calculated
		}
	}
	if k := m.Modifiers.MeasurementType; k != nil && !out.computed {
		t := r.Library.Terms.Of(term.MeasurementType, k.Concept.Key())
		out.computed = t != nil && t.Name == calculated
	}
	return out, true
}

// calculated is the term of a value that was worked out from others.
const calculated = "calculated"

// choose finds the value that counts: of each series the one the record
// selects, else its recorded mean, else the one the measurand's word names; of
// several series, those with a selected value, then by the word. The most recent
// value replaces the older ones of its own series and says nothing of the others.
func (b *Binding) choose() {
	switch len(b.Items) {
	case 0:
		return
	case 1:
		b.Chosen = b.Items[0]
		return
	}
	groups, over := perSeries(b.firstListed())
	groups = notReplaced(groups)
	chosen := filter(groups, func(g []Item) bool { return slices.ContainsFunc(g, Item.standsForAll) })
	if len(chosen) > 0 {
		groups = chosen
	} else if len(over) > 0 {
		b.Chosen, b.Note = pick(over, b.word()), "mean as recorded"
		return
	}
	if len(groups) == 1 {
		b.Chosen, b.Note = b.counts(groups[0])
		return
	}
	reason := wordTitles[b.word()]
	if len(chosen) > 0 {
		reason = selectedInRecord
	}
	b.Chosen, b.Note = pick(b.standing(groups), b.word()), reason
}

// notReplaced leaves out the series that the most recent value of another one may
// have replaced, since nothing they say of themselves tells them apart.
func notReplaced(groups [][]Item) [][]Item {
	renewed := filter(groups, func(g []Item) bool { return slices.ContainsFunc(g, Item.isNewest) })
	if len(renewed) == 0 {
		return groups
	}
	return filter(groups, func(g []Item) bool {
		s := seriesOf(g[0].Measurement)
		return slices.ContainsFunc(g, Item.isNewest) || !slices.ContainsFunc(renewed, func(r []Item) bool {
			t := seriesOf(r[0].Measurement)
			return s.within(t) && said(t) > said(s)
		})
	})
}

const selectedInRecord = "selected in the record"

func (i Item) isSelected() bool { return i.selected }

// standsForAll reports whether the record selects the value among all series.
func (i Item) standsForAll() bool { return i.selected && !i.newest }

func (i Item) isNewest() bool { return i.newest }

func (i Item) isDerived() bool { return i.derived }

// word says which of several values counts.
func (b *Binding) word() measurand.Counts {
	if b.Alias.Counts != "" {
		return b.Alias.Counts
	}
	return b.Alias.Measurands[0].Counts
}

// standing is the value that stands for each series.
func (b *Binding) standing(groups [][]Item) []Item {
	out := make([]Item, len(groups))
	for i, g := range groups {
		out[i], _ = b.counts(g)
	}
	return out
}

// counts is the value of a series that counts, and why.
func (b *Binding) counts(group []Item) (Item, string) {
	if len(group) == 1 {
		return group[0], ""
	}
	candidates, reason := group, ""
	if s := filter(group, Item.isSelected); len(s) > 0 {
		candidates, reason = s, selectedInRecord
	} else if d := filter(group, Item.isDerived); len(d) > 0 {
		candidates, reason = d, "mean as recorded"
	}
	if len(candidates) == 1 {
		return candidates[0], reason
	}
	if reason == "" {
		reason = wordTitles[b.word()]
	}
	return pick(candidates, b.word()), reason
}

// firstListed are the values of the first measurand of the alias that has any.
func (b *Binding) firstListed() []Item {
	for _, m := range b.Alias.Measurands {
		if own := filter(b.Items, func(i Item) bool { return i.Measurement.Measurand == m.Identifier }); len(own) > 0 {
			return own
		}
	}
	return nil
}

var wordTitles = map[measurand.Counts]string{
	measurand.Highest: "highest value counts", measurand.Lowest: "lowest value counts", measurand.Mean: "mean of the values counts",
	measurand.Last: "last value counts", "": "last value counts",
}

func pick(items []Item, word measurand.Counts) Item {
	out := items[len(items)-1]
	switch word {
	case measurand.Highest:
		out = slices.MaxFunc(items, byValue)
	case measurand.Lowest:
		out = slices.MinFunc(items, byValue)
	case measurand.Mean:
		out = Item{X: mean(items), HalfStep: slices.MaxFunc(items, func(a, b Item) int { return compareFloat(a.HalfStep, b.HalfStep) }).HalfStep}
	}
	return out
}

// Individuals are the single values: no means, nothing computed where there are
// values that were measured, and no copy that the record made of one of them to
// mark it as selected.
func (b *Binding) Individuals() []Item { return individuals(b.Items) }

func individuals(items []Item) []Item {
	measured := slices.ContainsFunc(items, func(i Item) bool { return !i.derived && !i.computed })
	return filter(items, func(i Item) bool {
		if i.derived && !i.best || measured && i.computed {
			return false
		}
		return !i.selected && !i.best || !slices.ContainsFunc(items, func(o Item) bool {
			return !o.selected && !o.derived && o.Measurement.ValueText == i.Measurement.ValueText && o.X == i.X
		})
	})
}

func mean(items []Item) float64 {
	sum := 0.0
	for _, i := range items {
		sum += i.X
	}
	return sum / float64(len(items))
}

func byValue(a, b Item) int { return compareFloat(a.X, b.X) }

func compareFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func filter[T any](in []T, keep func(T) bool) []T {
	var out []T
	for _, v := range in {
		if keep(v) {
			out = append(out, v)
		}
	}
	return out
}

func meets(m *echo.Measurement, conditions []measurand.Condition) bool {
	for _, c := range conditions {
		mod := measurand.ModifierOf(&m.Modifiers, c.Field)
		if mod == nil {
			if !c.Absent {
				return false
			}
			continue
		}
		if !slices.Contains(c.Codes, mod.Concept.Key()) {
			return false
		}
	}
	return true
}

func sortedNames[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
