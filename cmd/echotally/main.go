// Command echotally checks echo studies for what is missing and what cannot be
// true. It is a quality-audit aid, not a diagnosis.
//
// The commands only wire packages together: they read flags, call, and write.
// Every error comes up to main, which alone turns it into an exit code.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() { os.Exit(execute(os.Args[1:])) }

// execute is main without the exit, for tests.
func execute(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	a := newApp(os.Stdin, os.Stdout, os.Stderr)
	root := newRootCommand(a)
	root.SetArgs(args)
	return a.report(root.ExecuteContext(ctx))
}
