package requestor

import (
	"bytes"
	"net"
	"slices"
	"testing"
	"time"

	"echotally/internal/dimse/association"
	"echotally/internal/dimse/command"
	"echotally/internal/dimse/pdu"
	"echotally/internal/mutate"
	"echotally/internal/spool"
)

// scripted is a connection on which a called peer says what was written before.
type scripted struct {
	net.Conn
	*bytes.Reader
	sent bytes.Buffer
}

func (s *scripted) Read(b []byte) (int, error)       { return s.Reader.Read(b) }
func (s *scripted) Write(b []byte) (int, error)      { return s.sent.Write(b) }
func (*scripted) SetReadDeadline(time.Time) error    { return nil }
func (*scripted) SetWriteDeadline(t time.Time) error { return nil }
func (*scripted) Close() error                       { return nil }

const (
	fuzzedClass    = "1.2.840.10008.5.1.4.1.1.88.59"
	fuzzedTransfer = "1.2.840.10008.1.2.1"
)

// checkAcceptor opens an association with a peer that says the bytes, verifies and
// stores. Nothing panics; a transfer syntax that is used was proposed, and there is an
// answer only to an object that was sent.
func checkAcceptor(t *testing.T, says []byte) string {
	conn := &scripted{Reader: bytes.NewReader(says)}
	r, err := associate(conn, Peer{Called: "A", Calling: "B"}, func() bool { return true }, Verify(), Offer{Class: fuzzedClass, Transfer: []string{fuzzedTransfer}})
	if err != nil {
		return err.Error()
	}
	defer r.Close()
	if got := r.Accepted(fuzzedClass); got != "" && got != fuzzedTransfer {
		t.Fatalf("%s was never proposed", got)
	}
	came := "accepted"
	if err := r.Echo(); err != nil {
		came += " " + err.Error()
	}
	sent := conn.sent.Len()
	status, err := r.Store(Outgoing{Class: fuzzedClass, Instance: "1.2.3", Encoded: func(string) ([]byte, error) { return make([]byte, 1000), nil }})
	if err != nil {
		return came + " " + err.Error()
	}
	if status != spool.ClassNotSupported && conn.sent.Len() < sent+1000 {
		t.Fatalf("an answer to an object that was not sent")
	}
	return came + " " + status.String()
}

// acceptorSeeds are associations as peers answer them.
func acceptorSeeds() [][]byte {
	accept := association.Accept(make([]byte, 68), []association.Answer{{Context: 1, Transfer: implicitLittleEndian}, {Context: 3, Transfer: fuzzedTransfer}})
	answers := func(n uint16, field uint16, context byte, status spool.Status) []byte {
		set := command.Set{Message: n}.Reply(field, status)
		piece := append([]byte{0, 0, 0, byte(len(set) + 2), context, 3}, set...)
		return pdu.Make(pdu.DataTransfer, piece)
	}
	whole := slices.Concat(accept, answers(1, command.EchoReply, 1, spool.Success), answers(2, command.StoreReply, 3, spool.Success), pdu.Make(pdu.ReleaseReply, make([]byte, 4)))
	warned := slices.Concat(accept, answers(1, command.EchoReply, 1, spool.Success), answers(2, command.StoreReply, 3, spool.Discarded))
	return [][]byte{whole, warned, pdu.Make(pdu.AssociateReject, []byte{0, 1, 1, 7}), accept, slices.Concat(accept, pdu.Make(pdu.Abort, make([]byte, 4)))}
}

// FuzzAcceptor puts whatever a called peer may say to the requestor.
func FuzzAcceptor(f *testing.F) {
	for _, seed := range acceptorSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkAcceptor(t, b) })
}

func TestMutationsOfAcceptors(t *testing.T) {
	tokens := []string{"\x02\x00\x00\x00", "\x04\x00\x00\x00", "\x21\x00\x00", "\x50\x00\x00", "\x51\x00\x00\x04", "\x00\x00\x00\x09\x02\x00\x00\x00", "\x00\x00\x20\x01\x02\x00\x00\x00", fuzzedTransfer, "\xff\xff\xff\xff"}
	mutate.Run(t, mutate.Source{Seeds: acceptorSeeds(), Tokens: tokens, Target: "FuzzAcceptor"}, checkAcceptor)
}

// TestSeedsOfAcceptorsReachTheEnd keeps the seeds worth something.
func TestSeedsOfAcceptorsReachTheEnd(t *testing.T) {
	for i, want := range []string{"accepted stored", "accepted stored, with elements left out by the peer (status B006)"} {
		if got := checkAcceptor(t, acceptorSeeds()[i]); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
