package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/packed"
	"echotally/internal/store/fault"
	"echotally/internal/store/form"
	"echotally/internal/store/outcome"
	"echotally/internal/store/proof"
)

// migrate brings the file to the current version, each step whole or not at
// all.
func (s *Store) migrate(ctx context.Context) error {
	version, err := s.version(ctx, s.conn)
	if err != nil {
		return err
	}
	for n, name := range migrations() {
		if n < version {
			continue
		}
		text, err := schema.ReadFile(name)
		if err != nil {
			return s.wrap("read schema", err)
		}
		err = s.write(ctx, "bring ledger to the current version", func(t *tx) error {
			if at, err := t.integer(sqlVersion); err != nil || at > n {
				return err // another process was quicker
			}
			finish := func() error { return nil }
			if n == 1 {
				if err := t.mayBring(); err != nil {
					return err
				}
				held, err := firstProof(&t.view)
				if err != nil {
					return err
				}
				finish = func() error { return t.fromFirst(held) }
			}
			err := t.run(string(text) + fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d;", applicationID, n+1))
			if err != nil {
				return err
			}
			return finish()
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// mayBring refuses to have every row told anew without the ledger's key, which the
// seal of that has to show.
func (t *tx) mayBring() error {
	keyed, err := t.row(sqlMeta, []any{"key"}, new(string))
	if err == nil && keyed && t.store.key == nil {
		err = &fault.Error{Doing: "open ledger", Reason: "an earlier version made it, and bringing it to this one takes its key", Hint: "name the key file with --key"}
	}
	return err
}

// freshSchema gives the schema of a new ledger.
func freshSchema(ctx context.Context) (map[string]string, error) {
	s := &Store{file: ":memory:", now: time.Now, ruleSets: map[string]*ruleList{}}
	var err error
	if s.db, err = sql.Open("sqlite", dsn(s.file, nil)); err != nil {
		return nil, err
	}
	s.view = s.db
	defer s.Close()
	if s.conn, err = s.db.Conn(ctx); err != nil {
		return nil, err
	}
	if err := s.migrate(ctx); err != nil {
		return nil, err
	}
	var out map[string]string
	err = s.write(ctx, "read schema", func(t *tx) error { out, err = schemaOf(&t.view); return err })
	return out, err
}

// toldAtOnce is how many rows one event answers for when all are told anew.
const toldAtOnce = 1000

// fromFirst turns what version 1 kept of judgements into what is kept now, and
// has events tell of every row anew. What did not hold before stays on record.
func (t *tx) fromFirst(held *proof.Proof) error {
	if err := t.firstRuleSets(); err != nil {
		return err
	}
	if err := t.firstJudgements(); err != nil {
		return err
	}
	if err := t.run(firstRebuild); err != nil || held.Events == 0 {
		return err
	}
	note := map[string]string{"from": "1"}
	if len(held.Faults) > 0 {
		note[proof.NotHeld] = held.Faults[0]
	}
	detail := proof.Detail{Rows: map[string]string{}, Note: note}
	for _, k := range keptTables {
		if k.since > 2 {
			continue // not there yet
		}
		var failed error
		err := k.digests(&t.view, nil, func(key, digest string) {
			detail.Rows[key] = digest
			if len(detail.Rows) == toldAtOnce && failed == nil {
				failed = t.say("", "brought", detail)
				detail = proof.Detail{Rows: map[string]string{}}
			}
		})
		if err = errors.Join(err, failed); err != nil {
			return err
		}
	}
	return t.say("", "brought", detail)
}

// firstRule is what version 1 kept of a rule of a rule set.
type firstRule struct {
	Version    string       `json:"version"`
	Title      string       `json:"title"`
	Kind       finding.Kind `json:"kind"`
	Structure  string       `json:"structure"`
	Source     string       `json:"source"`
	Usage      string       `json:"usage"`
	Measurands []string     `json:"measurands"`
}

func (t *tx) firstRuleSets() error {
	var sets []int64
	if err := t.rows(firstRuleSets, nil, func(rows *sql.Rows) error {
		var (
			id     int64
			digest string
		)
		err := rows.Scan(&id, &digest)
		sets = append(sets, id)
		return err
	}); err != nil {
		return err
	}
	for _, id := range sets {
		var list ruleList
		err := t.rows(firstRules, []any{id}, func(rows *sql.Rows) error {
			var (
				identifier string
				detail     []byte
				r          firstRule
			)
			if err := errors.Join(rows.Scan(&identifier, &detail), json.Unmarshal(detail, &r)); err != nil {
				return err
			}
			list.Rules = append(list.Rules, finding.About{
				Identifier: identifier, Version: r.Version, Title: r.Title, Kind: r.Kind, Structure: r.Structure, Source: r.Source, Usage: r.Usage, Measurands: r.Measurands,
			})
			return nil
		})
		if err != nil {
			return err
		}
		if err := t.run(firstSetRules, packed.Squeeze(packed.Pack(&list, nil)), id); err != nil {
			return err
		}
	}
	return nil
}

// firstChosen is a protocol as version 1 kept it.
type firstChosen struct {
	Identifier, Title string
	Declared          bool
	Reason            string
}

func (c firstChosen) now() finding.Chosen {
	return finding.Chosen{Identifier: c.Identifier, Title: c.Title, Declared: c.Declared, Reason: c.Reason}
}

// firstFound is what version 1 kept of a judgement beside the results.
type firstFound struct {
	Base      firstChosen   `json:"base"`
	Triggered []firstChosen `json:"triggered"`
	Suspects  []string      `json:"suspects"`
}

// firstResult is what version 1 kept of a result in words, of those that asked
// for something.
type firstResult struct {
	Message string                                             `json:"message"`
	Missing []struct{ Alias, Measurand, Title, Reason string } `json:"missing"`
	Causes  []struct {
		Identifier string `json:"identifier"`
		Text       string `json:"text"`
		Measurand  string `json:"measurand"`
	} `json:"causes"`
	Suspect string `json:"suspect"`
	Variant string `json:"variant"`
	Items   []struct {
		SOPInstanceUID string `json:"sopInstanceUID"`
		Item           string `json:"item"`
	} `json:"items"`
}

// firstJudging is a row of the judgements of version 1.
type firstJudging struct {
	id, study, set                     int64
	ruleset, digest, at, outcomes, uid string
	detail                             []byte
}

func (t *tx) firstJudgements() error {
	var all []firstJudging
	err := t.rows(firstJudgings, nil, func(rows *sql.Rows) error {
		var j firstJudging
		err := rows.Scan(&j.id, &j.study, &j.ruleset, &j.digest, &j.at, &j.detail, &j.outcomes, &j.set, &j.uid)
		all = append(all, j)
		return err
	})
	if err != nil {
		return err
	}
	rules := map[string]*ruleList{}
	for _, j := range all {
		if rules[j.ruleset] == nil {
			if rules[j.ruleset], err = t.rules(j.ruleset); err != nil {
				return err
			}
		}
		if err := t.firstJudgement(j, rules[j.ruleset].Rules); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) firstJudgement(j firstJudging, rules []finding.About) error {
	var found firstFound
	if err := json.Unmarshal(j.detail, &found); err != nil {
		return err
	}
	if !outcome.Fits(j.outcomes, len(rules)) {
		return fmt.Errorf("the judgement of study %s does not fit its rule set", j.uid)
	}
	words := map[string]firstResult{}
	err := t.rows(firstWords, []any{j.id}, func(rows *sql.Rows) error {
		var (
			rule   string
			detail []byte
			one    firstResult
		)
		if err := errors.Join(rows.Scan(&rule, &detail), json.Unmarshal(detail, &one)); err != nil {
			return err
		}
		words[rule] = one
		return nil
	})
	if err != nil {
		return err
	}
	at, err := t.firstPlaces(j)
	if err != nil {
		return err
	}
	whole := judgement.Judgement{StudyInstanceUID: j.uid, ContentDigest: j.digest, Library: judgement.Library{Digest: j.ruleset, Rules: len(rules)}}
	whole.Protocols.Base = found.Base.now()
	for _, c := range found.Triggered {
		whole.Protocols.Triggered = append(whole.Protocols.Triggered, c.now())
	}
	for i, rule := range rules {
		came, severity := outcome.At(j.outcomes, i)
		if came == finding.NotApplicable {
			whole.NotApplicable = append(whole.NotApplicable, judgement.Aside{Rule: rule.Identifier})
			continue
		}
		whole.Results = append(whole.Results, words[rule.Identifier].now(rule.Identifier, came, severity, at))
	}
	by := form.Judgement(rules)
	short := briefOf(&whole, by.Texts.Place)
	short.Suspects = found.Suspects
	_, err = t.insert(firstAddJudgement, j.id, j.study, j.ruleset, j.digest, j.at, j.outcomes,
		packed.Pack(short, nil), form.Squeezed(&whole, by))
	return err
}

// firstPlaces are the places of the study that was judged, nil when the ledger
// holds it in another state by now.
func (t *tx) firstPlaces(j firstJudging) (*finding.Places, error) {
	var squeezed []byte
	same, err := t.row(firstPacked, []any{j.study, j.digest}, &squeezed)
	if err != nil || !same {
		return nil, err
	}
	study := &echo.Study{}
	if err := form.Unpack(squeezed, study, nil); err != nil {
		return nil, nil // what is damaged was found by its digest
	}
	return finding.NewPlaces(study), nil
}

// firstReference finds what kind of thing an item was evidence of, which version 1
// did not keep.
func firstReference(r finding.Reference, at *finding.Places) finding.Reference {
	if at == nil {
		return r
	}
	for of, there := range map[finding.Thing]func(finding.Reference) bool{
		finding.OfMeasurement: func(r finding.Reference) bool { return at.Measurement(r) != nil },
		finding.OfStatement:   func(r finding.Reference) bool { return at.Statement(r) != nil },
		finding.OfSegment:     func(r finding.Reference) bool { return at.Segment(r) != nil },
	} {
		one := r
		if one.Of = of; there(one) {
			return one // no item is two of these
		}
	}
	return r
}

func (r firstResult) now(rule string, outcome finding.Outcome, severity finding.Severity, at *finding.Places) finding.Result {
	out := finding.Result{Rule: rule, Outcome: outcome, Severity: severity, Message: r.Message, Suspect: r.Suspect, Variant: r.Variant}
	for _, m := range r.Missing {
		out.Missing = append(out.Missing, finding.Missing{Alias: m.Alias, Measurand: m.Measurand, Title: m.Title, Reason: m.Reason})
	}
	for _, c := range r.Causes {
		out.Causes = append(out.Causes, finding.Hypothesis{Identifier: c.Identifier, Text: c.Text, Measurand: c.Measurand})
	}
	for _, i := range r.Items {
		out.Evidence = append(out.Evidence, finding.Evidence{Reference: firstReference(finding.Reference{SOPInstanceUID: i.SOPInstanceUID, Item: i.Item}, at)})
	}
	return out
}
