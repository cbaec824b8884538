package dimse

import (
	"encoding/binary"
	"errors"
	"fmt"

	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// data takes the pieces of one PDU.
func (a *association) data(body []byte) error {
	pieces, err := parseValues(body)
	if err != nil {
		return err
	}
	for _, p := range pieces {
		if _, known := a.agreed[p.context]; !known {
			return fmt.Errorf("data came in a presentation context that was not accepted: %w", errProtocol)
		}
		if p.command {
			err = a.command(p)
		} else {
			err = a.piece(p)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (a *association) command(p values) error {
	if a.now != nil || len(a.request)+len(p.bytes) > mostCommand {
		return fmt.Errorf("a command came before the last object was complete, or is too long: %w", errProtocol)
	}
	a.request, a.context = append(a.request, p.bytes...), p.context
	if !p.last {
		return nil
	}
	c, err := parseCommand(a.request)
	a.request = nil
	if err != nil {
		return err
	}
	switch {
	case c.field == echoRequest:
		return a.answer(c.reply(echoReply, spool.Success))
	case c.field != storeRequest:
		if c.dataSet != noDataSet {
			a.now = &c // passed over
			return nil
		}
		return a.answer(c.reply(c.field|0x8000, unrecognized))
	case c.dataSet == noDataSet || !identifier.IsUID(c.instance) || !identifier.IsUID(c.class):
		return fmt.Errorf("a C-STORE request without a data set or valid UIDs: %w", errProtocol)
	}
	a.now = &c
	a.object = a.Spool.Begin(a.MostBytes)
	_, _ = a.object.Write(meta(c.class, c.instance, a.agreed[p.context].transfer, a.peer.calling)) // Finish tells what failed
	return nil
}

// piece takes a piece of a data set. What cannot be stored is read to its end, so
// that the peer gets an answer.
func (a *association) piece(p values) error {
	if a.now == nil || p.context != a.context {
		return fmt.Errorf("data came without a command: %w", errProtocol)
	}
	if a.object != nil {
		_, _ = a.object.Write(p.bytes)
	}
	if !p.last {
		return nil
	}
	c := *a.now
	a.now = nil
	if a.object == nil {
		return a.answer(c.reply(c.field|0x8000, unrecognized))
	}
	_, status := a.object.Finish(func(is spool.Identity) (spool.Status, error) {
		switch {
		case c.class != a.agreed[a.context].abstract:
			return spool.DoesNotMatch, errors.New("its SOP class is not the one agreed for its presentation context")
		case is.Class != "" && is.Class != c.class, is.Instance != "" && is.Instance != c.instance:
			return spool.DoesNotMatch, errors.New("it was sent under another SOP Class UID or SOP Instance UID than it has")
		}
		return spool.Success, nil
	})
	a.object = nil
	a.Log.Info().Str("status", fmt.Sprintf("%04X", uint16(status))).Msg("C-STORE")
	return a.answer(c.reply(storeReply, status))
}

// answer sends a command set in pieces the peer takes.
func (a *association) answer(set []byte) error {
	return pieces(a.context, true, a.peer.maximum, set, a.send)
}

// leastPDU is the shortest PDU a peer may reasonably take; one that says less, or
// nothing, gets usualPDU.
const (
	leastPDU = 64
	usualPDU = 16 << 10
)

// pieces sends a command set or a data set, a P-DATA-TF of one piece after another,
// none longer than the peer takes.
func pieces(context byte, isCommand bool, maximum uint32, content []byte, send func([]byte) error) error {
	most := int(min(maximum, maxDataPDU))
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
		if err := send(pdu(dataTransfer, piece)); err != nil {
			return err
		}
		if content = content[n:]; len(content) == 0 {
			return nil
		}
	}
}
