package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"echotally/internal/desk"
	"echotally/internal/layout"
	"echotally/internal/measurand/unmatched"
	"echotally/internal/run"
	"echotally/internal/writer"
)

// codesOptions are the flags of codes.
type codesOptions struct {
	format, draft string
	suggestions   int
}

func newCodesCommand(a *app) *cobra.Command {
	var opt codesOptions
	cmd := &cobra.Command{
		Use:   "codes PATH...",
		Short: "List codes that no measurand file names",
		Long: `List every code below the paths that matched no measurand, with how often it was
met, an example, its unit and section, and the measurands it most likely means,
by words, unit, site, flow and mode: each with how sure that is (sure, likely,
unsure) and a score between 0 and 1.

With --draft a measurand file for a site folder is written as well, with every
guess that is not unsure commented out: keep the right ones, save it as measurand/NAME.yaml in the
site folder, and give that folder with --rules.`,
		Example: `  echotally codes /data/2026-10
  echotally codes /data/2026-10 --draft our-lab/measurand/scanner.yaml
  echotally check study.dcm --rules our-lab`,
		Args: arguments(1, many),
		RunE: func(cmd *cobra.Command, paths []string) error { return opt.run(cmd.Context(), a, paths) },
	}
	cmd.Flags().StringVarP(&opt.format, "format", "f", string(layout.Text), "text or json")
	cmd.Flags().StringVar(&opt.draft, "draft", "", "measurand file to write, to be edited")
	cmd.Flags().IntVar(&opt.suggestions, "suggestions", 3, "most suggestions per code")
	complete(cmd, "format", "text", "json")
	return cmd
}

func (o *codesOptions) run(ctx context.Context, a *app, paths []string) error {
	if o.format != string(layout.Text) && o.format != string(layout.JSON) {
		return faults{fmt.Errorf("unknown format %q: one of text, json", o.format)}
	}
	if o.draft != "" {
		if _, err := os.Stat(o.draft); err == nil {
			return faults{hinted{fmt.Errorf("--draft %s is there already", o.draft), "give a new name; what was edited is never written over"}}
		}
	}
	set, err := a.catalogues()
	if err != nil {
		return err
	}
	d, done, err := a.desk(set, false)
	if err != nil {
		return err
	}
	names := codeTally{unmatched.NewTally(set.Measurands)}
	tally, err := desk.Read(ctx, d, paths, names)
	done()
	if err != nil {
		return err
	}
	tally.Unnamed = 0 // what has no known code is what is listed
	codes := names.Codes(o.suggestions)
	if err := writer.Codes(a.stdout, layout.Format(o.format), codes); err != nil {
		return err
	}
	if o.draft != "" {
		if err := os.MkdirAll(filepath.Dir(o.draft), 0o755); err != nil {
			return err
		}
		err := a.write(o.draft, newFile, func(w io.Writer) error { return unmatched.DraftSite(set.Measurands, w, codes) })
		if err != nil {
			return err
		}
	}
	return a.incomplete(&tally)
}

// codeTally counts the codes of the studies it is handed.
type codeTally struct{ *unmatched.Tally }

// Begin has nothing to note of the run.
func (codeTally) Begin(*run.Run) error { return nil }

// Leaf is the study as it is.
func (codeTally) Leaf(s *run.Study) (*run.Study, error) { return s, nil }

// Add counts the codes of a study.
func (c codeTally) Add(s *run.Study) error {
	if s.Study != nil {
		c.Tally.Add(s.Study.Measurements)
	}
	return nil
}

// End leaves the counts to the caller.
func (codeTally) End() error { return nil }
