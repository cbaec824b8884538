package main

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/counted"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/store/waiver"
	"echotally/internal/table"
	"echotally/internal/table/record"
)

// Kinds of decisions that a binder shows.
const (
	attachmentKind = "attachment"
	meetingKind    = "meeting"
)

// binderFlags are the flags of binder.
type binderFlags struct {
	periodFlags
	setFlags
	set string
}

func newBinderCommand(a *app) *cobra.Command {
	f := &binderFlags{}
	cmd := &cobra.Command{
		Use:   "binder --set NAME --year 2026 --out DIR",
		Short: "Hold what the lab has against what an accreditation asks for",
		Long: `Hold a set of requirements against the ledger: for each its wording, the evidence
with its figures, a status and what would close the gap. What DICOM cannot show
takes an attachment (binder attach); nothing is ever taken as shown by itself.
Written to an empty folder: binder.pdf with bookmarks, binder.html, binder.xlsx,
binder.json, open.pdf with what is still open and what falls due, and tables.zip with
the tables behind all of it and the coded studies behind each figure, whose SHA-256
stand in the binder.

Sets are files in the folder requirements of the rules; a folder given by --rules
may hold the lab's own. Compare the section numbers with the edition in force.`,
		Example: "  echotally binder sets\n  echotally binder --set iac-adult-2021 --year 2026 --out binder-2026",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.periodFlags.add(cmd)
	cmd.Flags().StringVar(&f.set, "set", "", "set of requirements; binder sets lists them")
	f.addSet(cmd)
	cmd.AddCommand(newAttachCommand(a, &f.ledgerFlags), newAttachedCommand(a, &f.ledgerFlags), newSetsCommand(a), newAttachmentWithdrawCommand(a))
	return cmd
}

func newSetsCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "sets",
		Short:   "List the sets of requirements",
		Long:    "List the sets of requirements there are, with their source.",
		Example: "  echotally binder sets",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			sets, err := a.sets()
			if err != nil {
				return err
			}
			var lines []string
			for _, s := range sets {
				lines = append(lines, fmt.Sprintf("%s  %s; %d requirements; %s", s.Identifier, s.Title, len(s.Requirements), s.Source))
			}
			return a.lines(lines...)
		},
	}
}

// requirements loads the set that was named.
func (a *app) requirements(name string) (*accreditation.Set, error) {
	if name == "" {
		return nil, faults{hinted{errors.New("which requirements?"), "name a set by --set; echotally binder sets lists them"}}
	}
	layers, err := a.layers()
	if err != nil {
		return nil, err
	}
	s, err := accreditation.Load(name, layers...)
	if err != nil {
		return nil, faults{hinted{err, "echotally binder sets lists the sets"}}
	}
	return s, nil
}

