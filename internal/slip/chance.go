package slip

import (
	"math"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// interval is where a number that is written with so many digits may lie.
type interval struct{ low, high float64 }

// width is the relative width of an interval.
func (i interval) width() float64 { return math.Abs(i.high-i.low) / math.Abs(i.low+i.high) * 2 }

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

// crowd says how densely the numbers that slips of one kind would give lie
// around the stated one.
type crowd struct {
	off    float64        // how far the relation misses, on the log scale
	within map[string]int // suppositions of a kind no further off than the relation
}

func (t *tested) around(tried []supposition) crowd {
	c := crowd{within: map[string]int{}}
	if t.Rule.Recompute == nil {
		return c
	}
	c.off = t.missing(t.Answers)
	for _, s := range tried {
		on := t.Supposing(s.changes...)
		if len(s.changes) == 0 {
			on = t.Corrected(t.x.following(s.repair).item)
		}
		if t.missing(on) <= c.off {
			c.within[s.variant()]++
		}
	}
	return c
}

// missing is how far the closest form misses the stated value, on the log scale.
func (t *tested) missing(on *answer.Answers) float64 {
	stated := on.Binding(t.Rule.Recompute.Stated)
	off := math.Inf(1)
	for i := range t.Rule.Recompute.Forms {
		x := on.InUnit(t.Rule.Recompute.Forms[i].Value, stated.Alias.Unit)(on.Value)
		if miss := math.Abs(math.Log(x / stated.Chosen.X)); miss < off {
			off = miss
		}
	}
	return off
}

// beatsChance reports whether a supposition that makes a recomputation hold says
// more than that many were tried: it gives the number to its rounding, and a
// number that is wrong by this much for no reason would seldom be given by a slip
// of the kind. A number wrong by more than a misreading is has a reason. An order or a loose
// agreement, which many numbers meet, tells a rarer slip only together with an
// arithmetic.
func (t *tested) beatsChance(h holding, around crowd) bool {
	limits := t.Library.Mistakes.Limits
	if t.Rule.Recompute == nil {
		common := h.kind.Early && h.kind.Commonness <= 2 && !h.outside
		return h.telling || common || mendsArithmetic(h.mended) || t.moved(h.supposition) > math.Log(limits.Misread)
	}
	large := around.off > math.Log(limits.Misread)
	if large && h.kind.Commonness == 1 {
		return true // other beats may have entered the computation
	}
	if !t.toTheDigit(h.on) {
		return false
	}
	if h.kind.Identifier == edited || h.kind.Identifier == copied {
		return true // what they give fits by their making; they were asked for other signs
	}
	if large {
		return true
	}
	stated, forms := t.intervals(h.on)
	width := math.Inf(1)
	for _, f := range forms {
		if f.meets(stated) {
			width = math.Min(width, f.width()+stated.width()+2*onTheWay)
		}
	}
	chance := float64(max(1, around.within[h.variant()])) * width / (2 * around.off)
	return chance*float64(h.kind.Commonness) < limits.Chance
}

// agreed reports whether results that were not made again tell of an older input:
// two of them, to their rounding, of the same. The input is none that is itself
// computed from others and does not fit them.
func (x *explainer) agreed(c corrections) bool {
	results := map[*echo.Measurement]bool{}
	for m := range c {
		for _, t := range x.about[m] {
			d := t.Rule.Recompute
			if d == nil || !t.failed {
				continue
			}
			stated := t.Binding(d.Stated).Chosen.Measurement
			if stated == m {
				return false
			}
			on := t.Corrected(c.item)
			if check.Outcome(on) == finding.Pass && t.toTheDigit(on) {
				results[stated] = true
			}
		}
	}
	return len(results) > 1
}

// coincidence is how many other values of the kind of quantity would have the
// same digits as a value by chance.
func (t *tested) coincidence(b *answer.Binding) float64 {
	n := 0
	for i := range t.Study.Measurements {
		m := &t.Study.Measurements[i]
		if m.Measurand == "" || m.Superseded || m.Measurand == b.Chosen.Measurement.Measurand {
			continue
		}
		if other := t.Library.Measurands.Find(m.Measurand); other != nil && other.Unit.Dimension() == b.Alias.Unit.Dimension() {
			n++
		}
	}
	return float64(n) * 2 * b.Chosen.HalfStep / math.Abs(b.Chosen.X) / math.Log(10)
}

// simplest is the score of the best correction of a single value, whatever made
// it wrong: a story that leaves more unexplained than that is none.
func (x *explainer) simplest(t *tested) int {
	best := math.MaxInt
	if t.Rule.Recompute == nil {
		return best
	}
	for _, name := range t.names {
		b := t.Binding(name)
		it := b.Chosen
		if it.X = t.wanted(name, t.Library.Mistakes.Limits.CopyReach); math.IsNaN(it.X) || it.X == 0 || b.Chosen.X == 0 {
			continue
		}
		mended, broken := x.weigh(t.repair(b, it, false))
		best = min(best, 2*broken-len(mended))
	}
	return best
}

// moved is how far a supposition takes a value from the recorded one, on the log
// scale.
func (t *tested) moved(s supposition) float64 {
	far := 0.0
	for _, c := range s.changes {
		far = math.Max(far, math.Abs(math.Log(c.Item.X/t.Binding(c.Alias).Chosen.X)))
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
