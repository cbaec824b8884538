package dimse

import (
	"encoding/binary"
	"fmt"

	"echotally/internal/spool"
)

// Command fields (PS3.7 annex E.1).
const (
	storeRequest = 0x0001
	storeReply   = 0x8001
	echoRequest  = 0x0030
	echoReply    = 0x8030
)

// noDataSet says that a message has none (PS3.7 annex E.1).
const noDataSet = 0x0101

// Statuses of commands that are no C-STORE, beside those of the spool (PS3.7 annex C).
const unrecognized spool.Status = 0x0211

// command is a command set, as far as these services need it.
type command struct {
	class, instance string
	field           uint16
	message         uint16
	answers         uint16 // message that is responded to
	dataSet         uint16
	status          spool.Status
	hasStatus       bool
}

// mostCommand bounds a command set; real ones have some 200 bytes.
const mostCommand = 16 << 10

// parseCommand reads a command set: implicit VR, little endian (PS3.7 section 6.3.1).
func parseCommand(b []byte) (command, error) {
	c := command{dataSet: noDataSet}
	for len(b) > 0 {
		if len(b) < 8 {
			return c, fmt.Errorf("a command is cut off: %w", errProtocol)
		}
		group, element, length := binary.LittleEndian.Uint16(b), binary.LittleEndian.Uint16(b[2:]), binary.LittleEndian.Uint32(b[4:])
		if group != 0 || uint64(length) > uint64(len(b)-8) {
			return c, fmt.Errorf("a command is malformed: %w", errProtocol)
		}
		value := b[8 : 8+length]
		switch element {
		case 0x0002:
			c.class = uid(value)
		case 0x1000:
			c.instance = uid(value)
		case 0x0100:
			c.field = short(value)
		case 0x0110:
			c.message = short(value)
		case 0x0120:
			c.answers = short(value)
		case 0x0800:
			c.dataSet = short(value)
		case 0x0900:
			c.status, c.hasStatus = spool.Status(short(value)), len(value) == 2
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

// reply makes the command set of a response.
func (c command) reply(field uint16, status spool.Status) []byte {
	var set commandSet
	set.uid(0x0002, c.class)
	set.number(0x0100, field)
	set.number(0x0120, c.message)
	set.number(0x0800, noDataSet)
	set.number(0x0900, uint16(status))
	set.uid(0x1000, c.instance)
	return set.whole()
}

// ask makes the command set of a request.
func (c command) ask() []byte {
	var set commandSet
	set.uid(0x0002, c.class)
	set.number(0x0100, c.field)
	set.number(0x0110, c.message)
	if c.field == storeRequest {
		set.number(0x0700, mediumPriority)
	}
	set.number(0x0800, c.dataSet)
	set.uid(0x1000, c.instance)
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
