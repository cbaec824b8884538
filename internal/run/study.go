package run

import (
	"context"
	"io"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/library"
	"echotally/internal/run/prior"
	"echotally/internal/ultrasound/link"
)

// Reader reads objects and studies by the catalogues of a rule library. It keeps
// nothing and may be used by several goroutines.
type Reader struct{ Library *library.Library }

// Study reads a listed study and composes it.
func (r Reader) Study(ctx context.Context, l *Listed) *Study {
	s := r.Objects(ctx, l)
	s.Study = Compose(r.Library, inPathOrder(s.Objects, s.Reports), inPathOrder(s.Objects, s.ImageHeaders))
	return s
}

// Objects reads the objects of a listed study, which is not composed. A file that
// is no longer what the first pass noted is refused.
func (r Reader) Objects(ctx context.Context, l *Listed) *Study {
	catalogues := extract.Catalogues{Measurands: r.Library.Measurands, Statements: r.Library.Statements}
	s := &Study{StudyInstanceUID: l.StudyInstanceUID, Reports: map[string]*echo.Study{}, ImageHeaders: map[string]*echo.Image{}}
	for _, n := range l.notes {
		o := n.Object
		if n.report || o.Image {
			one := r.again(ctx, n)
			one.object.StudyInstanceUID = o.StudyInstanceUID // also of one that turned out to be damaged
			o = one.object
			if one.document != nil {
				s.Reports[o.Path] = extract.Report(one.document, catalogues)
			}
			if one.image != nil {
				s.ImageHeaders[o.Path] = one.image
			}
		}
		s.Objects = append(s.Objects, o)
	}
	return s
}

// again reads what was noted. Of an image that is the header, without hashing the
// rest once more.
func (r Reader) again(ctx context.Context, n *Note) reading {
	one := reading{object: n.Object}
	if n.Object.Image {
		err := n.found.Header(ctx, func(at io.ReaderAt, size int64) error {
			file, err := dcm.ReadHeader(at, size)
			if err != nil {
				return err
			}
			defer file.Release() // what is read below keeps nothing of it
			if file.Identity().SOPInstanceUID == n.Object.SOPInstanceUID {
				one = one.setAside(file, r.Library.Private)
			}
			return nil
		})
		if err == nil && one.image != nil {
			return one
		}
	}
	one = r.read(ctx, n.found)
	if one.object.SHA256 != n.Object.SHA256 {
		one = reading{object: n.Object}.refuse("changed while it was read", "give it again when nothing writes to it")
	}
	return one
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
// order they came; nil when there is no report. They become part of it.
func Compose(rules *library.Library, reports []*echo.Study, images []*echo.Image) *echo.Study {
	if len(reports) == 0 {
		return nil
	}
	s := extract.Merge(reports)
	link.Attach(s, images, rules.Terms)
	return s
}

// Tie gives a study of the worklist the earlier one it is compared with.
func (r Reader) Tie(ctx context.Context, w *Worklist, s *echo.Study) {
	for l := range w.Earlier(s) {
		if earlier := r.Study(ctx, l).Study; earlier != nil {
			if p := prior.Of(s, []*echo.Study{earlier}); p != s.Prior {
				s.Prior = p
				return
			}
		}
	}
}

// Failed is the study without what is in it, because of a fault of the program.
func (l *Listed) Failed(reason string) *Study {
	s := &Study{StudyInstanceUID: l.StudyInstanceUID, Failed: reason}
	for i := range l.notes {
		s.Objects = append(s.Objects, l.notes[i].Object)
	}
	return s
}
