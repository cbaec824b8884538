package main

import (
	"io"
	"slices"

	"github.com/spf13/cobra"

	"echotally/internal/desk"
	"echotally/internal/run"
	"echotally/internal/writer"
)

func newReadCommand(a *app) *cobra.Command {
	var out outputFlags
	cmd := &cobra.Command{
		Use:   "read PATH...",
		Short: "List the measurements of structured reports",
		Long: `List every measurement of the reports below the paths, named by its standard
code, with its value as written and in the measurand's own unit. No rule is put
to them.

A path is a file, a folder (read with everything below it), a zip archive, or -
for standard input. Files that are no report are listed with the reason.`,
		Example: `  echotally read study.dcm
  echotally read export.zip --format ndjson | jq 'select(.measurand == null)'
  echotally read /data/2026-10 --format csv --output measurements.csv
  cat study.dcm | echotally read -`,
		Args: arguments(1, many),
		RunE: func(cmd *cobra.Command, paths []string) error {
			format, err := out.checked(slices.Concat(paths, a.ruleFolders), writer.IsMeasurements)
			if err != nil {
				return err
			}
			set, err := a.catalogues()
			if err != nil {
				return err
			}
			d, done, err := a.desk(set, out.output == "-")
			if err != nil {
				return err
			}
			defer a.sparing()()
			var tally run.Tally
			err = a.write(out.output, newFile, func(w io.Writer) (err error) {
				tally, err = desk.Read(cmd.Context(), d, paths, writer.Measurements(w, format))
				return err
			})
			done()
			if err != nil {
				return err
			}
			return a.incomplete(&tally)
		},
	}
	out.add(cmd)
	return cmd
}
