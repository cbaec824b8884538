package slip

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// maxCauses is how many likely causes a result carries; a reader acts on the
// first one or two.
const maxCauses = 4

// tested is a consistency rule that came to a verdict on this study.
type tested struct {
	*answer.Answers
	x      *explainer
	names  []string // aliases with a recorded value
	failed bool
	form   int // which form of a recomputation fitted
	told   map[story]bool
	need   *float64 // see needed
}

// explainer looks for the single slip behind failed results. One slip makes one
// or several relations fail, so a slip that makes all of them hold again, and
// none of the others fail, is likelier than one that mends a single relation.
type explainer struct {
	*answer.Reading
	ranges   *check.Ranges
	about    map[*echo.Measurement][]*tested
	computed map[*echo.Measurement]*tested // the passing recomputation of a stated value
	digits   map[digitsKey]int
}

// Explain writes the likely causes into the failed results.
func Explain(r *answer.Reading, ranges *check.Ranges, checked []*check.Checked) {
	if !slices.ContainsFunc(checked, func(c *check.Checked) bool { return Tests(c) && c.Decided == finding.Fail || len(c.Wrong) > 0 }) {
		return
	}
	x := &explainer{Reading: r, ranges: ranges, about: map[*echo.Measurement][]*tested{}, computed: map[*echo.Measurement]*tested{}, digits: map[digitsKey]int{}}
	var failed []*tested
	var results []*check.Checked
	for _, c := range checked {
		if len(c.Wrong) > 0 {
			c.Result.Causes = scoreCauses(c.Answers, c.Wrong)
		}
		if !Tests(c) {
			continue
		}
		t := &tested{Answers: c.Answers, x: x, told: map[story]bool{}, names: c.Answers.Measured(), failed: c.Decided == finding.Fail, form: c.Form}
		x.add(t)
		if t.failed {
			failed, results = append(failed, t), append(results, c)
		}
	}
	for _, recomputed := range []bool{true, false} { // what arithmetic tells bounds what an order or a range may
		for i, t := range failed {
			if (t.Rule.Recompute != nil) == recomputed {
				results[i].Result.Causes = x.causes(t)
			}
		}
	}
}

// agreeing reports whether a slip that explains an order, a range or a loose
// agreement also explains one of the failed computations with the same numbers,
// when there are any.
func (x *explainer) agreeing(t *tested, h holding) bool {
	if t.Rule.Recompute != nil || h.telling {
		return true
	}
	arithmetic := x.arithmetic(t)
	return len(arithmetic) == 0 || slices.ContainsFunc(arithmetic, func(other *tested) bool {
		return h.mended[other] && other.told[story{h.kind.Identifier, h.subject}]
	})
}

// story is a kind of slip and the measurand it sits on.
type story struct{ kind, subject string }

// Tests reports whether a rule put to the study tests the values of this study
// against each other or against what is possible. Which of two studies is
// wrong, or whether the heart changed, no slip of this one tells.
func Tests(c *check.Checked) bool {
	if c.Answers == nil || c.Decided != finding.Pass && c.Decided != finding.Fail {
		return false
	}
	one := c.Answers.Rule
	return one.Kind == finding.Consistency && !one.AboutPrior && (one.Require != nil || one.Recompute != nil)
}

func (x *explainer) add(t *tested) {
	for _, name := range t.names {
		for _, it := range t.Binding(name).Items {
			if !slices.Contains(x.about[it.Measurement], t) {
				x.about[it.Measurement] = append(x.about[it.Measurement], t)
			}
		}
	}
	if d := t.Rule.Recompute; d != nil && !t.failed {
		x.computed[t.Binding(d.Stated).Chosen.Measurement] = t
	}
}

// correction is what a value becomes: times a factor, its rounding times step.
type correction struct{ factor, step float64 }

type corrections map[*echo.Measurement]correction

// item is a value corrected; false when nothing corrects it.
func (c corrections) item(it answer.Item) (answer.Item, bool) {
	f, ok := c[it.Measurement]
	if ok {
		it.X, it.HalfStep = it.X*f.factor, math.Abs(it.HalfStep*f.step)
	}
	return it, ok
}

