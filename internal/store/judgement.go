package store

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/packed"
	"echotally/internal/store/form"
	"echotally/internal/store/outcome"
)

// ruleList is what a rule set keeps of its rules. Outcomes are in its order.
type ruleList struct {
	Rules []finding.About `cbor:"1,keyasint,omitempty"` // by identifier

	digest string         // of the rule set
	at     map[string]int // places of the rules, where they were read to be looked up
}

// brief is what figures ask of a judgement beside its outcomes.
type brief struct {
	Protocols finding.Protocols `cbor:"1,keyasint,omitempty"`
	Suspects  []string          `cbor:"2,keyasint,omitempty"` // measurands that do not fit the others
	Causes    []cause           `cbor:"3,keyasint,omitempty"` // of failed rules
}

// cause is the likeliest slip behind a failed rule.
type cause struct {
	Rule       int    `cbor:"1,keyasint,omitempty"` // place in the rule set, from 0
	Identifier string `cbor:"2,keyasint,omitempty"`
}

// briefOf is what figures ask of a judgement by the rules, whose places place gives.
func briefOf(j *judgement.Judgement, place func(rule string) (int, bool)) *brief {
	out := &brief{Protocols: j.Protocols}
	if j.Reconciliation != nil {
		for _, round := range j.Reconciliation.Suspects {
			for _, suspect := range round {
				out.Suspects = append(out.Suspects, suspect.Measurand)
			}
		}
	}
	for _, res := range j.Results {
		if res.Outcome == finding.Fail && len(res.Causes) > 0 {
			at, known := place(res.Rule)
			if !known {
				at = -1
			}
			out.Causes = append(out.Causes, cause{at, res.Causes[0].Identifier})
		}
	}
	return out
}

// ruleForm is the form of judgements by a list of rules.
type ruleForm struct {
	rules []finding.About
	packed.Form
}

// formOf gives the form of judgements by a list of rules: one study after the other is
// judged by the same.
func (s *Store) formOf(rules []finding.About) packed.Form {
	last := s.lastForm.Load()
	if last == nil || len(last.rules) != len(rules) || len(rules) > 0 && &last.rules[0] != &rules[0] {
		last = &ruleForm{rules, form.Judgement(rules)}
		s.lastForm.Store(last)
	}
	return last.Form
}

// ruleSets are those that were read, by digest. They never change.
type ruleSets struct{ known sync.Map }

// rules gives the rules of a rule set, nil when it has judged nothing yet.
func (v *view) rules(digest string) (*ruleList, error) {
	if v.sets != nil {
		if known, ok := v.sets.known.Load(digest); ok {
			return known.(*ruleList), nil
		}
	}
	var squeezed []byte
	known, err := v.row(sqlRules, []any{digest}, &squeezed)
	if err != nil || !known {
		return nil, err
	}
	out := &ruleList{}
	if err = form.Unpack(squeezed, out, nil); err == nil && v.sets != nil {
		out.at = make(map[string]int, len(out.Rules))
		for i := range out.Rules {
			out.at[out.Rules[i].Identifier] = i
		}
		v.sets.known.Store(digest, out)
	}
	return out, err
}

// knownRules gives the rules of a rule set, nil when it has judged nothing yet.
// They never change, so they are read once.
func (t *tx) knownRules(digest string) (*ruleList, error) {
	if known := t.store.ruleSets[digest]; known != nil {
		return known, nil
	}
	known, err := t.rules(digest)
	if known != nil {
		t.ruleSets = append(t.ruleSets, known)
		known.digest = digest
	}
	return known, err
}

// judgedRow is a judgement as it is to be kept.
type judgedRow struct {
	*Judged
	digest       string // of the study that was judged
	outcomes     string
	brief, whole []byte
}

func rowOf(j *Judged, by packed.Form, digest string) (*judgedRow, error) {
	outcomes, err := outcome.Written(j.Judgement, len(j.Rules), by.Texts.Place)
	if err != nil {
		return nil, err
	}
	whole := *j.Judgement
	whole.ContentDigest = digest
	return &judgedRow{j, digest, outcomes, packed.Pack(briefOf(j.Judgement, by.Texts.Place), nil), form.Squeezed(&whole, by)}, nil
}

// judged adds a rule set, when it is new, and what it found of the study.
func (t *tx) judged(study int64, j *judgedRow) error {
	library := j.Judgement.Library
	known, err := t.knownRules(library.Digest)
	if err != nil {
		return err
	}
	if known == nil {
		t.touch("ruleset", library.Digest)
		list := packed.Squeeze(packed.Pack(&ruleList{Rules: j.Rules}, nil))
		if err := t.run(sqlAddRuleSet, library.Digest, library.Version, t.now, list); err != nil {
			return err
		}
	} else if !slices.EqualFunc(known.Rules, j.Rules, func(a, b finding.About) bool { return a.Identifier == b.Identifier }) {
		return fmt.Errorf("rule set %.12s has %d rules, under the same digest it had %d others", library.Digest, len(j.Rules), len(known.Rules))
	}
	id, err := t.insert(sqlAddJudgement, study, library.Digest, j.digest, t.now, j.outcomes, j.brief, j.whole, j.Counted, j.Counter)
	t.touch("judgement", id)
	return err
}

// LatestJudgement gives what the rule set that judged the study last found of it
// as it is now; nil when none has.
func (s *Store) LatestJudgement(ctx context.Context, uid string) (*judgement.Judgement, error) {
	found, _, err := s.Latest(ctx, uid)
	return found, err
}

// Latest gives what the rule set that judged the study last found of it as it is
// now, with the study it was found of; nil when none has.
func (s *Store) Latest(ctx context.Context, uid string) (*judgement.Judgement, *echo.Study, error) {
	var ruleset string
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlLatestOf, []any{uid}, &ruleset); return err })
	if err != nil || ruleset == "" {
		return nil, nil, s.wrap("read judgement", err)
	}
	return s.Judgement(ctx, uid, ruleset)
}

// Judgement gives what a rule set found of a study as it is now, with the study
// it was found of; nil when it has not judged it. Nothing is judged again.
func (s *Store) Judgement(ctx context.Context, uid, ruleset string) (*judgement.Judgement, *echo.Study, error) {
	var (
		whole, study []byte
		rules        *ruleList
		found        bool
	)
	err := s.look(ctx, func(v *view) (err error) {
		if rules, err = v.rules(ruleset); err != nil || rules == nil {
			return err
		}
		found, err = v.row(sqlWhole, []any{uid, ruleset}, &whole, &study)
		return err
	})
	if err != nil || !found {
		return nil, nil, s.wrap("read judgement", err)
	}
	j, of := &judgement.Judgement{}, &echo.Study{}
	plain, err := packed.Loosen(whole)
	if err == nil {
		err = form.Judgement(rules.Rules).Unpack(plain, j, nil)
	}
	if err != nil {
		return nil, nil, s.wrap("read judgement", err)
	}
	if err := form.Unpack(study, of, s.parts); err != nil {
		return nil, nil, s.wrap("read judgement", err)
	}
	j.Link(of, func(rule string) *finding.About {
		if i, known := rules.at[rule]; known {
			return &rules.Rules[i]
		}
		return nil
	})
	return j, of, nil
}
