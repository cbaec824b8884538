package desk

import (
	"cmp"
	"context"
	"errors"
	"sync"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/intake"
	"echotally/internal/intake/watch"
	"echotally/internal/reduction"
	"echotally/internal/run"
	"echotally/internal/run/prior"
	"echotally/internal/store"
)

// Ledger is what recording asks of a ledger.
type Ledger interface {
	Load(ctx context.Context, uid, reader string, found []store.Found) (*store.State, error)
	Earlier(ctx context.Context, st *store.State, date string) ([]*echo.Study, error)
	Commit(ctx context.Context, st *store.State, why map[string]string) (*store.Receipt, error)
	CommitTogether(ctx context.Context, states []*store.State, why map[string]string) ([]*store.Receipt, []error)
	CommitUnread(ctx context.Context, objects []store.Object) (*store.Receipt, error)
	Due(ctx context.Context) ([]string, error)
}

// Recorder records studies in a ledger.
type Recorder struct {
	*Desk
	Ledger Ledger
	Tell   func(*store.Receipt) error // what is on disk, in order
	Failed func(uid, reason string)   // a study that a fault of the program kept out
	// Compared is told of a study that was recorded before and compared anew, since one
	// that came now stands before it; nil for nobody.
	Compared func(*store.Receipt) error

	// InForce has each batch begin at the desk of that moment; nil where it stays the same.
	InForce *InForce
}

// unreadBatch is how many objects of no study are recorded at a time.
const unreadBatch = 500

// attempts are how often a study is loaded anew when others change it meanwhile.
const attempts = 100

// Paths records everything below the paths. Studies are read, composed and judged
// by several workers and committed one after another. What is begun to be
// committed is committed, also when the context ends.
func (r *Recorder) Paths(ctx context.Context, paths []string) error {
	batch, err := intake.Find(ctx, paths, r.Stdin, r.Log)
	if err != nil {
		return err
	}
	return r.batch(ctx, batch)
}

// Watch records what lies in a folder and what comes to it, until the context
// ends, which is no error while nothing is at work.
func (r *Recorder) Watch(ctx context.Context, dir string, settle, rescan time.Duration) error {
	w := watch.Folder{Dir: dir, Settle: settle, Rescan: rescan}
	return w.Run(ctx, func(files []string) error {
		batch, err := intake.List(ctx, files, r.Log)
		if err != nil {
			return err
		}
		return r.batch(ctx, batch)
	})
}

// prepared is a study that is ready to be committed.
type prepared struct {
	uid   string
	found []store.Found
	state *store.State
	err   error
	fault error // of the program
}

