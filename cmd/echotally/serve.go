package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"echotally/internal/datafile"
	"echotally/internal/dcm"
	"echotally/internal/desk"
	"echotally/internal/dimse"
	"echotally/internal/library"
	"echotally/internal/sr"
)

// serveExample is a configuration that says what holds without one.
const serveExample = `# Receivers of echotally serve; a line that is left out keeps its value.
dicom:
  listen: 127.0.0.1:11112   # address and port; 0.0.0.0:11112 for all of this machine
  title: ""                 # own AE title; empty answers to any
  allow: []                 # AE titles that may call; empty lets all call
  associations: 256         # at one time
  idleSeconds: 30           # longest wait for a peer within an association
  tls:
    certificate: ""         # PEM file; empty for no TLS
    key: ""                 # PEM file
    clients: ""             # PEM file of authorities; peers must show a certificate by one of them
spool: echotally-spool      # where objects lie until they are recorded, and after
quietSeconds: 30            # how long nothing of a study must have come before it is recorded
`

// serveConfig is the file as written.
type serveConfig struct {
	DICOM struct {
		Listen       string   `yaml:"listen"`
		Title        string   `yaml:"title"`
		Allow        []string `yaml:"allow"`
		Associations int      `yaml:"associations"`
		IdleSeconds  float64  `yaml:"idleSeconds"`
		TLS          struct {
			Certificate string `yaml:"certificate"`
			Key         string `yaml:"key"`
			Clients     string `yaml:"clients"`
		} `yaml:"tls"`
	} `yaml:"dicom"`
	Spool        string  `yaml:"spool"`
	QuietSeconds float64 `yaml:"quietSeconds"`
}

// serveFlags are the flags of serve.
type serveFlags struct {
	ledgerFlags
	config string
}

func newServeCommand(a *app) *cobra.Command {
	f := &serveFlags{}
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Receive reports and images from scanners",
		Long: `Receive structured reports and ultrasound images from scanners by DICOM (Storage and
Verification, as provider) and record each study in the ledger once nothing of it has
come for a while, and again when something comes later. An object is acknowledged
when it is whole and on the disk; one that cannot be read goes to the folder
quarantine of the spool, with the reason, and the scanner is told. What is recorded
moves to the folder recorded; nothing is deleted. No image is looked at but its header.

Receivers, spool and times are in a file that --config names. This one says what
holds without it; ECHOTALLY_LISTEN, ECHOTALLY_TITLE and ECHOTALLY_SPOOL in the
environment win over the file:

  ` + strings.ReplaceAll(strings.TrimSpace(serveExample), "\n", "\n  ") + `

` + exitTable,
		Example: "  echotally serve --config serve.yaml --store lab.db --key /secure/echotally.key\n  echotally serve check --config serve.yaml",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addKey(cmd)
	cmd.PersistentFlags().StringVar(&f.config, "config", "", "configuration file")
	cmd.AddCommand(&cobra.Command{
		Use:     "check",
		Short:   "Check a configuration without serving",
		Long:    "Read the configuration, its certificates and the environment, and say what would be served.\n\n" + exitTable,
		Example: "  echotally serve check --config serve.yaml",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := f.read()
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "DICOM on %s%s, spool %s, studies recorded after %g quiet seconds\n", c.DICOM.Listen, map[bool]string{true: " with TLS"}[c.DICOM.TLS.Certificate != ""], c.Spool, c.QuietSeconds)
			return err
		},
	})
	return cmd
}

// read reads the configuration; what it leaves out keeps its value.
func (f *serveFlags) read() (*serveConfig, error) {
	c := &serveConfig{}
	if err := datafile.Decode("example", []byte(serveExample), c); err != nil {
		return nil, err
	}
	if f.config != "" {
		src, err := datafile.ReadFile(os.DirFS(filepath.Dir(f.config)), filepath.Base(f.config))
		if err != nil {
			return nil, faults{hinted{fmt.Errorf("configuration: %w", err), "echotally serve --help prints an example"}}
		}
		if err := datafile.Decode(f.config, src, c); err != nil {
			return nil, faults{err}
		}
	}
	for name, to := range map[string]*string{"ECHOTALLY_LISTEN": &c.DICOM.Listen, "ECHOTALLY_TITLE": &c.DICOM.Title, "ECHOTALLY_SPOOL": &c.Spool} {
		if value := os.Getenv(name); value != "" {
			*to = value
		}
	}
	return c, c.check()
}

