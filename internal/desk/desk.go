// Package desk owns the order of the work: what is found below the paths is
// looked through once, then study after study is read, judged, handed on and
// forgotten, in the same order however many work at it.
//
// It judges and writes nothing itself, and holds no more than the studies in
// hand.
package desk

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/intake"
	"echotally/internal/judge"
	"echotally/internal/judgement"
	"echotally/internal/library"
	"echotally/internal/run"
	"echotally/internal/term"
)

// Desk is where studies are worked on.
type Desk struct {
	Library         *library.Library
	SoftwareVersion string
	Now             func() time.Time
	Stdin           io.Reader
	Log             zerolog.Logger
	Progress        func(doing string, done, total int) // called from one goroutine at a time; may be nil
	Workers         int                                 // 0 means one per processor, eight at most: each holds a study

	once     sync.Once
	by       *judge.Judge
	about    []finding.About // what the rules say of themselves, in their order
	reducers sync.Pool       // each is for one goroutine
}

// judgeOf judges by the library; it is prepared for that once, when it is needed.
func (d *Desk) judgeOf(s *echo.Study, objects []run.Object) *judgement.Judgement {
	d.once.Do(func() {
		d.by = judge.New(d.Library)
		for _, one := range d.abouts() {
			d.about = append(d.about, *one)
		}
	})
	return d.by.Study(s, judge.By{SoftwareVersion: d.SoftwareVersion, Objects: judged(objects)})
}

const mostWorkers = 8

func (d *Desk) workers() int {
	if d.Workers > 0 {
		return d.Workers
	}
	return min(runtime.NumCPU(), mostWorkers)
}

func (d *Desk) progress(doing string, done, total int) {
	if d.Progress != nil {
		d.Progress(doing, done, total)
	}
}

// Document is what studies are handed to. L is what one study becomes.
type Document[L any] interface {
	Begin(*run.Run) error
	Leaf(*run.Study) (L, error) // several at a time
	Add(L) error                // in order, one at a time
	End() error
}

// Read hands every study below the paths to the document. No rule is put to
// them.
func Read[L any](ctx context.Context, d *Desk, paths []string, doc Document[L]) (run.Tally, error) {
	return hand(ctx, d, paths, doc, nil)
}

// Check hands every study below the paths to the document with its judgement.
func Check[L any](ctx context.Context, d *Desk, paths []string, doc Document[L]) (run.Tally, error) {
	return hand(ctx, d, paths, doc, d.judge)
}

// judge compares with the earlier study of the run and puts the rules.
func (d *Desk) judge(ctx context.Context, w *run.Worklist, s *run.Study) {
	if s.Study == nil {
		return
	}
	run.Reader{Library: d.Library}.Tie(ctx, w, s.Study)
	s.Judgement = d.judgeOf(s.Study, s.Objects)
	d.Log.Debug().Str("study", s.StudyInstanceUID).Int("results", len(s.Judgement.Results)).Msg("study checked")
}

// done is a study that was worked on: what is left of it.
type done[L any] struct {
	leaf  L
	tally run.Tally
	err   error
}

func hand[L any](ctx context.Context, d *Desk, paths []string, doc Document[L], judge func(context.Context, *run.Worklist, *run.Study)) (run.Tally, error) {
	var tally run.Tally
	batch, err := intake.Find(ctx, paths, d.Stdin, d.Log)
	if err != nil {
		return tally, err
	}
	defer batch.Close()
	list, err := d.list(ctx, batch)
	if err != nil {
		return tally, err
	}
	head := d.run(list)
	if judge != nil {
		head.Rules = d.abouts
	}
	if err := doc.Begin(head); err != nil {
		return tally, err
	}
	tally.Count(list.Unread)
	doing, n := "checking", 0
	if judge == nil {
		doing = "reading"
	}
	work := func(i int) done[L] { return onLeaf(ctx, d, list, i, doc, judge) }
	err = ordered(ctx, d.workers(), len(list.Studies), work, func(one done[L]) error {
		n++
		d.progress(doing, n, len(list.Studies))
		tally.Merge(one.tally)
		if one.err != nil {
			return one.err
		}
		return doc.Add(one.leaf)
	})
	if err != nil {
		return tally, err
	}
	d.Log.Info().Int("studies", tally.Studies).Int("read", tally.Objects[run.Read]).Int("partial", tally.Objects[run.Partial]).
		Int("refused", tally.Objects[run.Refused]).Int("ignored", tally.Objects[run.Ignored]).Msg("objects read")
	return tally, doc.End()
}

