package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/library"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"echotally/internal/layout"
	"echotally/internal/rule"
	"echotally/rules"
)

// app is what the commands share: streams, clock and the flags of the root.
type app struct {
	stdin  io.Reader
	stdout *toldWriter
	stderr *toldWriter
	now    func() time.Time

	logLevel, logFormat string
	quiet               bool
	ruleFolders         []string
	mayBeEmpty          bool // a folder of these: what the lab adopts first has yet to be written to it
	edition             string

	load, loadForReading loading // [library.Load] and [library.LoadForReading]

	most int64 // bytes of memory in use from which on the collector runs more often

	started    bool       // the command line was understood
	unfinished unfinished // files that have not got their names yet
}

// loading makes a rule library of its layers.
type loading func(library.Settings, ...fs.FS) (*library.Library, error)

func newApp(stdin io.Reader, stdout, stderr io.Writer) *app {
	return &app{
		stdin: stdin, stdout: told(stdout), stderr: told(stderr), now: clock(os.Getenv("SOURCE_DATE_EPOCH")),
		load: library.Load, loadForReading: library.LoadForReading, most: 160 << 20,
	}
}

// clock is the wall clock, or stands still at SOURCE_DATE_EPOCH (seconds since
// 1970), by which a run can be repeated to the byte.
func clock(epoch string) func() time.Time {
	if seconds, err := strconv.ParseInt(epoch, 10, 64); err == nil {
		return func() time.Time { return time.Unix(seconds, 0).UTC() }
	}
	return time.Now
}

func newRootCommand(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "echotally",
		Short: "Check echo studies for what is missing and what cannot be true",
		Long: `echotally reads the structured reports of an echo lab (DICOM SR), names every
measurement by its standard code, and puts the lab's rules to each study. The
rules are files anybody may read, question and change.

` + layout.Caution,
		Example: `  echotally demo demo-lab
  echotally check demo-lab
  echotally check study.zip --format html --output gap-sheet.html
  echotally rules show tricuspid-valve/peak-velocity-from-two-views`,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       version,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			_, err := a.logger()
			if err == nil {
				err = filesFromEnvironment(cmd)
			}
			a.started = err == nil
			return err
		},
	}
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.SetHelpTemplate(root.HelpTemplate() + "{{if or .Runnable .HasSubCommands}}\n" + exitTable + "\n{{end}}")
	flags := root.PersistentFlags()
	flags.StringVar(&a.logLevel, "log-level", "warn", "least grave log line: debug, info, warn, error")
	flags.StringVar(&a.logFormat, "log-format", "text", "log lines on standard error: text or json")
	flags.BoolVarP(&a.quiet, "quiet", "q", false, "no progress bar and no log lines below error")
	flags.StringArrayVar(&a.ruleFolders, "rules", nil, "site folder with rules, measurands or phrases of the lab's own (repeatable)")
	flags.StringVar(&a.edition, "edition", rule.DefaultEdition, "guideline edition where limits differ: "+strings.Join(rule.Editions, ", "))
	root.AddCommand(
		newReadCommand(a), newCheckCommand(a), newCodesCommand(a), newDumpCommand(a), newMeasurandsCommand(a),
		newIntakeCommand(a), newLedgerCommand(a), newWaiveCommand(a), newAuditCommand(a), newActionCommand(a), newFeedbackCommand(a),
		newReviewCommand(a), newServeCommand(a), newFetchCommand(a),
		newBinderCommand(a), newCasesCommand(a), newDeidentifyCommand(a), newExportCommand(a), newMeetingCommand(a), newRulesCommand(a), newDemoCommand(a), newFormatsTopic(), newConformanceCommand(a), newVersionCommand(a),
	)
	explain(root)
	return root
}

// logger builds the logger from the flags. Log lines carry no patient data and
// no paths, which may name a patient.
func (a *app) logger() (zerolog.Logger, error) {
	level, err := zerolog.ParseLevel(a.logLevel)
	if err != nil || level < zerolog.DebugLevel || level > zerolog.ErrorLevel {
		return zerolog.Nop(), fmt.Errorf("unknown log level %q: one of debug, info, warn, error", a.logLevel)
	}
	if a.quiet {
		level = max(level, zerolog.ErrorLevel)
	}
	var out io.Writer = a.stderr
	switch a.logFormat {
	case "json":
	case "text":
		out = zerolog.ConsoleWriter{Out: a.stderr, NoColor: true, TimeFormat: time.RFC3339}
	default:
		return zerolog.Nop(), fmt.Errorf("unknown log format %q: one of text, json", a.logFormat)
	}
	stamp := zerolog.HookFunc(func(e *zerolog.Event, _ zerolog.Level, _ string) { e.Time(zerolog.TimestampFieldName, a.now()) })
	return zerolog.New(out).Level(level).Hook(stamp), nil
}

