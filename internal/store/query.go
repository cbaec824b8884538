package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/packed"
	"echotally/internal/store/fault"
	"echotally/internal/store/form"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/lablist"
	"echotally/internal/store/outcome"
	"echotally/internal/store/waiver"
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
	Waivers     []waiver.Waiver // that hold
	Tests       []Test          // what other tests found
	// Appropriateness of the request, one of [lablist.Appropriatenesses], "" not judged.
	Appropriateness string

	Judged    bool // the rule set asked for has judged the study as it is now
	Protocols finding.Protocols
	Suspects  []string        // measurands that do not fit the others
	Rules     []finding.About // of the rule set, the same for every study
	Outcomes  string          // two letters per rule: see [Study.Outcome]
	Causes    map[int]string  // identifier of the likeliest slip behind a failed rule, by its place

	digest  string // "" without a report
	packed  []byte
	counted []byte
	counter string
	parts   *packed.Parts
}

// Times are the moments the lab's own systems know; zero when they do not.
type Times struct {
	Setting             string
	Ended, Read, Signed time.Time
	Zoned               bool // false: the zone of one is not known, it was taken as UTC
}

// Outcome gives what the rule at a place of the rule set came to.
func (s *Study) Outcome(place int) (finding.Outcome, finding.Severity) {
	return outcome.At(s.Outcomes, place)
}

// Counted is what figures count of the study beside the results, as the counter
// packed it; nil when that one has not counted it.
func (s *Study) Counted(counter string) []byte {
	if s.counter != counter || len(s.counted) == 0 {
		return nil
	}
	return s.counted
}

// HasReport reports whether a report of the study was read.
func (s *Study) HasReport() bool { return s.digest != "" }

// Rebuild gives the study as it was composed, without identity; nil when no
// report of it was read. It may be called from another goroutine.
func (s *Study) Rebuild() (*echo.Study, error) { return s.RebuildOver(&echo.Study{}, nil) }

// Wanted says which values of a study are wanted. It is for one goroutine.
type Wanted = packed.Wanted

// NewWanted wants the values of those measurands for whose identifiers is gives true, ""
// being that of values which nothing names; nil wants all.
func NewWanted(is func(measurand string) bool) *Wanted {
	if is == nil {
		return nil
	}
	return form.Wanted(is)
}

// RebuildOver is Rebuild in the place of another study, whose room is used again. Values
// that are not wanted may be left out; nil wants all of them.
func (s *Study) RebuildOver(out *echo.Study, wanted *Wanted) (*echo.Study, error) {
	if len(s.packed) == 0 {
		return nil, nil
	}
	if err := form.UnpackOver(s.packed, out, s.parts, wanted); err != nil {
		return nil, &fault.Error{Doing: "rebuild study " + s.UID, Reason: err.Error(), Hint: "echotally ledger verify tells whether the ledger was changed", Cause: err}
	}
	return out, nil
}

// LatestRuleSet is the digest of the rule set that judged last, "" when none
// has.
func (s *Store) LatestRuleSet(ctx context.Context) (string, error) {
	var digest string
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlLatestRuleSet, nil, &digest); return err })
	return digest, s.wrap("read ledger", err)
}

// Unjudged lists the studies with a report that a rule set has not judged as they are
// now, the latest first: they stand as another one judged them.
func (s *Store) Unjudged(ctx context.Context, ruleset string) ([]string, error) {
	var out []string
	err := s.look(ctx, func(v *view) (err error) { out, err = column[string](v, sqlUnjudged, ruleset); return err })
	return out, s.wrap("read ledger", err)
}

// Studies gives the studies of a period, by date and UID, with the results of
// one rule set. All of them are of one moment, whatever is recorded meanwhile.
func (s *Store) Studies(ctx context.Context, period Period, filter Filter, ruleset string) iter.Seq2[*Study, error] {
	return s.each(ctx, period, filter, ruleset, "")
}

// CountedStudies gives the same studies; those that the counter has counted
// cannot be rebuilt, which spares reading them.
func (s *Store) CountedStudies(ctx context.Context, period Period, filter Filter, ruleset, counter string) iter.Seq2[*Study, error] {
	return s.each(ctx, period, filter, ruleset, counter)
}

// RebuiltStudies gives the same studies without results, for judging them anew
// with what [Study.Rebuild] gives.
func (s *Store) RebuiltStudies(ctx context.Context, period Period, filter Filter) iter.Seq2[*Study, error] {
	return s.each(ctx, period, filter, "", "")
}