func (f *binderFlags) run(ctx context.Context, a *app) error {
	if f.out == "" {
		return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
	}
	if err := empty(f.out); err != nil {
		return err
	}
	requirements, err := a.requirements(f.set)
	if err != nil {
		return err
	}
	lib, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	opt, err := f.options(ctx, a, lib)
	if err != nil {
		return err
	}
	s, err := f.viewKeyed(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	material, report, err := f.material(ctx, s, lib, opt)
	if err != nil {
		return err
	}
	b := accreditation.Build(requirements, material)
	if err := a.fill(f.out, func(dir string) error { return writeBinder(dir, b, report, opt, f.paper.Paper) }); err != nil {
		return err
	}
	return a.lines(append(points(b.Short()), fmt.Sprintf("written to %s; open.pdf lists what is still open", f.out))...)
}

// material is all the lab has to show for the period, and the audit of it.
func (f *binderFlags) material(ctx context.Context, s *store.Store, lib *library.Library, opt audit.Options) (*accreditation.Material, *audit.Report, error) {
	studies, err := f.studies(ctx, s, opt.Period.Look(), lib, nil)
	if err != nil {
		return nil, nil, err
	}
	m, err := shownBy(ctx, s, studies.before, opt)
	if err != nil {
		return nil, nil, err
	}
	if len(m.Studies) == 0 {
		return nil, nil, hinted{fmt.Errorf("no study of %s in the ledger: nothing can be shown", opt.Period.Name), "echotally ledger stats shows which days it holds"}
	}
	opt.Actions = m.Actions
	return m, audit.Build(studies.before, opt), nil
}

// shownBy is all the lab has to show for a period: of these studies those of the period, and what the
// ledger holds beside them.
func shownBy(ctx context.Context, s *store.Store, studies []counted.Study, opt audit.Options) (*accreditation.Material, error) {
	m := &accreditation.Material{Options: opt}
	var err error
	if m.Actions, err = actions(ctx, s); err != nil {
		return nil, err
	}
	if m.Draws, err = docket.Draws(ctx, s); err != nil {
		return nil, err
	}
	if m.Entries, err = docket.Entries(ctx, s); err != nil {
		return nil, err
	}
	if m.Meetings, err = decision.Standing[accreditation.Meeting](ctx, s, meetingKind); err != nil {
		return nil, err
	}
	attached, err := decision.AllSaid[accreditation.Attachment](ctx, s, attachmentKind)
	if err != nil {
		return nil, err
	}
	for i := range attached {
		attached[i].Body.Number = attached[i].Place
	}
	m.Attachments = decision.Counting(attached)
	if m.Staff, err = s.Staff(ctx); err != nil {
		return nil, err
	}
	stats, err := s.Statistics(ctx)
	if err != nil {
		return nil, err
	}
	m.Oldest, _ = time.Parse(time.DateOnly, stats.First) // none stays zero
	for _, one := range studies {
		if opt.Period.Holds(one.Date) && (opt.Lab == "" || one.Lab == opt.Lab) {
			m.Studies = append(m.Studies, one)
		}
	}
	return m, nil
}

// writeBinder writes the parts; the zip of the tables first, since the binder names
// its files by hash.
func writeBinder(dir string, b *accreditation.Binder, report *audit.Report, opt audit.Options, paper pdfpage.Paper) error {
	tables := slices.Concat([]table.Table{b.Requirements(), b.Open(), b.Ahead(), b.Files()}, b.Tables, report.Tables)
	sums, err := zipTables(filepath.Join(dir, "tables.zip"), tables, opt.Created)
	if err != nil {
		return err
	}
	of := fmt.Sprintf("%s; studies of %s", b.Set.Title, opt.Period.Name)
	whole := &booklet.Booklet{
		Name: "binder", Title: "Evidence for accreditation", Of: of, Options: opt, Paper: paper,
		Front: []booklet.Passage{
			{Title: "In short", Lines: b.Short()},
			{Title: "How to read it", Plain: true, Lines: []string{
				"Wording of requirements is ours, after " + b.Set.Source + ". Compare section numbers with the edition in force before this is handed in. A status rests on what was counted, attached or said by somebody with a date, and on nothing else. Persons and studies are not named.",
			}},
		},
		Tables: slices.Concat([]table.Table{b.Requirements(), b.Open(), b.Ahead(), b.Files()}, b.Tables, []table.Table{sums}),
		Charts: courses(b, report), Caption: "Each figure with a course over time, by month; where there are no limits, the dotted line is what the requirement asks for. " + auditwriter.Caption(report),
	}
	if _, err := booklet.Set(dir, whole); err != nil {
		return err
	}
	open := &booklet.Booklet{Name: "open", Title: "What is still open", Of: of, Options: opt, Paper: paper, Tables: []table.Table{b.Open(), b.Ahead()}}
	file, err := os.Create(filepath.Join(dir, "open.pdf"))
	if err != nil {
		return err
	}
	return errors.Join(booklet.PDF(file, open), file.Close())
}

// courses draws the figures that have a course over time, each measure once.
func courses(b *accreditation.Binder, report *audit.Report) []booklet.Chart {
	var out []booklet.Chart
	drawn := map[string]bool{}
	for i, r := range b.Rows {
		if r.Course == nil || drawn[r.Course.Measure.Identifier] {
			continue
		}
		drawn[r.Course.Measure.Identifier] = true
		if k := slices.IndexFunc(report.Headlines, func(h audit.Headline) bool { return h.Measure.Identifier == r.Course.Measure.Identifier }); k >= 0 {
			out = append(out, auditwriter.Course(&report.Headlines[k]))
			continue
		}
		out = append(out, booklet.Months(fmt.Sprintf("course-%d", i+1), r.Course.Measure.Title, r.Course.Least, r.Course.Months))
	}
	return out
}

// zipTables puts every table as CSV into an archive and lists them with their
// hashes.
func zipTables(name string, tables []table.Table, at time.Time) (table.Table, error) {
	list := table.Table{
		Identifier: "sources", Title: "Source tables", Note: "The tables in tables.zip, by the SHA-256 of each.",
		Columns: []table.Column{{Identifier: "file", Title: "File", Kind: table.Words, Meaning: "file in tables.zip"}, {Identifier: "rows", Title: "Rows", Kind: table.Count, Meaning: "rows of the table"}, {Identifier: "sha256", Title: "SHA-256", Kind: table.Words, Meaning: "of the file"}},
	}
	var archive bytes.Buffer
	z := zip.NewWriter(&archive)
	for _, t := range tables {
		var text bytes.Buffer
		if err := record.CSV(&text, t); err != nil {
			return list, err
		}
		sum := sha256.Sum256(text.Bytes())
		list.Add(table.TextCell(t.Identifier+".csv"), table.CountCell(len(t.Rows)), table.TextCell(hex.EncodeToString(sum[:])))
		w, err := z.CreateHeader(&zip.FileHeader{Name: t.Identifier + ".csv", Method: zip.Deflate, Modified: at.UTC()})
		if err != nil {
			return list, err
		}
		if _, err := w.Write(text.Bytes()); err != nil {
			return list, err
		}
	}
	if err := z.Close(); err != nil {
		return list, err
	}
	return list, os.WriteFile(name, archive.Bytes(), 0o644)
}

// attachFlags are the flags of binder attach.
type attachFlags struct {
	attachment accreditation.Attachment
	file       string
}

func newAttachCommand(a *app, l *ledgerFlags) *cobra.Command {
	f := &attachFlags{}
	cmd := &cobra.Command{
		Use:   "attach REQUIREMENT --set NAME --file FILE --by ROLE",
		Short: "Attach a file that shows a requirement, state something of it, or say why it does not apply",
		Long: `Note in the ledger that a file shows a requirement: its name, size and SHA-256. The
file stays with the lab. With --statement, say of it what no file shows, which shows
it in part; with --not-applicable, say why it does not apply. Give the role of who attaches, never a name. binder withdraw takes an
attachment back.`,
		Example: "  echotally binder attach privacy --set iac-adult-2021 --file policy.pdf --title privacy-policy --until 2027-12-31 --by quality-manager\n  echotally binder attach service --set iac-adult-2021 --not-applicable leased-with-service --by quality-manager",
		Args:    arguments(0, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				f.attachment.Requirement = args[0]
			}
			return f.run(cmd.Context(), a, l)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.attachment.Set, "set", "", "set of requirements")
	flags.StringVar(&f.file, "file", "", "the file that shows it")
	flags.StringVar(&f.attachment.Title, "title", "", "what the file is")
	flags.StringVar(&f.attachment.Until, "until", "", "day until which it is valid, such as 2027-06-30")
	flags.StringVar(&f.attachment.Statement, "statement", "", "what the lab says of it where there is no file; shows it in part")
	flags.StringVar(&f.attachment.NotApplicable, "not-applicable", "", "why the requirement does not apply")
	flags.StringVar(&f.attachment.By, "by", "", "who attaches it, as a role: "+strings.Join(waiver.Roles, ", "))
	complete(cmd, "by", waiver.Roles...)
	return cmd
}

func (f *attachFlags) run(ctx context.Context, a *app, l *ledgerFlags) error {
	set, err := a.requirements(f.attachment.Set)
	if err != nil {
		return err
	}
	if !slices.Contains(waiver.Roles, f.attachment.By) {
		return faults{hinted{fmt.Errorf("--by %q is no role", f.attachment.By), "one of " + strings.Join(waiver.Roles, ", ")}}
	}
	if f.file != "" {
		if f.attachment.File, err = shownFile(f.file); err != nil {
			return err
		}
	}
	s, err := l.open(ctx, a, false)
	if err != nil {
		return err
	}
	defer s.Close()
	f.attachment.At = a.now().UTC().Format(time.RFC3339)
	number, err := attach(ctx, s, set, f.attachment)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "attachment %d recorded\n", number)
	return err
}

