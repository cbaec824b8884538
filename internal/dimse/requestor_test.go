package dimse_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/dimse"
	"echotally/internal/dimse/requestor"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

const explicit = dcm.ExplicitVRLittleEndian

// outgoing is a report to be sent.
func outgoing(t *testing.T) requestor.Outgoing {
	t.Helper()
	d := srtest.Report(t, "header 00080016 = "+srClass+"\nheader 00080018 = 2.25.11\nheader 0020000D = 2.25.7\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n")
	return requestor.Outgoing{Class: srClass, Instance: "2.25.11", Encoded: func(transfer string) ([]byte, error) {
		var b bytes.Buffer
		err := dcm.WriteDataset(&b, d, transfer)
		return b.Bytes(), err
	}}
}

func peer(address string) requestor.Peer {
	return requestor.Peer{Address: address, Called: "ARCHIVE", Calling: "ECHOTALLY", Connect: 5 * time.Second, Idle: 5 * time.Second}
}

func offers(transfer ...string) []requestor.Offer {
	return []requestor.Offer{requestor.Verify(), {Class: srClass, Transfer: transfer}}
}

// storescp begins DCMTK's receiver on a free port.
func storescp(t *testing.T, args ...string) (address, dir string) {
	t.Helper()
	if _, err := exec.LookPath("storescp"); err != nil {
		t.Skip("DCMTK is not installed: nothing was sent to another program")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := l.Addr().(*net.TCPAddr).Port
	l.Close()
	dir = t.TempDir()
	cmd := exec.Command("storescp", append(append([]string{"-od", dir}, args...), strconv.Itoa(port))...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	address = net.JoinHostPort("127.0.0.1", strconv.Itoa(port))
	for try := 0; ; try++ {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
			return address, dir
		}
		if try == 200 {
			t.Fatal("storescp does not begin")
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// TestDCMTKReceives: Debian's storescp answers a C-ECHO, stores what is sent in the
// transfer syntax it prefers, and what it wrote is what was sent.
func TestDCMTKReceives(t *testing.T) {
	for name, tt := range map[string]struct {
		args     []string
		offered  []string
		transfer string
	}{
		"explicit":                   {nil, []string{explicit, dcm.ImplicitVRLittleEndian}, explicit},
		"implicit only":              {[]string{"+xi"}, []string{explicit, dcm.ImplicitVRLittleEndian}, dcm.ImplicitVRLittleEndian},
		"a peer of little room":      {[]string{"-pdu", "4096"}, []string{explicit}, explicit},
		"two contexts of one syntax": {nil, []string{explicit, explicit}, explicit},
	} {
		t.Run(name, func(t *testing.T) {
			address, dir := storescp(t, tt.args...)
			r, err := requestor.Call(t.Context(), peer(address), offers(tt.offered...)...)
			if err != nil {
				t.Fatal(err)
			}
			if err := r.Echo(); err != nil {
				t.Error(err)
			}
			if got := r.Accepted(srClass); got != tt.transfer {
				t.Errorf("accepted %s, want %s", got, tt.transfer)
			}
			for range 2 { // one association carries several
				if status, err := r.Store(outgoing(t)); err != nil || status != spool.Success {
					t.Errorf("%v, %v", status, err)
				}
			}
			r.Close()
			got, err := filepath.Glob(filepath.Join(dir, "*"))
			if err != nil || len(got) == 0 {
				t.Fatalf("storescp wrote %v, %v", got, err)
			}
			content, err := os.ReadFile(got[0])
			if err != nil {
				t.Fatal(err)
			}
			f, err := dcm.ReadBytes(content)
			if err != nil || f.TransferSyntaxUID != tt.transfer || f.Identity().SOPInstanceUID != "2.25.11" {
				t.Fatalf("%v: %+v", err, f)
			}
			sent, err := outgoing(t).Encoded(explicit)
			if err != nil {
				t.Fatal(err)
			}
			// storescp may write lengths another way: what was sent is in it element by element.
			want, err := dcm.ReadBytes(sent)
			if err != nil || len(want.Dataset.Elements) != len(f.Dataset.Elements) {
				t.Errorf("%v: %d elements arrived of %d", err, len(f.Dataset.Elements), len(want.Dataset.Elements))
			}
		})
	}
}

// TestOwnServerReceives: what is sent lies in the spool of our own server to the byte,
// with and without TLS; a certificate nobody vouches for ends the call.
func TestOwnServerReceives(t *testing.T) {
	certificate, key := selfSigned(t, t.TempDir())
	pair, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pem, err := os.ReadFile(certificate)
	if err != nil || !pool.AppendCertsFromPEM(pem) {
		t.Fatal(err)
	}
	for _, secured := range []bool{false, true} {
		s, address := serve(t, func(s *dimse.Server) {
			s.Title, s.Allowed = "ARCHIVE", []string{"ECHOTALLY"}
			if secured {
				s.TLS = &tls.Config{Certificates: []tls.Certificate{pair}, ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert, MinVersion: tls.VersionTLS12}
			}
		})
		p := peer(address)
		if secured {
			if _, err := requestor.Call(t.Context(), p, offers(explicit)...); err == nil {
				t.Error("a call without TLS was taken by a server with it")
			}
			p.TLS = &tls.Config{ServerName: "127.0.0.1", Certificates: []tls.Certificate{pair}}
			if _, err := requestor.Call(t.Context(), p, offers(explicit)...); err == nil {
				t.Error("a certificate nobody vouches for was believed")
			}
			p.TLS.RootCAs = pool
		}
		r, err := requestor.Call(t.Context(), p, offers(explicit)...)
		if err != nil {
			t.Fatal(err)
		}
		if status, err := r.Store(outgoing(t)); err != nil || status != spool.Success {
			t.Errorf("%v, %v", status, err)
		}
		r.Close()
		got := files(t, s.Spool.Waiting())
		if len(got) != 1 {
			t.Fatalf("%d objects in the spool", len(got))
		}
		content, err := os.ReadFile(got[0])
		sent, failed := outgoing(t).Encoded(explicit)
		if err = errors.Join(err, failed); err != nil || !bytes.HasSuffix(content, sent) {
			t.Errorf("what arrived is not what was sent (%v)", err)
		}
	}
}

// TestDCMTKReceivesByTLS: storescp with TLS and a certificate of its own.
func TestDCMTKReceivesByTLS(t *testing.T) {
	certificate, key := selfSigned(t, t.TempDir())
	pair, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pem, err := os.ReadFile(certificate)
	if err != nil || !pool.AppendCertsFromPEM(pem) {
		t.Fatal(err)
	}
	address, dir := storescp(t, "+tls", key, certificate, "+cf", certificate)
	p := peer(address)
	p.TLS = &tls.Config{ServerName: "127.0.0.1", Certificates: []tls.Certificate{pair}, RootCAs: pool}
	r, err := requestor.Call(t.Context(), p, offers(explicit)...)
	if err != nil {
		t.Fatal(err)
	}
	if status, err := r.Store(outgoing(t)); err != nil || status != spool.Success {
		t.Errorf("%v, %v", status, err)
	}
	r.Close()
	if got, _ := filepath.Glob(filepath.Join(dir, "*")); len(got) != 1 {
		t.Errorf("storescp wrote %v", got)
	}
}

// TestRefusalsAreSaid: of titles, classes and objects that a peer does not want, it is
// said which and why.
func TestRefusalsAreSaid(t *testing.T) {
	_, address := serve(t, func(s *dimse.Server) { s.Title, s.Allowed, s.MostBytes = "ARCHIVE", []string{"ECHOTALLY"}, 100 })
	for _, tt := range []struct{ called, calling, want string }{
		{"OTHER", "ECHOTALLY", "it does not answer to the called AE title"}, {"ARCHIVE", "STRANGER", "does not know the calling AE title"},
		{"", "ECHOTALLY", "called AE title"}, {"ARCHIVE", "A TITLE THAT IS FAR TOO LONG", "calling AE title"},
	} {
		p := peer(address)
		p.Called, p.Calling = tt.called, tt.calling
		if _, err := requestor.Call(t.Context(), p, offers(explicit)...); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s calls %s: %v", tt.calling, tt.called, err)
		}
	}
	r, err := requestor.Call(t.Context(), peer(address), requestor.Offer{Class: "1.2.840.10008.5.1.4.1.1.104.1", Transfer: []string{explicit}}, offers(explicit)[1])
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := r.Echo(); err == nil {
		t.Error("Verification was not offered and answered")
	}
	if status, err := r.Store(requestor.Outgoing{Class: "1.2.840.10008.5.1.4.1.1.104.1", Instance: "2.25.1"}); err != nil || status.Stored() || !strings.Contains(status.String(), "does not accept") {
		t.Errorf("a class that is not taken: %v, %v", status, err)
	}
	if status, err := r.Store(outgoing(t)); err != nil || status.Stored() || !strings.Contains(status.String(), "A700") {
		t.Errorf("an object that is too large: %v, %v", status, err)
	}
}

// answering is a peer that says the same whatever it is asked.
func answering(t *testing.T, says ...[]byte) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			go func() {
				_, _ = c.Write(bytes.Join(says, nil)) // the caller may have hung up
				_, _ = io.Copy(io.Discard, c)
			}()
		}
	}()
	return l.Addr().String()
}

