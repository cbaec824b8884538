package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	datafault "echotally/internal/datafile/fault"
	"echotally/internal/intake"
	"echotally/internal/printable"
	"echotally/internal/spelling"
	"echotally/internal/store/fault"
)

// Exit codes, the same for every command and format.
const (
	exitComplete    = 0   // complete, nothing at or above --fail-on
	exitFailure     = 1   // could not run: a path, an output file, an internal error
	exitUsage       = 2   // usage, configuration or rule-file error; nothing was audited
	exitFindings    = 3   // complete, with findings at or above --fail-on
	exitIncomplete  = 4   // incomplete: a file that may hold a report was not read whole, a study had no report or no measurement of a known code, or there was no study (wins over 3)
	exitInterrupted = 130 // interrupted
)

// exitTable is the table of exit codes as README and the end of each help print it.
const exitTable = `Exit codes:
    0  complete, nothing at or above --fail-on
    1  could not run: a path, an output file, an internal error
    2  usage, configuration or rule-file error; nothing was audited
    3  complete, with findings at or above --fail-on
    4  incomplete: a file that may hold a report was not read whole, a
       study had no report or no measurement of a known code, or no study
       was found (wins over 3)
  130  interrupted`

// outcome is a run that came to its end and whose result is not zero; it
// carries no message because the output shows it.
type outcome int

func (o outcome) Error() string { return fmt.Sprintf("exit code %d", int(o)) }

// faults are errors in rule files or in what the user asked for.
type faults struct{ error }

func (f faults) Unwrap() error { return f.error }

// hinted is an error with something to do about it.
type hinted struct {
	error
	hint string
}

func (h hinted) Unwrap() error { return h.error }

// report prints the error, when there is something to print, and gives the
// exit code.
func (a *app) report(err error) int {
	var (
		ended  outcome
		faulty faults
	)
	lost := a.stdout.failed()
	switch {
	case lost != nil && (err == nil || errors.As(err, &ended) || errors.Is(err, lost)):
		a.complain(hinted{fmt.Errorf("standard output: %w", lost), "what was printed is not whole"})
		return exitFailure
	case err == nil:
		return exitComplete
	case errors.As(err, &ended):
		return int(ended)
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.stderr, "echotally: interrupted; no output is complete")
		return exitInterrupted
	case errors.As(err, &faulty):
		a.complain(err)
		return exitUsage
	case !a.started:
		a.complain(hinted{err, "echotally --help lists commands and flags"})
		return exitUsage
	}
	a.complain(err)
	return exitFailure
}

// words are those of an error on one line, but for faults in files, which show the
// place, and for several errors.
func words(err error) string {
	var fault *datafault.Error
	var several interface{ Unwrap() []error }
	if errors.As(err, &fault) || errors.As(err, &several) {
		return err.Error()
	}
	return printable.Line(err.Error())
}

func (a *app) complain(err error) {
	fmt.Fprintf(a.stderr, "echotally: %s\n", words(err))
	var (
		h    hinted
		path *intake.PathError
		kept *fault.Error
	)
	switch {
	case errors.As(err, &h) && h.hint != "":
		fmt.Fprintf(a.stderr, "hint: %s\n", h.hint)
	case errors.As(err, &path) && path.Hint != "":
		fmt.Fprintf(a.stderr, "hint: %s\n", path.Hint)
	case errors.As(err, &kept) && kept.Hint != "":
		fmt.Fprintf(a.stderr, "hint: %s\n", kept.Hint)
	}
}

// explain gives what a command refuses of its line a hint that names the command.
func explain(cmd *cobra.Command) {
	cmd.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		what, _, _ := strings.Cut(err.Error(), ": strconv.")
		return faults{hinted{errors.New(what), cmd.CommandPath() + " --help lists the flags"}}
	})
	if takes := cmd.Args; takes != nil {
		cmd.Args = func(cmd *cobra.Command, args []string) error {
			err := takes(cmd, args)
			if _, explained := errors.AsType[faults](err); err == nil || explained {
				return err
			}
			return unexpected(cmd, args[0])
		}
	}
	for _, c := range cmd.Commands() {
		explain(c)
	}
}

// unexpected refuses a word where a command takes none.
func unexpected(cmd *cobra.Command, word string) error {
	if !cmd.HasSubCommands() {
		return faults{hinted{fmt.Errorf("%s takes no argument, %q is one", cmd.CommandPath(), word), "usage: " + cmd.UseLine()}}
	}
	var names []string
	for _, c := range cmd.Commands() {
		names = append(names, c.Name())
	}
	hint := cmd.CommandPath() + " --help lists the commands"
	if near := spelling.Nearest(word, names); near != "" {
		hint = "did you mean " + cmd.CommandPath() + " " + near + "?"
	}
	return faults{hinted{fmt.Errorf("unknown command %q of %s", word, cmd.CommandPath()), hint}}
}

// many is no upper limit of arguments.
const many = int(^uint(0) >> 1)

// arguments demands a number of them, and shows the usage where it differs.
func arguments(least, most int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		words := "too many arguments"
		switch {
		case len(args) < least:
			words = "too few arguments"
		case len(args) <= most:
			return nil
		}
		return faults{hinted{errors.New(words), "usage: " + cmd.UseLine()}}
	}
}
