package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"echotally/internal/library"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"echotally/internal/run"
	"echotally/internal/writer"
)

// outputFlags are the flags of the commands that write a document.
type outputFlags struct {
	format string
	output string
}

func (o *outputFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&o.format, "format", "f", string(writer.Text), "text, json, ndjson, csv or html")
	cmd.Flags().StringVarP(&o.output, "output", "o", "-", "file to write, - for standard output")
	complete(cmd, "format", "text", "json", "ndjson", "csv", "html")
}

// complete offers values for a flag in the shell.
func complete(cmd *cobra.Command, flag string, values ...string) {
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("internal error: " + err.Error()) // the flag was added a line before
	}
}

// checked parses the format and refuses to write over what is to be read.
func (o *outputFlags) checked(paths []string) (writer.Format, error) {
	format, err := writer.ParseFormat(o.format)
	if err != nil {
		return "", faults{err}
	}
	for _, p := range paths {
		if o.output != "-" && filepath.Clean(p) == filepath.Clean(o.output) {
			return "", faults{hinted{fmt.Errorf("--output %s is one of the files to read", o.output), "write to another file"}}
		}
	}
	return format, nil
}

// options are what a run over files needs.
func (a *app) options(set *library.Library) (run.Options, func(), error) {
	log, err := a.logger()
	if err != nil {
		return run.Options{}, nil, err
	}
	progress, done := a.progress()
	return run.Options{Rules: set, SoftwareVersion: version, Now: a.now, Stdin: a.stdin, Log: log, Progress: progress}, done, nil
}

// progress draws a bar on standard error when that is a terminal.
func (a *app) progress() (draw func(done, total int), finish func()) {
	if a.quiet || !isTerminal(a.stderr) {
		return nil, func() {}
	}
	var bar *progressbar.ProgressBar
	draw = func(done, total int) {
		if bar == nil {
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(a.stderr), progressbar.OptionSetDescription("reading"),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		}
		// A bar that cannot be drawn is no reason to stop the audit.
		_ = bar.Set(done)
	}
	return draw, func() {
		if bar != nil {
			_ = bar.Finish()
		}
	}
}

// incomplete warns, in words, of what exit code 4 means.
func (a *app) incomplete(result *run.Audit) error {
	if !result.Incomplete() {
		return nil
	}
	log, err := a.logger()
	if err != nil {
		return err
	}
	counts := result.Counts()
	log.Warn().Int("refused", counts[run.Refused]).Int("partial", counts[run.Partial]).
		Msg(incompleteWords(result))
	return outcome(exitIncomplete)
}

func incompleteWords(result *run.Audit) string {
	if len(result.Studies) == 0 {
		return "incomplete: no study was found"
	}
	return "incomplete: not every file that may hold a report was read whole, or a study had no report"
}

// empty makes sure that a folder to be written is empty or not there.
func empty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case len(entries) > 0:
		return faults{hinted{fmt.Errorf("%s is not empty", dir), "give a new or an empty folder"}}
	}
	return nil
}
