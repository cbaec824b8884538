package main

import (
	"sync"
	"time"

	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/web/health"
)

// rulesInForce are the rules by which serve has studies judged. They are read anew
// while it runs, when the lab has adopted something.
type rulesInForce struct {
	*app
	work *desk.InForce

	reading sync.Mutex // one reading at a time: the later one counts
	lock    sync.Mutex
	since   time.Time
	fault   string
	tried   time.Time
}

// renew reads the rules as they lie in the folders now. On a fault those of before stay
// in force, and Health says so.
func (r *rulesInForce) renew() error {
	r.reading.Lock()
	defer r.reading.Unlock()
	set, err := r.ruleSet(library.Settings{})
	r.lock.Lock()
	defer r.lock.Unlock()
	r.tried, r.fault = r.now(), ""
	if err != nil {
		r.fault = err.Error()
		return err
	}
	if set.Digest != r.work.Desk().Library.Digest {
		r.work.Renew(set)
		r.since = r.tried
	}
	return nil
}

// shown is what Health says of them.
func (r *rulesInForce) shown() health.Rules {
	r.lock.Lock()
	defer r.lock.Unlock()
	lib := r.work.Desk().Library
	return health.Rules{Version: lib.Version, Count: len(lib.Rules), Own: len(lib.Own), Digest: lib.Digest, Since: r.since, Tried: r.tried, Fault: r.fault}
}
