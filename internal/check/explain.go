package check

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// maxCauses is how many likely causes a result carries; a reader acts on the
// first one or two.
const maxCauses = 4

// impossibleRank puts a supposed value that no heart or body has behind all
// others.
const impossibleRank = 10

// tested is a consistency rule that came to a verdict on this study.
type tested struct {
	e      *evaluation
	failed bool
	form   int // which form of a recomputation fitted
}

// note keeps what a consistency rule came to.
func (r *reading) note(e *evaluation, res *finding.Result) {
	decided := res.Outcome == finding.Pass || res.Outcome == finding.Fail
	if e.rule.AboutPrior {
		return // which of the two studies is wrong, or whether the heart changed, no slip of this one tells
	}
	if e.rule.Kind != finding.Consistency || e.rule.Require == nil && e.rule.Recompute == nil || !decided {
		return
	}
	t := &tested{e: e, failed: res.Outcome == finding.Fail}
	if e.rule.Recompute != nil {
		t.form = max(0, slices.IndexFunc(e.rule.Recompute.Forms, func(f rule.CompiledForm) bool { return f.Title == res.Variant }))
	}
	r.tested = append(r.tested, t)
}

// explainer looks for the single slip behind failed results. One slip makes one
// or several relations fail, so a slip that makes all of them hold again, and
// none of the others fail, is likelier than one that mends a single relation.
type explainer struct {
	*reading
	about    map[*echo.Measurement][]*tested
	computed map[*echo.Measurement]*tested // the passing recomputation of a stated value
}

// explain writes the likely causes into the failed results.
func (r *reading) explain(results []finding.Result) {
	x := &explainer{reading: r, about: map[*echo.Measurement][]*tested{}, computed: map[*echo.Measurement]*tested{}}
	index := map[string]int{}
	for i, res := range results {
		index[res.Rule] = i
	}
	for _, t := range r.tested {
		for _, name := range t.e.measuredNames() {
			for _, it := range t.e.bindings[name].items {
				if !slices.Contains(x.about[it.m], t) {
					x.about[it.m] = append(x.about[it.m], t)
				}
			}
		}
		if d := t.e.rule.Recompute; d != nil && !t.failed {
			x.computed[t.e.bindings[d.Stated].chosen.m] = t
		}
	}
	for _, t := range r.tested {
		if t.failed {
			results[index[t.e.rule.File.Identifier]].Causes = x.causes(t)
		}
	}
}

// correction is what a value becomes: times a factor, its rounding times step.
type correction struct{ factor, step float64 }

type corrections map[*echo.Measurement]correction

// corrected is the evaluation with the values corrected; which value counts
// stays as it was.
func (e *evaluation) corrected(c corrections) *evaluation {
	out := *e
	out.supposed = true
	out.bindings = maps.Clone(e.bindings)
	for name, b := range e.bindings {
		if !slices.ContainsFunc(b.items, func(i item) bool { _, ok := c[i.m]; return ok }) {
			continue
		}
		changed := *b
		changed.items = slices.Clone(b.items)
		for i := range changed.items {
			it := &changed.items[i]
			if f, ok := c[it.m]; ok {
				it.x, it.halfStep = it.x*f.factor, math.Abs(it.halfStep*f.step)
			}
			if it.m == b.chosen.m {
				changed.chosen = *it
			}
		}
		if b.chosen.m == nil {
			changed.choose()
		}
		out.bindings[name] = &changed
		if d := e.rule.Recompute; d != nil && d.Stated == name {
			out.restated = true
		}
	}
	return &out
}

// outcome is what the rule comes to with the values as they now are.
func (e *evaluation) outcome() finding.Outcome {
	e.reading = e.silent()
	if outcome, _, _ := e.applies(nil); outcome != "" {
		return outcome
	}
	var res finding.Result
	e.verdict(&res)
	return res.Outcome
}

