package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/dcm"
	"echotally/internal/desk"
	"echotally/internal/dicomweb/send"
	"echotally/internal/dimse/requestor"
	"echotally/internal/handback"
	"echotally/internal/handback/concern"
	"echotally/internal/handback/source"
	"echotally/internal/intake"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/run"
	"echotally/internal/writer"
)

// exportDICOMFlags are the flags of export dicom.
type exportDICOMFlags struct {
	peerFlags
	ledgerFlags
	kinds       [4]bool // in the order of kindsHandedBack
	to, send    string
	stow, token string
	bearer      string // what the file of the token holds
	institution string
	identify    bool
	kept        func() bool // a ledger was named
}

// kindsHandedBack are the kinds of object, each with a flag of its name.
var kindsHandedBack = []struct {
	kind handback.Kind
	use  string
}{
	{handback.QualityIssue, "key objects titled Quality Issue: what errors, warnings and what is to be looked at rest on"},
	{handback.PeerReview, "key objects titled For Peer Review: all objects of the study below the paths"},
	{handback.Document, "the gap sheet as an encapsulated PDF"},
	{handback.Report, "the findings as a basic text report"},
}

func newExportDICOMCommand(a *app) *cobra.Command {
	f := &exportDICOMFlags{}
	cmd := &cobra.Command{
		Use:   "dicom PATH... --findings --to DIR",
		Short: "Hand back DICOM objects about a study",
		Long: `Make DICOM objects about the study below the paths and write them to a new folder, send
them to an archive (C-STORE) or post them to a DICOM web service (STOW-RS). Each kind
of object has to be asked for, since what lies in an archive becomes part of the record.

The study is judged by the rules, as echotally check does; with --store, what the ledger
found of it when it judged last is handed back and nothing is judged again. Patient and
study are copied from the objects below the paths, which must agree on whose they are.
The objects have series of their own, name this program as their maker, are not verified
by anybody, say that they are a quality-audit aid, and reject nothing. Handed back again,
the same findings have the same UIDs, so that an archive keeps one of each.

With --send, objects go in explicit VR little endian, or implicit where the peer takes
nothing else. A bearer token for --stow is read from the file that --token names.`,
		Example: `  echotally export dicom /data/study --findings --gap-sheet --to handback
  echotally export dicom study.zip --quality-issue --send ARCHIVE@pacs.example:11112
  echotally export dicom study.zip --store lab.db --findings --stow https://pacs.example/dicom-web`,
		Args: arguments(1, many),
		RunE: func(cmd *cobra.Command, paths []string) error { return f.run(cmd.Context(), a, paths) },
	}
	flags := cmd.Flags()
	for i, k := range kindsHandedBack {
		flags.BoolVar(&f.kinds[i], string(k.kind), false, k.use)
	}
	flags.StringVar(&f.to, "to", "", "empty folder to write to")
	flags.StringVar(&f.send, "send", "", "peer to send to, as AE@host:port")
	flags.StringVar(&f.stow, "stow", "", "address of the DICOM web service to post to")
	flags.StringVar(&f.token, "token", "", "file that holds the bearer token of the service")
	flags.StringVar(&f.institution, "institution", "", "institution to name (default: that of the report)")
	flags.BoolVar(&f.identify, "identify", false, "print patient name, ID and accession number on the gap sheet")
	flags.StringVar(&f.store, "store", "", "ledger whose last judgement of the study is handed back")
	f.peerFlags.add(cmd)
	f.kept = func() bool { return flags.Changed("store") }
	return cmd
}

func (f *exportDICOMFlags) check() error {
	switch {
	case f.kinds == [4]bool{}:
		return faults{hinted{errors.New("no kind of object was asked for"), "--quality-issue, --peer-review, --gap-sheet or --findings"}}
	case f.to+f.send+f.stow == "":
		return faults{hinted{errors.New("no destination was given"), "--to, --send or --stow"}}
	case f.identify && f.kept():
		return faults{hinted{errors.New("--identify and --store do not go together"), "the ledger keeps names sealed"}}
	}
	if f.send != "" {
		if _, err := f.peer(f.send); err != nil {
			return err
		}
	}
	if f.stow != "" {
		if _, err := (&send.Service{URL: f.stow}).Resource(); err != nil {
			return faults{fmt.Errorf("--stow: %w", err)}
		}
		if err := f.shown(); err != nil {
			return err
		}
	}
	if f.to != "" {
		return empty(f.to)
	}
	return nil
}

// shown looks, before anything is judged or sent, at what a service is shown.
func (f *exportDICOMFlags) shown() error {
	if f.token != "" {
		var err error
		if f.bearer, err = secretIn(f.token, 1); err != nil {
			return unusable("the file that --token names "+err.Error(), "one line with the token alone")
		}
	}
	if _, err := f.tls(); err != nil {
		return err
	}
	return f.waits()
}