func (r *Recorder) batch(ctx context.Context, batch *intake.Batch) error {
	defer batch.Close()
	if r.InForce != nil {
		r = &Recorder{Desk: r.InForce.Desk(), Ledger: r.Ledger, Tell: r.Tell, Failed: r.Failed, Compared: r.Compared}
	}
	list, err := r.list(ctx, batch)
	if err != nil {
		return err
	}
	studies := list.Studies[:0:0]
	for i := range list.Studies {
		if objects, ok := list.Studies[i].Unrecordable(); ok {
			list.Unread = append(list.Unread, objects...)
		} else {
			studies = append(studies, list.Studies[i])
		}
	}
	list.Studies = studies
	if err := r.studies(ctx, list); err != nil {
		return err
	}
	for rest := list.Unread; len(rest) > 0; {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		some := rest[:min(unreadBatch, len(rest))]
		rest = rest[len(some):]
		objects := make([]store.Object, len(some))
		for i := range some {
			objects[i] = object(&some[i])
		}
		receipt, err := r.Ledger.CommitUnread(context.WithoutCancel(ctx), objects)
		if err == nil {
			err = r.Tell(receipt)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// together is how many studies are brought to the disk at a time, at most.
const together = 16

// studies records the studies of a list in its order. Those that get ready while
// others are brought to the disk are brought there together, next.
func (r *Recorder) studies(ctx context.Context, list *run.Worklist) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var (
		ready   = make(chan prepared, together)
		writing sync.WaitGroup
		failed  error
	)
	writing.Go(func() {
		for one := range ready {
			group := []prepared{one}
			for len(group) < together && len(ready) > 0 {
				group = append(group, <-ready)
			}
			if failed == nil {
				if failed = r.commit(context.WithoutCancel(ctx), group); failed != nil {
					stop()
				}
			}
		}
	})
	n := 0
	prepare := func(i int) prepared { return r.prepare(ctx, &list.Studies[i]) }
	err := ordered(ctx, r.workers(), len(list.Studies), prepare, func(p prepared) error {
		n++
		r.progress("recording", n, len(list.Studies))
		ready <- p
		return nil
	})
	close(ready)
	writing.Wait()
	return cmp.Or(failed, err) // the one makes the other end
}

func (r *Recorder) prepare(ctx context.Context, l *run.Listed) prepared {
	p := prepared{uid: l.StudyInstanceUID}
	p.found, p.fault = contained(func() ([]store.Found, error) { return found(run.Reader{Library: r.Library}.Objects(ctx, l)), nil })
	if p.fault != nil {
		return p
	}
	return r.loaded(ctx, p)
}

// loaded composes and judges what was found of a study, which may be nothing.
func (r *Recorder) loaded(ctx context.Context, p prepared) prepared {
	p.state, p.fault = contained(func() (s *store.State, err error) {
		s, p.err = r.load(ctx, p.uid, p.found)
		return s, nil
	})
	return p
}

// commit commits what was prepared, records the persons' later studies anew, which
// are to be compared with it, and tells of it.
func (r *Recorder) commit(ctx context.Context, group []prepared) error {
	var states []*store.State
	for _, p := range group {
		if p.state != nil {
			states = append(states, p.state)
		}
	}
	receipts, errs := r.Ledger.CommitTogether(ctx, states, r.why())
	for _, p := range group {
		switch {
		case p.fault != nil:
			r.Log.Error().Str("study", p.uid).Msg(p.fault.Error())
			r.Failed(p.uid, p.fault.Error())
			continue
		case p.err != nil:
			return p.err
		}
		receipt, err := receipts[0], errs[0]
		receipts, errs = receipts[1:], errs[1:]
		if errors.Is(err, store.ErrChanged) {
			receipt, err = r.record(ctx, p.uid, p.found)
		}
		if err != nil {
			return err
		}
		due, err := r.Ledger.Due(ctx)
		for _, uid := range due {
			if err == nil {
				err = r.anew(ctx, uid)
			}
		}
		if err = errors.Join(err, r.Tell(receipt)); err != nil {
			return err
		}
	}
	return nil
}

// anew compares a study with an earlier one that came after it.
func (r *Recorder) anew(ctx context.Context, uid string) error {
	receipt, err := r.record(ctx, uid, nil)
	if err == nil && r.Compared != nil {
		err = r.Compared(receipt)
	}
	return err
}

func (r *Recorder) why() map[string]string {
	return map[string]string{"rules": r.Library.Digest, "program": r.SoftwareVersion}
}

// record loads a study, composes and judges it, and commits it if it is still what
// was loaded; otherwise another process was quicker, and all is done again.
func (r *Recorder) record(ctx context.Context, uid string, found []store.Found) (*store.Receipt, error) {
	for try := 1; ; try++ {
		st, err := r.load(ctx, uid, found)
		if err != nil {
			return nil, err
		}
		receipt, err := r.Ledger.Commit(ctx, st, r.why())
		if !errors.Is(err, store.ErrChanged) || try == attempts {
			return receipt, err
		}
	}
}

// load loads a study, composes it of all that is known of it and has it judged,
// as far as the ledger has not got that already.
func (r *Recorder) load(ctx context.Context, uid string, found []store.Found) (*store.State, error) {
	st, err := r.Ledger.Load(ctx, uid, r.SoftwareVersion+" "+r.Library.Digest, found)
	if err != nil {
		return nil, err
	}
	if st.Composing() {
		if err := r.compose(ctx, st); err != nil {
			return nil, err
		}
	}
	judging, err := st.Judging(r.Library.Digest)
	if err != nil || !judging {
		return st, err
	}
	study, err := st.Study()
	if err != nil {
		return nil, err
	}
	return st, st.Judge(r.judged(study))
}

func (r *Recorder) compose(ctx context.Context, st *store.State) error {
	reports, images, err := st.Readings()
	if err != nil {
		return err
	}
	study := run.Compose(r.Library, reports, images)
	if study != nil {
		earlier, err := r.Ledger.Earlier(ctx, st, study.StudyDate)
		if err != nil {
			return err
		}
		identified := *study
		identified.Identity = st.Identity()
		study.Prior = prior.Of(&identified, earlier)
		for _, c := range st.Contradictions() {
			study.Contradict(c)
		}
	}
	return st.Compose(study)
}

// judged is the judgement of a study with what its rules say of themselves and
// what the figures of a period count of it.
func (r *Recorder) judged(study *echo.Study) *store.Judged {
	out := &store.Judged{Judgement: r.judgeOf(study, nil)}
	out.Rules = r.about
	reducer, ok := r.reducers.Get().(*reduction.Reducer)
	if !ok {
		reducer = reduction.NewReducer(r.Library)
	}
	defer r.reducers.Put(reducer)
	counted := reducer.Reduce(study, finding.Protocols{}, nil, nil)
	out.Counted, out.Counter = reducer.Pack(&counted), reducer.Counter()
	return out
}

func found(s *run.Study) []store.Found {
	out := make([]store.Found, len(s.Objects))
	for i := range s.Objects {
		o := &s.Objects[i]
		out[i] = store.Found{Object: object(o), Report: s.Reports[o.Path], Header: s.ImageHeaders[o.Path]}
	}
	return out
}

func object(o *run.Object) store.Object {
	return store.Object{
		Path: o.Path, SHA256: o.SHA256, SOPInstanceUID: o.SOPInstanceUID, SOPClassUID: o.SOPClassUID, Image: o.Image, State: store.Fate(o.State), Reason: o.WithoutPath(),
	}
}
