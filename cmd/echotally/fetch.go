package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/desk"
	"echotally/internal/dicomweb/archive"
	"echotally/internal/dicomweb/fetch"
	"echotally/internal/dicomweb/request"
	"echotally/internal/library"
	"echotally/internal/spool"
)

// fetchFlags are the flags of fetch.
type fetchFlags struct {
	ledgerFlags
	archive, from, to           string
	spool, state, modality      string
	reportsOnly, whole, record  bool
	most                        int
	rate                        float64
	credentials, authorities    string
	certificate, certificateKey string
}

func newFetchCommand(a *app) *cobra.Command {
	f := &fetchFlags{}
	cmd := &cobra.Command{
		Use:   "fetch",
		Short: "Fetch the reports of some days from an archive",
		Long: `Fetch structured reports, and the headers of ultrasound images, of the studies of some
days from an archive by DICOMweb (QIDO-RS, WADO-RS) into the spool, as if scanners had
sent them: serve records what lies there, and so does --record. A study is one that
holds a series of --modality; its SR and US series are fetched. Of an image, what comes
from the pixels on is neither fetched nor kept where that can be helped.

What was fetched is noted in a file and not fetched again, so that a run that was
stopped goes on, and the next one takes what is new. The archive is asked for one
thing at a time, --rate times a second at most, and again later when it is busy. No
storage commitment is asked for: the archive stays the place where objects are kept.

Who asks is shown by a token or by name and password, which a file (--credentials,
YAML with the lines token, or user and password) or the environment holds:
ECHOTALLY_FETCH_TOKEN, or ECHOTALLY_FETCH_USER and ECHOTALLY_FETCH_PASSWORD. Other
machines than this one are asked by https only.`,
		Example: `  echotally fetch --dicomweb https://archive.example.org/dicomweb --from 2026-10-01 --to 2026-10-31
  echotally fetch --dicomweb https://archive.example.org/dicomweb --from 2026-10-01 --to 2026-10-31 --reports-only --record --store lab.db --key /secure/echotally.key`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.archive, "dicomweb", "", "URL of the archive, up to what comes before /studies")
	flags.StringVar(&f.from, "from", "", "first study date, such as 2026-10-01")
	flags.StringVar(&f.to, "to", "", "last study date")
	flags.StringVar(&f.spool, "spool", "echotally-spool", "folder to fetch into, as that of serve")
	flags.StringVar(&f.state, "state", "", "file that notes what was fetched (default: fetched in the spool)")
	flags.StringVar(&f.modality, "modality", "US", "modality a study has to hold a series of")
	flags.BoolVar(&f.reportsOnly, "reports-only", false, "fetch no images")
	flags.BoolVar(&f.whole, "whole-images", false, "fetch images with their pixels")
	flags.BoolVar(&f.record, "record", false, "record each study in the ledger as it has come; not while serve has the same spool")
	flags.IntVar(&f.most, "most", 50_000, "objects of one run, at most")
	flags.Float64Var(&f.rate, "rate", 5, "requests a second, at most")
	flags.StringVar(&f.credentials, "credentials", "", "file with token, or user and password")
	flags.StringVar(&f.authorities, "authorities", "", "PEM file of who certifies the archive (default: those of the system)")
	flags.StringVar(&f.certificate, "certificate", "", "PEM file of the certificate to show")
	flags.StringVar(&f.certificateKey, "certificate-key", "", "PEM file of its key")
	return cmd
}

// unusable is a fault of what was asked for.
func unusable(what, hint string) error { return faults{hinted{errors.New(what), hint}} }

func (f *fetchFlags) run(ctx context.Context, a *app) error {
	from, wrong := time.Parse(time.DateOnly, f.from)
	to, worse := time.Parse(time.DateOnly, f.to)
	switch {
	case wrong != nil || worse != nil || to.Before(from):
		return unusable("--from and --to do not give a period", "two dates such as 2026-10-01, the earlier first")
	case f.most < 1 || f.rate <= 0 || f.rate > 1000:
		return unusable("--most or --rate is out of range", "at least one object, up to 1000 requests a second")
	}
	asked, err := f.ask()
	if err != nil {
		return err
	}
	objects := &spool.Spool{Dir: f.spool, Check: received}
	defer objects.Close()
	err = objects.Make("fetch")
	if err == nil && f.record {
		err = objects.Record()
	}
	if err != nil {
		return spoolFault(f.spool, err)
	}
	if f.state == "" {
		f.state = filepath.Join(f.spool, "fetched")
	}
	done, err := fetch.OpenDone(f.state)
	if err != nil {
		return hinted{fmt.Errorf("state: %w", err), "--state names a file that may be written to"}
	}
	defer done.Close()
	fetch := &fetch.Fetch{
		Archive: asked, Spool: objects, Modality: f.modality, Images: !f.reportsOnly, Whole: f.whole, MostBytes: mostFetched, Most: f.most, Done: done,
		Failed: func(err error) { fmt.Fprintf(a.stderr, "not fetched: %v\n", err) },
	}
	if f.record {
		end, err := f.recording(ctx, a, fetch)
		if err != nil {
			return err
		}
		defer end()
	}
	out, err := fetch.Run(ctx, from, to)
	fmt.Fprintf(a.stdout, "fetched\t%d studies\t%d objects\t%d known\t%d in the quarantine\t%d not fetched\n", out.Studies, out.Objects, out.Known, out.Apart, out.Failed)
	switch {
	case ctx.Err() != nil:
		fmt.Fprintln(a.stderr, "echotally: interrupted; the same command goes on from here")
		return outcome(exitInterrupted)
	case err != nil:
		return hinted{err, "the same command goes on from here"}
	case out.Stopped:
		fmt.Fprintf(a.stderr, "echotally: stopped after %d objects (--most); the same command goes on from here\n", f.most)
		return outcome(exitIncomplete)
	case out.Failed+out.Apart > 0:
		return outcome(exitIncomplete)
	}
	return nil
}