func (f *exportDICOMFlags) run(ctx context.Context, a *app, paths []string) error {
	if err := f.check(); err != nil {
		return err
	}
	source, err := sourceOf(ctx, a, paths)
	if err != nil {
		return err
	}
	set, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	d, done, err := a.desk(set, true)
	if err != nil {
		return err
	}
	one := &oneStudy{}
	tally, err := desk.Check[*run.Study](ctx, d, paths, one)
	done()
	if err != nil {
		return err
	}
	if len(one.studies) != 1 || one.studies[0].Study == nil {
		return hinted{errors.New("the paths do not hold exactly one study with a report"), "name the folder or the archive of one study"}
	}
	if f.kept() {
		if err := f.fromLedger(ctx, one); err != nil {
			return err
		}
	}
	objects, err := f.objects(a, source, one, !tally.Incomplete())
	if err != nil {
		return err
	}
	if err := f.handBack(ctx, a, objects); err != nil {
		return err
	}
	return a.incomplete(&tally)
}

// oneStudy keeps what a desk hands over.
type oneStudy struct {
	of      *run.Run
	studies []*run.Study
}

// Begin keeps the run.
func (o *oneStudy) Begin(r *run.Run) error { o.of = r; return nil }

// Leaf keeps nothing yet.
func (*oneStudy) Leaf(s *run.Study) (*run.Study, error) { return s, nil }

// Add keeps a study; of more than one none is handed back.
func (o *oneStudy) Add(s *run.Study) error { o.studies = append(o.studies, s); return nil }

// End does nothing.
func (*oneStudy) End() error { return nil }

// fromLedger puts what the ledger found of the study in the place of what was found now.
func (f *exportDICOMFlags) fromLedger(ctx context.Context, one *oneStudy) error {
	ledger, err := f.view(ctx)
	if err != nil {
		return err
	}
	defer ledger.Close()
	s := one.studies[0]
	latest, err := ledger.LatestJudgement(ctx, s.StudyInstanceUID)
	if err != nil {
		return err
	}
	if latest == nil {
		return hinted{fmt.Errorf("the ledger has not judged study %s", s.StudyInstanceUID), "echotally intake records and judges it"}
	}
	s.Judgement, s.Study, err = ledger.Judgement(ctx, s.StudyInstanceUID, latest.Library.Digest)
	one.of.RuleSet, one.of.SoftwareVersion = latest.Library, latest.SoftwareVersion
	return err
}

// sourceOf reads the headers of all objects below the paths.
func sourceOf(ctx context.Context, a *app, paths []string) (*source.Source, error) {
	batch, err := intake.Find(ctx, paths, a.stdin, zerolog.Nop())
	if err != nil {
		return nil, err
	}
	defer batch.Close()
	out := &source.Source{}
	for i := range batch.Objects {
		o := &batch.Objects[i]
		if o.Reason != "" {
			continue // said by the check
		}
		err := o.Header(ctx, func(at io.ReaderAt, size int64) error {
			file, err := dcm.ReadHeader(at, size)
			if err != nil {
				return nil // said by the check
			}
			defer file.Release()
			return out.Add(file)
		})
		if err := errors.Join(err, ctx.Err()); err != nil && !errors.Is(err, intake.ErrNotDICOM) && !errors.Is(err, intake.ErrEmpty) {
			return nil, hinted{fmt.Errorf("%s: %w", printable.Line(o.Path), err), "give the objects of one study of one patient"}
		}
	}
	return out, nil
}

// objects makes what was asked for.
func (f *exportDICOMFlags) objects(a *app, source *source.Source, one *oneStudy, complete bool) ([]*handback.Object, error) {
	s := one.studies[0]
	m := &handback.Maker{
		Source: source, Study: s.Study, Judgement: s.Judgement, Software: version, Institution: printable.Line(f.institution), Complete: complete, Now: a.now(),
	}
	var out []*handback.Object
	for i, k := range kindsHandedBack {
		if !f.kinds[i] {
			continue
		}
		var o *handback.Object
		var err error
		switch k.kind {
		case handback.Document:
			o, err = f.sheet(a, m, one)
		case handback.Report:
			o, err = m.Text()
		default:
			o, err = m.Key(k.kind)
		}
		if err != nil {
			return nil, err
		}
		if o == nil {
			said := "no error, no warning and nothing to look at"
			if untold := concern.Untold(m.Judgement); untold != "" {
				said += "; " + untold
			}
			fmt.Fprintf(a.stdout, "%s\tnot made: %s\n", k.kind, said)
			continue
		}
		out = append(out, o)
	}
	return out, nil
}

