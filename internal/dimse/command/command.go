// Package command owns the command sets of DICOM messages, as far as Verification and
// Storage need them (PS3.7 sections 6.3 and 9).
package command

import (
	"encoding/binary"
	"fmt"
	"strings"

	"echotally/internal/dimse/pdu"
	"echotally/internal/spool"
)

// Verification is the SOP class of C-ECHO (PS3.4 annex A.4).
const Verification = "1.2.840.10008.1.1"

// Command fields (PS3.7 annex E.1).
const (
	StoreRequest = 0x0001
	StoreReply   = 0x8001
	EchoRequest  = 0x0030
	EchoReply    = 0x8030
)

// Whether a message has a data set (PS3.7 annex E.1); of the values that say so, one.
const (
	NoDataSet  = 0x0101
	HasDataSet = 0x0001
)

// Unrecognized is the status of a command that is no C-STORE or C-ECHO (PS3.7 annex C).
const Unrecognized spool.Status = 0x0211

// Set is a command set, as far as these services need it.
type Set struct {
	Class, Instance string
	Field           uint16
	Message         uint16
	Answers         uint16 // message that is responded to
	DataSet         uint16
	Status          spool.Status
	HasStatus       bool
}

// Most bounds a command set; real ones have some 200 bytes.
const Most = 16 << 10

// Parse reads a command set: implicit VR, little endian (PS3.7 section 6.3.1).
func Parse(b []byte) (Set, error) {
	c := Set{DataSet: NoDataSet}
	for len(b) > 0 {
		if len(b) < 8 {
			return c, fmt.Errorf("a command is cut off: %w", pdu.ErrProtocol)
		}
		group, element, length := binary.LittleEndian.Uint16(b), binary.LittleEndian.Uint16(b[2:]), binary.LittleEndian.Uint32(b[4:])
		if group != 0 || uint64(length) > uint64(len(b)-8) {
			return c, fmt.Errorf("a command is malformed: %w", pdu.ErrProtocol)
		}
		value := b[8 : 8+length]
		switch element {
		case 0x0002:
			c.Class = uid(value)
		case 0x1000:
			c.Instance = uid(value)
		case 0x0100:
			c.Field = short(value)
		case 0x0110:
			c.Message = short(value)
		case 0x0120:
			c.Answers = short(value)
		case 0x0800:
			c.DataSet = short(value)
		case 0x0900:
			c.Status, c.HasStatus = spool.Status(short(value)), len(value) == 2
		}
		b = b[8+length:]
	}
	return c, nil
}

func short(b []byte) uint16 {
	if len(b) != 2 {
		return 0
	}
	return binary.LittleEndian.Uint16(b)
}

// Reply makes the command set of a response.
func (c Set) Reply(field uint16, status spool.Status) []byte {
	var set commandSet
	set.uid(0x0002, c.Class)
	set.number(0x0100, field)
	set.number(0x0120, c.Message)
	set.number(0x0800, NoDataSet)
	set.number(0x0900, uint16(status))
	set.uid(0x1000, c.Instance)
	return set.whole()
}

// Ask makes the command set of a request.
func (c Set) Ask() []byte {
	var set commandSet
	set.uid(0x0002, c.Class)
	set.number(0x0100, c.Field)
	set.number(0x0110, c.Message)
	if c.Field == StoreRequest {
		set.number(0x0700, mediumPriority)
	}
	set.number(0x0800, c.DataSet)
	set.uid(0x1000, c.Instance)
	return set.whole()
}

// mediumPriority is the priority of a C-STORE (PS3.7 9.1.1.1.6).
const mediumPriority = 0

// commandSet is a command set being written, by ascending element.
type commandSet []byte

func (s *commandSet) add(element uint16, value []byte) {
	out := binary.LittleEndian.AppendUint16(append(*s, 0, 0), element)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(value)))
	*s = append(out, value...)
}

func (s *commandSet) number(element, n uint16) {
	s.add(element, binary.LittleEndian.AppendUint16(nil, n))
}

// uid adds a UID, nothing when there is none.
func (s *commandSet) uid(element uint16, uid string) {
	if uid != "" {
		s.add(element, even(uid))
	}
}

// whole puts the group length before it.
func (s *commandSet) whole() []byte {
	length := binary.LittleEndian.AppendUint32([]byte{0, 0, 0, 0, 4, 0, 0, 0}, uint32(len(*s)))
	return append(length, *s...)
}

func even(uid string) []byte {
	if len(uid)%2 == 1 {
		return append([]byte(uid), 0)
	}
	return []byte(uid)
}

func uid(b []byte) string { return strings.TrimRight(string(b), " \x00") }
