package main

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/datafile"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/printable"
	"echotally/internal/store"
)

// periodFlags say which studies of the ledger are looked at.
type periodFlags struct {
	ledgerFlags
	month, quarter, year, from, to string
	lab                            string
	floor                          int
	settings                       string
	floorGiven                     func() bool
}

func (p *periodFlags) add(cmd *cobra.Command) {
	p.ledgerFlags.add(cmd)
	p.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&p.month, "month", "", "month, such as 2026-10")
	flags.StringVar(&p.quarter, "quarter", "", "quarter, such as 2026-Q3")
	flags.StringVar(&p.year, "year", "", "year, such as 2026")
	flags.StringVar(&p.from, "from", "", "first study date, with --to")
	flags.StringVar(&p.to, "to", "", "last study date, with --from")
	flags.StringVar(&p.lab, "lab", "", "one lab only, as the list of stations names it")
	flags.IntVar(&p.floor, "floor", audit.Defaults().Floor, "studies below which no person is judged; wins over --settings")
	flags.StringVar(&p.settings, "settings", "", "the lab's settings file: targets, standard, holidays, limits")
	p.floorGiven = func() bool { return flags.Changed("floor") }
}

// period reads the one that was given.
func (p *periodFlags) period() (audit.Period, error) {
	var (
		out audit.Period
		err error
	)
	given := 0
	for _, text := range []string{p.month, p.quarter, p.year, p.from + p.to} {
		if text != "" {
			given++
		}
	}
	switch {
	case given != 1:
		return out, faults{hinted{fmt.Errorf("%d periods given, one is needed", given), "give --month, --quarter, --year, or --from with --to"}}
	case p.month != "":
		out, err = audit.Month(p.month)
	case p.quarter != "":
		out, err = audit.Quarter(p.quarter)
	case p.year != "":
		out, err = audit.Year(p.year)
	default:
		out, err = audit.Between(p.from, p.to)
	}
	if err != nil {
		return out, faults{err}
	}
	return out, nil
}

// options are the choices of the run.
func (p *periodFlags) options(ctx context.Context, a *app, set *library.Library) (audit.Options, error) {
	opt := audit.Defaults()
	var err error
	if opt.Period, err = p.period(); err != nil {
		return opt, err
	}
	if p.settings != "" {
		src, err := datafile.ReadFile(os.DirFS(filepath.Dir(p.settings)), filepath.Base(p.settings))
		if err != nil {
			return opt, faults{hinted{fmt.Errorf("settings: %w", err), "echotally audit --help prints an example"}}
		}
		if err := opt.ReadSettings(p.settings, src); err != nil {
			return opt, faults{err}
		}
	}
	if p.floor < 1 {
		return opt, faults{fmt.Errorf("--floor %d: at least 1", p.floor)}
	}
	if p.settings == "" || p.floorGiven() {
		opt.Floor = p.floor
	}
	opt.Lab, opt.Software, opt.RuleSet, opt.Edition = printable.Line(p.lab), "echotally "+version, set.Version, set.Edition
	opt.Cutoff, opt.Created, opt.Scales = a.now(), a.now(), audit.ScalesOf(set)
	opt.Mark = p.marker(ctx)
	return opt, nil
}

// marker gives the keyed hash that orders the codes of staff: by the ledger's
// key, or, where that is not at hand, by one made for this run.
func (p *periodFlags) marker(ctx context.Context) func(string) string {
	if key, err := p.readKey(ctx); err == nil {
		return key.Pseudonym
	}
	return randomMark()
}

// randomMark is a keyed hash by a key of this run.
func randomMark() func(string) string {
	secret := make([]byte, sha256.Size)
	rand.Read(secret) // never fails (crypto/rand)
	return func(text string) string {
		h := hmac.New(sha256.New, secret)
		h.Write([]byte(text))
		return hex.EncodeToString(h.Sum(nil))
	}
}

// counted are the studies of a period reduced to what is counted, by the rule
// set that judges and, when rules are compared, by another.
type counted struct{ before, after []audit.Study }

// figures is what counting asks of a ledger.
type figures interface {
	CountedStudies(ctx context.Context, period store.Period, filter store.Filter, ruleset, counter string) iter.Seq2[*store.Study, error]
}

