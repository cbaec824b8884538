package dimse

import (
	"bytes"
	"testing"

	"echotally/internal/dimse/association"
	"echotally/internal/dimse/command"
	"echotally/internal/dimse/pdu"
	"echotally/internal/spool"
)

// FuzzPeer puts whatever a peer may send to the readers of PDUs, proposals, pieces and
// commands: none panics, none takes more than its bound, and what a proposal agrees to
// stays within the standard's numbers.
func FuzzPeer(f *testing.F) {
	f.Add([]byte{1, 0, 0, 0, 0, 4, 0, 1, 0, 0})
	f.Add([]byte{4, 0, 0, 0, 0, 8, 0, 0, 0, 4, 1, 3, 0, 0})
	f.Add((&association.Proposal{Contexts: []association.Context{{ID: 1, Abstract: "1.2"}}}).PDU())
	f.Add(pdu.Make(pdu.DataTransfer, append([]byte{0, 0, 0, 20, 1, 3}, command.Set{Class: "1.2", Message: 1}.Reply(command.EchoReply, spool.Success)...)))
	f.Fuzz(func(t *testing.T, b []byte) {
		kind, body, err := pdu.Read(bytes.NewReader(b))
		if err != nil {
			return
		}
		if len(body) > pdu.MostAssociate {
			t.Fatalf("a body of %d bytes", len(body))
		}
		switch kind {
		case pdu.AssociateRequest:
			if p, err := association.ParseProposal(body); err == nil && len(p.Contexts) > association.MostContexts {
				t.Fatalf("%d contexts", len(p.Contexts))
			}
		case pdu.DataTransfer:
			pieces, err := pdu.ParseValues(body)
			if err != nil {
				return
			}
			for _, p := range pieces {
				if p.Command {
					_, _ = command.Parse(p.Bytes) // only must not panic
				}
			}
		}
	})
}