// accept is an A-ASSOCIATE-AC that takes context id in a transfer syntax.
func accept(id byte, transfer string) []byte {
	body := append(make([]byte, 68), item(0x10, []byte("1.2.840.10008.3.1.1.1"))...)
	return pdu(2, append(body, item(0x21, append([]byte{id, 0, 0, 0}, item(0x40, []byte(transfer))...))...))
}

// response is the command set of a C-STORE-RSP.
func response(message byte, status uint16) []byte {
	set := []byte{0, 0, 0, 1, 2, 0, 0, 0, 1, 0x80, 0, 0, 0x20, 1, 2, 0, 0, 0, message, 0, 0, 0, 0, 8, 2, 0, 0, 0, 1, 1, 0, 0, 0, 9, 2, 0, 0, 0, byte(status), byte(status >> 8)}
	return values(1, 3, set)
}

// TestHostileAcceptors: whatever a called peer says or does not say, the call ends within
// its wait, and nothing is taken for stored but what was acknowledged for this object.
func TestHostileAcceptors(t *testing.T) {
	good := accept(1, explicit)
	for name, says := range map[string][][]byte{
		"nothing":                     {},
		"garbage":                     {bytes.Repeat([]byte{0xEE}, 5000)},
		"a PDU of 4 GiB":              {{2, 0, 0xFF, 0xFF, 0xFF, 0xFF}},
		"a short acceptance":          {{2, 0, 0, 0, 0, 4, 0, 1, 0, 0}},
		"a context nobody proposed":   {accept(9, explicit), response(1, 0)},
		"a syntax nobody proposed":    {accept(1, "1.2.840.10008.1.2.4.50"), response(1, 0)},
		"an abort":                    {pdu(7, []byte{0, 0, 0, 0})},
		"a rejection":                 {pdu(3, []byte{0, 1, 1, 7})},
		"an abort after acceptance":   {good, pdu(7, []byte{0, 0, 0, 0})},
		"the answer to another":       {good, response(2, 0)},
		"an answer in another place":  {good, values(3, 3, response(1, 0)[12:])},
		"a data set":                  {good, values(1, 2, []byte{1, 2})},
		"a command without end":       {good, bytes.Repeat(values(1, 1, bytes.Repeat([]byte{0}, 4000)), 10)},
		"an answer without a status":  {good, values(1, 3, response(1, 0)[12:12+30])},
		"a release in between":        {good, pdu(5, []byte{0, 0, 0, 0})},
		"empty pieces without end":    {good, bytes.Repeat(pdu(4, nil), 100_000)},
		"a length beyond its PDU":     {good, pdu(4, []byte{0, 0, 0xFF, 0, 1, 3})},
		"an acceptance, then nothing": {good},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := peer(answering(t, says...))
			p.Connect, p.Idle = 300*time.Millisecond, 300*time.Millisecond
			r, err := requestor.Call(t.Context(), p, requestor.Offer{Class: srClass, Transfer: []string{explicit}})
			if err != nil {
				return
			}
			defer r.Close()
			if status, err := r.Store(outgoing(t)); err == nil && status.Stored() {
				t.Error("taken for stored")
			}
		})
	}
	// The same frame around an answer that is right, so that the table shows something.
	p := peer(answering(t, good, response(1, 0xB000)))
	p.Idle = time.Second
	r, err := requestor.Call(t.Context(), p, requestor.Offer{Class: srClass, Transfer: []string{explicit}})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if status, err := r.Store(outgoing(t)); err != nil || status != spool.Coerced {
		t.Errorf("%v, %v", status, err)
	}
}

// TestAnEndedContextEndsTheCall while the peer says nothing.
func TestAnEndedContextEndsTheCall(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	p := peer(answering(t))
	p.Connect = time.Minute
	go stop()
	if _, err := requestor.Call(ctx, p, offers(explicit)...); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
