package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/desk"
	"echotally/internal/printable"
	"echotally/internal/store"
	"echotally/internal/store/lablist"
	"echotally/internal/ucum"
)

// intakeFlags are the flags of intake.
type intakeFlags struct {
	ledgerFlags
	watch          string
	settle, rescan time.Duration
	lists          map[lablist.Kind]*string
	paths          bool
	settings       library.Settings
}

// listOrder is the order in which lists are taken in.
var listOrder = []lablist.Kind{lablist.Roster, lablist.Labs, lablist.Signoff, lablist.Correlation, lablist.Appropriateness}

func newIntakeCommand(a *app) *cobra.Command {
	f := &intakeFlags{lists: map[lablist.Kind]*string{}}
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
rows are kept; bad ones are reported with file, line and column and end in exit code 4.

` + listText(),
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
	for kind, usage := range map[lablist.Kind]string{lablist.Roster: "CSV file of staff and their roles", lablist.Signoff: "CSV file of reading and sign-off times", lablist.Labs: "CSV file of stations and their sites",
		lablist.Correlation: "CSV file of what other tests found", lablist.Appropriateness: "CSV file of how requests were judged"} {
		f.lists[kind] = flags.String(string(kind), "", usage)
	}
	return cmd
}

// listText tells the columns of the lists.
func listText() string {
	var b strings.Builder
	for _, kind := range listOrder {
		fmt.Fprintf(&b, "--%s\n", kind)
		for _, c := range lablist.Columns(kind) {
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
	set, err := a.ruleSet(f.settings)
	if err != nil {
		return err
	}
	ledger, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer ledger.Close()
	d, done, err := a.desk(set, true)
	if err != nil {
		return err
	}
	r := &recorder{app: a, set: set, ledger: ledger, paths: f.paths}
	if err := r.takeLists(ctx, f); err != nil {
		return err
	}
	defer a.sparing()()
	record := &desk.Recorder{Desk: d, Ledger: ledger, Tell: r.tell, Failed: r.failed}
	if len(paths) > 0 {
		err = record.Paths(ctx, paths)
	}
	if err == nil && f.watch != "" {
		err = record.Watch(ctx, f.watch, f.settle, f.rescan)
	}
	done()
	r.summary()
	switch {
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.stderr, "echotally: interrupted; what was printed is recorded, give the same paths again for the rest")
		return outcome(exitInterrupted)
	case err != nil:
		return err
	case r.incomplete:
		return outcome(exitIncomplete)
	}
	return nil
}

// recorder tells what is recorded.
type recorder struct {
	*app
	set        *library.Library
	ledger     *store.Store
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
		file, err := listFile(name)
		if err != nil {
			return hinted{fmt.Errorf("--%s: %w", kind, err), "give a CSV file; echotally intake --help lists the columns"}
		}
		receipt, err := r.ledger.Import(ctx, kind, file, r.checks(kind)...)
		file.Close()
		if err != nil {
			return err
		}
		for _, fault := range receipt.Faults {
			fmt.Fprintf(r.stderr, "%s:%s\n", printable.Line(name), printable.Line(fmt.Sprint(fault)))
			r.incomplete = true
		}
		fmt.Fprintf(r.stdout, "%s\t%d rows\t%d new or changed\t%d not usable\n", kind, receipt.Rows, receipt.Changed, len(receipt.Faults))
	}
	return nil
}

// checks are those of what only the rule set knows.
func (r *recorder) checks(kind lablist.Kind) []func(map[string]string) *lablist.Fault {
	if kind != lablist.Correlation {
		return nil
	}
	return []func(map[string]string) *lablist.Fault{func(c map[string]string) *lablist.Fault {
		m := r.set.Measurands.Find(c["measurand"])
		if m == nil {
			return &lablist.Fault{Column: "measurand", Reason: "not a measurand", Hint: "its identifier, as echotally read lists it"}
		}
		if unit, err := ucum.Parse(c["unit"]); err == nil && !unit.Convertible(m.Unit) {
			return &lablist.Fault{Column: "unit", Reason: "of another kind of quantity", Hint: "this is shown in " + m.Unit.Code()}
		}
		return nil
	}}
}

// failed tells of a study that a fault of the program kept out of the ledger.
func (r *recorder) failed(uid, reason string) {
	r.incomplete = true
	fmt.Fprintf(r.stderr, "study %s is not recorded: %s\n", uid, reason)
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
		fmt.Fprintf(&b, "object\t%s\t%s\t%s\t%s\t%s", word, orDash(o.SHA256), o.State, orDash(receipt.StudyInstanceUID), orDash(printable.Line(o.Reason)))
		if r.paths {
			fmt.Fprintf(&b, "\t%s", printable.Line(o.Path))
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
