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
	"time"
)

func main() { os.Exit(execute(os.Args[1:])) }

// grace is what a command gets to end by itself after a signal.
const grace = 500 * time.Millisecond

// execute is main without the exit, for tests. A signal ends every stage, also
// one that waits for a disk or a pipe and does not hear of it: what is not
// finished by then is given up. The ledger keeps whole transactions only.
func execute(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	a := newApp(os.Stdin, os.Stdout, os.Stderr)
	root := newRootCommand(a)
	root.SetArgs(args)
	code := make(chan int, 1)
	go func() { code <- a.report(root.ExecuteContext(ctx)) }()
	select {
	case c := <-code:
		return c
	case <-ctx.Done():
	}
	select {
	case c := <-code:
		return c
	case <-time.After(grace):
	}
	a.unfinished.giveUp()
	return a.report(context.Canceled)
}
