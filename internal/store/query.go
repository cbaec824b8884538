package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"time"

	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// Period is a span of study dates, both ends included. The zero Period takes
// every study, also those without a date.
type Period struct{ From, To time.Time }

// Filter narrows to a lab, a site or a station; empty fields take all.
type Filter struct{ Lab, Site, Station string }

// Study is one study as the lab's figures ask for it. It names nobody.
type Study struct {
	UID string
	Facts
	Lab, Site   string // of the station
	Sonographer string // pseudonym, "" unknown
	Reader      string // pseudonym, "" unknown
	Trainee     bool   // the sonographer is one
	Times       Times
	Waivers     []Waiver // that hold

	Judged    bool // the rule set asked for has judged the study as it is now
	Protocols check.Protocols
	Suspects  []string // measurands that do not fit the others
	Results   []Result // by rule

	packed []byte
}

// Times are the moments the lab's own systems know; zero when they do not.
type Times struct {
	Setting             string
	Ended, Read, Signed time.Time
	Zoned               bool // false: the zone of one is not known, it was taken as UTC
}

// Rule is one rule of a rule set that judged.
type Rule struct {
	Identifier, Version, Title string
	Kind                       finding.Kind
	Structure, Source, Usage   string
	Measurands                 []string
}

// Result is the outcome of one rule on the study.
type Result struct {
	Rule     *Rule
	Outcome  finding.Outcome
	Severity finding.Severity
	detail   []byte
}

// Detail is what a result says in words and what it relies on.
type Detail struct {
	Message string
	Missing []finding.Missing
	Causes  []finding.Hypothesis
	Suspect string
	Variant string
	Items   []echo.Source
}

// Detail gives the words of the result.
func (r Result) Detail() (Detail, error) {
	var d resultDetail
	if len(r.detail) == 0 {
		return Detail{}, nil
	}
	err := json.Unmarshal(r.detail, &d)
	return Detail(d), err
}

// Cause is the identifier of the likeliest slip, "" when none was found.
func (r Result) Cause() (string, error) {
	var d struct {
		Causes []struct{ Identifier string } `json:"causes"`
	}
	if len(r.detail) == 0 {
		return "", nil
	}
	if err := json.Unmarshal(r.detail, &d); err != nil || len(d.Causes) == 0 {
		return "", err
	}
	return d.Causes[0].Identifier, nil
}

// Rebuild gives the study as it was composed, without identity; nil when no
// report of it was read. It may be called from another goroutine.
func (s *Study) Rebuild() (*echo.Study, error) {
	if len(s.packed) == 0 {
		return nil, nil
	}
	out := &echo.Study{}
	if err := unkeep(s.packed, out); err != nil {
		return nil, &Error{Doing: "rebuild study " + s.UID, Reason: err.Error(), Hint: "echotally ledger verify tells whether the ledger was changed", cause: err}
	}
	return out, nil
}

// LatestRuleSet is the digest of the rule set that judged last, "" when none
// has.
func (s *Store) LatestRuleSet(ctx context.Context) (string, error) {
	var digest string
	err := s.view.QueryRowContext(ctx, "SELECT coalesce((SELECT r.digest FROM judgement j JOIN ruleset r ON r.id = j.ruleset_id ORDER BY j.id DESC LIMIT 1), '')").Scan(&digest)
	return digest, s.wrap("read ledger", err)
}

// Studies gives the studies of a period, by date and UID, with the results of
// one rule set. All of them are of one moment, whatever is recorded meanwhile.
func (s *Store) Studies(ctx context.Context, period Period, filter Filter, ruleset string) iter.Seq2[*Study, error] {
	return s.each(ctx, period, filter, ruleset)
}

// RebuiltStudies gives the same studies without results, for judging them anew
// with what [Study.Rebuild] gives.
func (s *Store) RebuiltStudies(ctx context.Context, period Period, filter Filter) iter.Seq2[*Study, error] {
	return s.each(ctx, period, filter, "")
}

