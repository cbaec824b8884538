package answer

import (
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/measurand"
)

// series is what values of one measurand must share to be the same thing
// measured again: a beat of another view, phase, method, mode or document is
// another reading, and no mean is formed over them.
type series struct {
	document string
	marks    [10]coding.Key
}

// seriesOf is the series a measurement belongs to.
func seriesOf(m *echo.Measurement) series {
	s := series{document: m.Source.SOPInstanceUID}
	for i, one := range marksOf(m) {
		s.marks[i] = markOf(one)
	}
	return s
}

// markOf is what a modifier says, nothing when there is none.
func markOf(m *echo.Modifier) coding.Key {
	if m == nil {
		return coding.Key{}
	}
	return m.Concept.Key()
}

// marksOf are the modifiers that tell one series from another.
func marksOf(m *echo.Measurement) [10]*echo.Modifier {
	return [...]*echo.Modifier{
		m.Modifiers.ImageView, m.Modifiers.ImageMode, m.Modifiers.MeasurementMethod, m.Modifiers.CardiacCyclePoint, m.Modifiers.RespiratoryCyclePoint,
		m.Modifiers.Stage, m.Modifiers.FindingSite, m.Modifiers.TopographicalModifier, m.Modifiers.Laterality, m.Modifiers.FlowDirection,
	}
}

// sameSeries reports whether two measurements are of the same series, which is asked
// far more often than which it is.
func sameSeries(a, b *echo.Measurement) bool {
	if a.Source.SOPInstanceUID != b.Source.SOPInstanceUID {
		return false
	}
	others := marksOf(b)
	for i, one := range marksOf(a) {
		if one != others[i] && markOf(one) != markOf(others[i]) {
			return false
		}
	}
	return true
}

// within reports whether nothing that is said of s contradicts t: what one of
// them leaves unsaid may be the same.
func (s series) within(t series) bool {
	if s.document != t.document {
		return false
	}
	for i, k := range s.marks {
		if k != (coding.Key{}) && t.marks[i] != (coding.Key{}) && k != t.marks[i] {
			return false
		}
	}
	return true
}

// seriesIn lists the series of items in document order. A mean that says less
// of itself than its beats belongs to them when there is just one series it may
// belong to; the same goes for a single value.
func seriesIn(items []Item) (keys []series, of []int) {
	of = make([]int, len(items))
	var first []*echo.Measurement // of each series
	for n, it := range items {
		if of[n] = slices.IndexFunc(first, func(m *echo.Measurement) bool { return sameSeries(m, it.Measurement) }); of[n] < 0 {
			of[n] = len(first)
			first, keys = append(first, it.Measurement), append(keys, seriesOf(it.Measurement))
		}
	}
	into := make([]int, len(keys))
	for i, s := range keys {
		into[i] = i
		var may []int
		for j, t := range keys {
			if j != i && s.within(t) && said(t) > said(s) {
				may = append(may, j)
			}
		}
		if len(may) == 1 {
			into[i] = may[0]
		}
	}
	for n, at := range of {
		for into[at] != at {
			at = into[at]
		}
		of[n] = at
	}
	return keys, of
}

// said counts what a series says of itself.
func said(s series) int {
	n := 0
	for _, k := range s.marks {
		if k != (coding.Key{}) {
			n++
		}
	}
	return n
}

// perSeries gives the items series by series, in document order, and apart the
// means that fit several series: they were formed over them.
func perSeries(items []Item) (groups [][]Item, over []Item) {
	if len(items) == 0 {
		return nil, nil
	}
	if !slices.ContainsFunc(items, func(it Item) bool { return !sameSeries(it.Measurement, items[0].Measurement) }) {
		return [][]Item{items}, nil
	}
	keys, of := seriesIn(items)
	groups = make([][]Item, len(keys))
	for n, it := range items {
		groups[of[n]] = append(groups[of[n]], it)
	}
	for i, g := range groups {
		if len(g) == 0 || slices.ContainsFunc(g, func(it Item) bool { return !it.derived }) {
			continue
		}
		fits := 0
		for j, t := range keys {
			if j != i && len(groups[j]) > 0 && keys[i].within(t) && said(t) > said(keys[i]) {
				fits++
			}
		}
		if fits > 1 {
			over, groups[i] = append(over, g...), nil
		}
	}
	return slices.DeleteFunc(groups, func(g []Item) bool { return len(g) == 0 }), over
}

// likeIt leaves of several series those that are of the phase of breathing of a
// value, of these those of its image mode, and of these those of its view, as far
// as there are any that say so: a mass in 2D is not made of diameters in M-mode,
// and a ratio that names no phase not of the wave of an inspiration where there is
// one without.
func (b *Binding) likeIt(with *echo.Measurement) *Binding {
	if len(b.Items) < 2 {
		return b
	}
	kept := b.Items
	if same := filter(kept, func(it Item) bool {
		return sameMark(it.Measurement.Modifiers.RespiratoryCyclePoint, with.Modifiers.RespiratoryCyclePoint)
	}); len(same) > 0 {
		kept = same
	}
	for _, mark := range []func(*echo.Modifiers) *echo.Modifier{
		func(m *echo.Modifiers) *echo.Modifier { return m.ImageMode },
		func(m *echo.Modifiers) *echo.Modifier { return m.ImageView },
	} {
		want := mark(&with.Modifiers)
		if want == nil {
			continue
		}
		if same := filter(kept, func(it Item) bool {
			return sameMark(mark(&it.Measurement.Modifiers), want)
		}); len(same) > 0 {
			kept = same
		}
	}
	if len(kept) == len(b.Items) {
		return b
	}
	narrow := *b
	narrow.Items, narrow.Note = kept, ""
	narrow.choose()
	if narrow.Chosen.Measurement == b.Chosen.Measurement {
		return b
	}
	narrow.Note = "of the phase, image mode and view of the stated value"
	return &narrow
}

