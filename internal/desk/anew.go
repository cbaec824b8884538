package desk

import (
	"context"
	"errors"
	"sync"
	"time"

	"echotally/internal/store"
)

// Anew has recorded studies that stand as other rules judged them judged by those in
// force, in the background, while everything else goes on. Each judgement is added to
// the ledger beside those of before, and nobody is told of it. What is left to do is what
// the ledger says: it may be stopped at any moment and begun again, also after a new
// start of the program.
type Anew struct {
	InForce *InForce
	Ledger  interface {
		Ledger
		// Unjudged lists the studies with a report that a rule set has not judged as they
		// are now, the latest first.
		Unjudged(ctx context.Context, ruleset string) ([]string, error)
	}

	lock  sync.Mutex
	state AnewState
	stop  context.CancelFunc
	ended chan struct{}
}

// AnewState is how far it has come since it was begun last.
type AnewState struct {
	Running      bool
	Begun, Ended time.Time // zero for not yet
	Done, Of     int       // studies
	Failed       int       // that a fault of the program kept from being judged
	Fault        string    // why it ended early, "" for not
}

// State is how far it has come.
func (a *Anew) State() AnewState {
	a.lock.Lock()
	defer a.lock.Unlock()
	return a.state
}

// Begin begins; false when it is at work already. It goes on when the context ends.
func (a *Anew) Begin(ctx context.Context) bool {
	a.lock.Lock()
	defer a.lock.Unlock()
	if a.state.Running {
		return false
	}
	ctx, a.stop = context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan struct{})
	a.ended, a.state = ended, AnewState{Running: true, Begun: a.InForce.Desk().Now()}
	go func() {
		defer close(ended)
		err := a.all(ctx)
		d := a.InForce.Desk()
		a.change(func(s *AnewState) {
			if s.Running, s.Ended = false, d.Now(); err != nil && !errors.Is(err, context.Canceled) {
				s.Fault = err.Error()
			}
			d.Log.Info().Int("judged", s.Done).Int("failed", s.Failed).AnErr("fault", err).Msg("judging recorded studies anew has ended")
		})
	}()
	return true
}

// Stop has it end after the studies in hand, and waits for that.
func (a *Anew) Stop() {
	a.lock.Lock()
	stop, ended := a.stop, a.ended
	a.lock.Unlock()
	if stop != nil {
		stop()
		<-ended
	}
}

func (a *Anew) change(to func(*AnewState)) {
	a.lock.Lock()
	defer a.lock.Unlock()
	to(&a.state)
}

// all judges until nothing is left, by one library after another when the rules are
// renewed meanwhile.
func (a *Anew) all(ctx context.Context) error {
	tried := map[[2]string]bool{} // rule set and study, so that what fails is not tried for ever
	for {
		of := a.InForce.Desk()
		r := &Recorder{Desk: of, Ledger: a.Ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(string, string) { a.change(func(s *AnewState) { s.Failed++ }) }}
		uids, err := a.Ledger.Unjudged(ctx, of.Library.Digest)
		if err != nil {
			return err
		}
		var left []string
		for _, uid := range uids {
			if key := [2]string{of.Library.Digest, uid}; !tried[key] {
				tried[key] = true
				left = append(left, uid)
			}
		}
		if len(left) == 0 {
			return nil
		}
		of.Log.Info().Int("studies", len(left)).Str("rules", of.Library.Digest).Msg("judging recorded studies anew")
		a.change(func(s *AnewState) { s.Of = s.Done + len(left) })
		if err := a.some(ctx, r, left); err != nil {
			return err
		}
	}
}

// some judges studies by one library, as long as that is in force.
func (a *Anew) some(ctx context.Context, r *Recorder, uids []string) error {
	for len(uids) > 0 && a.InForce.Desk().Library.Digest == r.Library.Digest {
		var group []prepared
		for _, uid := range uids[:min(together, len(uids))] {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			group = append(group, r.loaded(ctx, prepared{uid: uid}))
		}
		if err := r.commit(context.WithoutCancel(ctx), group); err != nil {
			return err
		}
		uids = uids[len(group):]
		a.change(func(s *AnewState) { s.Done += len(group) })
	}
	return nil
}
