package dimse

import (
	"errors"
	"fmt"

	"echotally/internal/dimse/command"
	"echotally/internal/dimse/filemeta"
	"echotally/internal/dimse/pdu"
	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// data takes the pieces of one PDU.
func (a *peer) data(body []byte) error {
	pieces, err := pdu.ParseValues(body)
	if err != nil {
		return err
	}
	for _, p := range pieces {
		if _, known := a.agreed[p.Context]; !known {
			return fmt.Errorf("data came in a presentation context that was not accepted: %w", pdu.ErrProtocol)
		}
		if p.Command {
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

func (a *peer) command(p pdu.Values) error {
	if a.now != nil || len(a.request)+len(p.Bytes) > command.Most {
		return fmt.Errorf("a command came before the last object was complete, or is too long: %w", pdu.ErrProtocol)
	}
	a.request, a.context = append(a.request, p.Bytes...), p.Context
	if !p.Last {
		return nil
	}
	c, err := command.Parse(a.request)
	a.request = nil
	if err != nil {
		return err
	}
	switch {
	case c.Field == command.EchoRequest:
		return a.answer(c.Reply(command.EchoReply, spool.Success))
	case c.Field != command.StoreRequest:
		if c.DataSet != command.NoDataSet {
			a.now = &c // passed over
			return nil
		}
		return a.answer(c.Reply(c.Field|0x8000, command.Unrecognized))
	case c.DataSet == command.NoDataSet || !identifier.IsUID(c.Instance) || !identifier.IsUID(c.Class):
		return fmt.Errorf("a C-STORE request without a data set or valid UIDs: %w", pdu.ErrProtocol)
	}
	a.now = &c
	a.object = a.Spool.Begin(a.MostBytes)
	_, _ = a.object.Write(filemeta.Of(c.Class, c.Instance, a.agreed[p.Context].Transfer[0], a.said.Calling)) // Finish tells what failed
	return nil
}

// piece takes a piece of a data set. What cannot be stored is read to its end, so
// that the peer gets an answer.
func (a *peer) piece(p pdu.Values) error {
	if a.now == nil || p.Context != a.context {
		return fmt.Errorf("data came without a command: %w", pdu.ErrProtocol)
	}
	if a.object != nil {
		_, _ = a.object.Write(p.Bytes)
	}
	if !p.Last {
		return nil
	}
	c := *a.now
	a.now = nil
	if a.object == nil {
		return a.answer(c.Reply(c.Field|0x8000, command.Unrecognized))
	}
	_, status := a.object.Finish(func(is spool.Identity) (spool.Status, error) {
		switch {
		case c.Class != a.agreed[a.context].Abstract:
			return spool.DoesNotMatch, errors.New("its SOP class is not the one agreed for its presentation context")
		case is.Class != "" && is.Class != c.Class, is.Instance != "" && is.Instance != c.Instance:
			return spool.DoesNotMatch, errors.New("it was sent under another SOP Class UID or SOP Instance UID than it has")
		}
		return spool.Success, nil
	})
	a.object = nil
	a.Log.Info().Str("status", fmt.Sprintf("%04X", uint16(status))).Msg("C-STORE")
	return a.answer(c.Reply(command.StoreReply, status))
}

// answer sends a command set in pieces the peer takes.
func (a *peer) answer(set []byte) error {
	return pdu.Pieces(a.context, true, a.said.Maximum, set, a.send)
}
