package frame

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"time"
)

// live tells those who wait that the ledger has changed. It asks the ledger, since
// another process may write to it, and only while somebody waits.
type live struct {
	lock    sync.Mutex
	waiting map[chan int64]bool
	stop    context.CancelFunc
}

// pace is how often the ledger is asked, and beat how often a page is told that the
// connection still stands.
const (
	pace = time.Second
	beat = 15 * time.Second
)

func (l *Lab) wait() (changes chan int64, done func()) {
	changes = make(chan int64, 1)
	v := &l.live
	v.lock.Lock()
	defer v.lock.Unlock()
	if len(v.waiting) == 0 {
		v.waiting = map[chan int64]bool{}
		var ctx context.Context
		ctx, v.stop = context.WithCancel(context.Background())
		go l.watch(ctx)
	}
	v.waiting[changes] = true
	return changes, func() {
		v.lock.Lock()
		defer v.lock.Unlock()
		if delete(v.waiting, changes); len(v.waiting) == 0 {
			v.stop()
		}
	}
}

func (l *Lab) watch(ctx context.Context) {
	last := int64(-1)
	for {
		if n, err := l.Ledger.Change(ctx); err == nil && n != last {
			if last >= 0 {
				l.tell(n)
			}
			last = n
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(pace):
		}
	}
}

// tell never waits for who is slow: one that has not taken the last change knows that
// there is one.
func (l *Lab) tell(n int64) {
	l.live.lock.Lock()
	defer l.live.lock.Unlock()
	for c := range l.live.waiting {
		select {
		case c <- n:
		default:
		}
	}
}

// mostStreams bounds how many pages may wait at a time.
const mostStreams = 500

// Streams answer with server-sent events.
type Streams struct{ open atomic.Int64 }

// Changes tells a page whenever the ledger has changed, and when the session is over.
func (st *Streams) Changes(c *Call) error {
	if st.open.Add(1) > mostStreams {
		st.open.Add(-1)
		return &Refusal{http.StatusServiceUnavailable, "Too many pages wait for news.", "Close some of them."}
	}
	defer st.open.Add(-1)
	changes, done := c.Lab.wait()
	defer done()
	c.W.Header().Set("Content-Type", "text/event-stream")
	control := http.NewResponseController(c.W)
	say := func(format string, args ...any) error {
		_ = control.SetWriteDeadline(time.Now().Add(2 * beat))
		if _, err := fmt.Fprintf(c.W, format, args...); err != nil {
			return sent(err)
		}
		return sent(control.Flush())
	}
	_ = control.SetReadDeadline(time.Time{}) // nothing more is to come
	if err := say("retry: 3000\n\n"); err != nil {
		return err
	}
	for {
		var err error
		select {
		case <-c.R.Context().Done():
			return nil
		case n := <-changes:
			err = say("event: changed\ndata: %d\n\n", n)
		case <-time.After(beat):
			err = say(": still here\n\n")
		}
		if err == nil && c.site.Sessions.Look(c.secret) == nil {
			err = say("event: over\ndata: signed out\n\n")
			return err
		}
		if err != nil {
			return err
		}
	}
}