func (s *Store) each(ctx context.Context, period Period, filter Filter, ruleset string) iter.Seq2[*Study, error] {
	return func(yield func(*Study, error) bool) {
		begun, err := s.view.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
		if err != nil {
			yield(nil, s.wrap("read ledger", err))
			return
		}
		defer begun.Rollback()
		stopped := errors.New("stopped")
		q := &question{ctx: ctx, sql: begun, filter: filter, ruleset: ruleset}
		err = q.run(period, func(one *Study) error {
			if !yield(one, nil) {
				return stopped
			}
			return nil
		})
		if err != nil && !errors.Is(err, stopped) {
			yield(nil, s.wrap("read ledger", err))
		}
	}
}

// question is one walk through the studies with what belongs to all of them.
type question struct {
	ctx      context.Context
	sql      *sql.Tx
	filter   Filter
	ruleset  string
	stations map[string]station
	roles    map[string]string
	waivers  map[string][]Waiver
	stamps   map[string]stamp
	rules    []*Rule // in the order of the rule set
	places   map[int64]int
	judging  *sql.Stmt
	words    *sql.Stmt
}

type station struct {
	lab, site string
	zone      *time.Location
}

type stamp struct{ setting, ended, read, signed string }

func (q *question) run(period Period, each func(*Study) error) error {
	if err := q.load(); err != nil {
		return err
	}
	query, args := "SELECT id, uid, facts, packed, digest FROM study", []any(nil)
	if period != (Period{}) {
		query += " WHERE date BETWEEN ? AND ?"
		args = []any{period.From.Format(time.DateOnly), period.To.Format(time.DateOnly)}
	}
	rows, err := q.sql.QueryContext(q.ctx, query+" ORDER BY date, uid", args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			one           Study
			id            int64
			facts, digest string
		)
		if err := rows.Scan(&id, &one.UID, &facts, &one.packed, &digest); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(facts), &one.Facts); err != nil {
			return err
		}
		if !q.join(&one) {
			continue
		}
		if q.ruleset != "" && digest != "" {
			if err := q.judged(&one, id, digest); err != nil {
				return err
			}
		}
		if err := each(&one); err != nil {
			return err
		}
	}
	return rows.Err()
}

// load reads what is small and belongs to all studies.
func (q *question) load() error {
	q.stations, q.roles, q.waivers = map[string]station{}, map[string]string{}, map[string][]Waiver{}
	q.stamps, q.places = map[string]stamp{}, map[int64]int{}
	err := q.all("SELECT name, lab, site, timezone FROM station", nil, func(scan func(...any) error) error {
		var (
			name, zone string
			st         station
		)
		if err := scan(&name, &st.lab, &st.site, &zone); err != nil {
			return err
		}
		st.zone, _ = time.LoadLocation(zone) // was checked when it was taken in; nil means unknown
		q.stations[name] = st
		return nil
	})
	err = errors.Join(err, q.all("SELECT pseudonym, role FROM staff", nil, func(scan func(...any) error) error {
		var name, role string
		defer func() { q.roles[name] = role }()
		return scan(&name, &role)
	}))
	err = errors.Join(err, q.all("SELECT study, setting, ended, read, signed FROM stamp WHERE study <> '' ORDER BY id", nil, func(scan func(...any) error) error {
		var (
			uid string
			st  stamp
		)
		defer func() { q.stamps[uid] = st }()
		return scan(&uid, &st.setting, &st.ended, &st.read, &st.signed)
	}))
	err = errors.Join(err, q.all(waiverQuery+" WHERE w.withdraws IS NULL AND x.id IS NULL ORDER BY w.id", nil, func(scan func(...any) error) error {
		w, err := scanWaiver(scan)
		q.waivers[w.Study] = append(q.waivers[w.Study], w)
		return err
	}))
	if q.ruleset == "" || err != nil {
		return err
	}
	err = q.all("SELECT r.id, r.identifier, r.detail FROM rule r JOIN ruleset s ON s.id = r.ruleset_id WHERE s.digest = ? ORDER BY r.id", []any{q.ruleset}, func(scan func(...any) error) error {
		var (
			id         int64
			identifier string
			detail     []byte
			d          ruleDetail
		)
		if err := errors.Join(scan(&id, &identifier, &detail), json.Unmarshal(detail, &d)); err != nil {
			return err
		}
		q.places[id] = len(q.rules)
		q.rules = append(q.rules, &Rule{Identifier: identifier, Version: d.Version, Title: d.Title, Kind: d.Kind, Structure: d.Structure, Source: d.Source, Usage: d.Usage, Measurands: d.Measurands})
		return nil
	})
	if err != nil {
		return err
	}
	q.judging, err = q.sql.PrepareContext(q.ctx, `SELECT j.id, j.detail, j.outcomes FROM judgement j JOIN ruleset s ON s.id = j.ruleset_id
		WHERE j.study_id = ? AND s.digest = ? AND j.digest = ?`)
	if err == nil {
		q.words, err = q.sql.PrepareContext(q.ctx, "SELECT rule_id, detail FROM result WHERE judgement_id = ?")
	}
	return err
}