func (c *serveConfig) check() error {
	wrong := func(what, hint string) error {
		return faults{hinted{errors.New("configuration: " + what), hint}}
	}
	if _, _, err := net.SplitHostPort(c.DICOM.Listen); err != nil {
		return wrong("dicom.listen is no address with a port", "such as 127.0.0.1:11112")
	}
	for _, title := range append([]string{c.DICOM.Title}, c.DICOM.Allow...) {
		if len(title) > 16 || strings.ContainsFunc(title, func(r rune) bool { return r < ' ' || r > '~' || r == '\\' }) {
			return wrong("an AE title has up to 16 characters of ASCII", "as it is set at the scanner")
		}
	}
	switch {
	case c.DICOM.Associations < 1 || c.DICOM.Associations > 10_000:
		return wrong("dicom.associations is not between 1 and 10,000", "")
	case c.DICOM.IdleSeconds < 1 || c.DICOM.IdleSeconds > 3600:
		return wrong("dicom.idleSeconds is not between 1 and 3,600", "")
	case c.QuietSeconds < 0 || c.QuietSeconds > 86_400:
		return wrong("quietSeconds is not between 0 and 86,400", "")
	case c.Spool == "":
		return wrong("there is no spool", "name a folder that is only for it")
	}
	_, err := c.secured()
	return err
}

// secured is what TLS needs, nil for none.
func (c *serveConfig) secured() (*tls.Config, error) {
	t := c.DICOM.TLS
	if t.Certificate == "" && t.Key == "" && t.Clients == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(t.Certificate, t.Key)
	if err != nil {
		return nil, faults{hinted{errors.New("configuration: certificate and key cannot be read, or do not belong together"), "dicom.tls.certificate and dicom.tls.key are PEM files"}}
	}
	out := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	if t.Clients != "" {
		pem, err := os.ReadFile(t.Clients)
		out.ClientCAs = x509.NewCertPool()
		if err != nil || !out.ClientCAs.AppendCertsFromPEM(pem) {
			return nil, faults{hinted{errors.New("configuration: no certificate of an authority in dicom.tls.clients"), "a PEM file"}}
		}
		out.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return out, nil
}

// pace is how often the spool is looked through.
const pace = 200 * time.Millisecond

func (f *serveFlags) run(ctx context.Context, a *app) error {
	c, err := f.read()
	if err != nil {
		return err
	}
	secured, err := c.secured()
	if err != nil {
		return err
	}
	set, err := a.ruleSet(library.Settings{})
	if err != nil {
		return err
	}
	ledger, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer ledger.Close()
	d, done, err := a.desk(set, true)
	if err != nil {
		return err
	}
	defer done()
	spool := &dimse.Spool{Dir: c.Spool, Check: received}
	if err := spool.Make(); err != nil {
		return hinted{fmt.Errorf("spool: %w", err), "check that the folder may be written to"}
	}
	listener, err := net.Listen("tcp", c.DICOM.Listen)
	if err != nil {
		return hinted{fmt.Errorf("listen: %w", err), "another program may have the port; dicom.listen names another"}
	}
	r := &recorder{app: a, set: set, ledger: ledger}
	record := &desk.Recorder{Desk: d, Ledger: ledger, Tell: r.tell, Failed: r.failed}
	server := &dimse.Server{
		Title: c.DICOM.Title, Allowed: c.DICOM.Allow, Storage: stored, Spool: spool, TLS: secured, Log: d.Log, Idle: time.Duration(c.DICOM.IdleSeconds * float64(time.Second)),
		Opening: dimse.DefaultOpening, Associations: c.DICOM.Associations, MostBytes: dimse.DefaultMostBytes,
	}
	if _, err := fmt.Fprintf(a.stdout, "serving\tDICOM\t%s\n", listener.Addr()); err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return server.Serve(ctx, listener) })
	group.Go(func() error {
		return record.Inbox(ctx, desk.Inbox{
			Waiting: filepath.Join(c.Spool, dimse.Waiting), Recorded: filepath.Join(c.Spool, "recorded"), Quiet: time.Duration(c.QuietSeconds * float64(time.Second)), Pace: pace,
		})
	})
	err = group.Wait()
	if errors.Is(err, context.Canceled) {
		err = nil // what lies in the spool is taken at the next start
	}
	return err
}

// stored says which SOP classes are taken: structured reports and ultrasound images
// (PS3.4 annex B.5), also by their retired classes.
func stored(class string) bool {
	switch class {
	case "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1", "1.2.840.10008.5.1.4.1.1.6", "1.2.840.10008.5.1.4.1.1.3", "1.2.840.10008.5.1.4.1.1.6.2":
		return true
	}
	return sr.IsStructuredReport(class)
}

// received looks at an object that has come: a report has to be one that can be read.
func received(path string) (study string, status dimse.Status, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", dimse.OutOfResources, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", dimse.OutOfResources, err
	}
	is, err := dcm.Identify(f, info.Size())
	if err != nil {
		return "", dimse.CannotUnderstand, errors.New("not a DICOM object that can be read")
	}
	if !is.Report() {
		return is.StudyInstanceUID, dimse.Success, nil
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return "", dimse.OutOfResources, err
	}
	file, err := dcm.ReadBytes(content)
	if err != nil {
		return "", dimse.CannotUnderstand, err
	}
	defer file.Release()
	if _, err := sr.Parse(file); err != nil {
		return "", dimse.CannotUnderstand, err
	}
	return is.StudyInstanceUID, dimse.Success, nil
}