// silent is the reading for verdicts of which nobody reads the words.
func (r *reading) silent() *reading {
	if r.brief {
		return r
	}
	quiet := *r
	quiet.brief = true
	return &quiet
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
	d := t.e.rule.Recompute
	if d == nil || t.failed {
		return
	}
	stated := t.e.bindings[d.Stated]
	if _, fixed := given[stated.chosen.m]; fixed {
		return
	}
	eval := t.e.inUnitOf(d.Forms[t.form].Value, stated)
	was, is := eval(t.e.value), eval(t.e.corrected(out).value)
	if f := is / was; !math.IsNaN(f) && !math.IsInf(f, 0) && f != 0 && math.Abs(f-1) > 1e-9 {
		out[stated.chosen.m] = correction{f, 1}
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
			switch outcome := t.e.corrected(c).outcome(); {
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
	text        string
}

// causes re-tests a failed relation under every single slip that could have
// made it fail, and returns those under which it holds, most likely first:
// those that leave the fewest relations broken, possible values before
// impossible ones, common slips before rare ones, close fits before loose
// ones.
func (x *explainer) causes(t *tested) []finding.Hypothesis {
	var found []holding
	for _, s := range t.e.suppositions() {
		if h, ok := x.try(t, s); ok {
			found = append(found, h)
		}
	}
	for _, s := range x.upstream(t) {
		if h, ok := x.try(t, s); ok {
			found = append(found, h)
		}
	}
	slices.SortStableFunc(found, func(a, b holding) int {
		return cmp.Or(cmp.Compare(a.score, b.score), cmp.Compare(a.rank, b.rank), cmp.Compare(a.misfit, b.misfit))
	})
	var out []finding.Hypothesis
	for _, h := range found {
		again := slices.ContainsFunc(out, func(o finding.Hypothesis) bool {
			return o.Identifier == h.kind.identifier && o.Measurand == h.subject
		})
		if !again && len(out) < maxCauses {
			out = append(out, finding.Hypothesis{Identifier: h.kind.identifier, Text: h.text, Measurand: h.subject})
		}
	}
	return out
}

// try tests one supposition: the value alone was wrong, everything computed
// from it was wrong as well, or only the stated result was computed wrongly.
func (x *explainer) try(t *tested, s supposition) (holding, bool) {
	h := holding{supposition: s, score: math.MaxInt}
	local := len(s.changes) > 0 && t.e.supposing(s.changes).holds()
	unlikely := s.kind.commonness
	if len(s.changes) > 0 && !t.e.possible(s.changes) {
		if t.e.rule.Recompute == nil {
			return h, false // no arithmetic speaks for a value that no heart has
		}
		unlikely += impossibleRank
	}
	mends, best := 0, corrections(nil)
	consider := func(c corrections, rank int) {
		if len(c) == 0 {
			return
		}
		mended, broken := x.weigh(c)
		if score := 2*broken - len(mended); mended[t] && (score < h.score || score == h.score && rank < h.rank) {
			h.score, h.rank, mends, best = score, rank, len(mended), c
			h.misfit, h.text = t.e.corrected(c).fit()
		}
	}
	if local {
		consider(s.repair, unlikely)
		if len(s.recomputed) > 0 { // the record is right, only the scanner reckoned with another
			rank := s.kind.commonness
			if !s.kind.computing {
				rank++
			}
			consider(s.recomputed, rank)
			consider(x.following(s.recomputed), rank)
		}
	}
	if s.kind.upstream && len(s.repair) > 0 {
		consider(x.following(s.repair), unlikely)
	}
	if local {
		h.misfit, h.text = t.e.supposing(s.changes).fit()
	}
	if h.score == math.MaxInt {
		return h, false
	}
	// An order or a loose agreement is easily met: one that merely fits would
	// say nothing, unless a value cannot be right or several relations are
	// mended at once.
	loose := t.e.rule.Recompute == nil && !s.telling && !t.e.ties(best)
	if (loose || s.outside) && mends < 2 || t.e.rule.Recompute == nil && h.score > 0 {
		return h, false
	}
	// A shifted point also shifts the rounding, and with it what another form
	// allows: what brings the result no nearer explains nothing.
	if before, _ := t.e.fit(); t.e.rule.Recompute != nil && h.misfit >= before {
		return h, false
	}
	h.text = s.text + h.text
	h.rank += t.e.corrected(best).far()
	return h, true
}

// ties reports whether the relation holds the corrected values to about their
// size: three times as much or as little, and it fails.
func (e *evaluation) ties(c corrections) bool {
	for _, by := range []float64{3, 1.0 / 3} {
		far := corrections{}
		for m, f := range c {
			far[m] = correction{f.factor * by, f.step}
		}
		if e.corrected(far).outcome() == finding.Pass {
			return false
		}
	}
	return true
}

// upstream supposes slips in the inputs of what the relation looks at: the
// scanner computed on from a wrong number, so that all results of it agree.
func (x *explainer) upstream(t *tested) []supposition {
	var out []supposition
	seen := map[*tested]bool{t: true}
	var visit func(e *evaluation, depth int)
	visit = func(e *evaluation, depth int) {
		for _, name := range e.measuredNames() {
			g := x.computed[e.bindings[name].chosen.m]
			if g == nil || seen[g] || depth > 3 || g.e.rule.Recompute == nil {
				continue
			}
			seen[g] = true
			for _, s := range g.e.inputSlips() {
				if t.e.rule.Recompute == nil && !g.e.possible(s.changes) {
					continue // as of the values it looks at itself
				}
				s.changes, s.recomputed = nil, nil
				s.text = s.text[:len(s.text)-len(": ")] + ", and what was computed from it likewise: "
				out = append(out, s)
			}
			visit(g.e, depth+1)
		}
	}
	visit(t.e, 1)
	return out
}
