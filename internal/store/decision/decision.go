// Package decision owns what the lab decided or noted about its own work: what one
// says, which place it has among those of its kind, and that it was taken back. Where
// decisions are kept, and that nobody changes them, is the ledger's.
package decision

import (
	"context"
	"time"
)

// Decision is something the lab decided or noted about its own work: an action,
// a draw of cases, a second reading. It is only ever added to.
type Decision struct {
	Number int64 // in the ledger
	Kind   string
	At     time.Time
	Body   []byte // JSON, in the words of who keeps it
}

// Ledger is where decisions are kept, in the order in which they were made.
type Ledger interface {
	// Decide adds a decision that follows from those of its kind before.
	Decide(ctx context.Context, kind string, follow func(before []Decision) (any, error)) (Decision, error)
	// Decisions are those of a kind.
	Decisions(ctx context.Context, kind string) ([]Decision, error)
}
