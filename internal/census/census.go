// Package census owns the studies of a period as an audit counts them: taken from the
// ledger where it has counted them, judged and reduced where it has not.
package census

import (
	"context"
	"fmt"
	"iter"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/reduction"
	"echotally/internal/rejudge"
	"echotally/internal/store"
	"echotally/internal/tally"

	"golang.org/x/sync/errgroup"
)

// Figures is what counting asks of a ledger.
type Figures interface {
	CountedStudies(ctx context.Context, period store.Period, filter store.Filter, ruleset, counter string) iter.Seq2[*store.Study, error]
}

// Studies gives the studies of a period by their UIDs, as the rules before have them,
// and the same as the rules after have them. What the rule set before has not judged
// yet is judged here; after is nil when nothing is to be compared. They are summed up
// and may be looked at from several goroutines.
func Studies(ctx context.Context, ledger Figures, look calendar.Period, filter store.Filter, before, after *library.Library) (was, is []counted.Study, err error) {
	first := newCounter(before, after)
	// What was counted need not be read, unless it is judged anew.
	counter := ""
	if !first.compare || first.rules.Same() {
		counter = first.rules.Was.Counter()
	}
	q := &queue{}
	q.next, q.end = iter.Pull2(ledger.CountedStudies(ctx, store.Period{From: look.From, To: look.To}, filter, before.Digest, counter))
	defer q.end()
	var (
		all   []*pair
		lock  sync.Mutex
		group errgroup.Group
	)
	for range runtime.NumCPU() {
		group.Go(func() error {
			own, err := first.another().countAll(q)
			lock.Lock()
			all = append(all, own...)
			lock.Unlock()
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, nil, err
	}
	if err := context.Cause(ctx); err != nil {
		return nil, nil, err
	}
	slices.SortFunc(all, func(a, b *pair) int { return strings.Compare(a.was.UID, b.was.UID) })
	was = make([]counted.Study, len(all))
	if after != nil {
		is = make([]counted.Study, len(all))
	}
	for i, one := range all {
		was[i] = one.was
		if after != nil {
			is[i] = *one.is
		}
	}
	return was, is, nil
}

// pair is a study as the rules before have it, and, when rules are compared, as those
// after have it.
type pair struct {
	was counted.Study
	is  *counted.Study
}

// atATime is how many studies a worker takes from the ledger before it looks at them. In
// turns, one after the other, what reads and what looks would push each other out of the
// processor's memory.
const atATime = 32

// queue has the studies of the ledger in their order, for one who takes some at a time.
type queue struct {
	lock sync.Mutex
	next func() (*store.Study, error, bool)
	end  func()
	done bool
}

// take puts the next studies into the room there is; none when there are no more.
func (q *queue) take(room []*store.Study) ([]*store.Study, error) {
	q.lock.Lock()
	defer q.lock.Unlock()
	room = room[:0]
	for len(room) < cap(room) && !q.done {
		s, err, ok := q.next()
		if !ok {
			break
		}
		if err != nil {
			q.done = true
			return nil, err
		}
		room = append(room, s)
	}
	return room, nil
}

// stop has nobody take any more.
func (q *queue) stop() {
	q.lock.Lock()
	q.done = true
	q.lock.Unlock()
}

// counter counts studies, one worker each.
type counter struct {
	rules   *rejudge.Rejudger
	compare bool
	wanted  *store.Wanted // values that decide what changed rules come to
	room    echo.Study    // for one study after the other
	written *written      // of the studies so far
}

func newCounter(before, after *library.Library) *counter {
	if after == nil {
		return &counter{rules: rejudge.New(before, before)}
	}
	return &counter{rules: rejudge.New(before, after), compare: true}
}

// another is a counter for another goroutine.
func (c *counter) another() *counter {
	return &counter{rules: c.rules.Another(), compare: c.compare, wanted: store.NewWanted(c.rules.Wanted())}
}

// countAll counts studies until there are no more.
func (c *counter) countAll(q *queue) (out []*pair, err error) {
	room := make([]*store.Study, 0, atATime)
	for {
		if room, err = q.take(room); err != nil || len(room) == 0 {
			return out, err
		}
		for i, s := range room {
			room[i] = nil
			one, err := c.count(s)
			if err != nil {
				q.stop()
				return nil, err
			}
			out = append(out, one)
		}
	}
}

// count reduces the study, as judged before and, when rules are compared, after.
// What the ledger has counted and judged by the rules before is not looked at
// again.
func (c *counter) count(s *store.Study) (*pair, error) {
	was, found, err := c.kept(s)
	if err != nil {
		return nil, err
	}
	if !s.HasReport() {
		was = counted.Study{UID: s.UID, Unread: true}
		// A date that cannot be read stays zero and is shown as such.
		was.Date, _ = time.Parse(time.DateOnly, s.Date)
		was = known(was, s)
		return &pair{was, &was}, nil
	}
	protocols, results := s.Protocols, (*tally.Outcomes)(nil)
	if s.Judged {
		if results, err = c.results(s); err != nil {
			return nil, err
		}
	}
	study, err := c.rebuilt(s, results, found, &was.Coding)
	if err != nil {
		return nil, err
	}
	if !s.Judged {
		protocols, results = c.rules.Before(study)
	}
	if found {
		was.Judged(protocols, results)
	} else {
		was = c.rules.Was.Reduce(study, protocols, results, nil)
	}
	was = known(was, s)
	was.Suspect = c.rules.Was.Titles(was.Suspect)
	if len(s.Tests) > 0 && study != nil {
		was.Correlations = c.rules.Was.Correlate(study, otherTests(s.Tests))
	}
	out := &pair{was: was}
	if c.compare {
		is := was
		is.Judged(c.rules.After(study, protocols, results))
		is.Sum()
		out.is = &is
	}
	out.was.Sum()
	return out, nil
}

// rebuilt is the study as it was composed, as far as it is looked at; nil when it is not.
func (c *counter) rebuilt(s *store.Study, results *tally.Outcomes, found bool, coding *counted.Coding) (*echo.Study, error) {
	switch {
	case !found || !s.Judged || len(s.Tests) > 0:
		return s.RebuildOver(&c.room, nil)
	case !c.compare || c.rules.Same() || c.rules.Settled(results, coding.Unnamed == 0):
		return nil, nil
	}
	study, err := s.RebuildOver(&c.room, c.wanted)
	if err == nil && study == nil {
		return nil, fmt.Errorf("study %s: what was read of it is gone", s.UID)
	}
	if err == nil && c.rules.Widened(study) {
		c.wanted = store.NewWanted(c.rules.Wanted())
		return s.RebuildOver(&c.room, c.wanted)
	}
	return study, err
}

// kept is what the ledger has counted of the study.
func (c *counter) kept(s *store.Study) (out counted.Study, found bool, err error) {
	counted := s.Counted(c.rules.Was.Counter())
	if counted == nil {
		return out, false, nil
	}
	out, err = c.rules.Was.Unpack(counted)
	if err != nil {
		err = fmt.Errorf("study %s: what was counted of it: %w", s.UID, err)
	}
	out.UID = s.UID
	return out, true, err
}

func otherTests(tests []store.Test) []reduction.OtherTest {
	var out []reduction.OtherTest
	for _, t := range tests {
		out = append(out, reduction.OtherTest(t))
	}
	return out
}

// known adds what the lab's own systems know.
func known(out counted.Study, s *store.Study) counted.Study {
	out.Lab, out.Site, out.Sonographer, out.Reader = s.Lab, s.Site, s.Sonographer, s.Reader
	out.Trainee, out.Appropriateness = s.Trainee, s.Appropriateness
	out.Setting, out.Times = s.Times.Setting, counted.Times{Ended: s.Times.Ended, Read: s.Times.Read, Signed: s.Times.Signed}
	out.Suspect, out.Images = s.Suspects, s.Images
	for _, w := range s.Waivers {
		out.Waivers = append(out.Waivers, tally.Waiver{Rule: w.Rule, Reason: w.Reason, Effect: tally.Effect(w.Effect), Late: w.Late})
	}
	return out
}

// written is how the ledger writes down what the rules of a set came to, as they are
// counted: the same for study after study.
type written struct {
	rules  []finding.About // of the ledger
	places []int           // of the same rules in the set that counts
	codes  [1 << 16]byte   // by two letters, one more than the code; 0 before they came
}

func writtenBy(rules []finding.About, set []*tally.Rule) (*written, bool) {
	out, places := &written{rules: rules, places: make([]int, len(rules))}, make(map[string]int, len(set))
	for i, r := range set {
		places[r.Identifier] = i
	}
	for i := range rules {
		place, known := places[rules[i].Identifier]
		if !known {
			return nil, false
		}
		out.places[i] = place
	}
	return out, true
}

// code is what the rule at a place came to in the study.
func (w *written) code(s *store.Study, place int) byte {
	known := &w.codes[int(s.Outcomes[2*place])<<8|int(s.Outcomes[2*place+1])]
	if *known == 0 {
		*known = 1 + tally.Code(s.Outcome(place))
	}
	return *known - 1
}

// results are the ledger's results as far as they are counted.
func (c *counter) results(s *store.Study) (*tally.Outcomes, error) {
	if w := c.written; w == nil || len(w.rules) != len(s.Rules) || len(s.Rules) > 0 && &w.rules[0] != &s.Rules[0] {
		made, ok := writtenBy(s.Rules, c.rules.Was.Rules)
		if !ok {
			return nil, fmt.Errorf("study %s was judged by a rule that the rule set does not have", s.UID)
		}
		c.written = made
	}
	out := tally.NewOutcomes(c.rules.Was.Rules)
	for i, place := range c.written.places {
		out.SetCode(place, c.written.code(s, i))
	}
	for _, place := range slices.Sorted(maps.Keys(s.Causes)) {
		if place >= 0 && place < len(c.written.places) {
			out.Because(c.written.places[place], s.Causes[place])
		}
	}
	return out, nil
}
