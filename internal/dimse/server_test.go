package dimse_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/binary"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/dimse"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

const srClass = "1.2.840.10008.5.1.4.1.1.88.33"

// serve begins a provider on a free port; it ends with the test.
func serve(t *testing.T, change func(*dimse.Server)) (*dimse.Server, string) {
	t.Helper()
	s := &dimse.Server{
		Storage: func(class string) bool { return class == srClass }, Log: zerolog.Nop(), Idle: 5 * time.Second, Opening: 5 * time.Second, Associations: 8, MostBytes: 1 << 20,
		Spool: &spool.Spool{Dir: t.TempDir(), Check: func(path string) (spool.Identity, spool.Status, error) {
			content, err := os.ReadFile(path)
			if err == nil {
				_, err = dcm.ReadBytes(content)
			}
			if err != nil {
				return spool.Identity{}, spool.CannotUnderstand, err
			}
			return spool.Identity{Study: "2.25.7"}, spool.Success, nil
		}},
	}
	if change != nil {
		change(s)
	}
	if err := s.Spool.Make("test"); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	wait.Go(func() {
		if err := s.Serve(ctx, l); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() { stop(); wait.Wait() })
	return s, l.Addr().String()
}

// files are the objects below a folder.
func files(t *testing.T, folder string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && filepath.Ext(path) == ".dcm" {
			out = append(out, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func report(t *testing.T) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "report.dcm")
	content := dcmtest.Encode(srtest.Report(t, "header 00080016 = "+srClass+"\nheader 00080018 = 2.25.11\nheader 0020000D = 2.25.7\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n"), dcmtest.Encoding{})
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func dcmtk(t *testing.T, program, address string, args ...string) (string, error) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skip("DCMTK is not installed: nothing was sent by another program")
	}
	host, port, _ := net.SplitHostPort(address)
	full := []string{}
	for i, a := range args {
		if a == "@" {
			full = append(append(full, args[:i]...), host, port)
			full = append(full, args[i+1:]...)
		}
	}
	out, err := exec.Command(program, full...).CombinedOutput()
	return string(out), err
}

// TestDCMTKSends: Debian's DCMTK verifies and stores, in each transfer syntax it has
// for reports, four associations at a time, and what lies in the spool is what was
// sent.
func TestDCMTKSends(t *testing.T) {
	s, address := serve(t, nil)
	if out, err := dcmtk(t, "echoscu", address, "@"); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	name := report(t)
	ways := []string{"-x=", "-xe", "-xb", "-xi", "-xd"}
	for _, how := range ways {
		if out, err := dcmtk(t, "storescu", address, how, "-R", "@", name); err != nil {
			t.Errorf("storescu %s: %v: %s", how, err, out)
		}
	}
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			for range 5 {
				if out, err := dcmtk(t, "storescu", address, "-R", "@", name); err != nil {
					t.Errorf("%v: %s", err, out)
				}
			}
		})
	}
	wait.Wait()
	got := files(t, s.Spool.Waiting())
	if want := len(ways) + 20; len(got) != want {
		t.Fatalf("%d of %d objects lie in the spool", len(got), want)
	}
	syntaxes := map[string]bool{}
	for _, path := range got {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := dcm.ReadBytes(content)
		if err != nil || f.Identity().SOPInstanceUID != "2.25.11" {
			t.Errorf("%s: %v", path, err)
			continue
		}
		syntaxes[f.TransferSyntaxUID] = true
	}
	if len(syntaxes) < 3 { // of several contexts that are accepted, the sender chooses the one of its file
		t.Errorf("only %d transfer syntaxes: %v", len(syntaxes), syntaxes)
	}
	if left := files(t, s.Spool.Dir); len(left) != len(got) {
		t.Errorf("%d files beside those that wait", len(left)-len(got))
	}
}

