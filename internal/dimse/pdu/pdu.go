// Package pdu owns the protocol data units of the upper layer of DICOM (PS3.8 section
// 9.3): reading and writing one, and the pieces of messages in those of data. Every length
// is held against a bound before anything is allocated.
package pdu

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Types of PDU (PS3.8 section 9.3).
const (
	AssociateRequest = 0x01
	AssociateAccept  = 0x02
	AssociateReject  = 0x03
	DataTransfer     = 0x04
	ReleaseRequest   = 0x05
	ReleaseReply     = 0x06
	Abort            = 0x07
)

// Bounds of what a peer may send, in bytes.
const (
	MostAssociate = 256 << 10 // 128 contexts with 30 transfer syntaxes are some 100 kB
	MostData      = 256 << 10 // we ask for no more
)

// ErrProtocol is what a peer did that no peer may.
var ErrProtocol = errors.New("the peer breaks the DICOM protocol")

// Read reads the head of a PDU and its body, up to what its type may have.
func Read(r io.Reader) (kind byte, body []byte, err error) {
	var head [6]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return 0, nil, err
	}
	length, most := binary.BigEndian.Uint32(head[2:]), uint32(MostAssociate)
	switch head[0] {
	case AssociateRequest, AssociateAccept:
	case DataTransfer:
		most = MostData
	case AssociateReject, ReleaseRequest, ReleaseReply, Abort:
		most = 4
	default:
		return 0, nil, fmt.Errorf("a PDU of the unknown type %02X: %w", head[0], ErrProtocol)
	}
	if length > most {
		return 0, nil, fmt.Errorf("a PDU of %d bytes is longer than allowed: %w", length, ErrProtocol)
	}
	body = make([]byte, length)
	_, err = io.ReadFull(r, body)
	return head[0], body, err
}

// Make makes a PDU.
func Make(kind byte, body []byte) []byte {
	out := binary.BigEndian.AppendUint32([]byte{kind, 0}, uint32(len(body)))
	return append(out, body...)
}

// Values are a piece of a message.
type Values struct {
	Context byte // presentation context
	Command bool // of a command set, not of a data set
	Last    bool // the message or data set ends with it
	Bytes   []byte
}

// ParseValues reads the body of a P-DATA-TF.
func ParseValues(body []byte) ([]Values, error) {
	var out []Values
	for len(body) > 0 {
		if len(body) < 6 {
			return nil, fmt.Errorf("a fragment of data is cut off: %w", ErrProtocol)
		}
		length := binary.BigEndian.Uint32(body)
		if length < 2 || uint64(length) > uint64(len(body)-4) {
			return nil, fmt.Errorf("a fragment of data is longer than its PDU: %w", ErrProtocol)
		}
		out = append(out, Values{Context: body[4], Command: body[5]&1 != 0, Last: body[5]&2 != 0, Bytes: body[6 : 4+length]})
		body = body[4+length:]
	}
	return out, nil
}

// leastPDU is the shortest PDU a peer may reasonably take; one that says less, or
// nothing, gets usualPDU.
const (
	leastPDU = 64
	usualPDU = 16 << 10
)

// Pieces sends a command set or a data set, a P-DATA-TF of one piece after another,
// none longer than the peer takes.
func Pieces(context byte, isCommand bool, maximum uint32, content []byte, send func([]byte) error) error {
	most := int(min(maximum, MostData))
	if most < leastPDU {
		most = usualPDU
	}
	for {
		n := min(len(content), most-6)
		control := byte(0)
		if isCommand {
			control |= 1
		}
		if n == len(content) {
			control |= 2
		}
		piece := binary.BigEndian.AppendUint32(make([]byte, 0, n+6), uint32(n+2))
		piece = append(append(piece, context, control), content[:n]...)
		if err := send(Make(DataTransfer, piece)); err != nil {
			return err
		}
		if content = content[n:]; len(content) == 0 {
			return nil
		}
	}
}
