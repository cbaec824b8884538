// Package requestor owns Verification and Storage as requestor (PS3.7 section 9, PS3.4
// annexes A and B): calling a peer, asking whether it answers, sending objects to it. It
// reads no data set. The peer is not trusted, though it was called: every wait has an end.
package requestor

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"slices"
	"time"

	"echotally/internal/dimse/association"
	"echotally/internal/dimse/command"
	"echotally/internal/dimse/pdu"
	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// Peer is whom a requestor calls.
type Peer struct {
	Address string // host and port
	Called  string // its AE title
	Calling string // our own AE title
	TLS     *tls.Config

	Connect time.Duration // longest wait for a connection and for the association
	Idle    time.Duration // longest wait for an answer, or for the peer to take more
}

// DefaultConnect is how long a peer is waited for unless asked otherwise (site choice).
const DefaultConnect = 10 * time.Second

// Offer is a SOP class with the transfer syntaxes in which its objects can be sent, the
// preferred first. Each is proposed in a context of its own, so that a peer may take
// several.
type Offer struct {
	Class    string
	Transfer []string
}

// Verify is the offer of Verification.
func Verify() Offer {
	return Offer{Class: command.Verification, Transfer: []string{implicitLittleEndian}}
}

// implicitLittleEndian is the transfer syntax everybody knows (PS3.5 section 10.1).
const implicitLittleEndian = "1.2.840.10008.1.2"

// Outgoing is an object to be sent. Encoded gives its data set, without file meta
// information, in a transfer syntax of its offer.
type Outgoing struct {
	Class, Instance string
	Encoded         func(transfer string) ([]byte, error)
}

// Requestor is an association that was asked for and accepted. It is for one goroutine.
type Requestor struct {
	conn     net.Conn
	in       *bufio.Reader
	idle     time.Duration
	proposed []association.Context
	agreed   *association.Acceptance
	message  uint16
	stop     func() bool // ends the watch on the context
}

// errRefused is a peer that does not want the association.
var errRefused = errors.New("the peer refuses the association")

// Call opens an association with a peer. When the context ends, so does the
// association, whatever it waits for.
func Call(until context.Context, p Peer, offers ...Offer) (*Requestor, error) {
	dialer := &net.Dialer{Timeout: p.Connect}
	line, err := dialer.DialContext(until, "tcp", p.Address)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	stop := context.AfterFunc(until, func() { line.Close() }) // at once: a TLS connection would say farewell first
	conn := line
	if p.TLS != nil {
		conn = tls.Client(line, p.TLS)
	}
	r, err := associate(conn, p, stop, offers...)
	if err != nil && until.Err() != nil {
		err = until.Err()
	}
	return r, err
}

// associate opens an association on a connection, which is closed when there is none.
func associate(conn net.Conn, p Peer, stop func() bool, offers ...Offer) (*Requestor, error) {
	r := &Requestor{conn: conn, in: bufio.NewReader(conn), idle: p.Connect, stop: stop}
	var err error
	if r.proposed, err = propose(offers); err == nil {
		err = r.open(p)
	}
	if err != nil {
		r.end()
		return nil, err
	}
	r.idle = p.Idle
	return r, nil
}

// propose numbers the contexts.
func propose(offers []Offer) ([]association.Context, error) {
	var out []association.Context
	for _, o := range offers {
		for _, t := range o.Transfer {
			c := association.Context{ID: byte(2*len(out) + 1), Abstract: o.Class, Transfer: []string{t}}
			if len(out) == association.MostContexts || !identifier.IsUID(o.Class) || !identifier.IsUID(t) {
				return nil, fmt.Errorf("too many kinds of object for one association (at most %d presentation contexts), or one without a valid UID", association.MostContexts)
			}
			out = append(out, c)
		}
	}
	return out, nil
}

func (r *Requestor) open(p Peer) error {
	for _, one := range [][2]string{{"called", p.Called}, {"calling", p.Calling}} {
		if !association.IsTitle(one[1]) {
			return fmt.Errorf("the %s AE title is not 1 to 16 characters of ASCII", one[0])
		}
	}
	r.wait()
	if err := r.send((&association.Proposal{Called: p.Called, Calling: p.Calling, Contexts: r.proposed}).PDU()); err != nil {
		return fmt.Errorf("send the association request: %w", err)
	}
	kind, body, err := pdu.Read(r.in)
	switch {
	case err != nil:
		return fmt.Errorf("no answer to the association request: %w", err)
	case kind == pdu.AssociateReject:
		if why := association.Rejected(body); why != "" {
			return fmt.Errorf("%w, %s", errRefused, why)
		}
		return errRefused
	case kind == pdu.Abort:
		return fmt.Errorf("%w: it aborted", errRefused)
	case kind != pdu.AssociateAccept:
		r.abort()
		return fmt.Errorf("a PDU of type %02X came instead of an answer to the association request: %w", kind, pdu.ErrProtocol)
	}
	if r.agreed, err = association.ParseAcceptance(body); err != nil {
		r.abort()
		return err
	}
	for id, transfer := range r.agreed.Transfer {
		if c := r.context(id); c == nil || !slices.Contains(c.Transfer, transfer) {
			r.abort()
			return fmt.Errorf("the peer accepted a presentation context that was not proposed: %w", pdu.ErrProtocol)
		}
	}
	return nil
}

// context gives a proposed context, nil for none.
func (r *Requestor) context(id byte) *association.Context {
	for i := range r.proposed {
		if r.proposed[i].ID == id {
			return &r.proposed[i]
		}
	}
	return nil
}