// following adds what a scanner would have computed from the corrected values.
func (x *explainer) following(c corrections) corrections {
	out := maps.Clone(c)
	for range 5 { // results of results; five steps reach the last index
		before := maps.Clone(out)
		for m := range before {
			for _, t := range x.about[m] {
				x.follow(t, c, out)
			}
		}
		if maps.Equal(before, out) {
			break
		}
	}
	return out
}

func (x *explainer) follow(t *tested, given, out corrections) {
	d := t.Rule.Recompute
	if d == nil || t.failed {
		return
	}
	stated := t.Binding(d.Stated)
	if _, fixed := given[stated.Chosen.Measurement]; fixed {
		return
	}
	eval := t.InUnit(d.Forms[t.form].Value, stated.Alias.Unit)
	was, is := eval(t.Value), eval(t.Corrected(out.item).Value)
	if f := is / was; !math.IsNaN(f) && !math.IsInf(f, 0) && f != 0 && math.Abs(f-1) > 1e-9 {
		out[stated.Chosen.Measurement] = correction{f, math.Max(1, math.Abs(f))} // digits that were rounded away do not come back
	}
}

// weigh says how many failed relations hold with the corrections and how many
// sound ones fail.
func (x *explainer) weigh(c corrections) (mended map[*tested]bool, broken int) {
	mended = map[*tested]bool{}
	seen := map[*tested]bool{}
	for m := range c {
		for _, t := range x.about[m] {
			if seen[t] {
				continue
			}
			seen[t] = true
			switch outcome := check.Outcome(t.Corrected(c.item)); {
			case t.failed && outcome == finding.Pass:
				mended[t] = true
			case !t.failed && (outcome == finding.Fail || outcome == finding.Review):
				broken++
			}
		}
	}
	return mended, broken
}

// holding is a supposition under which the result holds.
type holding struct {
	supposition
	score, rank int
	misfit      float64
	mended      map[*tested]bool
	best        corrections     // that mend the most
	on          *answer.Answers // the relation holds with these
}

// causes re-tests a failed relation under every single slip that could have
// made it fail, and returns those under which it holds, most likely first:
// those that leave the fewest relations broken, possible values before
// impossible ones, common slips before rare ones, close fits before loose
// ones.
func (x *explainer) causes(t *tested) []finding.Hypothesis {
	found := x.found(t)
	slices.SortStableFunc(found, func(a, b holding) int {
		return cmp.Or(cmp.Compare(a.score, b.score), cmp.Compare(a.rank, b.rank), cmp.Compare(a.misfit, b.misfit))
	})
	if len(found) == 0 {
		return nil
	}
	least := min(found[0].score, x.simplest(t))
	var out []finding.Hypothesis
	for _, h := range found {
		if h.score > least {
			break // one slip, one story: what leaves more unexplained is not another
		}
		t.told[story{h.kind.Identifier, h.subject}] = true
		again := slices.ContainsFunc(out, func(o finding.Hypothesis) bool {
			return o.Identifier == h.kind.Identifier && o.Measurand == h.subject
		})
		if !again && len(out) < maxCauses {
			out = append(out, finding.Hypothesis{Identifier: h.kind.Identifier, Text: h.text() + ": " + t.fit(h.on), Measurand: h.subject})
		}
	}
	return out
}

// found are the suppositions under which a relation holds and that say more than
// that many were tried.
func (x *explainer) found(t *tested) []holding {
	var found, others []holding
	tried := append(t.suppositions(), x.upstream(t)...)
	around := t.around(tried)
	for _, s := range tried {
		h, ok := x.try(t, s)
		switch {
		case !ok || !x.agreeing(t, h):
		case t.beatsChance(h, around):
			found = append(found, h)
		case h.from != nil:
			others = append(others, h)
		}
	}
	for _, h := range others {
		if slices.ContainsFunc(found, func(c holding) bool { return c.kind.Identifier == copied && x.reckonedFrom(c.from, h.from) }) {
			found = append(found, h) // copied, or made from what the other was made from: either gives the same
		}
	}
	return found
}

// reckonedFrom reports whether a result was computed from a value.
func (x *explainer) reckonedFrom(result, input *echo.Measurement) bool {
	by := x.computed[result]
	return by != nil && slices.Contains(by.inputs(), input)
}

