package check

import (
	"maps"
	"math"
	"slices"

	"echotally/internal/library"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// reading is a study arranged for looking things up. Superseded documents do
// not speak.
type reading struct {
	set         *library.Library
	study       *echo.Study
	byMeasurand map[string][]*echo.Measurement
	said        map[string][]*echo.Statement
	protocols   map[string]bool
	items       map[itemKey]item
	brief       bool      // nobody reads the words
	tested      []*tested // consistency rules that came to a verdict
	ranges      map[string]bounds
	earlier     *reading // of the earlier study, nil until something is asked of it
	wall        []part   // of the left ventricular wall at rest
}

// itemKey is a measurement in a unit; many rules ask for the same.
type itemKey struct {
	m    *echo.Measurement
	unit string
}

func read(set *library.Library, s *echo.Study) *reading {
	r := &reading{set: set, study: s, byMeasurand: map[string][]*echo.Measurement{}, said: map[string][]*echo.Statement{}, protocols: map[string]bool{}, items: map[itemKey]item{}, ranges: map[string]bounds{}}
	superseded := map[string]bool{}
	for _, d := range s.Documents {
		superseded[d.SOPInstanceUID] = d.SupersededBy != ""
	}
	for i := range s.Measurements {
		m := &s.Measurements[i]
		if m.Measurand != "" && m.Role == echo.Result && !m.Superseded && m.DuplicateOf == nil {
			r.byMeasurand[m.Measurand] = append(r.byMeasurand[m.Measurand], m)
		}
	}
	for i := range s.Statements {
		st := &s.Statements[i]
		if !superseded[st.Source.SOPInstanceUID] {
			r.said[st.Identifier] = append(r.said[st.Identifier], st)
		}
	}
	r.wall = partsOfWall(set.Terms, s.Segments, superseded)
	return r
}

// evaluation is one rule bound to one study.
type evaluation struct {
	*reading
	rule     *rule.Rule
	bindings map[string]*binding
	supposed bool // values were replaced to try a cause; they stand as given
	restated bool // the stated value of a recomputation is among them

	galleries map[string]*gallery
	wide      bool // images that may belong to an alias are taken as if they did
}

func (r *reading) bind(one *rule.Rule) *evaluation {
	e := &evaluation{reading: r, rule: one}
	e.fill()
	return e
}

// fill looks up what the study holds for the names of the rule.
func (e *evaluation) fill() {
	if e.bindings == nil {
		e.bindings, e.galleries = make(map[string]*binding, len(e.rule.Aliases)), make(map[string]*gallery, len(e.rule.Images))
	}
	for name, a := range e.rule.Aliases {
		if e.bindings[name] == nil {
			e.bindings[name] = e.bindAlias(a)
		}
	}
	for name, a := range e.rule.Images {
		e.galleries[name] = e.gallery(a)
	}
}

// fillFor looks up only what an expression asks for, when it asks for nothing
// but measurements and statements.
func (e *evaluation) fillFor(p *expr.Program) {
	if p == nil || len(e.rule.Images) > 0 {
		e.fill()
		return
	}
	e.bindings = make(map[string]*binding, len(e.rule.Aliases))
	for _, in := range p.Inputs {
		if a := e.rule.Aliases[in.Name]; a != nil && e.bindings[in.Name] == nil {
			e.bindings[in.Name] = e.bindAlias(a)
		}
	}
}

// binding is what the study holds for an alias.
type binding struct {
	alias  *rule.Alias
	items  []item // with a usable value, in document order
	empty  []*echo.Measurement
	chosen item
	note   string // why this one counts, "" when it is the only one
}

// item is one usable value in the unit of the alias.
type item struct {
	m        *echo.Measurement // nil for a mean we had to form
	x        float64
	halfStep float64 // half a unit of the last digit as written
	derived  bool    // a recorded mean or best value
	selected bool
}

func (r *reading) bindAlias(a *rule.Alias) *binding {
	b := &binding{alias: a, chosen: item{x: math.NaN()}}
	for _, named := range a.Measurands {
		for _, m := range r.byMeasurand[named.Identifier] {
			if !meets(m, a.Conditions) {
				continue
			}
			if it, ok := r.item(m, a.Unit); ok {
				b.items = append(b.items, it)
			} else {
				b.empty = append(b.empty, m)
			}
		}
	}
	b.choose()
	return b
}

func (r *reading) item(m *echo.Measurement, unit ucum.Unit) (item, bool) {
	key := itemKey{m, unit.Code()}
	known, ok := r.items[key]
	if !ok {
		known, _ = r.newItem(m, unit)
		r.items[key] = known
	}
	return known, known.m != nil
}

func (r *reading) newItem(m *echo.Measurement, unit ucum.Unit) (item, bool) {
	if m.Canonical == nil || m.Quantity == nil {
		return item{}, false
	}
	x, err := m.Canonical.Float(unit)
	if err != nil {
		return item{}, false
	}
	factor, err := m.Quantity.Unit.FactorTo(unit)
	if err != nil {
		return item{}, false
	}
	out := item{m: m, x: x, selected: m.Modifiers.SelectionStatus != nil}
	f, _ := factor.Float64()
	h, _ := m.Quantity.Value.HalfStep().Float64()
	out.halfStep = math.Abs(h * f)
	if d := m.Modifiers.Derivation; d != nil {
		t := r.set.Terms.Of(term.Derivation, d.Concept.Key())
		out.derived = t != nil && slices.Contains(meanTerms, t.Name)
	}
	return out, true
}

// meanTerms are the derivations that stand for several beats.
var meanTerms = []string{"mean", "median", "best-value"}

// choose finds the value that counts: the one the record selects, else a
// recorded mean, else by the measurand's word.
func (b *binding) choose() {
	switch len(b.items) {
	case 0:
		return
	case 1:
		b.chosen = b.items[0]
		return
	}
	candidates, reason := b.firstListed(), ""
	if s := filter(candidates, func(i item) bool { return i.selected }); len(s) > 0 {
		candidates, reason = s, "selected in the record"
	} else if d := filter(candidates, func(i item) bool { return i.derived }); len(d) > 0 {
		candidates, reason = d, "mean as recorded"
	}
	word := b.alias.Counts
	if word == "" {
		word = b.alias.Measurands[0].Counts
	}
	if len(candidates) == 1 {
		b.chosen = candidates[0]
	} else {
		b.chosen = pick(candidates, word)
		if reason == "" {
			reason = wordTitles[word]
		}
	}
	b.note = reason
}

// firstListed are the values of the first measurand of the alias that has any.
func (b *binding) firstListed() []item {
	for _, m := range b.alias.Measurands {
		if own := filter(b.items, func(i item) bool { return i.m.Measurand == m.Identifier }); len(own) > 0 {
			return own
		}
	}
	return nil
}

var wordTitles = map[measurand.Counts]string{
	measurand.Highest: "highest value counts", measurand.Lowest: "lowest value counts", measurand.Mean: "mean of the values counts",
	measurand.Last: "last value counts", "": "last value counts",
}

func pick(items []item, word measurand.Counts) item {
	out := items[len(items)-1]
	switch word {
	case measurand.Highest:
		out = slices.MaxFunc(items, byValue)
	case measurand.Lowest:
		out = slices.MinFunc(items, byValue)
	case measurand.Mean:
		out = item{x: mean(items), halfStep: slices.MaxFunc(items, func(a, b item) int { return compareFloat(a.halfStep, b.halfStep) }).halfStep}
	}
	return out
}

// individuals are the single beats: no means, and no copy that the record made
// of one of them to mark it as selected.
func (b *binding) individuals() []item {
	return filter(b.items, func(i item) bool {
		if i.derived {
			return false
		}
		return !i.selected || !slices.ContainsFunc(b.items, func(o item) bool {
			return !o.selected && !o.derived && o.m.ValueText == i.m.ValueText && o.x == i.x
		})
	})
}

func mean(items []item) float64 {
	sum := 0.0
	for _, i := range items {
		sum += i.x
	}
	return sum / float64(len(items))
}

func byValue(a, b item) int { return compareFloat(a.x, b.x) }

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

// places counts distinct image views, or distinct windows.
func (r *reading) places(items []item, name func(key coding.Key, t *term.Term) string) float64 {
	seen := map[string]bool{}
	for _, i := range items {
		if v := i.m.Modifiers.ImageView; v != nil {
			key := v.Concept.Key()
			if n := name(key, r.set.Terms.Of(term.ImageView, key)); n != "" {
				seen[n] = true
			}
		}
	}
	return float64(len(seen))
}

func sortedNames[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
