package main

import (
	"errors"
	"fmt"
	"io"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/layout"
)

// feedbackFlags are the flags of feedback.
type feedbackFlags struct {
	periodFlags
	out    outputFlags
	name   string
	person string
}

func newFeedbackCommand(a *app) *cobra.Command {
	f := &feedbackFlags{}
	cmd := &cobra.Command{
		Use:   "feedback --name NAME --month 2026-10",
		Short: "Write one person's own figures",
		Long: `Write the sheet of one member of staff: own figures with their intervals, the band
in which the lab lies without saying who, the three commonest gaps with studies to
look at, and one action. Under --floor studies nothing is judged: then it is counted
what is there, and the gaps are listed study by study. The sheet bears no name: it is
for the person alone.

The person is named as in the reports (the key turns the name into the ledger's
pseudonym), or by the pseudonym.`,
		Example: `  echotally feedback --name "Marrow^Ines" --month 2026-10 --format html --output sheet.html
  echotally feedback --person p-4k7h... --quarter 2026-Q3`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd, a) },
	}
	f.add(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.name, "name", "", "the person's name as in the reports")
	flags.StringVar(&f.person, "person", "", "the person's pseudonym in the ledger")
	flags.StringVarP(&f.out.format, "format", "f", string(layout.Text), "text or html")
	f.out.addFile(cmd)
	complete(cmd, "format", "text", "html")
	return cmd
}

func (f *feedbackFlags) run(cmd *cobra.Command, a *app) error {
	ctx := cmd.Context()
	format := layout.Format(f.out.format)
	if format != layout.Text && format != layout.HTML {
		return faults{fmt.Errorf("unknown format %q: one of text, html", f.out.format)}
	}
	if (f.name == "") == (f.person == "") {
		return faults{hinted{errors.New("whose figures?"), "give --name or --person, one of them"}}
	}
	reads := append([]string{f.store, f.key, f.periodFlags.settings}, a.ruleFolders...)
	if err := f.out.spared(reads, func(head []byte) bool { return auditwriter.IsFeedback(format, head) }); err != nil {
		return err
	}
	set, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	opt, err := f.options(ctx, a, set)
	if err != nil {
		return err
	}
	pseudonym := f.person
	if f.name != "" {
		if f.key == "" { // no name is found with a key that is not the ledger's
			if f.key, err = f.keyFile(); err != nil {
				return err
			}
		}
		key, err := f.readKey(ctx)
		if err != nil {
			return err
		}
		pseudonym = key.Pseudonym(f.name)
	}
	ledger, err := f.viewKeyed(ctx)
	if err != nil {
		return err
	}
	defer ledger.Close()
	studies, err := f.studies(ctx, ledger, opt.Period.Look(), set, nil)
	if err != nil {
		return err
	}
	sheet, found := audit.NewFeedback(studies.before, opt, pseudonym)
	if !found {
		return hinted{fmt.Errorf("no study of this person in %s", opt.Period.Name), "give the name as in the reports, or another period"}
	}
	return a.write(f.out.output, newFile, func(w io.Writer) error { return auditwriter.FeedbackSheet(w, format, sheet) })
}
