package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/writer"
)

// newFormatsTopic is a help topic: echotally help formats. Its text is made when it is
// asked for: that takes as long as making all other commands.
func newFormatsTopic() *cobra.Command {
	topic := &cobra.Command{Use: "formats", Short: "The output formats and their fields"}
	topic.SetHelpFunc(func(cmd *cobra.Command, _ []string) { fmt.Fprintf(cmd.OutOrStdout(), "%s\n\n", formatsText()) })
	return topic
}

// formatsText is rendered from the schema files, the one home of the
// contracts.
func formatsText() string {
	parts := []string{`text and html are for people and may change from release to release. json, ndjson
and csv are contracts: they may grow, never change. Readers must ignore fields
they do not know. A code is an object with codeValue, codingSchemeDesignator and
codeMeaning. There is no NaN and no infinity; a number that is not known is
null. Patient identity is in none of them.

All of them are written study by study, so that output of any length can be read
as it comes. json has what is known of the run first and then one study on each
line; ndjson of check has a line of record "run", with the rules, and then a line
of record "study" for each; text and html list several studies at their end.

csv has one row per measurement (read) or result (check) under the same names; a
cell that a spreadsheet would take for a formula begins with an apostrophe. Rows
of kind "object" in check are the files that were not read. The last column of
check is the edition of the guidelines.

The created field follows the clock, or SOURCE_DATE_EPOCH when that is set.`}
	for _, name := range []string{"measurement", "read", "check"} {
		text, err := writer.Contract(name)
		if err != nil {
			panic("internal error: " + err.Error()) // the schema files are part of the program; TestReference makes it
		}
		parts = append(parts, text)
	}
	return strings.TrimSpace(strings.Join(parts, "\n\n"))
}
