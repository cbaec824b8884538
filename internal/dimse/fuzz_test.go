package dimse

import (
	"bytes"
	"testing"

	"echotally/internal/spool"
)

// FuzzPeer puts whatever a peer may send to the readers of PDUs, proposals, pieces and
// commands: none panics, none takes more than its bound, and what a proposal agrees to
// stays within the standard's numbers.
func FuzzPeer(f *testing.F) {
	f.Add([]byte{1, 0, 0, 0, 0, 4, 0, 1, 0, 0})
	f.Add([]byte{4, 0, 0, 0, 0, 8, 0, 0, 0, 4, 1, 3, 0, 0})
	f.Add(pdu(associateRequest, append(make([]byte, 68), item(contextRequestItem, append([]byte{1, 0, 0, 0}, item(abstractItem, []byte("1.2"))...))...)))
	f.Add(pdu(dataTransfer, append([]byte{0, 0, 0, 20, 1, 3}, command{class: "1.2", message: 1}.reply(echoReply, spool.Success)...)))
	f.Fuzz(func(t *testing.T, b []byte) {
		kind, body, err := readPDU(bytes.NewReader(b))
		if err != nil {
			return
		}
		if len(body) > maxAssociatePDU {
			t.Fatalf("a body of %d bytes", len(body))
		}
		switch kind {
		case associateRequest:
			if p, err := parseProposal(body); err == nil && len(p.contexts) > maxContexts {
				t.Fatalf("%d contexts", len(p.contexts))
			}
		case dataTransfer:
			pieces, err := parseValues(body)
			if err != nil {
				return
			}
			for _, p := range pieces {
				if p.command {
					_, _ = parseCommand(p.bytes) // only must not panic
				}
			}
		}
	})
}
