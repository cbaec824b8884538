// Package dimse owns Verification and Storage as provider (PS3.7 section 9, PS3.4 annexes
// A and B), over the upper layer of DICOM (PS3.8 section 9). It stores what comes and
// reads no data set. Peers are not trusted, whoever called: every length is held against a
// bound before anything is allocated, every wait has an end.
package dimse

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"net"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dimse/association"
	"echotally/internal/dimse/command"
	"echotally/internal/dimse/pdu"
	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// Server is a provider of Verification and Storage.
type Server struct {
	Title   string            // its AE title; "" answers to any
	Allowed []string          // AE titles that may call; none lets all
	Storage func(string) bool // SOP classes that are taken
	Spool   *spool.Spool
	TLS     *tls.Config // nil for none
	Log     zerolog.Logger

	Idle         time.Duration // longest wait for a peer within an association
	Opening      time.Duration // longest wait for its request (ARTIM timer, PS3.8 section 9.1.5)
	Associations int           // at one time
	MostBytes    int64         // of an object
}

// Defaults of what a configuration leaves out: half a minute for a peer to say
// something and five seconds to begin, 256 associations, objects of 4 GiB (site
// choice).
const (
	DefaultIdle         = 30 * time.Second
	DefaultOpening      = 5 * time.Second
	DefaultAssociations = 256
	DefaultMostBytes    = 4 << 30
)

// retry is the pause after a connection that could not be taken (site choice).
const retry = 100 * time.Millisecond

// Serve answers until the context ends; then associations have a second to end.
func (s *Server) Serve(until context.Context, l net.Listener) error {
	if s.TLS != nil {
		l = tls.NewListener(l, s.TLS)
	}
	var (
		wait  sync.WaitGroup
		lock  sync.Mutex
		open  = map[net.Conn]bool{}
		slots = make(chan struct{}, s.Associations)
	)
	stop := context.AfterFunc(until, func() {
		l.Close()
		time.Sleep(time.Second)
		lock.Lock()
		defer lock.Unlock()
		for c := range open {
			c.Close()
		}
	})
	defer stop()
	for {
		c, err := l.Accept()
		if err != nil {
			if until.Err() != nil {
				wait.Wait()
				return nil
			}
			if timeout, ok := errors.AsType[net.Error](err); ok && timeout.Timeout() {
				continue
			}
			if errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE) {
				s.Log.Warn().Msg("association not taken: too many files are open")
				time.Sleep(retry)
				continue
			}
			return err
		}
		select {
		case slots <- struct{}{}:
		default:
			s.Log.Warn().Msg("association refused: the limit of associations at a time is reached")
			c.Close()
			continue
		}
		lock.Lock()
		open[c] = true
		lock.Unlock()
		wait.Go(func() {
			defer func() {
				lock.Lock()
				delete(open, c)
				lock.Unlock()
				c.Close()
				<-slots
			}()
			(&peer{Server: s, conn: c, in: bufio.NewReaderSize(c, 64<<10), until: until}).run()
		})
	}
}

// peer is one that called.
type peer struct {
	*Server
	conn    net.Conn
	in      *bufio.Reader
	until   context.Context
	said    *association.Proposal
	agreed  map[byte]association.Context // of the accepted ones; the first transfer syntax is used
	request []byte                       // command set so far
	now     *command.Set                 // whose data set comes
	context byte                         // of the message
	object  *spool.Incoming
}

// run keeps to the state table of PS3.8 section 9.2 as far as an acceptor needs it.
func (a *peer) run() {
	defer func() {
		if a.object != nil {
			a.object.Drop()
		}
	}()
	if err := a.open(); err != nil {
		a.Log.Info().Err(err).Msg("association not opened")
		return
	}
	for {
		_ = a.conn.SetReadDeadline(time.Now().Add(a.Idle)) // fails only on a closed connection
		kind, body, err := pdu.Read(a.in)
		if err != nil {
			if errors.Is(err, pdu.ErrProtocol) {
				a.abort()
			}
			a.Log.Debug().Err(err).Msg("association ended")
			return
		}
		switch kind {
		case pdu.DataTransfer:
			if err := a.data(body); err != nil {
				a.Log.Warn().Err(err).Msg("association aborted")
				a.abort()
				return
			}
		case pdu.ReleaseRequest:
			_ = a.send(pdu.Make(pdu.ReleaseReply, make([]byte, 4))) // the peer is gone anyway
			return
		case pdu.Abort:
			return
		default:
			a.abort()
			return
		}
	}
}

func (a *peer) send(b []byte) error {
	if err := a.conn.SetWriteDeadline(time.Now().Add(a.Idle)); err != nil {
		return err
	}
	_, err := a.conn.Write(b)
	return err
}

// abort ends by the provider, without a reason (PS3.8 section 9.3.8).
func (a *peer) abort() { _ = a.send(pdu.Make(pdu.Abort, []byte{0, 0, 2, 0})) }

func (a *peer) open() error {
	_ = a.conn.SetReadDeadline(time.Now().Add(a.Opening))
	kind, body, err := pdu.Read(a.in)
	if err != nil {
		return err
	}
	if kind != pdu.AssociateRequest {
		a.abort()
		return pdu.ErrProtocol
	}
	p, err := association.ParseProposal(body)
	if err != nil {
		a.abort()
		return err
	}
	reject := func(reason byte, why string) error {
		_ = a.send(association.Reject(reason))
		return errors.New(why)
	}
	switch {
	case p.Application != association.ApplicationContext:
		return reject(association.NoContext, "it asked for another application context than that of DICOM")
	case a.Title != "" && p.Called != a.Title:
		return reject(association.CalledUnknown, "it called another AE title than ours")
	case len(a.Allowed) > 0 && !slices.Contains(a.Allowed, p.Calling):
		return reject(association.CallingUnknown, "the calling AE title is not allowed")
	}
	a.said, a.agreed = p, map[byte]association.Context{}
	return a.send(a.accept(body))
}

// accept makes the A-ASSOCIATE-AC: of every context the first transfer syntax, since
// what comes is stored as it is.
func (a *peer) accept(request []byte) []byte {
	var answers []association.Answer
	for _, c := range a.said.Contexts {
		result, transfer := byte(3), "" // abstract syntax not supported
		switch known := c.Abstract == command.Verification || a.Storage(c.Abstract); {
		case known && len(c.Transfer) > 0 && identifier.IsUID(c.Transfer[0]):
			result, transfer = 0, c.Transfer[0]
			a.agreed[c.ID] = c
		case known:
			result = 4 // no transfer syntax
		}
		answers = append(answers, association.Answer{Context: c.ID, Result: result, Transfer: transfer})
	}
	return association.Accept(request, answers)
}
