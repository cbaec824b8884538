// Package slip owns the likely causes of a failed demand: single slips of units,
// geometry, digits, copying, exchange, which, undone, make it hold. Each is
// tried by asking the rules again with the values as they would be without it.
package slip

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/mistake"
	"echotally/internal/ucum"
)

// Slips that are more than a factor, each with its own way of being undone. One
// that the table of mistakes does not list is not looked for.
const (
	exchanged  = "exchanged"
	copied     = "copied"
	otherBeat  = "other-value-of-the-same"
	otherKind  = "other-site-or-method"
	transposed = "digits-transposed"
	notSquared = "not-squared"
	dropped    = "digit-dropped"
	edited     = "kept-after-edit"
	unitSlip   = "unit-slip"
	inverted   = "ratio-inverted"
	signLost   = "sign"
	doubled    = "digit-doubled"
)

// kind is a slip of the table, nil when it is not to be looked for.
func (t *tested) kind(identifier string) *mistake.Slip { return t.Library.Mistakes.Slip(identifier) }

// suppositions lists every single slip that could stand behind the values the
// rule looked at.
func (t *tested) suppositions() []supposition {
	var out []supposition
	names := t.names
	for i, name := range names {
		b := t.Binding(name)
		beyond := t.impossible(name) || t.alone()
		factors := t.factors(name, b)
		for i := range factors {
			factors[i].telling = beyond
		}
		out = append(out, factors...)
		out = append(out, t.beside(name, b)...)
		out = append(out, t.digits(name, b, t.Rule.Recompute != nil || beyond)...)
		out = append(out, t.turned(name, b)...)
		out = append(out, t.usual(name, b)...)
		if t.Rule.Recompute != nil {
			out = append(out, t.others(name, b)...)
			out = append(out, t.edits(name)...)
		}
		for _, other := range names[i+1:] {
			out = append(out, t.exchange(name, other)...)
		}
		out = append(out, t.exchangeOutside(name, b)...)
		out = append(out, t.copies(name, b, beyond)...)
		if t.impossible(name) {
			out = append(out, t.misplaced(name, b)...)
		}
	}
	return append(out, t.indexed()...)
}

// inputSlips lists the slips that may sit in the inputs of a recomputation
// before anything is computed from them.
func (t *tested) inputSlips() []supposition {
	var out []supposition
	names := slices.DeleteFunc(slices.Clone(t.names), func(name string) bool { return name == t.Rule.Recompute.Stated })
	for i, name := range names {
		out = append(out, t.factors(name, t.Binding(name))...)
		for _, other := range names[i+1:] {
			out = append(out, t.exchange(name, other)...)
		}
	}
	return slices.DeleteFunc(out, func(s supposition) bool { return !s.kind.Early })
}

// impossible reports whether the value of an alias is outside its plausible
// range.
func (t *tested) impossible(name string) bool {
	b := t.Binding(name)
	low, high, known := t.plausible(b.Chosen.Measurement.Measurand)
	return known && (b.Chosen.X < low || b.Chosen.X > high)
}

func short(b *answer.Binding, m *echo.Measurement) string {
	for _, c := range b.Alias.Measurands {
		if c.Identifier == m.Measurand {
			return c.Short
		}
	}
	return m.ConceptName.CodeMeaning
}

func (t *tested) factors(name string, b *answer.Binding) []supposition {
	var out []supposition
	unit := b.Alias.Unit
	for _, f := range t.Library.Mistakes.Factors(t.Library.Measurands.Find(b.Chosen.Measurement.Measurand), unit) {
		if d := t.Rule.Recompute; f.Slip.Computing && (d == nil || name != d.Stated) {
			continue
		}
		out = append(out, t.one(f.Slip, name, b.Chosen.X*f.By, f.Why))
	}
	kind := t.kind(notSquared)
	if kind == nil || t.Rule.Recompute == nil || !t.squared(name) {
		return out
	}
	// A square forgotten is as if the root, in the unit of the formulas, had been entered.
	switch d := unit.Dimension(); d {
	case length:
		base := answer.Factor(unit, centimetre)
		out = append(out, t.one(kind, name, math.Sqrt(b.Chosen.X*base)/base, "the square left out"))
	case velocity:
		out = append(out, t.one(kind, name, math.Sqrt(b.Chosen.X), "the square left out"))
	}
	return out
}