// mostFetched bounds an object (site choice).
const mostFetched = 4 << 30

// recording has each study recorded when it has come.
func (f *fetchFlags) recording(ctx context.Context, a *app, fetch *fetch.Fetch) (end func(), err error) {
	set, err := a.ruleSet(library.Settings{})
	if err != nil {
		return nil, err
	}
	ledger, err := f.ledgerFlags.open(ctx, a, true)
	if err != nil {
		return nil, err
	}
	d, done, err := a.desk(set, true)
	if err != nil {
		return nil, errors.Join(err, ledger.Close())
	}
	d.Progress = nil // what is left is not known
	r := &recorder{app: a, set: set, ledger: ledger}
	record := &desk.Recorder{Desk: d, Ledger: ledger, Tell: r.tell, Failed: r.failed}
	in := desk.Inbox{Waiting: fetch.Spool.Waiting(), Recorded: fetch.Spool.Recorded()}
	fetch.Study = func(ctx context.Context) error { return record.Rested(ctx, in) }
	return func() { done(); ledger.Close() }, nil
}

// ask makes ready to ask the archive.
func (f *fetchFlags) ask() (*archive.Archive, error) {
	to, err := url.Parse(f.archive)
	switch {
	case err != nil || to.Host == "" || to.RawQuery != "":
		return nil, unusable("--dicomweb is not the URL of an archive", "such as https://archive.example.org/dicomweb")
	case to.User != nil:
		return nil, unusable("--dicomweb holds a password", "everybody on this machine sees it; use --credentials or the environment")
	case to.Scheme != "https" && (to.Scheme != "http" || !loopback(to.Hostname())):
		return nil, unusable("--dicomweb has to begin with https://", "http:// is for an archive on this machine only")
	}
	authorize, err := f.who()
	if err != nil {
		return nil, err
	}
	secured, err := callsBy(pemFile{"--authorities", f.authorities}, pemFile{"--certificate", f.certificate}, pemFile{"--certificate-key", f.certificateKey})
	if err != nil {
		return nil, err
	}
	return &archive.Archive{
		Client: request.Client{
			URL: to, Authorize: authorize, Pause: time.Duration(float64(time.Second) / f.rate), Backoff: request.DefaultBackoff, Tries: request.DefaultTries, Longest: request.DefaultLongest,
			HTTP: &http.Client{
				Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: secured, ResponseHeaderTimeout: time.Minute, TLSHandshakeTimeout: 10 * time.Second},
				CheckRedirect: func(r *http.Request, before []*http.Request) error {
					if len(before) > 3 || r.URL.Host != to.Host || r.URL.Scheme != to.Scheme {
						return errors.New("the archive redirects to another address, which is not followed")
					}
					return nil
				},
			},
		},
		Page: archive.DefaultPage, MostPage: archive.DefaultMostPage, MostFound: archive.DefaultMostFound,
	}, nil
}

// who adds to a request what shows who asks; nil for nobody.
func (f *fetchFlags) who() (func(*http.Request), error) {
	c := struct {
		Token    string `yaml:"token"`
		User     string `yaml:"user"`
		Password string `yaml:"password"`
	}{os.Getenv("ECHOTALLY_FETCH_TOKEN"), os.Getenv("ECHOTALLY_FETCH_USER"), os.Getenv("ECHOTALLY_FETCH_PASSWORD")}
	if f.credentials != "" {
		src, err := bound.ReadFile(os.DirFS(filepath.Dir(f.credentials)), filepath.Base(f.credentials))
		if err != nil || datafile.Decode(f.credentials, src, &c) != nil { // the fault would show the line
			return nil, unusable("--credentials cannot be read", "YAML with the line token, or the lines user and password")
		}
	}
	switch {
	case c.Token != "" && c.User != "":
		return nil, unusable("both a token and a user are given", "give one of them")
	case c.Token != "":
		return func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+c.Token) }, nil
	case c.User != "":
		return func(r *http.Request) { r.SetBasicAuth(c.User, c.Password) }, nil
	}
	return nil, nil
}
