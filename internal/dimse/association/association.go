// Package association owns how an association of DICOM is opened (PS3.8 section 9.3.2 to
// 9.3.4): what the one who calls proposes, and what the other answers.
package association

import (
	"encoding/binary"
	"fmt"
	"strings"

	"echotally/internal/dimse/pdu"
	"echotally/internal/identifier"
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

// Bounds of what a peer may propose.
const (
	MostContexts = 128 // PS3.8 9.3.2.2: odd numbers of one byte
	maxSyntaxes  = 64
)

// ApplicationContext is the only one there is (PS3.7 A.2.1).
const ApplicationContext = "1.2.840.10008.3.1.1.1"

// item makes an item of an association.
func item(kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{kind, 0}, uint16(len(body))), body...)
}

// items goes through the items of a body.
func items(body []byte, each func(kind byte, body []byte) error) error {
	for len(body) > 0 {
		if len(body) < 4 {
			return fmt.Errorf("an item of the association is cut off: %w", pdu.ErrProtocol)
		}
		length := int(binary.BigEndian.Uint16(body[2:]))
		if len(body) < 4+length {
			return fmt.Errorf("an item of the association is longer than its PDU: %w", pdu.ErrProtocol)
		}
		if err := each(body[0], body[4:4+length]); err != nil {
			return err
		}
		body = body[4+length:]
	}
	return nil
}

// Proposal is what a peer asks for when it opens an association.
type Proposal struct {
	Called, Calling string // AE titles
	Application     string // context
	Contexts        []Context
	Maximum         uint32 // longest PDU the peer takes, 0 for any
}

// Context is a presentation context.
type Context struct {
	ID       byte
	Abstract string   // SOP class
	Transfer []string // transfer syntaxes
}

// ParseProposal reads the body of an A-ASSOCIATE-RQ.
func ParseProposal(body []byte) (*Proposal, error) {
	if len(body) < 68 {
		return nil, fmt.Errorf("the association request is too short (%d bytes): %w", len(body), pdu.ErrProtocol)
	}
	p := &Proposal{Called: title(body[4:20]), Calling: title(body[20:36])}
	err := items(body[68:], func(kind byte, body []byte) error {
		switch kind {
		case applicationItem:
			p.Application = uid(body)
		case contextRequestItem:
			return p.context(body)
		case userItem:
			return items(body, func(kind byte, body []byte) error {
				if kind == maximumItem && len(body) == 4 {
					p.Maximum = binary.BigEndian.Uint32(body)
				}
				return nil
			})
		}
		return nil
	})
	return p, err
}

func (p *Proposal) context(body []byte) error {
	if len(body) < 4 || len(p.Contexts) == MostContexts {
		return fmt.Errorf("the presentation contexts are malformed: %w", pdu.ErrProtocol)
	}
	c := Context{ID: body[0]}
	err := items(body[4:], func(kind byte, body []byte) error {
		switch kind {
		case abstractItem:
			c.Abstract = uid(body)
		case transferItem:
			if len(c.Transfer) < maxSyntaxes {
				c.Transfer = append(c.Transfer, uid(body))
			}
		}
		return nil
	})
	p.Contexts = append(p.Contexts, c)
	return err
}

// Acceptance is what a peer agrees to when it accepts an association.
type Acceptance struct {
	Transfer map[byte]string // of the accepted presentation contexts
	Maximum  uint32
}

// ParseAcceptance reads the body of an A-ASSOCIATE-AC.
func ParseAcceptance(body []byte) (*Acceptance, error) {
	if len(body) < 68 {
		return nil, fmt.Errorf("the answer to the association request is too short (%d bytes): %w", len(body), pdu.ErrProtocol)
	}
	out := &Acceptance{Transfer: map[byte]string{}}
	err := items(body[68:], func(kind byte, body []byte) error {
		switch kind {
		case contextReplyItem:
			return out.context(body)
		case userItem:
			return items(body, func(kind byte, body []byte) error {
				if kind == maximumItem && len(body) == 4 {
					out.Maximum = binary.BigEndian.Uint32(body)
				}
				return nil
			})
		}
		return nil
	})
	return out, err
}

