package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"echotally/internal/library"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"echotally/internal/desk"
	"echotally/internal/layout"
	"echotally/internal/run"
)

// outputFlags are the flags of the commands that write a document.
type outputFlags struct {
	format string
	output string
	force  bool
}

func (o *outputFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&o.format, "format", "f", string(layout.Text), "text, json, ndjson, csv or html")
	o.addFile(cmd)
	complete(cmd, "format", "text", "json", "ndjson", "csv", "html")
}

func (o *outputFlags) addFile(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&o.output, "output", "o", "-", "file to write, - for standard output")
	cmd.Flags().BoolVar(&o.force, "force", false, "let --output replace a file that is no earlier output of this kind; what is read is never replaced")
}

// complete offers values for a flag in the shell.
func complete(cmd *cobra.Command, flag string, values ...string) {
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("internal error: " + err.Error()) // the flag was added a line before; every test that makes the command tree shows it
	}
}

// checked parses the format and refuses to write over what is not ours.
func (o *outputFlags) checked(reads []string, ours func(layout.Format, []byte) bool) (layout.Format, error) {
	format, err := layout.ParseFormat(o.format)
	if err != nil {
		return "", faults{err}
	}
	return format, o.spared(reads, func(head []byte) bool { return ours(format, head) })
}

// desk is where studies are worked on; finish when they are. What is printed
// meanwhile is not mixed with a progress bar.
func (a *app) desk(set *library.Library, printing bool) (d *desk.Desk, finish func(), err error) {
	log, err := a.logger()
	if err != nil {
		return nil, nil, err
	}
	progress, finish := a.progress(printing && isTerminal(a.stdout))
	return &desk.Desk{Library: set, SoftwareVersion: version, Now: a.now, Stdin: a.stdin, Log: log, Progress: progress}, finish, nil
}

// progress draws a bar for each stage, or for the first only, on standard error
// when that is a terminal.
func (a *app) progress(onlyFirst bool) (draw func(doing string, done, total int), finish func()) {
	if a.quiet || !isTerminal(a.stderr) {
		return nil, func() {}
	}
	var bar *progressbar.ProgressBar
	at := ""
	finish = func() {
		if bar != nil {
			_ = bar.Finish()
		}
	}
	draw = func(doing string, done, total int) {
		if doing != at && onlyFirst && at != "" {
			finish()
			bar = nil
			return
		}
		if doing != at {
			finish()
			at, bar = doing, progressbar.NewOptions(total, progressbar.OptionSetWriter(a.stderr.w), progressbar.OptionSetDescription(doing),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		}
		// A bar that cannot be drawn is no reason to stop.
		_ = bar.Set(done)
	}
	return draw, finish
}

// incomplete warns, in words, of what exit code 4 means.
func (a *app) incomplete(tally *run.Tally) error {
	if !tally.Incomplete() {
		return nil
	}
	log, err := a.logger()
	if err != nil {
		return err
	}
	words := "incomplete: not every file that may hold a report was read whole, or a study had no report"
	switch {
	case tally.Studies == 0:
		words = "incomplete: no study was found"
	case tally.Unnamed == tally.Studies:
		words = "incomplete: no measurement has a code that is known, so no rule could be put to any; echotally codes lists them"
	case tally.Unnamed > 0:
		words = "incomplete: of a study no measurement has a code that is known, so no rule could be put to any"
	case tally.Failed > 0:
		words = "incomplete: a fault of the program kept a study from being judged"
	}
	log.Warn().Int("refused", tally.Objects[run.Refused]).Int("partial", tally.Objects[run.Partial]).Int("failed", tally.Failed).Int("unnamed", tally.Unnamed).Msg(words)
	return outcome(exitIncomplete)
}

// empty makes sure that a folder to be written is empty or not there.
func empty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return hinted{err, "give a new or an empty folder"}
	case len(entries) > 0:
		return faults{hinted{fmt.Errorf("%s is not empty", dir), "give a new or an empty folder"}}
	}
	return nil
}