// studies gives the studies the charts of a period need. What the rule set
// before has not judged yet is judged here; after is nil when nothing is to be
// compared.
func (p *periodFlags) studies(ctx context.Context, ledger figures, look audit.Period, before, after *library.Library) (counted, error) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var (
		out  counted
		lock sync.Mutex
		wait sync.WaitGroup
		next = make(chan *store.Study, 64)
	)
	for range runtime.NumCPU() {
		wait.Go(func() {
			j := newCounter(before, after)
			for s := range next {
				was, is, err := j.count(s)
				if err != nil {
					stop(err)
					continue
				}
				lock.Lock()
				out.before = append(out.before, was)
				if after != nil {
					out.after = append(out.after, is)
				}
				lock.Unlock()
			}
		})
	}
	period := store.Period{From: look.From, To: look.To}
	// What was counted need not be read, unless it is judged anew.
	counter := ""
	if judge := newCounter(before, after); !judge.compare || judge.rules.Same() {
		counter = judge.rules.Was.Counter()
	}
	for s, err := range ledger.CountedStudies(ctx, period, store.Filter{Lab: p.lab}, before.Digest, counter) {
		if err != nil {
			stop(err) // keeps the first cause
			break
		}
		next <- s
	}
	close(next)
	wait.Wait()
	if err := context.Cause(ctx); err != nil {
		return counted{}, err
	}
	byUID := func(a, b audit.Study) int { return strings.Compare(a.UID, b.UID) }
	slices.SortFunc(out.before, byUID)
	slices.SortFunc(out.after, byUID)
	return out, nil
}

// counter counts studies, one worker each.
type counter struct {
	rules   *audit.Rejudger
	compare bool
	room    echo.Study // for one study after the other
}

func newCounter(before, after *library.Library) *counter {
	if after == nil {
		return &counter{rules: audit.NewRejudger(before, before)}
	}
	return &counter{rules: audit.NewRejudger(before, after), compare: true}
}

// count reduces the study, as judged before and, when rules are compared, after.
// What the ledger has counted and judged by the rules before is not looked at
// again.
func (c *counter) count(s *store.Study) (was, is audit.Study, err error) {
	var study *echo.Study
	was, found, err := c.kept(s)
	if err == nil && (!found || !s.Judged || len(s.Tests) > 0 || c.compare && !c.rules.Same()) {
		study, err = s.RebuildOver(&c.room)
	}
	if err != nil {
		return was, is, err
	}
	if !s.HasReport() {
		was = audit.Study{UID: s.UID, Unread: true}
		// A date that cannot be read stays zero and is shown as such.
		was.Date, _ = time.Parse(time.DateOnly, s.Date)
		was = known(was, s)
		return was, was, nil
	}
	protocols, results := s.Protocols, (*audit.Outcomes)(nil)
	if s.Judged {
		if results, err = resultsOf(s, c.rules.Was); err != nil {
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
func (c *counter) kept(s *store.Study) (out audit.Study, found bool, err error) {
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

func otherTests(tests []store.Test) []audit.OtherTest {
	var out []audit.OtherTest
	for _, t := range tests {
		out = append(out, audit.OtherTest(t))
	}
	return out
}

// known adds what the lab's own systems know.
func known(out audit.Study, s *store.Study) audit.Study {
	out.Lab, out.Site, out.Sonographer, out.Reader = s.Lab, s.Site, s.Sonographer, s.Reader
	out.Trainee, out.Appropriateness = s.Trainee, s.Appropriateness
	out.Setting, out.Times = s.Times.Setting, audit.Times{Ended: s.Times.Ended, Read: s.Times.Read, Signed: s.Times.Signed}
	out.Suspect, out.Images = s.Suspects, s.Images
	for _, w := range s.Waivers {
		out.Waivers = append(out.Waivers, audit.Waiver{Rule: w.Rule, Reason: w.Reason, Effect: audit.Effect(w.Effect), Late: w.Late})
	}
	return out
}

// resultsOf are the ledger's results as far as they are counted.
func resultsOf(s *store.Study, reducer *audit.Reducer) (*audit.Outcomes, error) {
	out, ok := reducer.Outcomes(len(s.Rules), func(i int) (string, finding.Outcome, finding.Severity, string) {
		outcome, severity := s.Outcome(i)
		return s.Rules[i].Identifier, outcome, severity, s.Causes[i]
	})
	if !ok {
		return nil, fmt.Errorf("study %s was judged by a rule that the rule set does not have", s.UID)
	}
	return out, nil
}