// sheet makes the gap sheet as it is printed. What it says is taken without the moment
// of printing.
func (f *exportDICOMFlags) sheet(a *app, m *handback.Maker, one *oneStudy) (*handback.Object, error) {
	says, err := f.printed(one, time.Time{})
	if err != nil {
		return nil, err
	}
	text, err := f.printed(one, a.now())
	if err != nil {
		return nil, err
	}
	set, now := one.of.RuleSet, a.now()
	d, err := booklet.NewDocument(pdfpage.A4, booklet.Heading{
		Title: "Gap sheet", Lab: layout.OrElse(m.Source.Institution, "lab not named"), Cutoff: now.UTC().Format(time.DateOnly), Created: now.UTC().Format(time.RFC3339),
		Software: "echotally " + version, RuleSet: set.Version, Edition: set.Edition,
	}, now)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := errors.Join(d.Typed(text), d.Output(&b)); err != nil {
		return nil, err
	}
	return m.PDF(handback.Even(b.Bytes()), says)
}

// printed is the gap sheet as text.
func (f *exportDICOMFlags) printed(one *oneStudy, created time.Time) (string, error) {
	var b bytes.Buffer
	r := *one.of
	r.Created, r.Studies, r.Unread = created, 1, nil
	w := writer.GapSheet(&b, layout.Text, writer.Options{Identify: f.identify})
	if err := w.Begin(&r); err != nil {
		return "", err
	}
	leaf, err := w.Leaf(withoutPaths(one.studies[0]))
	if err == nil {
		err = errors.Join(w.Add(leaf), w.End())
	}
	return b.String(), err
}

// withoutPaths is the study with no more of the paths of its objects than their last
// element: folders are named after patients.
func withoutPaths(s *run.Study) *run.Study {
	out := *s
	out.Objects = append([]run.Object{}, s.Objects...)
	for i := range out.Objects {
		o := &out.Objects[i]
		o.Reason, o.Path = o.WithoutPath(), filepath.Base(o.Path)
	}
	return &out
}

// handBack writes, sends and posts, and says what became of each object.
func (f *exportDICOMFlags) handBack(ctx context.Context, a *app, objects []*handback.Object) error {
	if len(objects) == 0 {
		return nil
	}
	if f.to != "" {
		err := a.fill(f.to, func(dir string) error {
			for _, o := range objects {
				var b bytes.Buffer
				err := o.Write(&b)
				if err == nil {
					err = writeNew(filepath.Join(dir, string(o.Kind)+".dcm"), b.Bytes())
				}
				if err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		for _, o := range objects {
			fmt.Fprintf(a.stdout, "%s\t%s\twritten to %s\n", o.Kind, o.Instance, f.to)
		}
	}
	return errors.Join(f.sent(ctx, a, objects), f.posted(ctx, a, objects))
}

// sent sends the objects to the peer, in one association.
func (f *exportDICOMFlags) sent(ctx context.Context, a *app, objects []*handback.Object) error {
	if f.send == "" {
		return nil
	}
	peer, err := f.peer(f.send)
	if err != nil {
		return err
	}
	var offers []requestor.Offer
	offered := map[string]bool{}
	for _, o := range objects {
		if !offered[o.Class] {
			offered[o.Class] = true
			offers = append(offers, requestor.Offer{Class: o.Class, Transfer: handback.Transfer})
		}
	}
	r, err := requestor.Call(ctx, peer, offers...)
	if err != nil {
		return hinted{fmt.Errorf("%s: %w", f.send, err), "echotally export echo asks whether the peer answers"}
	}
	defer r.Close()
	lost := 0
	for _, o := range objects {
		status, err := r.Store(requestor.Outgoing{Class: o.Class, Instance: o.Instance, Encoded: o.Encoded})
		if err != nil {
			return fmt.Errorf("%s: %s: %w", f.send, o.Kind, err)
		}
		if !status.Stored() {
			lost++
		}
		fmt.Fprintf(a.stdout, "%s\t%s\t%s: %s\n", o.Kind, o.Instance, f.send, status)
	}
	return notStored(f.send, lost)
}

func notStored(where string, lost int) error {
	if lost == 0 {
		return nil
	}
	return hinted{fmt.Errorf("%s: %s not stored", where, layout.Count(lost, "object")), "the lines above say why"}
}

// posted posts the objects to the service, in one request.
func (f *exportDICOMFlags) posted(ctx context.Context, a *app, objects []*handback.Object) error {
	if f.stow == "" {
		return nil
	}
	config, err := f.tls()
	if err != nil {
		return err
	}
	service := &send.Service{URL: f.stow, Token: f.bearer, Client: &http.Client{
		Timeout: f.wait, Transport: &http.Transport{TLSClientConfig: config, Proxy: http.ProxyFromEnvironment},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, // what is posted goes where it was meant to
	}}
	var out []send.Outgoing
	for _, o := range objects {
		out = append(out, send.Outgoing{Instance: o.Instance, Write: o.Write})
	}
	is, err := service.Post(ctx, out)
	if err != nil {
		return hinted{fmt.Errorf("--stow: %w", err), "check the address, the token and the certificate"}
	}
	lost := 0
	for i, o := range objects {
		if !is[i].Stored() {
			lost++
		}
		fmt.Fprintf(a.stdout, "%s\t%s\t%s: %s\n", o.Kind, o.Instance, f.stow, is[i])
	}
	return notStored(f.stow, lost)
}
