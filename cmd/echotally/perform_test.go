package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync"

	"echotally/internal/library"
	"echotally/internal/rule"
)

// full has everything run that takes long: every round, and each command of a script in a
// process of its own.
var full = flag.Bool("full", false, "run all rounds, and the commands of scripts as processes")

// performTo runs a command in this process, without anything on standard input.
func performTo(stdout, stderr io.Writer, args []string) (code int) {
	a := newApp(strings.NewReader(""), stdout, stderr)
	if !*full {
		a.load, a.loadForReading, a.most = shipped.load, shipped.loadForReading, 1<<30 // what earlier ones had counts as well
	}
	root := newRootCommand(a)
	root.SetArgs(args)
	return a.report(root.ExecuteContext(context.Background()))
}

// shipped are the shipped rules as tests have them: each command of a process would load
// them once, and so do all commands that tests run in theirs.
var shipped kept

// kept has what was loaded of one layer by what was wanted of it.
type kept struct{ libraries sync.Map }

func (k *kept) load(s library.Settings, layers ...fs.FS) (*library.Library, error) {
	return k.once("load", library.Load, s, layers)
}

func (k *kept) loadForReading(s library.Settings, layers ...fs.FS) (*library.Library, error) {
	return k.once("read", library.LoadForReading, s, layers)
}

func (k *kept) once(what string, load loading, s library.Settings, layers []fs.FS) (*library.Library, error) {
	// What is wanted seldom would only stand in the way of what commands need of the memory.
	if len(layers) != 1 || s.Drafts || s.Edition != "" && s.Edition != rule.DefaultEdition {
		return load(s, layers...)
	}
	loaded, _ := k.libraries.LoadOrStore(fmt.Sprintf("%s %+v", what, s), sync.OnceValues(func() (*library.Library, error) { return load(s, layers...) }))
	return loaded.(func() (*library.Library, error))()
}