// squared reports whether a form takes the square of an alias, so that it can be
// left out: its second differences are as those of a square.
func (t *tested) squared(name string) bool {
	d := t.Rule.Recompute
	if name == d.Stated {
		return false
	}
	for i := range d.Forms {
		eval := t.InUnit(d.Forms[i].Value, t.Binding(d.Stated).Alias.Unit)
		at := func(times float64) float64 {
			it := t.Binding(name).Chosen
			it.X *= times
			return eval(t.Supposing(answer.Supposed{Alias: name, Item: it}).Value)
		}
		if rise, more := at(2)-at(1), at(3)-at(2); math.Abs(3*more-5*rise) < 1e-6*math.Abs(rise) {
			return true
		}
	}
	return false
}

// turned supposes a stated ratio written upside down, and a value written with a
// minus that it cannot have.
func (t *tested) turned(name string, b *answer.Binding) []supposition {
	var out []supposition
	x, d := b.Chosen.X, t.Rule.Recompute
	if kind := t.kind(inverted); kind != nil && d != nil && name == d.Stated && b.Alias.Unit.Code() == "1" && x > 0 {
		out = append(out, t.one(kind, name, 1/x, "the ratio upside down"))
	}
	if kind := t.Library.Mistakes.Remains(t.Library.Measurands.Find(b.Chosen.Measurement.Measurand), b.Alias.Unit); kind != nil && d != nil && name == d.Stated && x > 0 && x < 100 {
		rest := b.Chosen
		rest.X = 100 - x
		out = append(out, t.supposition(kind, name, rest, func() string { return t.instead(name, rest.X, t.Library.Mistakes.Remaining.Title) }))
	}
	if kind := t.kind(signLost); kind != nil && x < 0 {
		s := t.one(kind, name, -x, "the sign")
		s.telling = true
		out = append(out, s)
	}
	return out
}

// Dimensions of what the formulas square.
var (
	length   = ucum.Dimension{Length: 1}
	velocity = ucum.Dimension{Length: 1, Time: -1}
)

var centimetre = func() ucum.Unit { u, _ := ucum.Parse("cm"); return u }()

// usual supposes a value left out, counted twice, or taken from those usually
// put in for what was not measured.
func (t *tested) usual(name string, b *answer.Binding) []supposition {
	var out []supposition
	for _, u := range t.Library.Mistakes.Usual {
		if u.Measurand != b.Chosen.Measurement.Measurand {
			continue
		}
		x, title := b.Chosen.X, strings.ToLower(t.Library.Measurands.Find(u.Measurand).Title)
		without, twice := t.one(u.Slip, name, 0, title+" left out"), t.one(u.Slip, name, 2*x, title+" counted twice")
		without.simple, twice.simple, twice.commonness = true, true, u.Twice
		if slices.Contains(u.Values, x) {
			twice.changes[0].Item.HalfStep = 0
		}
		if t.Rule.Recompute != nil {
			out = append(out, without, twice)
		}
		for _, usual := range u.Values {
			if usual != x {
				other := t.one(u.Slip, name, usual, "another "+title+" used")
				other.changes[0].Item.HalfStep = 0 // put in, not measured
				out = append(out, other)
			}
		}
	}
	return out
}

// last is the last value of a measurand, nil when it has none.
func (t *tested) last(measurand string) (*echo.Measurement, float64) {
	values := t.Of(measurand)
	if len(values) == 0 || values[len(values)-1].Canonical == nil {
		return nil, 0
	}
	m := values[len(values)-1]
	return m, m.Canonical.Value.Float()
}