// TestDCMTKSendsByTLS: with a certificate of its own the peer is let in, without it is
// not.
func TestDCMTKSendsByTLS(t *testing.T) {
	dir := t.TempDir()
	certificate, key := selfSigned(t, dir)
	pair, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pem, err := os.ReadFile(certificate)
	if err != nil || !pool.AppendCertsFromPEM(pem) {
		t.Fatal(err)
	}
	_, address := serve(t, func(s *dimse.Server) {
		s.TLS = &tls.Config{Certificates: []tls.Certificate{pair}, ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert, MinVersion: tls.VersionTLS12}
	})
	if out, err := dcmtk(t, "echoscu", address, "+tls", key, certificate, "+cf", certificate, "@"); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	if _, err := dcmtk(t, "echoscu", address, "+tla", "-ic", "@"); err == nil {
		t.Error("a peer without a certificate was let in")
	}
	if _, err := dcmtk(t, "echoscu", address, "@"); err == nil {
		t.Error("a peer without TLS was let in")
	}
}

func selfSigned(t *testing.T, dir string) (certificate, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	pkcs, err := x509.MarshalECPrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	certificate, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for name, block := range map[string]*pem.Block{certificate: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "EC PRIVATE KEY", Bytes: pkcs}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certificate, key
}

// TestTitlesAreHeld: another title called, or a caller not on the list, is rejected
// with the standard's reason (PS3.8 table 9-21).
func TestTitlesAreHeld(t *testing.T) {
	_, address := serve(t, func(s *dimse.Server) { s.Title, s.Allowed = "LAB", []string{"ECHO1"} })
	for _, tt := range []struct {
		called, calling string
		kind, reason    byte
	}{{"LAB", "ECHO1", 2, 0}, {"OTHER", "ECHO1", 3, 7}, {"LAB", "ECHO2", 3, 3}} {
		c := dial(t, address)
		write(t, c, request(tt.called, tt.calling))
		kind, body := read(t, c)
		if kind != tt.kind || kind == 3 && body[3] != tt.reason {
			t.Errorf("%s calls %s: PDU %d %v", tt.calling, tt.called, kind, body[:min(4, len(body))])
		}
	}
}

// TestHostilePeers: garbage, lengths beyond any bound, data before an association,
// unknown contexts, commands without end and cut objects end the association, leave
// nothing in the spool, and the next peer is served.
func TestHostilePeers(t *testing.T) {
	s, address := serve(t, func(s *dimse.Server) { s.Idle, s.Opening = 300*time.Millisecond, 300*time.Millisecond })
	object := message(1, srClass, "2.25.11")
	for name, parts := range map[string][][]byte{
		"garbage":             {bytes.Repeat([]byte{0xEE}, 5000)},
		"a PDU of 4 GiB":      {{1, 0, 0xFF, 0xFF, 0xFF, 0xFF}},
		"data first":          {object},
		"a short request":     {{1, 0, 0, 0, 0, 4, 0, 1, 0, 0}},
		"an item too long":    {append(pdu(1, append(make([]byte, 68), 0x10, 0, 0xFF, 0xFF)), 1)},
		"another context":     {request("A", "B"), message(99, srClass, "2.25.11")},
		"a name with a path":  {request("A", "B"), message(1, srClass, "../../x")},
		"a cut object":        {request("A", "B"), object, values(1, 0, bytes.Repeat([]byte{1}, 1000))},
		"a data set first":    {request("A", "B"), values(1, 2, []byte{1, 2})},
		"a data PDU too long": {request("A", "B"), {4, 0, 0x7F, 0, 0, 0}},
		"nothing":             {},
		"a second request":    {request("A", "B"), object, request("A", "B")},
		"a release within":    {request("A", "B"), object, values(1, 0, bytes.Repeat([]byte{1}, 1000)), pdu(5, make([]byte, 4))},
		"an abort within":     {request("A", "B"), object, values(1, 0, bytes.Repeat([]byte{1}, 1000)), pdu(7, make([]byte, 4))},
		"an unknown PDU":      {request("A", "B"), pdu(9, make([]byte, 4))},
		"no such class":       {requestOf("A", "B", "1.2.840.10008.5.1.4.1.1.2"), message(1, "1.2.840.10008.5.1.4.1.1.2", "2.25.11")},
		"half a request":      {request("A", "B")[:40]},
		"half a head":         {request("A", "B"), {4, 0, 0}},
		"a command for ever":  {request("A", "B"), bytes.Repeat(values(1, 1, make([]byte, 4096)), 8)},
		"a piece of nothing":  {request("A", "B"), pdu(4, []byte{0, 0, 0, 1, 1})},
	} {
		c := dial(t, address)
		for _, p := range parts {
			_, _ = c.Write(p) // the peer may have hung up
		}
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
		if _, err := io.Copy(io.Discard, c); errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("%s: the association does not end", name)
		}
		c.Close()
	}
	c := dial(t, address)
	write(t, c, request("A", "B"))
	if kind, _ := read(t, c); kind != 2 {
		t.Errorf("after all that, a peer gets PDU %d", kind)
	}
	c.Close()
	for _, folder := range []string{s.Spool.Waiting(), s.Spool.Quarantine()} {
		if left := files(t, folder); len(left) > 0 {
			t.Errorf("in %s: %v", folder, left)
		}
	}
}

