package frame

import (
	"sync"
	"time"
)

// limiter lets through so many of each name at once, and one more each time. It
// holds no more names than were seen of late.
type limiter struct {
	every time.Duration
	burst int

	lock sync.Mutex
	free map[string]time.Time // when a name has its whole burst again
}

// mostNames bounds what a limiter holds: beyond, those that have all of theirs go.
const mostNames = 10_000

func (l *limiter) allow(name string, now time.Time) bool {
	if l.every == 0 {
		return true // for measuring: requests at once do not ask in the order of their times
	}
	l.lock.Lock()
	defer l.lock.Unlock()
	if l.free == nil {
		l.free = map[string]time.Time{}
	}
	if len(l.free) > mostNames {
		for n, at := range l.free {
			if !at.After(now) {
				delete(l.free, n)
			}
		}
		if len(l.free) > mostNames {
			clear(l.free)
		}
	}
	at := l.free[name]
	if at.Before(now) {
		at = now
	}
	at = at.Add(l.every)
	if at.Sub(now) > time.Duration(l.burst)*l.every {
		return false
	}
	l.free[name] = at
	return true
}
