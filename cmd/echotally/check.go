package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/desk"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/writer"
)

// checkOptions are the flags of check.
type checkOptions struct {
	out      outputFlags
	failOn   string
	sheet    writer.Options
	settings library.Settings
}

func newCheckCommand(a *app) *cobra.Command {
	var opt checkOptions
	cmd := &cobra.Command{
		Use:   "check PATH...",
		Short: "Print the gap sheet of each study",
		Long: `Put the rules to every study below the paths and print its gap sheet: what to
take now, by scanning window, with how to get it and when it is done; what
contradicts itself, with the arithmetic; what may stand under an unknown code;
what could not be checked, notes, and what was not read. Every finding points at
the content items it relies on.

Studies come by date, then study UID, whatever the order of the paths. Of several
the list comes last, with where each was found; --brief prints that list alone.

A path is a file, a folder (read with everything below it), a zip archive, or -
for standard input. Patient name, ID and accession number are left out unless
--identify asks for them, and are never part of json, ndjson or csv.

A finding is a rule that failed, or one that a person must look at. A check that
could not be made is shown as such and never counts as passed.`,
		Example: `  echotally check study.dcm
  echotally check /data/2026-10 --format html --output gap-sheets.html
  echotally check /data/2026-10 --brief
  echotally check study.zip --identify --format html --output sheet.html
  echotally check /data/today --format json --fail-on warning > today.json
  echotally check study.dcm --rules our-lab --drafts --all`,
		Args: arguments(1, many),
		RunE: func(cmd *cobra.Command, paths []string) error { return opt.run(cmd.Context(), a, paths) },
	}
	opt.out.add(cmd)
	flags := cmd.Flags()
	flags.StringVar(&opt.failOn, "fail-on", string(finding.Error), "least grave finding that gives exit code 3: error, warning, note or never")
	flags.BoolVar(&opt.sheet.All, "all", false, "append every check, also those that passed or did not apply, and what counts of several values (text and html)")
	flags.BoolVar(&opt.sheet.Brief, "brief", false, "a line for each study and no sheets (text)")
	flags.BoolVar(&opt.sheet.Identify, "identify", false, "print patient name, ID and accession number (text and html)")
	flags.BoolVar(&opt.settings.Drafts, "drafts", false, "run draft rules as well")
	complete(cmd, "fail-on", "error", "warning", "note", "never")
	return cmd
}

// mostChecking is from how much memory on the collector runs more often when studies are
// checked, in bytes: beside it there are the program and what the collector does not count.
const mostChecking = 120 << 20

func (o *checkOptions) run(ctx context.Context, a *app, paths []string) error {
	format, err := o.out.checked(slices.Concat(paths, a.ruleFolders), writer.IsGapSheet)
	if err != nil {
		return err
	}
	if o.sheet.Brief && (format != layout.Text || o.sheet.All || o.sheet.Identify) {
		return faults{hinted{errors.New("--brief is for text, without --all and --identify"), "csv and ndjson have every finding in a line, for programs"}}
	}
	limit, err := failLimit(o.failOn)
	if err != nil {
		return err
	}
	defer sparingUpTo(min(a.most, mostChecking))()
	set, err := a.judging(o.settings)
	if err != nil {
		return err
	}
	d, done, err := a.desk(set, o.out.output == "-")
	if err != nil {
		return err
	}
	var tally run.Tally
	mode := fs.FileMode(newFile)
	if o.sheet.Identify {
		mode = private
	}
	err = a.write(o.out.output, mode, func(w io.Writer) (err error) {
		tally, err = desk.Check(ctx, d, paths, writer.GapSheet(w, format, o.sheet))
		return err
	})
	done()
	if err != nil {
		return err
	}
	if err := a.incomplete(&tally); err != nil {
		return err
	}
	if limit > 0 && tally.Worst.Rank() >= limit {
		return outcome(exitFindings)
	}
	return nil
}

// failLimit gives the rank of the least grave finding that fails the run, 0
// for never.
func failLimit(word string) (int, error) {
	if word == "never" {
		return 0, nil
	}
	if word == "note" { // as the sheet calls it
		word = string(finding.Information)
	}
	if rank := finding.Severity(word).Rank(); rank > 0 {
		return rank, nil
	}
	return 0, faults{fmt.Errorf("unknown --fail-on %q: one of error, warning, note, never", word)}
}