// attach records an attachment and gives its number; one that cannot stand is a fault of
// who gives it.
func attach(ctx context.Context, s *store.Store, set *accreditation.Set, one accreditation.Attachment) (number int, err error) {
	var refused error
	_, err = s.Decide(ctx, attachmentKind, func(before []decision.Decision) (any, error) {
		number = len(before) + 1
		refused = one.Check(set)
		return one, refused
	})
	if refused != nil {
		err = faults{hinted{refused, "give --file, --statement or --not-applicable; binder.pdf names the requirements, echotally binder attached lists what was attached"}}
	}
	return number, err
}

// shownFile is a file by name, size and hash.
func shownFile(path string) (*accreditation.File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, hinted{fmt.Errorf("attachment: %w", err), "give a file that can be read"}
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if info.Mode()&fs.ModeType != 0 {
		return nil, faults{hinted{errors.New("attachment: not a file"), "pack a folder into one file first"}}
	}
	return accreditation.FileOf(path, file)
}

func newAttachedCommand(a *app, l *ledgerFlags) *cobra.Command {
	return &cobra.Command{
		Use:     "attached",
		Short:   "List what was attached",
		Long:    "List what was attached or said of requirements, in its order.",
		Example: "  echotally binder attached",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			return listDecided(cmd.Context(), a, s, attachmentKind, "attachment", (*accreditation.Attachment).Words)
		},
	}
}

func newAttachmentWithdrawCommand(a *app) *cobra.Command {
	return newWithdrawCommand(a, withdrawal{
		kind: attachmentKind, noun: "attachment", path: "echotally binder attached", example: "binder withdraw",
		short: "Take back an attachment that no longer holds",
		long:  "Take an attachment, or what was said not to apply, out of the binder; it stays in the\nchain of the ledger.",
	})
}
