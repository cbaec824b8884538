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
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var (
		lock sync.Mutex
		wait sync.WaitGroup
		next = make(chan *store.Study, 64)
	)
	first := newCounter(before, after)
	for range runtime.NumCPU() {
		wait.Go(func() {
			j := first.another()
			for s := range next {
				one, other, err := j.count(s)
				if err != nil {
					stop(err)
					continue
				}
				lock.Lock()
				was = append(was, one)
				if after != nil {
					is = append(is, other)
				}
				lock.Unlock()
			}
		})
	}
	period := store.Period{From: look.From, To: look.To}
	// What was counted need not be read, unless it is judged anew.
	counter := ""
	if !first.compare || first.rules.Same() {
		counter = first.rules.Was.Counter()
	}
	for s, err := range ledger.CountedStudies(ctx, period, filter, before.Digest, counter) {
		if err != nil {
			stop(err) // keeps the first cause
			break
		}
		next <- s
	}
	close(next)
	wait.Wait()
	if err := context.Cause(ctx); err != nil {
		return nil, nil, err
	}
	byUID := func(a, b counted.Study) int { return strings.Compare(a.UID, b.UID) }
	slices.SortFunc(was, byUID)
	slices.SortFunc(is, byUID)
	return was, is, nil
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
	return &counter{rules: c.rules.Another(), compare: c.compare, wanted: store.NewWanted(c.rules.Wanted)}
}

// count reduces the study, as judged before and, when rules are compared, after.
// What the ledger has counted and judged by the rules before is not looked at
// again.
func (c *counter) count(s *store.Study) (was, is counted.Study, err error) {
	var study *echo.Study
	was, found, err := c.kept(s)
	switch whole := !found || !s.Judged || len(s.Tests) > 0; {
	case err != nil:
	case whole:
		study, err = s.RebuildOver(&c.room, nil)
	case c.compare && !c.rules.Same():
		study, err = s.RebuildOver(&c.room, c.wanted)
		if err == nil && study != nil && c.rules.Whole(study) {
			study, err = s.RebuildOver(&c.room, nil)
		}
	}
	if err != nil {
		return was, is, err
	}
	if !s.HasReport() {
		was = counted.Study{UID: s.UID, Unread: true}
		// A date that cannot be read stays zero and is shown as such.
		was.Date, _ = time.Parse(time.DateOnly, s.Date)
		was = known(was, s)
		return was, was, nil
	}
	protocols, results := s.Protocols, (*tally.Outcomes)(nil)
	if s.Judged {
		if results, err = c.results(s); err != nil {
			return was, is, err
		}
	} else {
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
	if c.compare {
		is = was
		is.Judged(c.rules.After(study, protocols, results))
		is.Sum()
	}
	was.Sum()
	return was, is, nil
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
