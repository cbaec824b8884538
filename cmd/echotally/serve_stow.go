package main

import (
	"context"
	"fmt"
	"net"

	"echotally/internal/dicomweb/origin"
)

// stowSection is what the configuration says of objects that are stored over the web.
type stowSection struct {
	Listen           string   `yaml:"listen"`
	TokenFile        string   `yaml:"tokenFile"`
	Connections      int      `yaml:"connections"`
	IdleSeconds      float64  `yaml:"idleSeconds"`
	ObjectMegabytes  int      `yaml:"objectMegabytes"`
	RequestMegabytes int      `yaml:"requestMegabytes"`
	TLS              tlsFiles `yaml:"tls"`
}

func (*stowSection) example() string {
	return `stow:                       # DICOMweb: objects are posted to /dicomweb/studies (STOW-RS)
  listen: ""                # address and port, such as 127.0.0.1:8104; empty for none
  tokenFile: ""             # file with the token a sender has to show (Bearer)
  connections: 64           # at one time
  idleSeconds: 30           # longest wait for a sender within a request
  objectMegabytes: 4096     # of one object
  requestMegabytes: 8192    # of one request
  tls:                      # beyond this machine needed, with a token or clients
    certificate: ""
    key: ""
    clients: ""
`
}

func (w *stowSection) check() error {
	if w.Listen == "" {
		return nil
	}
	host, _, err := net.SplitHostPort(w.Listen)
	switch {
	case err != nil:
		return misconfigured("stow.listen has to be an address with a port", "such as 127.0.0.1:8104")
	case w.Connections < 1 || w.Connections > 10_000:
		return misconfigured("stow.connections is not between 1 and 10,000", "")
	case w.IdleSeconds < 1 || w.IdleSeconds > 3600:
		return misconfigured("stow.idleSeconds is not between 1 and 3,600", "")
	case w.ObjectMegabytes < 1 || w.ObjectMegabytes > w.RequestMegabytes || w.RequestMegabytes > 1_000_000:
		return misconfigured("stow.objectMegabytes and stow.requestMegabytes do not fit together", "from 1 to 1,000,000, an object no larger than a request")
	}
	if err := w.guarded(host); err != nil {
		return err
	}
	if _, err := w.token(); err != nil {
		return err
	}
	_, err = w.TLS.config("stow.tls")
	return err
}

// guarded reports a service that others than this machine reach, and that anybody
// could store to or listen to.
func (w *stowSection) guarded(host string) error {
	if loopback(host) {
		return nil
	}
	if w.TLS == (tlsFiles{}) || w.TokenFile == "" && w.TLS.Clients == "" {
		return misconfigured("stow.listen is open to other machines without protection", "give stow.tls a certificate and key, and a tokenFile or clients")
	}
	return nil
}

// token is what senders have to show, "" for nothing.
func (w *stowSection) token() (string, error) {
	if w.TokenFile == "" {
		return "", nil
	}
	return secretOf("stow.tokenFile", w.TokenFile)
}

// secretOf reads a file that holds one secret in one line. Key names it in the
// configuration.
func secretOf(key, name string) (string, error) { return lineOf(key, name, 16) }

// lineOf reads a file of one line with at least so many characters.
func lineOf(key, name string, least int) (string, error) {
	secret, err := secretIn(name, least)
	if err != nil {
		return "", misconfigured(key+" "+err.Error(), fmt.Sprintf("a file with one line of at least %d characters", least))
	}
	return secret, nil
}

func (w *stowSection) says() string {
	if w.Listen == "" {
		return ""
	}
	out := "STOW-RS on " + w.Listen + origin.Base + "/studies" + w.TLS.says()
	if w.TokenFile != "" {
		out += " with a token"
	}
	return out
}

const megabyte = 1_000_000

// mostStored is how many objects one request may store.
const mostStored = 5000

func (w *stowSection) begin(ctx context.Context, s *serving) error {
	if w.Listen == "" {
		return nil
	}
	token, err := w.token()
	if err != nil {
		return err
	}
	secured, err := w.TLS.config("stow.tls")
	if err != nil {
		return err
	}
	listener, err := s.listen("STOW-RS", "stow.listen", w.Listen)
	if err != nil {
		return err
	}
	store := &origin.Store{
		Spool: s.spool, Storage: stored, Token: token, Log: s.record.Log, Idle: seconds(w.IdleSeconds),
		MostBytes: int64(w.ObjectMegabytes) * megabyte, MostRequest: int64(w.RequestMegabytes) * megabyte, MostObjects: mostStored,
	}
	s.group.Go(func() error { return store.Serve(ctx, listener, w.Connections, secured) })
	return nil
}