// all calls each for every row.
func (q *question) all(query string, args []any, each func(scan func(...any) error) error) error {
	rows, err := q.sql.QueryContext(q.ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// join adds what the lab's own lists say; false when the filter leaves the
// study out.
func (q *question) join(one *Study) bool {
	at := q.stations[one.Station]
	one.Lab, one.Site = at.lab, at.site
	f := q.filter
	if f.Lab != "" && f.Lab != one.Lab || f.Site != "" && f.Site != one.Site || f.Station != "" && f.Station != one.Station {
		return false
	}
	one.Sonographer = q.member(one.Staff, []string{"sonographer", "trainee"}, echo.Scanned)
	one.Reader = q.member(one.Staff, []string{"reader"}, echo.ReadIt, echo.Verified)
	one.Trainee = q.roles[one.Sonographer] == "trainee"
	one.Waivers = q.waivers[one.UID]
	st := q.stamps[one.UID]
	one.Times = Times{Setting: st.setting, Zoned: true}
	for _, moment := range []struct {
		to   *time.Time
		text string
	}{{&one.Times.Ended, st.ended}, {&one.Times.Read, st.read}, {&one.Times.Signed, st.signed}} {
		if moment.text == "" {
			continue
		}
		var zoned bool
		*moment.to, zoned, _ = parseMoment(moment.text, at.zone) // was checked when it was taken in
		one.Times.Zoned = one.Times.Zoned && zoned
	}
	return true
}

// member finds who did a task: as the record says, else an observer whom the
// roster gives a role that fits.
func (q *question) member(staff []Member, roles []string, tasks ...echo.Task) string {
	for _, task := range tasks {
		for _, m := range staff {
			if m.Task == task {
				return m.Pseudonym
			}
		}
	}
	for _, m := range staff {
		for _, role := range roles {
			if m.Task == echo.Observed && q.roles[m.Pseudonym] == role {
				return m.Pseudonym
			}
		}
	}
	return ""
}

// judged adds the results of the rule set on the study as it is now.
func (q *question) judged(one *Study, id int64, digest string) error {
	var (
		judgement      int64
		text, outcomes []byte
		detail         judgementDetail
	)
	err := q.judging.QueryRowContext(q.ctx, id, q.ruleset, digest).Scan(&judgement, &text, &outcomes)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err = errors.Join(err, json.Unmarshal(text, &detail)); err != nil {
		return err
	}
	if len(outcomes) != 2*len(q.rules) {
		return fmt.Errorf("the judgement of study %s does not fit its rule set", one.UID)
	}
	one.Judged, one.Suspects = true, detail.Suspects
	one.Protocols = check.Protocols{Base: detail.Base, Triggered: detail.Triggered}
	one.Results = make([]Result, len(q.rules))
	for i, rule := range q.rules {
		one.Results[i] = Result{Rule: rule, Outcome: outcomeOf[outcomes[2*i]], Severity: severityOf[outcomes[2*i+1]]}
	}
	rows, err := q.words.QueryContext(q.ctx, judgement)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			rule  int64
			words []byte
		)
		if err := rows.Scan(&rule, &words); err != nil {
			return err
		}
		one.Results[q.places[rule]].detail = words
	}
	return rows.Err()
}

var outcomeOf, severityOf = inverse(outcomeLetters), inverse(severityLetters)

func inverse[T comparable](letters map[T]byte) map[byte]T {
	out := map[byte]T{}
	for word, letter := range letters {
		out[letter] = word
	}
	return out
}
