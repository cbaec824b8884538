package dicomweb_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"math/big"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"echotally/internal/dicomweb"
)

// TestACertificateLetsIn: with TLS, a sender whose certificate an authority of the lab
// gave is served, one without is not, and neither is one without TLS.
func TestACertificateLetsIn(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	pool, pair := x509.NewCertPool(), tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool.AddCert(parsed)
	s, _ := storing(t, nil)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	wait.Go(func() {
		secured := &tls.Config{Certificates: []tls.Certificate{pair}, ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert, MinVersion: tls.VersionTLS12}
		if err := s.Serve(ctx, l, 8, secured); err != nil {
			t.Error(err)
		}
	})
	defer func() { stop(); wait.Wait() }()
	store := func(scheme string, shown ...tls.Certificate) string {
		client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, Certificates: shown}, DisableKeepAlives: true}}
		answer, err := client.Post(scheme+"://"+l.Addr().String()+dicomweb.Base+"/studies", multipartDICOM, bytes.NewReader(related(object(t, srClass, "2.25.11", "2.25.7"))))
		if err != nil {
			return "no answer"
		}
		answer.Body.Close()
		return answer.Status
	}
	if got := store("https", pair); got != "200 OK" {
		t.Errorf("with a certificate: %s", got)
	}
	if got := store("https"); got != "no answer" {
		t.Errorf("without one: %s", got)
	}
	if got := store("http"); got != "no answer" && !strings.HasPrefix(got, "400") {
		t.Errorf("without TLS: %s", got)
	}
	if waits := files(t, s.Spool.Waiting()); len(waits) != 1 {
		t.Errorf("%d objects wait, want 1", len(waits))
	}
}