// layers are the shipped rules and the site folders in the order given.
func (a *app) layers(more ...string) ([]fs.FS, error) {
	const hint = "give the folder that holds the site's rule, measurand and phrase files"
	out := []fs.FS{rules.FS}
	for _, dir := range slices.Concat(a.ruleFolders, more) {
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			return nil, faults{hinted{fmt.Errorf("--rules %s: not a folder", dir), hint}}
		}
		if held := os.DirFS(dir); !holds(held, isYAML) && (!a.mayBeEmpty || holds(held, anyFile)) {
			return nil, faults{hinted{fmt.Errorf("--rules %s: no rule file (.yaml) in it", dir), hint}}
		}
		out = append(out, os.DirFS(dir))
	}
	return out, nil
}

func isYAML(name string) bool { return path.Ext(name) == ".yaml" }

func anyFile(string) bool { return true }

// holds reports whether a folder has any file of a name that is looked for.
func holds(dir fs.FS, sought func(name string) bool) bool {
	found := false
	// What cannot be read is said by the loading.
	_ = fs.WalkDir(dir, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.IsDir() && sought(name) {
			found = true
			return fs.SkipAll
		}
		return nil
	})
	return found
}

// ruleSet loads all rules; any fault in them is the user's to mend first.
func (a *app) ruleSet(settings library.Settings) (*library.Library, error) {
	return a.library(a.load, settings)
}

// judging loads all rules to put them to studies.
func (a *app) judging(settings library.Settings) (*library.Library, error) {
	settings.NoExamples = true
	return a.ruleSet(settings)
}

// catalogues loads what reports are read by, without the rules.
func (a *app) catalogues() (*library.Library, error) {
	return a.library(a.loadForReading, library.Settings{})
}

// sparing has the collector run more rarely than it does by itself, as long as
// memory stays small: study after study is looked at and forgotten, and next to
// nothing of it kept. It gives what undoes it.
func (a *app) sparing() (undo func()) { return sparingUpTo(a.most) }

// mostAuditing is from how much memory on the collector runs more often in an audit, in
// bytes: what is counted of every study of the period is at hand at a time.
const mostAuditing = 200 << 20

// sparingUpTo is sparing up to so many bytes.
func sparingUpTo(most int64) (undo func()) {
	percent, limit := debug.SetGCPercent(400), debug.SetMemoryLimit(most)
	return func() {
		debug.SetGCPercent(percent)
		debug.SetMemoryLimit(limit)
	}
}

// startHeap is about what loading the rules and judging one study allocates, lintHeap what
// linting them all and running their examples does between collections, auditHeap what an
// audit of many studies does before there is [mostAuditing], in bytes.
const (
	startHeap = 32 << 20
	lintHeap  = 96 << 20
	auditHeap = 192 << 20
)

func (a *app) library(load loading, settings library.Settings) (*library.Library, error) {
	layers, err := a.layers()
	if err != nil {
		return nil, err
	}
	if !slices.Contains(rule.Editions, a.edition) {
		return nil, faults{fmt.Errorf("unknown --edition %q: one of %s", a.edition, strings.Join(rule.Editions, ", "))}
	}
	settings.Edition = a.edition
	inLargePages(startHeap)
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // what is loaded stays: collecting in between would free next to nothing
	set, err := load(settings, layers...)
	if err != nil {
		inFolders(apart([]error{err}), a.ruleFolders)
		return nil, faults{hinted{err, "nothing was audited; correct the files, echotally rules lint shows the same faults"}}
	}
	return set, nil
}

// isTerminal reports whether a stream is a terminal.
func isTerminal(stream any) bool {
	if told, ok := stream.(*toldWriter); ok {
		stream = told.w
	}
	file, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(file.Fd()))
}
