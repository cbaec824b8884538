package dimse

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Types of PDU (PS3.8 section 9.3).
const (
	associateRequest = 0x01
	associateAccept  = 0x02
	associateReject  = 0x03
	dataTransfer     = 0x04
	releaseRequest   = 0x05
	releaseReply     = 0x06
	abort            = 0x07
)

// Items of an association (PS3.8 section 9.3.2 and annex D).
const (
	applicationItem    = 0x10
	contextRequestItem = 0x20
	contextReplyItem   = 0x21
	abstractItem       = 0x30
	transferItem       = 0x40
	userItem           = 0x50
	maximumItem        = 0x51
	classItem          = 0x52
	versionItem        = 0x55
)

// Bounds of what a peer may send.
const (
	maxAssociatePDU = 256 << 10 // 128 contexts with 30 transfer syntaxes are some 100 kB
	maxDataPDU      = 256 << 10 // we ask for no more
	maxContexts     = 128       // PS3.8 9.3.2.2: odd numbers of one byte
	maxSyntaxes     = 64
)

// applicationContext is the only one there is (PS3.7 A.2.1).
const applicationContext = "1.2.840.10008.3.1.1.1"

// errProtocol is what a peer did that no peer may.
var errProtocol = errors.New("the peer breaks the DICOM protocol")

// readPDU reads the head of a PDU and its body, up to what its type may have.
func readPDU(r io.Reader) (kind byte, body []byte, err error) {
	var head [6]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return 0, nil, err
	}
	length, most := binary.BigEndian.Uint32(head[2:]), uint32(maxAssociatePDU)
	switch head[0] {
	case associateRequest, associateAccept:
	case dataTransfer:
		most = maxDataPDU
	case associateReject, releaseRequest, releaseReply, abort:
		most = 4
	default:
		return 0, nil, fmt.Errorf("a PDU of the unknown type %02X: %w", head[0], errProtocol)
	}
	if length > most {
		return 0, nil, fmt.Errorf("a PDU of %d bytes is longer than allowed: %w", length, errProtocol)
	}
	body = make([]byte, length)
	_, err = io.ReadFull(r, body)
	return head[0], body, err
}

// pdu makes a PDU.
func pdu(kind byte, body []byte) []byte {
	out := binary.BigEndian.AppendUint32([]byte{kind, 0}, uint32(len(body)))
	return append(out, body...)
}

// item makes an item of an association.
func item(kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{kind, 0}, uint16(len(body))), body...)
}

// items goes through the items of a body.
func items(body []byte, each func(kind byte, body []byte) error) error {
	for len(body) > 0 {
		if len(body) < 4 {
			return fmt.Errorf("an item of the association is cut off: %w", errProtocol)
		}
		length := int(binary.BigEndian.Uint16(body[2:]))
		if len(body) < 4+length {
			return fmt.Errorf("an item of the association is longer than its PDU: %w", errProtocol)
		}
		if err := each(body[0], body[4:4+length]); err != nil {
			return err
		}
		body = body[4+length:]
	}
	return nil
}

// proposal is what a peer asks for when it opens an association.
type proposal struct {
	called, calling string
	application     string
	contexts        []context
	maximum         uint32 // longest PDU the peer takes, 0 for any
}

// context is a presentation context.
type context struct {
	id       byte
	abstract string
	transfer []string
}

// parseProposal reads the body of an A-ASSOCIATE-RQ.
func parseProposal(body []byte) (*proposal, error) {
	if len(body) < 68 {
		return nil, fmt.Errorf("the association request is too short (%d bytes): %w", len(body), errProtocol)
	}
	p := &proposal{called: title(body[4:20]), calling: title(body[20:36])}
	err := items(body[68:], func(kind byte, body []byte) error {
		switch kind {
		case applicationItem:
			p.application = uid(body)
		case contextRequestItem:
			return p.context(body)
		case userItem:
			return items(body, func(kind byte, body []byte) error {
				if kind == maximumItem && len(body) == 4 {
					p.maximum = binary.BigEndian.Uint32(body)
				}
				return nil
			})
		}
		return nil
	})
	return p, err
}

func (p *proposal) context(body []byte) error {
	if len(body) < 4 || len(p.contexts) == maxContexts {
		return fmt.Errorf("the presentation contexts are malformed: %w", errProtocol)
	}
	c := context{id: body[0]}
	err := items(body[4:], func(kind byte, body []byte) error {
		switch kind {
		case abstractItem:
			c.abstract = uid(body)
		case transferItem:
			if len(c.transfer) < maxSyntaxes {
				c.transfer = append(c.transfer, uid(body))
			}
		}
		return nil
	})
	p.contexts = append(p.contexts, c)
	return err
}

// acceptance is what a peer agrees to when it accepts an association.
type acceptance struct {
	transfer map[byte]string // of the accepted presentation contexts
	maximum  uint32
}

// parseAcceptance reads the body of an A-ASSOCIATE-AC.
func parseAcceptance(body []byte) (*acceptance, error) {
	if len(body) < 68 {
		return nil, fmt.Errorf("the answer to the association request is too short (%d bytes): %w", len(body), errProtocol)
	}
	out := &acceptance{transfer: map[byte]string{}}
	err := items(body[68:], func(kind byte, body []byte) error {
		switch kind {
		case contextReplyItem:
			return out.context(body)
		case userItem:
			return items(body, func(kind byte, body []byte) error {
				if kind == maximumItem && len(body) == 4 {
					out.maximum = binary.BigEndian.Uint32(body)
				}
				return nil
			})
		}
		return nil
	})
	return out, err
}

func (a *acceptance) context(body []byte) error {
	if len(body) < 4 {
		return fmt.Errorf("a presentation context is malformed: %w", errProtocol)
	}
	id, result := body[0], body[2]
	return items(body[4:], func(kind byte, body []byte) error {
		if _, twice := a.transfer[id]; kind == transferItem && result == 0 && !twice {
			a.transfer[id] = uid(body)
		}
		return nil
	})
}

func title(b []byte) string { return strings.Trim(string(b), " \x00") }

func uid(b []byte) string { return strings.TrimRight(string(b), " \x00") }

// values is a piece of a message.
type values struct {
	context byte
	command bool
	last    bool
	bytes   []byte
}

// parseValues reads the body of a P-DATA-TF.
func parseValues(body []byte) ([]values, error) {
	var out []values
	for len(body) > 0 {
		if len(body) < 6 {
			return nil, fmt.Errorf("a fragment of data is cut off: %w", errProtocol)
		}
		length := binary.BigEndian.Uint32(body)
		if length < 2 || uint64(length) > uint64(len(body)-4) {
			return nil, fmt.Errorf("a fragment of data is longer than its PDU: %w", errProtocol)
		}
		out = append(out, values{context: body[4], command: body[5]&1 != 0, last: body[5]&2 != 0, bytes: body[6 : 4+length]})
		body = body[4+length:]
	}
	return out, nil
}
