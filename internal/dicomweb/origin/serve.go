package origin

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"time"

	"golang.org/x/net/netutil"
)

// Bounds of a connection (site choice).
const (
	opening  = 5 * time.Second // until the head of a request is there, the handshake included
	mostHead = 32 << 10
)

// Serve answers until the context ends; then requests have a second to end. Beyond so
// many connections at a time, others wait. Secured may be nil.
func (s *Store) Serve(until context.Context, l net.Listener, connections int, secured *tls.Config) error {
	server := &http.Server{
		Handler: s.Handler(), TLSConfig: secured, ReadHeaderTimeout: opening, IdleTimeout: s.Idle, MaxHeaderBytes: mostHead,
		ErrorLog: log.New(io.Discard, "", 0), // names peers and what they sent
	}
	ended := make(chan struct{})
	stop := context.AfterFunc(until, func() {
		defer close(ended)
		soon, done := context.WithTimeout(context.WithoutCancel(until), time.Second)
		defer done()
		if server.Shutdown(soon) != nil {
			_ = server.Close() // what is not whole was not acknowledged
		}
	})
	l = netutil.LimitListener(l, connections)
	var err error
	if secured != nil {
		err = server.ServeTLS(l, "", "")
	} else {
		err = server.Serve(l)
	}
	if !stop() {
		<-ended
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}
