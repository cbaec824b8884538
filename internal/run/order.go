package run

import (
	"context"
	"io"
	"path"
	"runtime"
	"sort"
	"sync"
	"time"

	"echotally/internal/library"

	"github.com/rs/zerolog"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/intake"
	"echotally/internal/judge"
	"echotally/internal/ultrasound"
)

// Options are what a run needs besides the paths.
type Options struct {
	Rules           *library.Library
	SoftwareVersion string
	Now             func() time.Time
	Stdin           io.Reader
	Log             zerolog.Logger
	Progress        func(done, total int) // called from one goroutine at a time; may be nil
	Workers         int                   // 0 means one per processor
	Listed          bool                  // the paths are files that were found, not named by the user
}

func (o Options) workers() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return runtime.NumCPU()
}

func (o Options) find(ctx context.Context, paths []string) (*intake.Batch, error) {
	if o.Listed {
		return intake.List(ctx, paths, o.Log)
	}
	return intake.Find(ctx, paths, o.Stdin, o.Log)
}

// ReadStudies reads everything below the paths and groups it by study. No rule
// is put to it.
func ReadStudies(ctx context.Context, paths []string, opt Options) (*Audit, error) {
	batch, err := opt.find(ctx, paths)
	if err != nil {
		return nil, err
	}
	defer batch.Close()
	return opt.read(ctx, batch.Objects)
}

// ReadBatches reads everything below the paths as ReadStudies does, but hands it
// over in batches of about so many objects, so that memory stays bounded. The
// objects of one folder come together unless they are very many; those of a
// study need not.
func ReadBatches(ctx context.Context, paths []string, opt Options, size int, take func(*Audit) error) error {
	batch, err := opt.find(ctx, paths)
	if err != nil {
		return err
	}
	defer batch.Close()
	for rest := batch.Objects; len(rest) > 0; {
		n := min(size, len(rest))
		for n < len(rest) && n < 4*size && path.Dir(rest[n].Path) == path.Dir(rest[n-1].Path) {
			n++
		}
		a, err := opt.read(ctx, rest[:n])
		if err != nil {
			return err
		}
		if err := take(a); err != nil {
			return err
		}
		rest = rest[n:]
	}
	return nil
}

// read reads the objects and groups them by study.
func (o Options) read(ctx context.Context, objects []intake.Object) (*Audit, error) {
	read := make([]reading, len(objects))
	err := each(ctx, o, len(objects), func(i int) { read[i] = readObject(ctx, objects[i], o.Rules.Private) })
	if err != nil {
		return nil, err
	}
	settleCopies(read)
	a := &Audit{
		Created:         o.Now(),
		SoftwareVersion: o.SoftwareVersion,
		RuleSet:         RuleSet{Version: o.Rules.Version, Digest: o.Rules.Digest, Rules: len(o.Rules.Rules), Edition: o.Rules.Edition},
		Measurands:      o.Rules.Measurands,
	}
	a.group(read, o)
	counts := a.Counts()
	o.Log.Info().Int("studies", len(a.Studies)).Int("read", counts[Read]).Int("partial", counts[Partial]).
		Int("refused", counts[Refused]).Int("ignored", counts[Ignored]).Msg("objects read")
	return a, nil
}

// Run reads everything below the paths and puts the rules to each study.
func Run(ctx context.Context, paths []string, opt Options) (*Audit, error) {
	a, err := ReadStudies(ctx, paths, opt)
	if err != nil {
		return nil, err
	}
	a.tie()
	opt.Progress = nil
	by := judge.New(opt.Rules)
	err = each(ctx, opt, len(a.Studies), func(i int) {
		if s := &a.Studies[i]; s.Study != nil {
			s.judge(by, opt.SoftwareVersion)
		}
	})
	if err != nil {
		return nil, err
	}
	a.Checked = true
	for _, s := range a.Studies {
		opt.Log.Debug().Str("study", s.StudyInstanceUID).Int("results", len(s.Results)).Msg("study checked")
	}
	return a, nil
}

func (s *Study) judge(by *judge.Judge, software string) {
	j := by.Study(s.Study, judge.By{SoftwareVersion: software})
	s.Judgement, s.Results = j, j.All()
	s.Protocols, s.Several, s.Acquisition, s.Reconciliation = j.Protocols, j.Several, j.Acquisition, j.Reconciliation
}

// Judge puts the rules to a study that was read before. Several may be judged
// at a time.
func Judge(rules *library.Library, study *echo.Study) *Study {
	s := &Study{StudyInstanceUID: study.StudyInstanceUID, Study: study}
	s.judge(judge.New(rules), "")
	return s
}

// each calls work for 0 to n-1 on a pool of workers and waits for all of them.
// Work writes to its own place, so the order of finishing leaves no trace.
func each(ctx context.Context, opt Options, n int, work func(i int)) error {
	var (
		wait sync.WaitGroup
		lock sync.Mutex
		done int
		next = make(chan int)
	)
	for range min(opt.workers(), max(n, 1)) {
		wait.Go(func() {
			for i := range next {
				work(i)
				lock.Lock()
				done++
				if opt.Progress != nil {
					opt.Progress(done, n)
				}
				lock.Unlock()
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		select {
		case next <- i:
		case <-ctx.Done():
		}
	}
	close(next)
	wait.Wait()
	return ctx.Err()
}

// group puts the objects into their studies and composes each study.
func (a *Audit) group(read []reading, opt Options) {
	catalogues := extract.Catalogues{Measurands: opt.Rules.Measurands, Statements: opt.Rules.Statements}
	studies := map[string]*Study{}
	for _, r := range read {
		if uid := r.object.StudyInstanceUID; r.opens() && studies[uid] == nil {
			studies[uid] = &Study{StudyInstanceUID: uid, Reports: map[string]*echo.Study{}, ImageHeaders: map[string]*echo.Image{}}
		}
	}
	for _, r := range read {
		s := studies[r.object.StudyInstanceUID]
		if s == nil {
			a.Unread = append(a.Unread, r.object)
			continue
		}
		s.Objects = append(s.Objects, r.object)
		if r.document != nil {
			s.Reports[r.object.Path] = extract.Report(r.document, catalogues)
		}
		if r.image != nil {
			s.ImageHeaders[r.object.Path] = r.image
		}
	}
	for _, s := range studies {
		s.Study = Compose(opt.Rules, inPathOrder(s.Objects, s.Reports), inPathOrder(s.Objects, s.ImageHeaders))
		a.Studies = append(a.Studies, *s)
	}
	sort.Slice(a.Studies, func(i, j int) bool {
		x, y := &a.Studies[i], &a.Studies[j]
		if dx, dy := x.date(), y.date(); dx != dy {
			return dx < dy
		}
		return x.StudyInstanceUID < y.StudyInstanceUID
	})
}

func (s *Study) date() string {
	if s.Study == nil {
		return ""
	}
	return s.Study.StudyDate
}

func inPathOrder[T any](objects []Object, of map[string]T) []T {
	var out []T
	for _, o := range objects {
		if v, ok := of[o.Path]; ok {
			out = append(out, v)
		}
	}
	return out
}

// Compose makes the study of what its reports and images gave, in whatever
// order they came; nil when there is no report.
func Compose(rules *library.Library, reports []*echo.Study, images []*echo.Image) *echo.Study {
	if len(reports) == 0 {
		return nil
	}
	s := extract.Merge(reports)
	ultrasound.Attach(s, images, rules.Terms)
	return s
}