func (a *Acceptance) context(body []byte) error {
	if len(body) < 4 {
		return fmt.Errorf("a presentation context is malformed: %w", pdu.ErrProtocol)
	}
	id, result := body[0], body[2]
	return items(body[4:], func(kind byte, body []byte) error {
		if _, twice := a.Transfer[id]; kind == transferItem && result == 0 && !twice {
			a.Transfer[id] = uid(body)
		}
		return nil
	})
}

func title(b []byte) string { return strings.Trim(string(b), " \x00") }

func uid(b []byte) string { return strings.TrimRight(string(b), " \x00") }

// PDU makes the A-ASSOCIATE-RQ.
func (p *Proposal) PDU() []byte {
	pad := func(s string) []byte { return []byte(fmt.Sprintf("%-16s", s)) }
	out := append([]byte{0, 1, 0, 0}, pad(p.Called)...)
	out = append(append(out, pad(p.Calling)...), make([]byte, 32)...)
	out = append(out, item(applicationItem, []byte(ApplicationContext))...)
	for _, c := range p.Contexts {
		body := append([]byte{c.ID, 0, 0, 0}, item(abstractItem, []byte(c.Abstract))...)
		for _, t := range c.Transfer {
			body = append(body, item(transferItem, []byte(t))...)
		}
		out = append(out, item(contextRequestItem, body)...)
	}
	return pdu.Make(pdu.AssociateRequest, append(out, item(userItem, userInformation())...))
}

// userInformation is what either end says of itself.
func userInformation() []byte {
	out := item(maximumItem, binary.BigEndian.AppendUint32(nil, pdu.MostData))
	out = append(out, item(classItem, []byte(identifier.ImplementationClass))...)
	return append(out, item(versionItem, []byte(identifier.ImplementationName))...)
}

// Answer is what becomes of a proposed presentation context.
type Answer struct {
	Context  byte
	Result   byte   // 0 accepted, 3 no such SOP class, 4 no transfer syntax (PS3.8 table 9-18)
	Transfer string // transfer syntax, "" where it is not accepted
}

// Accept makes the A-ASSOCIATE-AC that answers the body of a request.
func Accept(request []byte, answers []Answer) []byte {
	out := append([]byte{0, 1, 0, 0}, request[4:68]...)
	out = append(out, item(applicationItem, []byte(ApplicationContext))...)
	for _, a := range answers {
		out = append(out, item(contextReplyItem, append([]byte{a.Context, 0, a.Result, 0}, item(transferItem, []byte(a.Transfer))...))...)
	}
	return pdu.Make(pdu.AssociateAccept, append(out, item(userItem, userInformation())...))
}

// Reasons of a rejection by the user of the upper layer (PS3.8 table 9-21).
const (
	NoContext      = 2 // another application context than that of DICOM
	CallingUnknown = 3
	CalledUnknown  = 7
)

const (
	byUser          = 1
	rejectPermanent = 1
)

// Reject makes an A-ASSOCIATE-RJ for good, for one of the reasons.
func Reject(reason byte) []byte {
	return pdu.Make(pdu.AssociateReject, []byte{0, rejectPermanent, byUser, reason})
}

// Rejected says in words what an A-ASSOCIATE-RJ says, by its body: for how long and why
// (PS3.8 table 9-21); "" for nothing.
func Rejected(body []byte) string {
	if len(body) < 4 {
		return ""
	}
	why, lasting := "without a reason", "for good"
	if body[1] == 2 {
		lasting = "for now"
	}
	switch {
	case body[2] == byUser && body[3] == NoContext:
		why = "it does not know the application context"
	case body[2] == byUser && body[3] == CallingUnknown:
		why = "it does not know the calling AE title"
	case body[2] == byUser && body[3] == CalledUnknown:
		why = "it does not answer to the called AE title"
	case body[2] == 2:
		why = "it does not support this version of the protocol"
	case body[2] == 3 && body[3] == 1:
		why = "it is busy"
	case body[2] == 3 && body[3] == 2:
		why = "its limit of associations at a time is reached"
	}
	return lasting + ": " + why
}

// IsTitle reports whether a text is an AE title (PS3.5 table 6.2-1).
func IsTitle(s string) bool {
	return len(s) <= 16 && strings.TrimSpace(s) != "" && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' || r == '\\' })
}
