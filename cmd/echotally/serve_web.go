package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/trail"
	"echotally/internal/web"
	"echotally/internal/web/access"
	"echotally/internal/web/frame"
	"echotally/internal/web/health"
	"echotally/internal/web/study"
	"echotally/internal/web/upload"
)

// webSection is the section of the configuration for the page the lab works in.
type webSection struct {
	Listen          string   `yaml:"listen"`
	TLS             tlsFiles `yaml:"tls"`
	Proxy           bool     `yaml:"proxy"`
	Accounts        string   `yaml:"accounts"`
	Log             string   `yaml:"log"`
	IdleMinutes     float64  `yaml:"idleMinutes"`
	UploadMegabytes int      `yaml:"uploadMegabytes"`
	Backups         string   `yaml:"backups"`
	OIDC            oidcPart `yaml:"oidc"`
	Settings        string   `yaml:"settings"`
}

func (*webSection) example() string {
	return `web:                        # the page the lab works in
  listen: 127.0.0.1:8470    # address and port; empty for no page
  tls:                      # needed for any other address than this machine's own
    certificate: ""         # PEM file
    key: ""                 # PEM file
    clients: ""             # PEM file of authorities; browsers must show a certificate by one of them
  proxy: false              # a proxy in front speaks TLS and adds X-Forwarded-For
  accounts: echotally-accounts.json
  log: echotally-access.log # who saw what, and when
  idleMinutes: 60           # after which who does nothing is signed out
  uploadMegabytes: 512      # most that may be sent to be checked at a time
  backups: ""               # folder of backups, of which the newest is told
  settings: ""              # the lab's settings file, which echotally audit takes by --settings
` + oidcExample
}

// longestSession ends a session in any case (site choice).
const longestSession = 12 * time.Hour

func (c *webSection) check() error {
	if c.Listen == "" {
		return nil
	}
	host, _, err := net.SplitHostPort(c.Listen)
	switch {
	case err != nil:
		return misconfigured("web.listen has to be an address with a port", "such as 127.0.0.1:8470, or empty for no page")
	case !loopback(host) && c.TLS == (tlsFiles{}) && !c.Proxy:
		return misconfigured("web.listen is open to others without TLS", "name a certificate in web.tls, or say web.proxy: true when a proxy in front speaks TLS")
	case c.Accounts == "" || c.Log == "":
		return misconfigured("web.accounts and web.log each name a file", "the page is not served without them")
	case c.IdleMinutes < 1 || c.IdleMinutes > longestSession.Minutes():
		return misconfigured("web.idleMinutes is not between 1 and 720", "")
	case c.UploadMegabytes < 1 || c.UploadMegabytes > 65_536:
		return misconfigured("web.uploadMegabytes is not between 1 and 65,536", "")
	}
	if _, err = c.TLS.config("web.tls"); err != nil {
		return err
	}
	return c.OIDC.check()
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func (c *webSection) says() string {
	if c.Listen == "" {
		return ""
	}
	return "page on " + c.Listen + c.TLS.says()
}

// servedPage is the page, ready to be served.
type servedPage struct {
	site     *frame.Site
	listener net.Listener
	closers  []io.Closer
}

func (c *webSection) begin(ctx context.Context, s *serving) error {
	if c.Listen == "" {
		return nil
	}
	secured, err := c.TLS.config("web.tls")
	if err != nil {
		return err
	}
	p, err := c.open(s)
	if err != nil {
		return err
	}
	p.site.Secure, p.site.Proxied = secured != nil || c.Proxy, c.Proxy
	invented := &inventedLab{work: s.rules.work}
	p.site.Invent, p.closers = invented.make, append(p.closers, invented)
	pages := &web.Pages{Access: &access.Pages{}, Study: &study.Pages{}, Upload: &upload.Pages{}, Health: &health.Pages{
		Spool: s.spool, Receivers: receiversOf(s.config), Rules: s.rules.shown, Renew: s.rules.renew, Backups: c.Backups, Folders: map[string]string{"spool": s.spool.Dir, "accounts and access log": filepath.Dir(c.Log)},
	}}
	if err := c.labPages(s, pages); err != nil {
		return err
	}
	p.closers = append(p.closers, pages.Upload)
	if pages.Access.Other, err = c.OIDC.provider(); err != nil {
		return err
	}
	code := ""
	if p.site.Accounts.Empty() {
		pages.Access.First, code = session.NewOnce()
	}
	if err := p.site.Start(pages.Table(), web.Templates()...); err != nil {
		return err
	}
	if p.listener, err = s.listen("web", "web.listen", c.Listen); err != nil {
		return err
	}
	if secured != nil {
		p.listener = tls.NewListener(p.listener, secured)
	}
	if code != "" {
		scheme := map[bool]string{true: "https", false: "http"}[secured != nil]
		if _, err := fmt.Fprintf(s.stdout, "serving\tfirst account\t%s://%s/first/%s\n", scheme, p.listener.Addr(), code); err != nil {
			return err
		}
	}
	s.group.Go(func() error { defer p.close(); defer pages.Health.Close(); return serveUntil(ctx, p.listener, p.site) })
	return nil
}

// open opens what the page keeps beside the ledger.
func (c *webSection) open(s *serving) (*servedPage, error) {
	accounts, err := account.Open(c.Accounts, s.now)
	if err != nil {
		return nil, hinted{err, "web.accounts names the file"}
	}
	if host, _, _ := net.SplitHostPort(c.Listen); accounts.Empty() && !loopback(host) && c.OIDC.Issuer == "" {
		return nil, misconfigured("nobody has an account for the page yet", "serve it once with web.listen on 127.0.0.1 and make the first account there")
	}
	seen, err := trail.Open(c.Log, s.now)
	if err != nil {
		return nil, hinted{err, "web.log names the file; nothing is shown that cannot be logged"}
	}
	return &servedPage{closers: []io.Closer{seen}, site: &frame.Site{
		Lab: &frame.Lab{Ledger: s.ledger, Key: s.key, Work: s.rules.work}, Accounts: accounts, Trail: seen, Log: s.record.Log, Now: s.now, Software: "echotally " + version,
		Sessions: &session.Sessions{Idle: time.Duration(c.IdleMinutes * float64(time.Minute)), Most: longestSession, Now: s.now}, Upload: int64(c.UploadMegabytes) << 20,
	}}, nil
}

// receiversOf says where a scanner may send to, in words for who sets it up.
func receiversOf(c *serveConfig) []health.Receiver {
	host, port, err := net.SplitHostPort(c.DICOM.Listen)
	if err != nil {
		return nil
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host, _ = os.Hostname()
	}
	return []health.Receiver{{Kind: "DICOM", Host: host, Port: port, Title: c.DICOM.Title}}
}

// serveUntil answers until the context ends; then requests have a second to end, and
// none goes on after it returns.
func serveUntil(ctx context.Context, l net.Listener, site http.Handler) error {
	server := &http.Server{
		Handler: site, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		ErrorLog:    log.New(io.Discard, "", 0), // what peers do wrong is no event of ours
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	ended := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(ended)
		last, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = server.Shutdown(last)
		_ = server.Close()
	})
	err := server.Serve(l)
	if !stop() {
		<-ended // what they write to is closed after this
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

func (p *servedPage) close() {
	_ = p.site.Close()
	for _, c := range p.closers {
		_ = c.Close()
	}
}
