package dimse

import (
	"bufio"
	ctx "context"
	"crypto/tls"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"time"

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
	return Offer{Class: verification, Transfer: []string{implicitLittleEndian}}
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
	proposed []context
	agreed   *acceptance
	message  uint16
	stop     func() bool // ends the watch on the context
}

// errRefused is a peer that does not want the association.
var errRefused = errors.New("the peer refuses the association")

// Call opens an association with a peer. When the context ends, so does the
// association, whatever it waits for.
func Call(until ctx.Context, p Peer, offers ...Offer) (*Requestor, error) {
	dialer := &net.Dialer{Timeout: p.Connect}
	line, err := dialer.DialContext(until, "tcp", p.Address)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	stop := ctx.AfterFunc(until, func() { line.Close() }) // at once: a TLS connection would say farewell first
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

// isTitle reports whether a text is an AE title (PS3.5 table 6.2-1).
func isTitle(s string) bool {
	return len(s) <= 16 && strings.TrimSpace(s) != "" && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' || r == '\\' })
}

// propose numbers the contexts.
func propose(offers []Offer) ([]context, error) {
	var out []context
	for _, o := range offers {
		for _, t := range o.Transfer {
			c := context{id: byte(2*len(out) + 1), abstract: o.Class, transfer: []string{t}}
			if len(out) == maxContexts || !identifier.IsUID(o.Class) || !identifier.IsUID(t) {
				return nil, fmt.Errorf("too many kinds of object for one association (at most %d presentation contexts), or one without a valid UID", maxContexts)
			}
			out = append(out, c)
		}
	}
	return out, nil
}

// request makes the A-ASSOCIATE-RQ.
func (r *Requestor) request(p Peer) []byte {
	pad := func(s string) []byte { return []byte(fmt.Sprintf("%-16s", s)) }
	out := append([]byte{0, 1, 0, 0}, pad(p.Called)...)
	out = append(append(out, pad(p.Calling)...), make([]byte, 32)...)
	out = append(out, item(applicationItem, []byte(applicationContext))...)
	for _, c := range r.proposed {
		body := append([]byte{c.id, 0, 0, 0}, item(abstractItem, []byte(c.abstract))...)
		for _, t := range c.transfer {
			body = append(body, item(transferItem, []byte(t))...)
		}
		out = append(out, item(contextRequestItem, body)...)
	}
	return pdu(associateRequest, append(out, item(userItem, userInformation())...))
}

// userInformation is what either end says of itself.
func userInformation() []byte {
	out := item(maximumItem, binary.BigEndian.AppendUint32(nil, maxDataPDU))
	out = append(out, item(classItem, []byte(identifier.ImplementationClass))...)
	return append(out, item(versionItem, []byte(identifier.ImplementationName))...)
}

func (r *Requestor) open(p Peer) error {
	for _, one := range [][2]string{{"called", p.Called}, {"calling", p.Calling}} {
		if !isTitle(one[1]) {
			return fmt.Errorf("the %s AE title is not 1 to 16 characters of ASCII", one[0])
		}
	}
	r.wait()
	if err := r.send(r.request(p)); err != nil {
		return fmt.Errorf("send the association request: %w", err)
	}
	kind, body, err := readPDU(r.in)
	switch {
	case err != nil:
		return fmt.Errorf("no answer to the association request: %w", err)
	case kind == associateReject:
		return rejected(body)
	case kind == abort:
		return fmt.Errorf("%w: it aborted", errRefused)
	case kind != associateAccept:
		r.abort()
		return fmt.Errorf("a PDU of type %02X came instead of an answer to the association request: %w", kind, errProtocol)
	}
	if r.agreed, err = parseAcceptance(body); err != nil {
		r.abort()
		return err
	}
	for id, transfer := range r.agreed.transfer {
		if c := r.context(id); c == nil || !slices.Contains(c.transfer, transfer) {
			r.abort()
			return fmt.Errorf("the peer accepted a presentation context that was not proposed: %w", errProtocol)
		}
	}
	return nil
}

// context gives a proposed context, nil for none.
func (r *Requestor) context(id byte) *context {
	for i := range r.proposed {
		if r.proposed[i].id == id {
			return &r.proposed[i]
		}
	}
	return nil
}

// rejected says in words why an association is refused (PS3.8 table 9-21).
func rejected(body []byte) error {
	if len(body) < 4 {
		return errRefused
	}
	why, lasting := "without a reason", "for good"
	if body[1] == 2 {
		lasting = "for now"
	}
	switch {
	case body[2] == byUser && body[3] == noContext:
		why = "it does not know the application context"
	case body[2] == byUser && body[3] == callingUnknown:
		why = "it does not know the calling AE title"
	case body[2] == byUser && body[3] == calledUnknown:
		why = "it does not answer to the called AE title"
	case body[2] == 2:
		why = "it does not support this version of the protocol"
	case body[2] == 3 && body[3] == 1:
		why = "it is busy"
	case body[2] == 3 && body[3] == 2:
		why = "its limit of associations at a time is reached"
	}
	return fmt.Errorf("%w, %s: %s", errRefused, lasting, why)
}

// Accepted gives the transfer syntax in which objects of a class are sent, "" when the
// peer takes none of those offered.
func (r *Requestor) Accepted(class string) string {
	_, transfer := r.accepted(class)
	return transfer
}

func (r *Requestor) accepted(class string) (id byte, transfer string) {
	for _, c := range r.proposed {
		if t, ok := r.agreed.transfer[c.id]; ok && c.abstract == class {
			return c.id, t
		}
	}
	return 0, ""
}

// Echo asks the peer whether it answers (PS3.7 section 9.1.5).
func (r *Requestor) Echo() error {
	id, transfer := r.accepted(verification)
	if transfer == "" {
		return errors.New("the peer does not accept Verification (C-ECHO)")
	}
	status, err := r.exchange(id, command{class: verification, field: echoRequest, dataSet: noDataSet}, nil)
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
	return r.exchange(id, command{class: o.Class, instance: o.Instance, field: storeRequest, dataSet: hasDataSet}, content)
}

// hasDataSet is one of the values that say that a message has a data set.
const hasDataSet = 0x0001

// exchange sends a request and waits for what responds to it.
func (r *Requestor) exchange(context byte, c command, content []byte) (spool.Status, error) {
	r.message++
	c.message = r.message
	err := pieces(context, true, r.agreed.maximum, c.ask(), r.send)
	if err == nil && content != nil {
		err = pieces(context, false, r.agreed.maximum, content, r.send)
	}
	if err != nil {
		return 0, fmt.Errorf("send: %w", err)
	}
	got, err := r.response(context)
	switch {
	case err != nil:
		return 0, err
	case got.field != c.field|0x8000 || got.answers != c.message || !got.hasStatus || got.instance != "" && got.instance != c.instance:
		r.abort()
		return 0, fmt.Errorf("the answer belongs to another request: %w", errProtocol)
	}
	return got.status, nil
}

// response reads PDUs until a command set is whole. All of it has to come within the
// longest wait.
func (r *Requestor) response(context byte) (command, error) {
	r.wait()
	var set []byte
	for {
		kind, body, err := readPDU(r.in)
		switch {
		case errors.Is(err, errProtocol):
			r.abort()
			return command{}, err
		case err != nil:
			return command{}, fmt.Errorf("no answer: %w", err)
		case kind == abort:
			return command{}, errors.New("the peer aborted the association")
		case kind != dataTransfer:
			r.abort()
			return command{}, fmt.Errorf("a PDU of type %02X came instead of an answer: %w", kind, errProtocol)
		}
		all, err := parseValues(body)
		for _, p := range all {
			if !p.command || p.context != context || len(set)+len(p.bytes) > mostCommand {
				err = fmt.Errorf("the answer is malformed: %w", errProtocol)
				break
			}
			if set = append(set, p.bytes...); p.last {
				c, err := parseCommand(set)
				if err == nil && c.dataSet != noDataSet {
					err = fmt.Errorf("the answer has a data set, which no answer may have: %w", errProtocol)
				}
				return c, err
			}
		}
		if err != nil {
			r.abort()
			return command{}, err
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
	if r.send(pdu(releaseRequest, make([]byte, 4))) == nil {
		_, _, _ = readPDU(r.in)
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
func (r *Requestor) abort() { _ = r.send(pdu(abort, make([]byte, 4))) }