// Accepted gives the transfer syntax in which objects of a class are sent, "" when the
// peer takes none of those offered.
func (r *Requestor) Accepted(class string) string {
	_, transfer := r.accepted(class)
	return transfer
}

func (r *Requestor) accepted(class string) (id byte, transfer string) {
	for _, c := range r.proposed {
		if t, ok := r.agreed.Transfer[c.ID]; ok && c.Abstract == class {
			return c.ID, t
		}
	}
	return 0, ""
}

// Echo asks the peer whether it answers (PS3.7 section 9.1.5).
func (r *Requestor) Echo() error {
	id, transfer := r.accepted(command.Verification)
	if transfer == "" {
		return errors.New("the peer does not accept Verification (C-ECHO)")
	}
	status, err := r.exchange(id, command.Set{Class: command.Verification, Field: command.EchoRequest, DataSet: command.NoDataSet}, nil)
	if err == nil && status != spool.Success {
		err = fmt.Errorf("the peer answers with status %04X", uint16(status))
	}
	return err
}

// Store sends an object. The status is the peer's; the error says that there is none,
// and that the association is of no more use.
func (r *Requestor) Store(o Outgoing) (spool.Status, error) {
	if !identifier.IsUID(o.Class) || !identifier.IsUID(o.Instance) {
		return 0, errors.New("the object has no valid SOP Class UID or SOP Instance UID and cannot be sent")
	}
	id, transfer := r.accepted(o.Class)
	if transfer == "" {
		return spool.ClassNotSupported, nil
	}
	content, err := o.Encoded(transfer)
	if err != nil {
		return 0, err
	}
	if len(content)%2 == 1 {
		return 0, errors.New("the data set has an odd length and cannot be sent")
	}
	return r.exchange(id, command.Set{Class: o.Class, Instance: o.Instance, Field: command.StoreRequest, DataSet: command.HasDataSet}, content)
}

// exchange sends a request and waits for what responds to it.
func (r *Requestor) exchange(context byte, c command.Set, content []byte) (spool.Status, error) {
	r.message++
	c.Message = r.message
	err := pdu.Pieces(context, true, r.agreed.Maximum, c.Ask(), r.send)
	if err == nil && content != nil {
		err = pdu.Pieces(context, false, r.agreed.Maximum, content, r.send)
	}
	if err != nil {
		return 0, fmt.Errorf("send: %w", err)
	}
	got, err := r.response(context)
	switch {
	case err != nil:
		return 0, err
	case got.Field != c.Field|0x8000 || got.Answers != c.Message || !got.HasStatus || got.Instance != "" && got.Instance != c.Instance:
		r.abort()
		return 0, fmt.Errorf("the answer belongs to another request: %w", pdu.ErrProtocol)
	}
	return got.Status, nil
}

// response reads PDUs until a command set is whole. All of it has to come within the
// longest wait.
func (r *Requestor) response(context byte) (command.Set, error) {
	r.wait()
	var set []byte
	for {
		kind, body, err := pdu.Read(r.in)
		switch {
		case errors.Is(err, pdu.ErrProtocol):
			r.abort()
			return command.Set{}, err
		case err != nil:
			return command.Set{}, fmt.Errorf("no answer: %w", err)
		case kind == pdu.Abort:
			return command.Set{}, errors.New("the peer aborted the association")
		case kind != pdu.DataTransfer:
			r.abort()
			return command.Set{}, fmt.Errorf("a PDU of type %02X came instead of an answer: %w", kind, pdu.ErrProtocol)
		}
		all, err := pdu.ParseValues(body)
		for _, p := range all {
			if !p.Command || p.Context != context || len(set)+len(p.Bytes) > command.Most {
				err = fmt.Errorf("the answer is malformed: %w", pdu.ErrProtocol)
				break
			}
			if set = append(set, p.Bytes...); p.Last {
				c, err := command.Parse(set)
				if err == nil && c.DataSet != command.NoDataSet {
					err = fmt.Errorf("the answer has a data set, which no answer may have: %w", pdu.ErrProtocol)
				}
				return c, err
			}
		}
		if err != nil {
			r.abort()
			return command.Set{}, err
		}
	}
}

// farewell is how long a peer may take to agree that an association ends (site choice).
const farewell = 2 * time.Second

// Close releases the association and hangs up. What was acknowledged is stored
// whatever becomes of the release, so that is not waited for long, however long an
// answer may take, and is no error.
func (r *Requestor) Close() {
	r.idle = min(r.idle, farewell)
	r.wait()
	if r.send(pdu.Make(pdu.ReleaseRequest, make([]byte, 4))) == nil {
		_, _, _ = pdu.Read(r.in)
	}
	r.end()
}

func (r *Requestor) end() {
	r.stop()
	r.conn.Close()
}

// wait begins the longest wait anew.
func (r *Requestor) wait() {
	_ = r.conn.SetReadDeadline(time.Now().Add(r.idle)) // fails only on a closed connection
}

func (r *Requestor) send(b []byte) error {
	if err := r.conn.SetWriteDeadline(time.Now().Add(r.idle)); err != nil {
		return err
	}
	_, err := r.conn.Write(b)
	return err
}

// abort ends the association at once (PS3.8 section 9.3.8).
func (r *Requestor) abort() { _ = r.send(pdu.Make(pdu.Abort, make([]byte, 4))) }
