package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/intake"
	"echotally/internal/judge"
	"echotally/internal/run"
	"echotally/internal/store"
)

// batchSize is how many objects are read before they are recorded.
const batchSize = 400

// intakeFlags are the flags of intake.
type intakeFlags struct {
	ledgerFlags
	watch          string
	settle, rescan time.Duration
	lists          map[store.ListKind]*string
	paths          bool
	settings       library.Settings
}

// listOrder is the order in which lists are taken in.
var listOrder = []store.ListKind{store.Roster, store.Labs, store.Signoff}

func newIntakeCommand(a *app) *cobra.Command {
	f := &intakeFlags{lists: map[store.ListKind]*string{}}
	cmd := &cobra.Command{
		Use:   "intake [PATH...]",
		Short: "Record studies and results in the lab's ledger",
		Long: `Read everything below the paths, put the rules to each study, and record objects,
studies and results in the ledger. What the ledger has already changes nothing; a
later report of a study supersedes the earlier one; under another rule set the
study gets further results.

One line per object and study is printed, tab-separated, and only after it is on
disk:

  object  recorded|known|unreadable  SHA-256  state  study  reason
  study   new|changed|judged|known   study

A path may name a patient, so it is printed only with --paths. Who a study is of
is sealed with the key file, which is made on first use. Keep a copy of it: no
other key opens the identities or gives the same pseudonyms.

With --watch, a folder is recorded and watched until the program is stopped by a
signal. Files are taken when size and time have not changed for --settle.

Lists are CSV files with a first line that names the columns (* required). Good
rows are kept; bad ones are told with file, line and column and end in exit code 4.

` + listText() + `

` + exitTable,
		Example: `  echotally intake /data/2026-10
  echotally intake --watch /data/incoming --store lab.db --key /secure/echotally.key
  echotally intake --roster staff.csv --labs sites.csv --signoff times.csv`,
		RunE: func(cmd *cobra.Command, paths []string) error {
			if len(paths) == 0 && f.watch == "" && !f.anyList() {
				return faults{hinted{errors.New("nothing to take in"), "give a path, --watch, or a list"}}
			}
			return a.intake(cmd.Context(), f, paths)
		},
	}
	f.add(cmd)
	f.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.watch, "watch", "", "folder to record and to watch")
	flags.DurationVar(&f.settle, "settle", 2*time.Second, "how long a file must not change before it is taken (with --watch)")
	flags.DurationVar(&f.rescan, "rescan", time.Minute, "how often the watched folder is looked through in any case")
	flags.BoolVar(&f.paths, "paths", false, "print the path of each object")
	flags.BoolVar(&f.settings.Drafts, "drafts", false, "run draft rules as well")
	for kind, usage := range map[store.ListKind]string{store.Roster: "CSV file of staff and their roles", store.Signoff: "CSV file of reading and sign-off times", store.Labs: "CSV file of stations and their sites"} {
		f.lists[kind] = flags.String(string(kind), "", usage)
	}
	return cmd
}

