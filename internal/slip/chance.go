package slip

import (
	"cmp"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// interval is where a number that is written with so many digits may lie.
type interval struct{ low, high float64 }

// width is the relative width of an interval.
func (i interval) width() float64 { return math.Abs(i.high-i.low) / math.Abs(i.low+i.high) * 2 }

// apart is how far two intervals lie from each other, on the log scale; 0 when
// they meet.
func (i interval) apart(o interval) float64 {
	switch {
	case i.meets(o):
		return 0
	case i.low*o.low <= 0 || i.high*o.high <= 0:
		return math.Inf(1)
	}
	return math.Min(math.Abs(math.Log(i.low/o.high)), math.Abs(math.Log(i.high/o.low)))
}

// meets reports whether two intervals overlap, or lie no further apart than
// systems round on the way.
func (i interval) meets(o interval) bool {
	slack := onTheWay * math.Max(math.Abs(i.high), math.Abs(o.high))
	return i.low-slack <= o.high && o.low-slack <= i.high
}

// onTheWay is the relative error that systems make by rounding between the steps
// of a computation (site choice).
const onTheWay = 0.001

// intervals are, of every form of a recomputation, what it gives over all
// roundings of its inputs, and where the stated value may lie.
func (t *tested) intervals(on *answer.Answers) (stated interval, forms []interval) {
	d := t.Rule.Recompute
	b := on.Binding(d.Stated)
	half := math.Abs(b.Chosen.HalfStep)
	stated = interval{b.Chosen.X - half, b.Chosen.X + half}
	for i := range d.Forms {
		low, high := on.Reach(d.Forms[i].Value, b.Alias.Unit)
		if !math.IsNaN(low) && !math.IsNaN(high) {
			forms = append(forms, interval{low, high})
		}
	}
	return stated, forms
}

// toTheDigit reports whether a form gives the stated value to its rounding; an
// allowance is for physiology and systems, a slip reproduces the number.
func (t *tested) toTheDigit(on *answer.Answers) bool {
	stated, forms := t.intervals(on)
	for _, f := range forms {
		if f.meets(stated) {
			return true
		}
	}
	return false
}

// crowd says where the results of all suppositions of a kind lie beside the
// stated value.
type crowd struct {
	off float64              // how far the relation misses, signed, on the log scale
	at  map[string][]float64 // how far it misses with each supposition
}

func (t *tested) around(tried []supposition) crowd {
	c := crowd{at: map[string][]float64{}}
	if t.Rule.Recompute == nil {
		return c
	}
	c.off = t.offset(t.Answers)
	for _, s := range tried {
		on := t.Supposing(s.changes...)
		if len(s.changes) == 0 {
			on = t.Corrected(t.x.following(s.repair).item)
		}
		if off := t.offset(on); !math.IsInf(off, 0) {
			c.at[s.variant()] = append(c.at[s.variant()], off)
		}
	}
	return c
}

// hits is how often, of all suppositions of a kind, one would fit by chance: the
// room within which it fits, times how densely they lie around the stated value.
// Suppositions that give the same are one.
func (c crowd) hits(variant string, room, off float64) float64 {
	n, last := 0, math.Inf(-1)
	for _, at := range slices.Sorted(slices.Values(c.at[variant])) {
		if math.Abs(at) <= math.Abs(c.off) && at-last >= room {
			n, last = n+1, at
		}
	}
	return float64(max(1, n)) * room / (2 * off)
}

// missing is how far the closest form misses the stated value, on the log scale.
func (t *tested) missing(on *answer.Answers) float64 { return math.Abs(t.offset(on)) }

// offset is by how much the closest form misses the stated value, on the log
// scale: above nought where it gives more. It is infinite where none gives any.
func (t *tested) offset(on *answer.Answers) float64 {
	stated := on.Binding(t.Rule.Recompute.Stated)
	off := math.Inf(1)
	for i := range t.Rule.Recompute.Forms {
		x := on.InUnit(t.Rule.Recompute.Forms[i].Value, stated.Alias.Unit)(on.Value)
		if miss := math.Log(x / stated.Chosen.X); math.Abs(miss) < math.Abs(off) {
			off = miss
		}
	}
	return off
}

// missingAs is how far the form that fits best on other answers misses the stated
// value on these, on the log scale: who says that one form was meant must not
// measure by another.
func (t *tested) missingAs(on *answer.Answers) float64 {
	stated := t.Binding(t.Rule.Recompute.Stated)
	_, form, _ := t.closest(on)
	if form < 0 {
		return 0
	}
	off := math.Abs(math.Log(t.InUnit(t.Rule.Recompute.Forms[form].Value, stated.Alias.Unit)(t.Value) / stated.Chosen.X))
	if math.IsNaN(off) {
		return math.Inf(1) // of another sign
	}
	return off
}

// beatsChance reports whether a supposition that makes a demand hold says more
// than that many were tried: a number that is wrong by this much for no reason
// would seldom lie as near to what a slip of the kind gives, of all that were
// tried. Rounding bounds how near one can lie; other beats than the record
// counts may have entered the computation.
func (t *tested) beatsChance(h holding, around crowd) bool {
	if t.Rule.Recompute == nil {
		return t.orderTells(h)
	}
	exact := t.toTheDigit(h.on)
	switch {
	case h.seen:
		return exact // what it gives may fit by its making; it was asked for another sign
	case !exact && !(h.kind.Early && t.beats() && !t.ofItsOwn()):
		return false
	}
	off := t.missingAs(h.on)
	if math.Min(t.moved(h.supposition), off) > math.Log(t.Library.Mistakes.Limits.Misread) && exact {
		return true // no misreading is so large, of the value or of the result
	}
	chance := around.hits(h.variant(), t.reached(h.on), off) * t.x.also(h) * t.misreadBy(h.supposition)
	return chance*float64(t.rarity(h)) < t.Library.Mistakes.Limits.Chance
}

// rarity is how commonly a slip occurs, or less so where the record speaks
// against it: what was computed on from the right result shows that the system
// did not err, so that the stated number was put in by hand.
func (t *tested) rarity(h holding) int {
	own := cmp.Or(h.commonness, h.kind.Commonness)
	if !h.kind.Computing {
		return own
	}
	stated := t.Binding(t.Rule.Recompute.Stated).Chosen.Measurement
	if _, repaired := h.best[stated]; !repaired {
		return own
	}
	for _, on := range t.x.about[stated] {
		if on != t && on.Rule.Recompute != nil && on.failed && h.mended[on] && on.Binding(on.Rule.Recompute.Stated).Chosen.Measurement != stated {
			return max(own, t.Library.Mistakes.Rarest())
		}
	}
	return own
}

// ofItsOwn reports whether a recomputation is of nothing but the quantity itself:
// the mean of its beats.
func (t *tested) ofItsOwn() bool {
	stated := t.Binding(t.Rule.Recompute.Stated).Chosen.Measurement
	return !slices.ContainsFunc(t.inputs(), func(m *echo.Measurement) bool { return m.Measurand != stated.Measurand })
}

// beats reports whether a value has others of its kind beside it, that may have
// entered the computation in its place.
func (t *tested) beats() bool {
	return slices.ContainsFunc(t.names, func(name string) bool { return len(t.Binding(name).Items) > 1 })
}

// also is by how much less likely chance is where an exchange with another value
// mends a recomputation of that one as well.
func (x *explainer) also(h holding) float64 {
	least := 1.0
	if h.other == nil {
		return least
	}
	for _, t := range x.about[h.other] {
		if h.mended[t] && t.Rule.Recompute != nil {
			least = math.Min(least, t.reached(t.Corrected(h.best.item))/(2*t.missing(t.Answers)))
		}
	}
	return least
}

// reached is how much room, on the log scale, the numbers take that lie no
// further from what the nearest form gives than the stated one.
func (t *tested) reached(on *answer.Answers) float64 {
	near := math.Inf(1)
	stated, forms := t.intervals(on)
	for _, f := range forms {
		near = math.Min(near, f.width()+stated.width()+2*onTheWay+2*f.apart(stated))
	}
	return near
}

// orderTells reports whether an order, a range or a loose agreement, which many
// numbers meet, tells a slip: when the value cannot be and the slip is no smaller
// than slips are, when it makes an arithmetic hold as well, or when no misreading is so large as the value would
// have to be off. Of the common slips the last is asked less of.
func (t *tested) orderTells(h holding) bool {
	limits := t.Library.Mistakes.Limits
	telling := h.telling && (h.seen || t.needed() > math.Log(limits.Misread) || t.moved(h.supposition) > math.Log(limits.OneSlip))
	if telling || mendsArithmetic(h.mended) || h.pair && t.sameButTime() {
		return true
	}
	if len(t.Rule.Statements) > 0 {
		return false // of a word and a number, neither is the surer
	}
	off := t.needed()
	common := h.kind.Early && h.kind.Commonness <= 2 && !h.outside
	return off > math.Log(limits.Misread) || common && off > math.Log(limits.OneSlip)
}

// needed is how far, on the log scale, the value that is nearest to it would have
// to be off for a demand to fail as it does.
func (t *tested) needed() float64 {
	if t.need == nil {
		least, told := math.Inf(1), false
		for _, name := range t.names {
			is := t.Binding(name).Chosen.X
			if x := t.nearest(name, t.Library.Mistakes.Limits.CopyReach); x > 0 && is > 0 {
				least, told = math.Min(least, math.Abs(math.Log(x/is))), true
			}
			told = told || is < 0 // no misreading makes a number negative
		}
		if !told {
			least = 0
		}
		t.need = &least
	}
	return *t.need
}

// sameButTime reports whether the relation is between one quantity and itself at
// another time.
func (t *tested) sameButTime() bool {
	return len(t.names) == 2 && t.Library.Mistakes.SameButTime(t.Binding(t.names[0]).Chosen.Measurement.Measurand, t.Binding(t.names[1]).Chosen.Measurement.Measurand)
}

// agreed reports whether results that were not made again tell of an older input:
// two of them, to their rounding, that have nothing but it in common, so that
// neither follows from the other. The input is none that is itself computed from
// others and does not fit them.
func (x *explainer) agreed(c corrections) bool {
	var inputs [][]*echo.Measurement
	for m := range c {
		for _, t := range x.about[m] {
			d := t.Rule.Recompute
			if d == nil || !t.failed {
				continue
			}
			if t.Binding(d.Stated).Chosen.Measurement == m {
				return false
			}
			if on := t.Corrected(c.item); check.Outcome(on) == finding.Pass && t.toTheDigit(on) {
				inputs = append(inputs, t.inputs())
			}
		}
	}
	for i, first := range inputs {
		for _, second := range inputs[i+1:] {
			shared := slices.DeleteFunc(slices.Clone(first), func(m *echo.Measurement) bool { return !slices.Contains(second, m) })
			if len(shared) == 1 {
				return true
			}
		}
	}
	return false
}

// inputs are the values that count of those a recomputation is made from.
func (t *tested) inputs() []*echo.Measurement {
	var out []*echo.Measurement
	for _, name := range t.names {
		if name != t.Rule.Recompute.Stated {
			out = append(out, t.Binding(name).Chosen.Measurement)
		}
	}
	return out
}

// coincidence is how many other values of the kind of quantity would have the
// same digits as a value by chance, by how many lie about as large.
func (t *tested) coincidence(b *answer.Binding) float64 {
	n, about := 1, math.Log(t.Library.Mistakes.Limits.OneSlip)
	for i := range t.Study.Measurements {
		m := &t.Study.Measurements[i]
		if m.Measurand == "" || m.Superseded || m.Measurand == b.Chosen.Measurement.Measurand {
			continue
		}
		if other := t.Library.Measurands.Find(m.Measurand); other != nil && other.Unit.Dimension() == b.Alias.Unit.Dimension() {
			if it, ok := t.Item(m, b.Alias.Unit); ok && it.X != b.Chosen.X && math.Abs(math.Log(it.X/b.Chosen.X)) < about {
				n++
			}
		}
	}
	return float64(n*len(t.names)) * 2 * b.Chosen.HalfStep / math.Abs(b.Chosen.X) / (2 * about)
}

// misreadBy is how likely a misreading, of the value or of the result, is off by
// as much as a supposition says:
// certainly by more than nothing, never by more than a misreading can be.
func (t *tested) misreadBy(s supposition) float64 {
	off := t.moved(s)
	if t.Rule.Recompute != nil {
		off = math.Min(off, t.missing(t.Answers))
	}
	return math.Max(0, 1-off/math.Log(t.Library.Mistakes.Limits.Misread))
}

// simplest is the score of the best correction of a single value, whatever made
// it wrong: a story that leaves more unexplained than that is none.
func (x *explainer) simplest(t *tested) int {
	best := math.MaxInt
	for _, by := range x.arithmetic(t) {
		for _, name := range by.names {
			b := by.Binding(name)
			it := b.Chosen
			if it.X = by.wanted(name, t.Library.Mistakes.Limits.CopyReach); math.IsNaN(it.X) || it.X == 0 || b.Chosen.X == 0 {
				continue
			}
			if mended, broken := x.weigh(by.repair(b, it, false)); mended[t] {
				best = min(best, 2*broken-len(mended))
			}
		}
	}
	return best
}

// arithmetic are the failed recomputations that a relation shares a value with,
// itself among them.
func (x *explainer) arithmetic(t *tested) []*tested {
	var out []*tested
	for _, name := range t.names {
		for _, other := range x.about[t.Binding(name).Chosen.Measurement] {
			if other.failed && other.Rule.Recompute != nil && !slices.Contains(out, other) {
				out = append(out, other)
			}
		}
	}
	return out
}

// moved is how far a supposition takes a value from the recorded one, on the log
// scale.
func (t *tested) moved(s supposition) float64 {
	far := 0.0
	for _, c := range s.changes {
		if c.Item.X == 0 {
			continue // left out, not misread
		}
		far = math.Max(far, math.Abs(math.Log(math.Abs(c.Item.X/t.Binding(c.Alias).Chosen.X))))
	}
	if len(s.changes) == 0 {
		for _, c := range s.repair {
			far = math.Max(far, math.Abs(math.Log(math.Abs(c.factor))))
		}
	}
	return far
}

func mendsArithmetic(mended map[*tested]bool) bool {
	for t := range mended {
		if t.Rule.Recompute != nil {
			return true
		}
	}
	return false
}