// sameMark reports whether two modifiers say the same, or both nothing.
func sameMark(a, b *echo.Modifier) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Concept.Key() == b.Concept.Key()
}

// EachSeries are the answers of each series of the values that the names of the
// rule stand for, as if the others were not there. A study in which they form
// one series has one.
func (a *Answers) EachSeries() []*Answers {
	all := a.copied()
	var items []Item
	for _, b := range all.bindings {
		items = append(items, b.Items...)
	}
	if len(items) == 0 {
		return []*Answers{a}
	}
	keys, of := seriesIn(items)
	if len(keys) == 1 {
		return []*Answers{a}
	}
	belongs := make(map[*echo.Measurement]int, len(items))
	for n, it := range items {
		belongs[it.Measurement] = of[n]
	}
	var out []*Answers
	for k := range keys {
		if !slices.Contains(of, k) {
			continue
		}
		out = append(out, all.only(func(it Item) bool { return belongs[it.Measurement] == k }))
	}
	return out
}

// Repeated reports whether there is more than one value of a name.
func (a *Answers) Repeated(name string) bool {
	b := a.Binding(name)
	return b != nil && len(b.Items) > 1
}

// EachValue are the answers for each value of a name, as if it were the only
// one recorded.
func (a *Answers) EachValue(name string) []*Answers {
	b := a.Binding(name)
	all := a.copied()
	out := make([]*Answers, len(b.Items))
	for i := range b.Items {
		one := *all
		one.bindings = slices.Clone(all.bindings)
		narrow := *b
		narrow.Items, narrow.Chosen, narrow.Note = b.Items[i:i+1:i+1], b.Items[i], ""
		one.bindings[slices.Index(all.names, name)] = &narrow
		out[i] = &one
	}
	return out
}

// only are the answers in which no other values were recorded.
func (a *Answers) only(keep func(Item) bool) *Answers {
	out := *a
	out.bindings = slices.Clone(a.bindings)
	for i, b := range a.bindings {
		narrow := *b
		narrow.Items, narrow.Note = filter(b.Items, keep), ""
		narrow.Chosen = Item{X: math.NaN()}
		narrow.choose()
		out.bindings[i] = &narrow
	}
	return &out
}

// Otherwise are the answers with other recorded values in the place of those
// that count: for each name an expression goes by any value of its series, and the mean
// of them; with allSeries also those of the other series, since a result may have been
// computed from the window that does not count. The name kept stays as it is. There are
// none when the combinations are more than most.
func (a *Answers) Otherwise(p *expr.Program, kept string, allSeries bool, most int) []*Answers {
	names, choices, total := []string{}, [][]Item{}, 1
	for _, in := range p.Inputs {
		b := a.Binding(in.Name)
		if b == nil || in.Question != nil || in.Name == kept || slices.Contains(names, in.Name) {
			continue
		}
		if may := b.alternatives(allSeries); len(may) > 1 {
			names, choices, total = append(names, in.Name), append(choices, may), total*len(may)
		}
	}
	if total == 1 || total > most {
		return nil
	}
	out := make([]*Answers, 0, total)
	for n := range total {
		values := make([]Supposed, len(names))
		for i, rest := 0, n; i < len(names); i++ {
			values[i] = Supposed{names[i], choices[i][rest%len(choices[i])]}
			rest /= len(choices[i])
		}
		out = append(out, a.Supposing(values...))
	}
	return out
}

// Derived reports whether the value is a recorded mean or best value.
func (i Item) Derived() bool { return i.derived }

// Means are the means of the series of several values.
func (b *Binding) Means() []float64 {
	groups, _ := perSeries(b.Items)
	var out []float64
	for _, g := range groups {
		if singles := individuals(g); len(singles) > 1 {
			out = append(out, mean(singles))
		}
	}
	return out
}

// alternatives are the values a scanner may have gone by: those of the series
// that counts, and their mean; with allSeries those of every series. One that was
// replaced by the most recent is none. The highest window may be the one with the
// highest mean, though a single beat of another is higher. Each number stands once.
func (b *Binding) alternatives(allSeries bool) []Item {
	own := b.Items
	groups, _ := perSeries(b.Items)
	for _, g := range groups {
		if slices.ContainsFunc(g, func(it Item) bool { return it.Measurement == b.Chosen.Measurement }) {
			own = g
		}
	}
	if renewed := filter(own, Item.isNewest); len(renewed) > 0 {
		own = renewed
	}
	own = append(slices.Clip(own), b.highestMean(own)...)
	if b.word() == measurand.Highest && len(groups) > 1 {
		own = append(own, b.highestMean(notReplaced(groups)...)...)
	}
	if allSeries {
		for _, g := range notReplaced(groups) {
			if renewed := filter(g, Item.isNewest); len(renewed) > 0 {
				g = renewed
			}
			own = append(append(own, g...), b.highestMean(g)...)
		}
	}
	var out []Item
	for _, it := range own {
		if !slices.ContainsFunc(out, func(known Item) bool { return known.X == it.X }) {
			out = append(out, it)
		}
	}
	return out
}

// highestMean is the highest of the means of series of several beats, if any.
func (b *Binding) highestMean(groups ...[]Item) []Item {
	var means []Item
	for _, g := range groups {
		if singles := individuals(g); len(singles) > 1 {
			mean := pick(singles, measurand.Mean)
			mean.Measurement = b.Chosen.Measurement
			means = append(means, mean)
		}
	}
	if len(means) < 2 {
		return means
	}
	return []Item{pick(means, measurand.Highest)}
}
