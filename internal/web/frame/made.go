package frame

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/store"
)

// made are things that take long to make, each made once and kept while the ledger
// does not change.
type made struct {
	lock   sync.Mutex
	things []*thing // the one asked for last at the end
	busy   chan struct{}
}

type thing struct {
	key    string
	change int64
	done   chan struct{}
	ended  time.Time // on the wall clock
	value  any
	err    error
}

const (
	mostMade = 12               // things kept
	patience = 2 * time.Second  // for which who asks is kept waiting before the page says that it is being made
	keptFor  = 20 * time.Second // even when the ledger changes: else nothing would ever be ready while studies come
	longest  = 15 * time.Minute
)

// errBeingMade is the answer while something is being made.
var errBeingMade = fmt.Errorf("being made")

// BeingMade reports whether an error says that something is still being made.
func BeingMade(err error) bool { return errors.Is(err, errBeingMade) }

// Made gives what build makes of the lab, which is kept under the key while neither the
// ledger nor the rules change. What takes long is made in the background: until it is ready the
// error, handed back by the page, shows that and asks again.
func (c *Call) Made(key string, build func(ctx context.Context) (any, error)) (any, error) {
	change, err := c.Lab.Ledger.Change(c.R.Context())
	if err != nil {
		return nil, err
	}
	t := c.Lab.made.begin(key+"\x00"+c.Lab.Desk().Library.Digest, change, build)
	select {
	case <-t.done:
		if t.change != change && c.shared != nil {
			c.shared.atMost(t.ended.Add(keptFor))
		}
		return t.value, t.err
	case <-time.After(patience):
		if c.shared != nil {
			c.shared.atMost(time.Now()) // the page may go on without
		}
		return nil, errBeingMade
	case <-c.R.Context().Done():
		return nil, c.R.Context().Err()
	}
}

// counted is what was counted of a ledger last, with what it was counted of. Who asks
// while it is being counted waits for that.
type counted[T any] struct {
	lock  sync.Mutex
	of    state
	value *T
}

// state is what a count holds for: a change of the ledger, and a rule set where it
// depends on one.
type state struct {
	change int64
	rules  string
}

func (c *counted[T]) get(of state, count func() (T, error)) (T, error) {
	c.lock.Lock()
	defer c.lock.Unlock()
	if c.value == nil || c.of != of {
		found, err := count()
		if err != nil {
			return found, err
		}
		c.of, c.value = of, &found
	}
	return *c.value, nil
}

// Statistics counts what the ledger holds, once while it does not change.
func (l *Lab) Statistics(ctx context.Context) (*store.Statistics, error) {
	change, err := l.Ledger.Change(ctx)
	if err != nil {
		return nil, err
	}
	return l.statistics.get(state{change: change}, func() (*store.Statistics, error) { return l.Ledger.Statistics(ctx) })
}

// Unjudged counts the studies that stand as other rules judged them than those in
// force, once while neither the ledger nor the rules change.
func (l *Lab) Unjudged(ctx context.Context) (int, error) {
	change, err := l.Ledger.Change(ctx)
	if err != nil {
		return 0, err
	}
	rules := l.Desk().Library.Digest
	return l.unjudged.get(state{change, rules}, func() (int, error) {
		left, err := l.Ledger.Unjudged(ctx, rules)
		return len(left), err
	})
}

// begin gives the thing of a key, begun when there is none or the ledger has changed.
func (m *made) begin(key string, change int64, build func(ctx context.Context) (any, error)) *thing {
	m.lock.Lock()
	defer m.lock.Unlock()
	if m.busy == nil {
		m.busy = make(chan struct{}, 1)
	}
	if i := slices.IndexFunc(m.things, func(t *thing) bool { return t.key == key }); i >= 0 {
		t := m.things[i]
		m.things = append(slices.Delete(m.things, i, i+1), t)
		if t.holds(change) {
			return t
		}
		m.things = m.things[:len(m.things)-1]
	}
	t := &thing{key: key, change: change, done: make(chan struct{})}
	m.things = append(m.things, t)
	if len(m.things) > mostMade {
		m.things = slices.Delete(m.things, 0, 1)
	}
	go func() {
		m.busy <- struct{}{} // one at a time: each uses all processors
		defer func() { <-m.busy; t.ended = time.Now(); close(t.done) }()
		ctx, stop := context.WithTimeout(context.Background(), longest)
		defer stop()
		defer func() {
			if fault := recover(); fault != nil {
				t.err = fmt.Errorf("fault of the program while %s was made", strings.Split(key, "\x00")[0])
			}
		}()
		t.value, t.err = build(ctx)
	}()
	return t
}

// holds reports whether the thing may be shown: it is being made, or was of this state
// of the ledger, or a moment ago.
func (t *thing) holds(change int64) bool {
	select {
	case <-t.done:
		return t.err == nil && t.change == change || time.Since(t.ended) < keptFor
	default:
		return true
	}
}

// making shows that something is being made, and asks again by itself.
func (c *Call) making() error {
	c.W.Header().Set("Refresh", "2")
	return c.Page(View{Title: "Being counted", Name: "making", Status: http.StatusOK})
}