// others supposes the value of another beat or view of the same quantity, or of
// its like at another site or by another method.
func (t *tested) others(name string, b *answer.Binding) []supposition {
	if name == t.Rule.Recompute.Stated {
		return t.beatForMean(name, b) // another result is no input it was computed from
	}
	out := t.means(name, b)
	for _, id := range t.Measurands() {
		kind, why := t.kind(otherKind), ""
		if id == b.Chosen.Measurement.Measurand {
			kind, why = t.kind(otherBeat), "another value of the same"
		} else if !t.Library.Mistakes.Alike(id, b.Chosen.Measurement.Measurand) {
			continue
		}
		for _, m := range t.Of(id) {
			it, ok := t.Item(m, b.Alias.Unit)
			if kind == nil || !ok || m == b.Chosen.Measurement || it.X == b.Chosen.X {
				continue
			}
			label := why
			if why == "" {
				label = "that of " + t.Library.Measurands.Find(id).Short
			}
			s := t.supposition(kind, name, it, func() string { return insteadOf(b, it.Text(b.Alias.Unit), label) })
			s.from = m
			out = append(out, s)
		}
	}
	return out
}

// beatForMean supposes that a recorded mean is one of the beats it is tested
// against.
func (t *tested) beatForMean(name string, b *answer.Binding) []supposition {
	kind, own := t.kind(otherBeat), b.Chosen.Measurement.Measurand
	for _, other := range t.names {
		beats := t.Binding(other)
		one := slices.ContainsFunc(beats.Items, func(i answer.Item) bool { return !i.Derived() && i.X == b.Chosen.X })
		if kind == nil || other == name || beats.Chosen.Measurement == nil || beats.Chosen.Measurement.Measurand != own || !one {
			continue
		}
		s := t.one(kind, name, t.wanted(name, 0), "one of its beats given as the mean")
		s.seen = true
		return []supposition{s}
	}
	return nil
}

// means supposes that a recorded mean is not that of its beats.
func (t *tested) means(name string, b *answer.Binding) []supposition {
	kind := t.kind(otherBeat)
	if kind == nil {
		return nil
	}
	var out []supposition
	most := math.Log(t.Library.Mistakes.Limits.MostEdited)
	for _, x := range b.Means() {
		it := b.Chosen
		it.X = x
		of := func(o answer.Item) bool { return o.Derived() && o.X == b.Chosen.X }
		if math.Abs(x-b.Chosen.X) <= b.Chosen.HalfStep || math.Abs(math.Log(x/b.Chosen.X)) > most || !slices.ContainsFunc(b.Items, of) {
			continue
		}
		s := t.one(kind, name, x, "the mean of its beats")
		s.repair, s.seen = t.repair(b, it, false), true
		out = append(out, s)
	}
	return out
}

// indexed supposes that a stated index was divided by body size twice, not at
// all, or multiplied by it; or that a value which has an index is it.
func (t *tested) indexed() []supposition {
	by := t.Library.Mistakes.Indexed
	if t.Rule.Recompute == nil || by.Slip == nil {
		return nil
	}
	_, x := t.last(by.By)
	if x <= 0 {
		return nil
	}
	var out []supposition
	for _, name := range t.names {
		chosen := t.Binding(name).Chosen
		again := func() supposition {
			return t.one(by.Slip, name, chosen.X*x, "divided by the "+by.Title+" once too often")
		}
		switch id := chosen.Measurement.Measurand; {
		case t.hasIndex(id):
			out = append(out, again())
		case name == t.Rule.Recompute.Stated && isIndex(id):
			out = append(out, again(), t.one(by.Slip, name, chosen.X/x, "not divided by the "+by.Title),
				t.one(by.Slip, name, chosen.X/x/x, "multiplied by the "+by.Title))
		}
	}
	return out
}

func isIndex(of string) bool {
	return strings.Contains(of, "index") && slices.Contains(strings.Split(of, "-"), "index")
}

// hasIndex reports whether some measurand is the other divided by body size.
func (t *tested) hasIndex(of string) bool {
	if isIndex(of) {
		return false
	}
	own := strings.Split(of, "-")
	return slices.ContainsFunc(t.Library.Measurands.Measurands, func(m *measurand.Measurand) bool {
		return isIndex(m.Identifier) && !slices.ContainsFunc(strings.Split(m.Identifier, "-"), func(w string) bool { return w != "index" && !slices.Contains(own, w) })
	})
}