// onLeaf reads the study at a place of the worklist, has it judged and laid out. A fault of the program in one
// study is shown in its place and costs no other study.
func onLeaf[L any](ctx context.Context, d *Desk, w *run.Worklist, i int, doc Document[L], judge func(context.Context, *run.Worklist, *run.Study)) (out done[L]) {
	l := &w.Studies[i]
	s, failed := contained(func() (*run.Study, error) {
		s := run.Reader{Library: d.Library}.Study(ctx, l)
		s.Number = i + 1
		if judge != nil {
			judge(ctx, w, s)
		}
		return s, nil
	})
	if failed == nil {
		out.leaf, failed = contained(func() (L, error) { return doc.Leaf(s) })
	}
	if failed != nil {
		s = l.Failed(failed.Error())
		s.Number = i + 1
		d.Log.Error().Str("study", s.StudyInstanceUID).Msg(s.Failed)
		out.leaf, out.err = contained(func() (L, error) { return doc.Leaf(s) })
	}
	out.tally.Add(s)
	return out
}

// contained turns a fault of the program into an error that says where it is and
// nothing of the study.
func contained[T any](work func() (T, error)) (out T, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("internal error at %s", placeOf(debug.Stack()))
		}
	}()
	return work()
}

// placeOf finds in a stack the first place in this program below the panic.
func placeOf(stack []byte) string {
	_, below, _ := strings.Cut(string(stack), "panic(")
	for line := range strings.Lines(below) {
		line = strings.TrimSpace(line)
		if at := strings.Index(line, "/internal/"); at >= 0 && strings.Contains(line, ".go:") {
			place, _, _ := strings.Cut(line[at+1:], " ")
			return place
		}
	}
	return "an unknown place"
}

// list makes the first pass over the objects.
func (d *Desk) list(ctx context.Context, batch *intake.Batch) (*run.Worklist, error) {
	reader, n := run.Reader{Library: d.Library}, len(batch.Objects)
	notes := make([]run.Note, 0, n)
	note := func(i int) run.Note { return reader.Note(ctx, &batch.Objects[i]) }
	err := ordered(ctx, d.workers(), n, note, func(one run.Note) error {
		notes = append(notes, one)
		d.progress("looking through", len(notes), n)
		return nil
	})
	if err != nil {
		return nil, err
	}
	list := reader.List(ctx, notes)
	return list, ctx.Err()
}

func (d *Desk) run(w *run.Worklist) *run.Run {
	return &run.Run{
		Created: d.Now(), SoftwareVersion: d.SoftwareVersion, RuleSet: d.ruleSet(), Measurands: d.Library.Measurands, Windows: d.Library.Terms.Ordered(term.Window),
		Studies: len(w.Studies), Unread: w.Unread,
	}
}

// ruleSet identifies the library.
func (d *Desk) ruleSet() judgement.Library {
	lib := d.Library
	return judgement.Library{Version: lib.Version, Digest: lib.Digest, Rules: len(lib.Rules), Edition: lib.Edition}
}

// judged are the objects as a judgement keeps them, without paths.
func judged(objects []run.Object) []judgement.Object {
	out := make([]judgement.Object, len(objects))
	for i, o := range objects {
		out[i] = judgement.Object{SOPInstanceUID: o.SOPInstanceUID, SOPClassUID: o.SOPClassUID, SHA256: o.SHA256, State: string(o.State), Reason: o.WithoutPath()}
	}
	return out
}

func (d *Desk) abouts() []*finding.About {
	out := make([]*finding.About, len(d.Library.Rules))
	for i := range d.Library.Rules {
		out[i] = judge.About(d.Library.Rules[i])
	}
	return out
}
