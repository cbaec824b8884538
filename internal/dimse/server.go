package dimse

import (
	"bufio"
	ctx "context"
	"crypto/tls"
	"errors"
	"net"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// verification is the SOP class of C-ECHO (PS3.4 annex A.4).
const verification = "1.2.840.10008.1.1"

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
func (s *Server) Serve(until ctx.Context, l net.Listener) error {
	if s.TLS != nil {
		l = tls.NewListener(l, s.TLS)
	}
	var (
		wait  sync.WaitGroup
		lock  sync.Mutex
		open  = map[net.Conn]bool{}
		slots = make(chan struct{}, s.Associations)
	)
	stop := ctx.AfterFunc(until, func() {
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
			(&association{Server: s, conn: c, in: bufio.NewReaderSize(c, 64<<10), until: until}).run()
		})
	}
}

// association is one peer.
type association struct {
	*Server
	conn    net.Conn
	in      *bufio.Reader
	until   ctx.Context
	peer    *proposal
	agreed  map[byte]agreement
	request []byte   // command set so far
	now     *command // whose data set comes
	context byte     // of the message
	object  *spool.Incoming
}

// agreement is an accepted presentation context.
type agreement struct{ abstract, transfer string }

// run keeps to the state table of PS3.8 section 9.2 as far as an acceptor needs it.
func (a *association) run() {
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
		kind, body, err := readPDU(a.in)
		if err != nil {
			if errors.Is(err, errProtocol) {
				a.abort()
			}
			a.Log.Debug().Err(err).Msg("association ended")
			return
		}
		switch kind {
		case dataTransfer:
			if err := a.data(body); err != nil {
				a.Log.Warn().Err(err).Msg("association aborted")
				a.abort()
				return
			}
		case releaseRequest:
			_ = a.send(pdu(releaseReply, make([]byte, 4))) // the peer is gone anyway
			return
		case abort:
			return
		default:
			a.abort()
			return
		}
	}
}

func (a *association) send(b []byte) error {
	if err := a.conn.SetWriteDeadline(time.Now().Add(a.Idle)); err != nil {
		return err
	}
	_, err := a.conn.Write(b)
	return err
}

// abort ends by the provider, without a reason (PS3.8 section 9.3.8).
func (a *association) abort() { _ = a.send(pdu(abort, []byte{0, 0, 2, 0})) }

// Results and reasons of a rejection (PS3.8 table 9-21).
const (
	byUser          = 1
	callingUnknown  = 3
	calledUnknown   = 7
	noContext       = 2
	rejectPermanent = 1
)

func (a *association) open() error {
	_ = a.conn.SetReadDeadline(time.Now().Add(a.Opening))
	kind, body, err := readPDU(a.in)
	if err != nil {
		return err
	}
	if kind != associateRequest {
		a.abort()
		return errProtocol
	}
	p, err := parseProposal(body)
	if err != nil {
		a.abort()
		return err
	}
	reject := func(reason byte, why string) error {
		_ = a.send(pdu(associateReject, []byte{0, rejectPermanent, byUser, reason}))
		return errors.New(why)
	}
	switch {
	case p.application != applicationContext:
		return reject(noContext, "it asked for another application context than that of DICOM")
	case a.Title != "" && p.called != a.Title:
		return reject(calledUnknown, "it called another AE title than ours")
	case len(a.Allowed) > 0 && !slices.Contains(a.Allowed, p.calling):
		return reject(callingUnknown, "the calling AE title is not allowed")
	}
	a.peer, a.agreed = p, map[byte]agreement{}
	return a.send(a.accept(body))
}

// accept makes the A-ASSOCIATE-AC: of every context the first transfer syntax, since
// what comes is stored as it is.
func (a *association) accept(request []byte) []byte {
	out := append([]byte{0, 1, 0, 0}, request[4:68]...)
	out = append(out, item(applicationItem, []byte(applicationContext))...)
	for _, c := range a.peer.contexts {
		result, transfer := byte(3), "" // abstract syntax not supported
		switch known := c.abstract == verification || a.Storage(c.abstract); {
		case known && len(c.transfer) > 0 && identifier.IsUID(c.transfer[0]):
			result, transfer = 0, c.transfer[0]
			a.agreed[c.id] = agreement{c.abstract, transfer}
		case known:
			result = 4 // no transfer syntax
		}
		out = append(out, item(contextReplyItem, append([]byte{c.id, 0, result, 0}, item(transferItem, []byte(transfer))...))...)
	}
	return pdu(associateAccept, append(out, item(userItem, userInformation())...))
}