// TestASlowSenderIsHungUpOn: one that sends byte after byte, each in time, and never comes
// to the end of a PDU, in its request and in an object.
func TestASlowSenderIsHungUpOn(t *testing.T) {
	s, address := serve(t, func(s *dimse.Server) { s.Idle, s.Opening = 500*time.Millisecond, 500*time.Millisecond })
	for name, first := range map[string][][]byte{"request": {{1, 0, 0, 0, 0x10, 0}}, "object": {request("A", "B"), message(1, srClass, "2.25.11"), {4, 0, 0, 0, 0x40, 0}}} {
		c := dial(t, address)
		for _, p := range first {
			write(t, c, p)
		}
		ended := false
		for begun := time.Now(); !ended && time.Since(begun) < time.Minute; time.Sleep(20 * time.Millisecond) {
			_, err := c.Write([]byte{1})
			ended = err != nil
		}
		if !ended {
			t.Errorf("%s: still there after a minute", name)
		}
	}
	if left, err := filepath.Glob(filepath.Join(s.Spool.Dir, ".arriving", "test", "*")); err != nil || len(left) > 0 {
		t.Errorf("left: %v, %v", left, err)
	}
}

// TestAnObjectIsWhatItWasSentAs: one that has another SOP class or instance than the
// command that it came with is kept apart and the sender told (PS3.4 annex B.2.3), for it
// would be acknowledged under a name that nothing has.
func TestAnObjectIsWhatItWasSentAs(t *testing.T) {
	var is atomic.Pointer[spool.Identity]
	s, address := serve(t, func(s *dimse.Server) {
		s.Spool.Check = func(string) (spool.Identity, spool.Status, error) { return *is.Load(), spool.Success, nil }
	})
	c := dial(t, address)
	write(t, c, request("A", "B"))
	read(t, c)
	for _, tt := range []struct {
		class, instance string
		want            spool.Status
	}{{srClass, "2.25.11", spool.Success}, {srClass, "2.25.12", spool.DoesNotMatch}, {"1.2.840.10008.5.1.4.1.1.88.22", "2.25.11", spool.DoesNotMatch}, {srClass, "", spool.Success}, {"", "2.25.11", spool.Success}} {
		is.Store(&spool.Identity{Class: tt.class, Instance: tt.instance, Study: "2.25.7"}) // "" where it says nothing
		write(t, c, message(1, srClass, "2.25.11"))
		write(t, c, values(1, 2, []byte{1, 2}))
		if status := statusOf(t, c); status != uint16(tt.want) {
			t.Errorf("%q %q: status %04X, want %04X", tt.class, tt.instance, status, uint16(tt.want))
		}
	}
	if waiting, apart := files(t, s.Spool.Waiting()), files(t, s.Spool.Quarantine()); len(waiting) != 3 || len(apart) != 2 {
		t.Errorf("%d wait and %d are kept apart", len(waiting), len(apart))
	}
}

