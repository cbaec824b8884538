// Package check owns the demands of rules and the protocols: whether a rule
// concerns a study, what becomes of its demand, how grave that is and what
// excuses it. What the study says comes from package answer; why a demand
// failed is the matter of package slip. It is pure: no files, no clock, no log,
// no network.
//
// Truth is three-valued throughout. A rule passes only when its demand is known
// to hold; when a missing input leaves the verdict undecided the outcome is
// open and says what is missing.
package check

import (
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Checker puts rules to one study. It is for one goroutine.
type Checker struct {
	*answer.Reading
	holding  []string         // identifiers of the protocols that hold
	implying []*rule.Protocol // those of them that say what a statement would say
	room     *answer.Answers  // of which nothing is left, for the next rule; nil when there are none

	one     [1]*answer.Answers // see instances
	guesses *guesses           // nil where nothing is guessed
}

// New makes a checker of a study for which the protocols hold.
func New(r *answer.Reading, holding ...string) *Checker {
	c := &Checker{guesses: &guesses{}}
	c.Turn(r, holding...)
	return c
}

// Turn turns a checker that is done with to another study.
func (c *Checker) Turn(r *answer.Reading, holding ...string) {
	*c = Checker{Reading: r, holding: holding, implying: c.implying[:0], room: c.room, guesses: c.guesses}
	if c.guesses != nil {
		c.guesses.sought, c.guesses.copied = false, false
	}
	for _, p := range r.Library.Protocols {
		if len(p.Implies) > 0 && slices.Contains(holding, p.Identifier) {
			c.implying = append(c.implying, p)
		}
	}
}

// Checked is a rule put to the study.
type Checked struct {
	Result  finding.Result  // without what the rule says of itself
	Answers *answer.Answers // it went by; nil when it cannot be told whether the rule is for this patient
	Decided finding.Outcome // what the demand came to, whatever image it rests on
	Form    int             // of a recomputation, the one that fits
	Wrong   []answer.Scored // z-scores that no table gives
}

// Verdict is what a rule came to, without a word of why.
type Verdict struct {
	Rule     *rule.Rule
	Outcome  finding.Outcome
	Severity finding.Severity
}

// Put puts one rule to the study. When it does not apply nothing is checked, and
// aside says why.
func (c *Checker) Put(one *rule.Rule) (checked *Checked, aside string) {
	checked, aside = c.asRead(one)
	if now := c.supposed(one, checked); now != nil {
		return now, ""
	}
	return checked, aside
}

// asRead puts a rule to what is named.
func (c *Checker) asRead(one *rule.Rule) (checked *Checked, aside string) {
	unknown, why := c.concerns(one)
	if why != "" {
		return nil, why
	}
	a := c.turned(one)
	switch applies(a) {
	case expr.False:
		return nil, "only when " + a.Arithmetic(one.When)
	case expr.Unknown:
		return nil, "not known whether it applies: " + answer.List(a.Missing(one.When))
	}
	if len(unknown) > 0 {
		out := newChecked(one)
		out.Result.Outcome, out.Result.Message, out.Result.Missing = finding.Open, answer.CannotTell(unknown), unknown
		return out, ""
	}
	c.room = nil // they go with the result
	for _, each := range c.instances(a) {
		out := newChecked(one)
		out.put(each)
		if checked == nil || graver(out.Result.Outcome, out.Result.Severity, checked.Result.Outcome, checked.Result.Severity) {
			checked = out
		}
	}
	if checked == nil {
		return nil, "no series of values holds what it compares"
	}
	return checked, ""
}

// turned are the answers to a rule, in the room of those that are done with.
func (c *Checker) turned(one *rule.Rule) *answer.Answers {
	if c.room == nil {
		c.room = &answer.Answers{}
	}
	c.room.Turn(c.Reading, one)
	return c.room
}

func newChecked(one *rule.Rule) *Checked {
	return &Checked{Result: finding.Result{Rule: one.File.Identifier, Severity: one.Severity}}
}

// put puts a rule that applies to the study.
func (out *Checked) put(a *answer.Answers) {
	one, res := a.Rule, &out.Result
	d := decide(a)
	a = d.answers
	out.Answers, out.Form, out.Wrong = a, d.form, d.wrong
	res.Outcome = d.outcome
	d.tell(res)
	if res.Outcome == finding.Fail {
		excuse(a, res)
	}
	res.Severity = d.severity()
	out.Decided = res.Outcome
	if one.File.Forbid == nil {
		if found := a.Evidence(); res.Evidence == nil {
			res.Evidence = found
		} else {
			res.Evidence = append(res.Evidence, found...)
		}
	}
	if res.Outcome != finding.Fail && res.Outcome != finding.Review {
		return
	}
	if one.Message != nil {
		res.Message = a.Write(one.Message)
	}
	if d.elsewhere {
		res.Message = strings.TrimSuffix(res.Message, ".") + ". A value of another window, mode or phase gives it."
	}
	if note := editionNote(a); note != "" {
		res.Message += " " + note
	}
	if why := a.Inference(); why != "" {
		// What rests on an image that is only likely the right one is a question to a person.
		res.Outcome = finding.Review
		res.Message += " (" + why + ")"
	}
}

// Verdict puts one rule to the study without a word of why, for judging many
// studies again.
func (c *Checker) Verdict(one *rule.Rule) Verdict {
	return c.supposedVerdict(one, c.verdict(one))
}

func (c *Checker) verdict(one *rule.Rule) Verdict {
	out := Verdict{Rule: one, Outcome: finding.NotApplicable}
	unknown, why := c.concerns(one)
	if why != "" {
		return out
	}
	a := c.turned(one)
	if applies(a) != expr.True {
		return out
	}
	if len(unknown) > 0 {
		out.Outcome = finding.Open
		return out
	}
	for _, each := range c.instances(a) {
		outcome, severity := verdict(each)
		if out.Outcome == finding.NotApplicable || graver(outcome, severity, out.Outcome, out.Severity) {
			out.Outcome, out.Severity = outcome, severity
		}
	}
	return out
}

func verdict(a *answer.Answers) (finding.Outcome, finding.Severity) {
	d := decide(a)
	outcome := d.outcome
	if outcome == finding.Fail && excuse(d.answers, &finding.Result{}) {
		outcome = finding.Excused
	}
	if outcome == finding.Fail && d.answers.Inference() != "" {
		outcome = finding.Review
	}
	return outcome, d.severity()
}

// Outcome is what a rule comes to on answers of which some are supposed.
func Outcome(a *answer.Answers) finding.Outcome {
	if applies(a) != expr.True {
		return finding.NotApplicable
	}
	return Demand(a)
}

// Demand is what the demand of a rule comes to, whether or not it applies.
func Demand(a *answer.Answers) finding.Outcome {
	if reviewed(a) {
		return finding.Review
	}
	d := decision{answers: a, asGiven: true}
	d.demand()
	return d.outcome
}

// severity is how grave a failure is.
func severity(a *answer.Answers) finding.Severity {
	for _, s := range a.Rule.SeverityIf {
		if s.When.Holds(a.Value) == expr.True {
			return s.Severity
		}
	}
	return a.Rule.Severity
}

// severity is how grave a failure is: what the value of another series of the
// record gives, as of a window that does not count, may have been right when it was
// computed, so that it is no error.
func (d *decision) severity() finding.Severity {
	s := severity(d.answers)
	if d.elsewhere && s == finding.Error {
		return finding.Warning
	}
	return s
}

// decision is what became of a demand, before it is put in words.
type decision struct {
	answers *answer.Answers // in which the inputs of a recomputation stand together
	outcome finding.Outcome
	review  bool // a person must look, whatever the demand comes to
	coarse  bool // written with too few digits for their order to be told
	unsaid  bool // what a sentence might say is missing, and no document holds one
	asGiven bool // by the values that count alone: they are supposed

	elsewhere bool  // of a recomputation that fails: values of another series give what is stated
	form      int   // of a recomputation: the one that fits, or the first that does not
	undecided []int // forms that lack an input
	scores    []judged
	wrong     []answer.Scored
	forbidden forbidden
}

func decide(a *answer.Answers) decision {
	d := decision{answers: a}
	if reviewed(a) {
		d.outcome, d.review = finding.Review, true
		return d
	}
	if a.Rule.Recompute != nil {
		d.answers = a.Together(a.Rule.Recompute.Stated)
	}
	d.demand()
	if d.outcome == finding.Fail && askedInWords(d.answers) {
		d.outcome, d.unsaid = finding.Open, true
	}
	return d
}

// askedInWords reports whether a note asks for words of a study whose documents
// hold none: what such a report leaves unsaid may stand in the one that is
// dictated elsewhere.
func askedInWords(a *answer.Answers) bool {
	if a.Rule.Require == nil || a.Rule.Kind == finding.Consistency || severity(a) != finding.Information || !a.Wordless() {
		return false
	}
	words := false
	for _, in := range a.Rule.Require.Inputs {
		if in.Question != nil && in.Question.Detail != "" {
			return false // a modifier could say it as well, and needs no sentence
		}
		words = words || a.Rule.Statements[in.Name] != nil
	}
	return words
}

func reviewed(a *answer.Answers) bool {
	return a.Rule.Review != nil && a.Truth(a.Rule.Review) == expr.True
}

// demand settles pass, fail, open or review.
func (d *decision) demand() {
	switch one := d.answers.Rule; {
	case one.Recompute != nil:
		d.recompute()
	case one.ZScore != nil:
		d.zScoresHold()
	case one.Require != nil:
		switch d.answers.Truth(one.Require) {
		case expr.True:
			d.outcome = finding.Pass
		case expr.False:
			d.outcome = finding.Fail
			if len(one.File.Ascending) > 0 && d.answers.MayHold(one.Require) {
				d.outcome, d.coarse = finding.Open, true
			}
		default:
			d.outcome = finding.Open
		}
	default:
		d.forbid()
	}
}

// tell puts the decision in words.
func (d *decision) tell(res *finding.Result) {
	a := d.answers
	switch one := a.Rule; {
	case d.review:
		res.Message = "a person must look: " + a.Arithmetic(one.Review)
	case one.Recompute != nil:
		d.tellRecompute(res)
	case one.ZScore != nil:
		d.tellScores(res)
	case one.Require == nil:
		d.tellForbidden(res)
	case d.outcome == finding.Fail:
		res.Message = "does not hold: " + a.Arithmetic(one.Require)
		if one.Kind == finding.Completeness {
			res.Missing = a.Absent(one.Require)
		}
		if len(res.Missing) > 0 {
			res.Message = "missing: " + answer.List(res.Missing)
		}
	case d.coarse:
		res.Message = "cannot tell: " + a.Arithmetic(one.Require) + ", written with too few digits for their order"
	case d.unsaid:
		res.Missing = []finding.Missing{answer.NoWords()}
		res.Message = answer.CannotTell(res.Missing)
	case d.outcome == finding.Open:
		res.Missing = a.Missing(one.Require)
		res.Message = answer.CannotTell(res.Missing)
	}
}

// excuse turns a failed completeness rule into excused when the record gives
// the reason: a statement, or an empty item whose qualifier says why.
func excuse(a *answer.Answers, res *finding.Result) bool {
	if a.Rule.Kind != finding.Completeness {
		return false
	}
	s := a.FirstMentioned(a.Rule.ExcusedBy)
	if s == nil && a.Rule.Require != nil {
		s = a.Covering(a.Rule.Require)
	}
	if s == nil {
		s = a.CoveringStudy()
	}
	if s != nil {
		res.Outcome, res.Message = finding.Excused, "absent, with the reason recorded: "+s.Quote
		res.Evidence = append(res.Evidence, finding.Evidence{Statement: s, Note: "reason"})
		return true
	}
	for _, name := range a.Names() {
		b := a.Binding(name)
		for _, m := range b.Empty {
			if len(b.Items) == 0 && m.Qualifier != nil {
				res.Outcome, res.Message = finding.Excused, "absent, with the reason recorded: "+m.Qualifier.CodeMeaning
				res.Evidence = append(res.Evidence, finding.Evidence{Alias: name, Measurement: m, Note: "reason"})
				return true
			}
			if s := a.ReasonFor(m); s != nil && len(b.Items) == 0 {
				res.Outcome, res.Message = finding.Excused, "absent, with the reason recorded: "+s.Quote
				res.Evidence = append(res.Evidence, finding.Evidence{Statement: s, Note: "reason"})
				return true
			}
		}
	}
	return false
}