// try tests one supposition: the value alone was wrong, everything computed
// from it was wrong as well, or only the stated result was computed wrongly.
func (x *explainer) try(t *tested, s supposition) (holding, bool) {
	h := holding{supposition: s, score: math.MaxInt}
	local := len(s.changes) > 0 && t.holds(s.changes...)
	unlikely := cmp.Or(s.commonness, s.kind.Commonness)
	possible := len(s.changes) == 0 || t.possible(s.changes)
	if !possible && len(s.recomputed) == 0 {
		return h, false // nobody measures a value that no heart has; only a system reckons with one
	}
	best := corrections(nil)
	consider := func(c corrections, rank int) {
		if len(c) == 0 {
			return
		}
		mended, broken := x.weigh(c)
		if score := 2*broken - len(mended); mended[t] && (score < h.score || score == h.score && rank < h.rank) {
			h.score, h.rank, h.mended, best = score, rank, mended, c
			h.on = t.Corrected(c.item)
			h.misfit = t.misfit(h.on)
		}
	}
	if local {
		if possible {
			consider(s.repair, unlikely)
		}
		if len(s.recomputed) > 0 { // the record is right, only the scanner reckoned with another
			rank := s.kind.Commonness
			if !s.kind.Computing {
				rank++
			}
			if !possible {
				rank += 2
			}
			consider(s.recomputed, rank)
			consider(x.following(s.recomputed), rank)
		}
	}
	if s.kind.Early && len(s.repair) > 0 && possible {
		consider(x.following(s.repair), unlikely)
	}
	if local {
		h.on = t.Supposing(s.changes...)
		h.misfit = t.misfit(h.on)
	}
	h.best = best
	if h.score == math.MaxInt || s.kind.Identifier == edited && !x.agreed(best) {
		return h, false
	}
	h.rank += t.far(t.Corrected(best.item))
	return h, x.bears(t, h)
}

// bears reports whether a supposition bears on a relation that holds with it.
func (x *explainer) bears(t *tested, h holding) bool {
	if h.outside && !x.shows(h.mended, h.other) {
		return false // nothing but this relation tells that the other value is wrong as well
	}
	if t.Rule.Recompute != nil {
		// A shifted point also shifts the rounding, and with it what another form
		// allows: what brings the result no nearer explains nothing.
		return h.misfit < t.misfit(t.Answers)
	}
	// An order or a loose agreement is easily met: one that merely fits would
	// say nothing, unless a value cannot be right or several relations are
	// mended at once.
	loose := !h.telling && !h.pair && !t.ties(h.best)
	return !(loose && len(h.mended) < 2) && h.score <= 0
}

// shows reports whether a relation of a measurement is among those mended.
func (x *explainer) shows(mended map[*tested]bool, m *echo.Measurement) bool {
	return slices.ContainsFunc(x.about[m], func(t *tested) bool { return mended[t] })
}

// ties reports whether the relation holds the corrected values to about their
// size: three times as much or as little, and it fails.
func (t *tested) ties(c corrections) bool {
	for _, by := range []float64{3, 1.0 / 3} {
		far := corrections{}
		for m, f := range c {
			far[m] = correction{f.factor * by, f.step}
		}
		if check.Outcome(t.Corrected(far.item)) == finding.Pass {
			return false
		}
	}
	return true
}

// upstream supposes slips in the inputs of what the relation looks at: the
// scanner computed on from a wrong number, so that all results of it agree.
func (x *explainer) upstream(t *tested) []supposition {
	if len(t.Rule.Statements) > 0 {
		return nil // of a word and a number, neither is the surer
	}
	var out []supposition
	seen := map[*tested]bool{t: true}
	var visit func(e *tested, depth int)
	visit = func(e *tested, depth int) {
		for _, name := range e.names {
			g := x.computed[e.Binding(name).Chosen.Measurement]
			if g == nil || seen[g] || depth > 3 || g.Rule.Recompute == nil {
				continue
			}
			seen[g] = true
			for _, s := range g.inputSlips() {
				if t.Rule.Recompute == nil && !g.possible(s.changes) {
					continue // as of the values it looks at itself
				}
				s.changes, s.recomputed = nil, nil
				own := s.text
				s.text = func() string { return own() + ", and what was computed from it likewise" }
				out = append(out, s)
			}
			visit(g, depth+1)
		}
	}
	visit(t, 1)
	return out
}