// listText tells the columns of the lists.
func listText() string {
	var b strings.Builder
	for _, kind := range listOrder {
		fmt.Fprintf(&b, "--%s\n", kind)
		for _, c := range store.Columns(kind) {
			mark := " "
			if c.Required {
				mark = "*"
			}
			fmt.Fprintf(&b, "  %s %-10s %s\n", mark, c.Name, c.Meaning)
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

func (f *intakeFlags) anyList() bool {
	for _, file := range f.lists {
		if *file != "" {
			return true
		}
	}
	return false
}

// intake records lists and objects, and watches when asked to.
func (a *app) intake(ctx context.Context, f *intakeFlags, paths []string) error {
	set, err := a.judging(f.settings)
	if err != nil {
		return err
	}
	ledger, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer ledger.Close()
	opt, done, err := a.options(set)
	if err != nil {
		return err
	}
	defer done()
	r := &recorder{app: a, ledger: ledger, paths: f.paths, auditor: auditorOf(set)}
	if err := r.takeLists(ctx, f); err != nil {
		return err
	}
	if len(paths) > 0 {
		err = r.take(ctx, paths, opt)
	}
	if err == nil && f.watch != "" {
		opt.Listed = true
		w := intake.Watcher{Dir: f.watch, Settle: f.settle, Rescan: f.rescan}
		err = w.Run(ctx, func(files []string) error { return r.take(ctx, files, opt) })
		if errors.Is(err, context.Canceled) {
			err = nil // a watch is ended by a signal
		}
	}
	r.summary()
	switch {
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.stderr, "echotally: interrupted; what was told is recorded, give the same paths again for the rest")
		return outcome(exitInterrupted)
	case err != nil:
		return err
	case r.incomplete:
		return outcome(exitIncomplete)
	}
	return nil
}

func auditorOf(set *library.Library) store.Auditor {
	by := judge.New(set)
	reducers := sync.Pool{New: func() any { return audit.NewReducer(set) }} // each is for one goroutine
	return store.Auditor{
		Program: version,
		RuleSet: run.RuleSet{Version: set.Version, Digest: set.Digest, Rules: len(set.Rules), Edition: set.Edition},
		Compose: func(reports []*echo.Study, images []*echo.Image) *echo.Study {
			return run.Compose(set, reports, images)
		},
		Judge: func(s *echo.Study) (*store.Judged, error) {
			out := store.JudgedOf(by.Study(s, judge.By{SoftwareVersion: version}))
			reducer := reducers.Get().(*audit.Reducer)
			defer reducers.Put(reducer)
			counted := reducer.Reduce(s, finding.Protocols{}, nil, nil)
			out.Counted, out.Counter = reducer.Pack(&counted), reducer.Counter()
			return out, nil
		},
	}
}

// recorder records what was read and tells of it.
type recorder struct {
	*app
	ledger     *store.Store
	auditor    store.Auditor
	paths      bool
	incomplete bool

	studies, known   int
	objects, refused int
	ignored          int
}

func (r *recorder) takeLists(ctx context.Context, f *intakeFlags) error {
	for _, kind := range listOrder {
		name := *f.lists[kind]
		if name == "" {
			continue
		}
		file, err := os.Open(name)
		if err != nil {
			return hinted{fmt.Errorf("--%s: %w", kind, err), "give a CSV file; echotally intake --help tells the columns"}
		}
		receipt, err := r.ledger.Import(ctx, kind, file)
		file.Close()
		if err != nil {
			return err
		}
		for _, fault := range receipt.Faults {
			fmt.Fprintf(r.stderr, "%s:%s\n", name, fault)
			r.incomplete = true
		}
		fmt.Fprintf(r.stdout, "%s\t%d rows\t%d new or changed\t%d not usable\n", kind, receipt.Rows, receipt.Changed, len(receipt.Faults))
	}
	return nil
}

// take reads and records. Each study is finished once begun; between studies
// the end of the context is heard.
func (r *recorder) take(ctx context.Context, paths []string, opt run.Options) error {
	whole := context.WithoutCancel(ctx)
	return run.ReadBatches(ctx, paths, opt, batchSize, func(read *run.Audit) error {
		for i := range read.Studies {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			receipt, err := r.ledger.Record(whole, &read.Studies[i], r.auditor)
			if err != nil {
				return err
			}
			if err := r.tell(receipt); err != nil {
				return err
			}
		}
		if len(read.Unread) == 0 {
			return nil
		}
		receipt, err := r.ledger.RecordUnread(whole, read.Unread)
		if err != nil {
			return err
		}
		return r.tell(receipt)
	})
}

// tell prints what is on disk now, in one write.
func (r *recorder) tell(receipt *store.Receipt) error {
	var b strings.Builder
	orDash := func(text string) string {
		if text == "" {
			return "-"
		}
		return text
	}
	for _, o := range receipt.Objects {
		r.incomplete = r.incomplete || o.State == store.Refused || o.State == store.Partial
		word := "known"
		switch {
		case o.SHA256 == "" && o.State != store.Refused:
			r.ignored++
			continue // certainly something else
		case o.SHA256 == "":
			word = "unreadable"
		case o.New:
			word = "recorded"
			r.objects++
		}
		if o.State == store.Refused {
			r.refused++
		}
		fmt.Fprintf(&b, "object\t%s\t%s\t%s\t%s\t%s", word, orDash(o.SHA256), o.State, orDash(receipt.StudyInstanceUID), orDash(o.Reason))
		if r.paths {
			fmt.Fprintf(&b, "\t%s", o.Path)
		}
		b.WriteByte('\n')
	}
	if receipt.StudyInstanceUID != "" {
		word := "known"
		switch {
		case receipt.New:
			word = "new"
		case receipt.Changed:
			word = "changed"
		case receipt.Judged:
			word = "judged"
		}
		if word == "known" {
			r.known++
		} else {
			r.studies++
		}
		r.incomplete = r.incomplete || !receipt.Read
		fmt.Fprintf(&b, "study\t%s\t%s\n", word, receipt.StudyInstanceUID)
	}
	_, err := r.stdout.Write([]byte(b.String()))
	return err
}

func (r *recorder) summary() {
	fmt.Fprintf(r.stdout, "total\t%d studies new or changed, %d known\t%d objects recorded, %d refused, %d files that are something else\n",
		r.studies, r.known, r.objects, r.refused, r.ignored)
}
