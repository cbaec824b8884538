package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"echotally/internal/dcm"
	"echotally/internal/intake"
	"echotally/internal/sr"
	"echotally/internal/writer"
)

func newDumpCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "dump FILE",
		Short: "Print the content tree of one report",
		Long: `Print the content tree of one structured report as text: position path,
relationship, value type, concept and value of each item, then the departures
from the standard that were tolerated. Person names are withheld.`,
		Example: `  echotally dump study.dcm | less
  echotally dump study.dcm | grep '^ *1.6.2.3 '`,
		Args: arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			doc, err := a.document(cmd, args[0])
			var refusal *dcm.Refusal
			switch {
			case errors.As(err, &refusal):
				a.complain(hinted{fmt.Errorf("%s: %w", args[0], err), refusal.Hint})
				return outcome(exitIncomplete)
			case err != nil:
				return err
			}
			if err := writer.Tree(a.stdout, doc); err != nil {
				return err
			}
			if len(doc.Losses) > 0 {
				return outcome(exitIncomplete)
			}
			return nil
		},
	}
}

// document reads the one report at a path.
func (a *app) document(cmd *cobra.Command, path string) (*sr.Document, error) {
	log, err := a.logger()
	if err != nil {
		return nil, err
	}
	batch, err := intake.Find(cmd.Context(), []string{path}, a.stdin, log)
	if err != nil {
		return nil, err
	}
	defer batch.Close()
	if len(batch.Objects) != 1 {
		return nil, hinted{fmt.Errorf("%s: holds %d files", path, len(batch.Objects)), "give one report file"}
	}
	object := batch.Objects[0]
	if object.Reason != "" {
		return nil, hinted{fmt.Errorf("%s: %s", path, object.Reason), object.Hint}
	}
	content, err := object.ReadAll(cmd.Context())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	file, err := dcm.ReadBytes(content)
	if err != nil {
		return nil, err
	}
	class := file.Dataset.Text(dcm.Tag{Group: 0x0008, Element: 0x0016})
	if !sr.IsStructuredReport(class) {
		return nil, hinted{fmt.Errorf("%s: not a structured report (SOP class %s)", path, class), "give a report file; echotally check shows what a folder holds"}
	}
	doc, err := sr.Parse(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return doc, nil
}