// TestManyIdlePeersKeepNobodyOut: more peers than there are places say nothing; when
// their time to begin is over the next is served.
func TestManyIdlePeersKeepNobodyOut(t *testing.T) {
	_, address := serve(t, func(s *dimse.Server) { s.Opening = 200 * time.Millisecond })
	for range 500 {
		dial(t, address)
	}
	for try := 1; ; try++ {
		c := dial(t, address)
		_, err := c.Write(request("A", "B"))
		if err == nil {
			_ = c.SetReadDeadline(time.Now().Add(2 * time.Second))
			var head [6]byte
			if _, err = io.ReadFull(c, head[:]); err == nil && head[0] == 2 {
				return
			}
		}
		if try == 100 {
			t.Fatal("nobody is served while others say nothing")
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// TestWhatCannotBeReadIsKeptApart: the peer is told, and the object lies in the
// quarantine with the reason; an object larger than allowed is refused.
func TestWhatCannotBeReadIsKeptApart(t *testing.T) {
	s, address := serve(t, func(s *dimse.Server) { s.MostBytes = 10_000 })
	c := dial(t, address)
	write(t, c, request("A", "B"))
	read(t, c)
	for _, tt := range []struct {
		size int
		want uint16
	}{{300, uint16(spool.CannotUnderstand)}, {20_000, uint16(spool.OutOfResources)}} {
		write(t, c, message(1, srClass, "2.25.11"))
		write(t, c, values(1, 2, bytes.Repeat([]byte{0xFF}, tt.size)))
		if status := statusOf(t, c); status != tt.want {
			t.Errorf("%d bytes: status %04X, want %04X", tt.size, status, tt.want)
		}
	}
	apart := files(t, s.Spool.Quarantine())
	if len(apart) != 1 || len(files(t, s.Spool.Waiting())) != 0 {
		t.Fatalf("in the quarantine: %v", apart)
	}
	reason, err := os.ReadFile(strings.TrimSuffix(apart[0], ".dcm") + ".reason")
	if err != nil || len(reason) == 0 {
		t.Errorf("no reason beside it: %v", err)
	}
}

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func write(t *testing.T, c net.Conn, b []byte) {
	t.Helper()
	if _, err := c.Write(b); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, c net.Conn) (kind byte, body []byte) {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
	var head [6]byte
	if _, err := io.ReadFull(c, head[:]); err != nil {
		t.Fatal(err)
	}
	body = make([]byte, binary.BigEndian.Uint32(head[2:]))
	if _, err := io.ReadFull(c, body); err != nil {
		t.Fatal(err)
	}
	return head[0], body
}

// statusOf reads a response and gives its status (0000,0900).
func statusOf(t *testing.T, c net.Conn) uint16 {
	t.Helper()
	_, body := read(t, c)
	set := body[6:]
	at := bytes.Index(set, []byte{0, 0, 0, 9, 2, 0, 0, 0})
	if at < 0 {
		t.Fatalf("no status in % X", set)
	}
	return binary.LittleEndian.Uint16(set[at+8:])
}

func pdu(kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint32([]byte{kind, 0}, uint32(len(body))), body...)
}

func item(kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{kind, 0}, uint16(len(body))), body...)
}

// request is an A-ASSOCIATE-RQ with context 1 for reports.
func request(called, calling string) []byte { return requestOf(called, calling, srClass) }

func requestOf(called, calling, class string) []byte {
	pad := func(s string) []byte { return []byte((s + "                ")[:16]) }
	body := append([]byte{0, 1, 0, 0}, pad(called)...)
	body = append(append(body, pad(calling)...), make([]byte, 32)...)
	body = append(body, item(0x10, []byte("1.2.840.10008.3.1.1.1"))...)
	context := append([]byte{1, 0, 0, 0}, item(0x30, []byte(class))...)
	body = append(body, item(0x20, append(context, item(0x40, []byte("1.2.840.10008.1.2"))...))...)
	return pdu(1, append(body, item(0x50, item(0x51, []byte{0, 0, 0x40, 0}))...))
}

// values is a P-DATA-TF with one piece.
func values(context, control byte, b []byte) []byte {
	piece := binary.BigEndian.AppendUint32(nil, uint32(len(b)+2))
	return pdu(4, append(append(piece, context, control), b...))
}

// message is the command set of a C-STORE-RQ.
func message(context byte, class, instance string) []byte {
	var set []byte
	add := func(element uint16, value []byte) {
		if len(value)%2 == 1 {
			value = append(value, 0)
		}
		set = binary.LittleEndian.AppendUint16(append(set, 0, 0), element)
		set = append(binary.LittleEndian.AppendUint32(set, uint32(len(value))), value...)
	}
	add(0x0002, []byte(class))
	add(0x0100, []byte{1, 0})
	add(0x0110, []byte{7, 0})
	add(0x0800, []byte{0, 0})
	add(0x1000, []byte(instance))
	return values(context, 3, set)
}
