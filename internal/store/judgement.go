package store

import (
	"encoding/json"
	"fmt"

	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// ruleDetail is what the ledger keeps of a rule of a rule set.
type ruleDetail struct {
	Version    string       `json:"version"`
	Title      string       `json:"title"`
	Kind       finding.Kind `json:"kind"`
	Structure  string       `json:"structure"`
	Source     string       `json:"source,omitempty"`
	Usage      string       `json:"usage,omitempty"`
	Measurands []string     `json:"measurands,omitempty"`
}

// judgementDetail is what was found of a study beside the results.
type judgementDetail struct {
	Base      check.Chosen   `json:"base"`
	Triggered []check.Chosen `json:"triggered,omitempty"`
	Suspects  []string       `json:"suspects,omitempty"` // measurands that do not fit the others
}

// resultDetail is what a result says in words. Results that passed or did not
// apply, nine of ten, are kept without: judging what is kept gives the words.
type resultDetail struct {
	Message string               `json:"message,omitempty"`
	Missing []finding.Missing    `json:"missing,omitempty"`
	Causes  []finding.Hypothesis `json:"causes,omitempty"`
	Suspect string               `json:"suspect,omitempty"`
	Variant string               `json:"variant,omitempty"`
	Items   []echo.Source        `json:"items,omitempty"` // content items it relies on
}

// outcomeLetters and severityLetters are how a judgement writes its results
// down: two letters per rule.
var (
	outcomeLetters = map[finding.Outcome]byte{
		finding.Pass: 'p', finding.Fail: 'f', finding.Open: 'o', finding.NotApplicable: 'n', finding.Review: 'r', finding.Excused: 'x',
	}
	severityLetters = map[finding.Severity]byte{finding.Error: 'e', finding.Warning: 'w', finding.Information: 'i'}
)

// ruleset finds or adds the rule set that judges, and its rules in the order of
// the results.
func (r *recording) ruleset(results []finding.Result) (int64, []int64, error) {
	var id int64
	set := r.by.RuleSet
	known, err := r.row("SELECT id FROM ruleset WHERE digest = ?", []any{set.Digest}, &id)
	if err != nil {
		return 0, nil, err
	}
	if known {
		rules, err := r.numbers("SELECT id FROM rule WHERE ruleset_id = ? ORDER BY id", id)
		if err == nil && len(rules) != len(results) {
			err = fmt.Errorf("rule set %.12s gave %d results, before it gave %d", set.Digest, len(results), len(rules))
		}
		return id, rules, err
	}
	r.touch("ruleset", set.Digest)
	if id, err = r.insert("INSERT INTO ruleset (digest, version, at) VALUES (?, ?, ?)", set.Digest, set.Version, r.now); err != nil {
		return 0, nil, err
	}
	rules := make([]int64, len(results))
	for i, res := range results {
		text, err := json.Marshal(ruleDetail{res.Version, res.Title, res.Kind, res.Structure, res.Source, res.Usage, res.Measurands})
		if err != nil {
			return 0, nil, err
		}
		if rules[i], err = r.insert("INSERT INTO rule (ruleset_id, identifier, detail) VALUES (?, ?, ?)", id, res.Rule, string(text)); err != nil {
			return 0, nil, err
		}
	}
	return id, rules, nil
}

// judge puts the rules to the study as it is kept, so that a later judging of
// what is kept comes to the same.
func (r *recording) judge() error {
	var (
		packed []byte
		study  echo.Study
	)
	if _, err := r.row("SELECT packed FROM study WHERE id = ?", []any{r.id}, &packed); err != nil {
		return err
	}
	if err := unkeep(packed, &study); err != nil {
		return err
	}
	judged := r.by.Judge(&study)
	ruleset, rules, err := r.ruleset(judged.Results)
	if err != nil {
		return err
	}
	detail := judgementDetail{Base: judged.Protocols.Base, Triggered: judged.Protocols.Triggered}
	if judged.Reconciliation != nil {
		for _, round := range judged.Reconciliation.Suspects {
			for _, suspect := range round {
				detail.Suspects = append(detail.Suspects, suspect.Measurand)
			}
		}
	}
	text, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	outcomes := make([]byte, 0, 2*len(judged.Results))
	for _, res := range judged.Results {
		outcomes = append(outcomes, outcomeLetters[res.Outcome], severityLetters[res.Severity])
	}
	id, err := r.insert("INSERT INTO judgement (study_id, ruleset_id, digest, at, detail, outcomes) VALUES (?, ?, ?, ?, ?, ?)",
		r.id, ruleset, r.digest, r.now, string(text), string(outcomes))
	if err != nil {
		return err
	}
	r.touch("judgement", id)
	for i := range judged.Results {
		if err := r.words(id, rules[i], &judged.Results[i]); err != nil {
			return err
		}
	}
	r.receipt.Judged = true
	return nil
}

// words keeps what a result says when it is to be acted on or looked at.
func (r *recording) words(judgement, rule int64, res *finding.Result) error {
	if res.Outcome == finding.Pass || res.Outcome == finding.NotApplicable {
		return nil
	}
	detail := resultDetail{Message: res.Message, Missing: res.Missing, Causes: res.Causes, Suspect: res.Suspect, Variant: res.Variant}
	for _, e := range res.Evidence {
		switch {
		case e.Measurement != nil:
			detail.Items = append(detail.Items, e.Measurement.Source)
		case e.Statement != nil:
			detail.Items = append(detail.Items, e.Statement.Source)
		case e.Segment != nil:
			detail.Items = append(detail.Items, e.Segment.Source)
		}
	}
	text, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	return r.tx.run("INSERT INTO result (judgement_id, rule_id, detail) VALUES (?, ?, ?)", judgement, rule, string(text))
}