func (s *Store) each(ctx context.Context, period Period, filter Filter, ruleset, counter string) iter.Seq2[*Study, error] {
	return func(yield func(*Study, error) bool) {
		stopped := errors.New("stopped")
		err := s.look(ctx, func(v *view) error {
			q := &question{view: v, parts: s.parts, key: s.key, filter: filter, ruleset: ruleset, counter: counter}
			return q.run(period, func(one *Study) error {
				if !yield(one, nil) {
					return stopped
				}
				return nil
			})
		})
		if err != nil && !errors.Is(err, stopped) {
			yield(nil, s.wrap("read ledger", err))
		}
	}
}

// question is one walk through the studies with what belongs to all of them.
type question struct {
	*view
	parts    *packed.Parts
	filter   Filter
	ruleset  string
	counter  string
	stations map[string]station
	roles    map[string]string
	waivers  map[string][]waiver.Waiver
	stamps   map[string]stamp
	key      *keyfile.Key
	tests    map[string][]Test // by keyed hash
	classes  map[string]string // by keyed hash
	rules    *ruleList         // nil when the rule set has judged nothing
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
	query, args := sqlStudies, []any{q.counter, q.ruleset}
	if period != (Period{}) {
		query += sqlBetween
		args = append(args, period.From.Format(time.DateOnly), period.To.Format(time.DateOnly))
	}
	return q.view.rows(query+sqlByDate, args, func(rows *sql.Rows) error {
		var (
			one          = Study{parts: q.parts}
			facts, short taken
		)
		if err := rows.Scan(&one.UID, &facts, &one.digest, (*taken)(&one.packed), &one.Outcomes, &short, (*taken)(&one.counted), &one.counter); err != nil {
			return err
		}
		if err := json.Unmarshal(facts, &one.Facts); err != nil {
			return err
		}
		if !q.join(&one) {
			return nil
		}
		if err := q.joinOutside(&one); err != nil {
			return err
		}
		if short != nil && q.rules != nil {
			if err := q.judged(&one, short); err != nil {
				return err
			}
		}
		return each(&one)
	})
}

// taken is a value of the database as the driver hands it over, which it makes anew for
// every row: that the database package copies it once more took a tenth of reading a year.
type taken []byte

// Scan takes it.
func (t *taken) Scan(value any) error {
	switch v := value.(type) {
	case nil:
		*t = nil
	case []byte:
		*t = v
	case string:
		*t = []byte(v)
	default:
		return fmt.Errorf("%T where bytes are kept", value)
	}
	return nil
}

// load reads what is small and belongs to all studies.
func (q *question) load() error {
	q.stations, q.roles, q.waivers, q.stamps = map[string]station{}, map[string]string{}, map[string][]waiver.Waiver{}, map[string]stamp{}
	err := q.view.rows(sqlStations, nil, func(rows *sql.Rows) error {
		var (
			name, zone string
			st         station
		)
		if err := rows.Scan(&name, &st.lab, &st.site, &zone); err != nil {
			return err
		}
		st.zone, _ = time.LoadLocation(zone) // was checked when it was taken in; nil means unknown
		q.stations[name] = st
		return nil
	})
	err = errors.Join(err, q.view.rows(sqlStaff, nil, func(rows *sql.Rows) error {
		var name, role string
		defer func() { q.roles[name] = role }()
		return rows.Scan(&name, &role)
	}))
	err = errors.Join(err, q.view.rows(sqlStamps, nil, func(rows *sql.Rows) error {
		var (
			uid string
			st  stamp
		)
		defer func() { q.stamps[uid] = st }()
		return rows.Scan(&uid, &st.setting, &st.ended, &st.read, &st.signed)
	}))
	err = errors.Join(err, q.view.rows(sqlWaiversHold, nil, func(rows *sql.Rows) error {
		w, err := scanWaiver(rows.Scan)
		q.waivers[w.Study] = append(q.waivers[w.Study], w)
		return err
	}))
	err = errors.Join(err, q.loadOutside())
	if q.ruleset == "" || err != nil {
		return err
	}
	q.rules, err = q.view.rules(q.ruleset)
	return err
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
		*moment.to, zoned, _ = lablist.Moment(moment.text, at.zone) // was checked when it was taken in
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
func (q *question) judged(one *Study, short []byte) error {
	var found brief
	if err := packed.Unpack(short, &found); err != nil {
		return err
	}
	if !outcome.Fits(one.Outcomes, len(q.rules.Rules)) {
		return fmt.Errorf("the judgement of study %s does not fit its rule set", one.UID)
	}
	one.Judged, one.Rules, one.Suspects, one.Protocols = true, q.rules.Rules, found.Suspects, found.Protocols
	if len(found.Causes) > 0 {
		one.Causes = make(map[int]string, len(found.Causes))
	}
	for _, c := range found.Causes {
		one.Causes[c.Rule] = c.Identifier
	}
	return nil
}
