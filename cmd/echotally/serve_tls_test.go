package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"echotally/internal/dimse/requestor"
)

// authority is an invented one that certifies.
type authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// certified is a certificate for this machine with its key, good from a day before and
// for so long from now; nil certifies itself as an authority.
func certified(t *testing.T, by *authority, lasts time.Duration, uses ...x509.ExtKeyUsage) (tls.Certificate, *authority) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: time.Now().Add(lasts), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, ExtKeyUsage: uses,
		IsCA: by == nil, BasicConstraintsValid: true,
	}
	if by == nil {
		by = &authority{template, key}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, by.certificate, key.Public(), by.key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, &authority{parsed, key}
}

// pemFiles writes a certificate and its key as files.
func pemFiles(t *testing.T, dir, name string, c tls.Certificate) (certificate, key string) {
	t.Helper()
	secret, err := x509.MarshalPKCS8PrivateKey(c.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	certificate, key = filepath.Join(dir, name+".pem"), filepath.Join(dir, name+".key")
	for path, block := range map[string]*pem.Block{certificate: {Type: "CERTIFICATE", Bytes: c.Certificate[0]}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certificate, key
}

// TestOnlyTheCertifiedCall: where authorities of callers are named, DICOM, STOW-RS and the
// page answer who shows a certificate by one of them, and nobody without one, with one of
// another authority, with one that has run out, or with one that is for servers.
func TestOnlyTheCertifiedCall(t *testing.T) {
	dir := t.TempDir()
	root, lab := certified(t, nil, time.Hour)
	_, stranger := certified(t, nil, time.Hour)
	server, _ := certified(t, lab, time.Hour, x509.ExtKeyUsageServerAuth)
	clients, _ := pemFiles(t, dir, "lab", root)
	certificate, key := pemFiles(t, dir, "server", server)
	secured := fmt.Sprintf("tls: {certificate: %q, key: %q, clients: %q}", certificate, key, clients)
	text := fmt.Sprintf("quietSeconds: 0\nspool: %q\ndicom: {listen: \"127.0.0.1:0\", %s}\nstow: {listen: \"127.0.0.1:0\", %s}\nweb: {accounts: %q, log: %q, %s}\n",
		filepath.Join(dir, "spool"), secured, secured, filepath.Join(dir, "accounts.json"), filepath.Join(dir, "access.log"), secured)
	config := filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("ECHOTALLY_WEB_LISTEN", "127.0.0.1:0")
	p := begin(t, "serve", "--config", config, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
	at := p.listening(t, "DICOM", "STOW-RS", "web")
	trusted := x509.NewCertPool()
	trusted.AddCert(lab.certificate)
	good, _ := certified(t, lab, time.Hour, x509.ExtKeyUsageClientAuth)
	of, _ := certified(t, stranger, time.Hour, x509.ExtKeyUsageClientAuth)
	old, _ := certified(t, lab, -time.Hour, x509.ExtKeyUsageClientAuth)
	for _, tt := range []struct {
		caller string
		shows  []tls.Certificate
		served bool
	}{{"with a certificate", []tls.Certificate{good}, true}, {"without one", nil, false}, {"of another authority", []tls.Certificate{of}, false}, {"with one that has run out", []tls.Certificate{old}, false}, {"with one for servers", []tls.Certificate{server}, false}} {
		calls := &tls.Config{RootCAs: trusted, MinVersion: tls.VersionTLS12, GetClientCertificate: func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { // whatever is asked for
			return &append(slices.Clone(tt.shows), tls.Certificate{})[0], nil
		}}
		for what, served := range map[string]bool{"DICOM": verified(at["DICOM"], calls), "STOW-RS": storedSecured(t, at["STOW-RS"], calls), "web": answered(at["web"], calls)} {
			if served != tt.served {
				t.Errorf("%s, who calls %s: served %v", what, tt.caller, served)
			}
		}
	}
	if storeOverWeb(at["STOW-RS"], servedReport(t, "2.25.88", "2.25.772", 62)) || verified(at["DICOM"], nil) {
		t.Error("who speaks no TLS was served")
	}
	p.end(t)
}

// verified reports whether a C-ECHO is answered.
func verified(address string, calls *tls.Config) bool {
	if calls != nil {
		calls = calls.Clone()
		calls.ServerName = "127.0.0.1"
	}
	r, err := requestor.Call(context.Background(), requestor.Peer{Address: address, Called: "LAB", Calling: "SCANNER", TLS: calls, Connect: time.Minute, Idle: time.Minute}, requestor.Verify())
	if err != nil {
		return false
	}
	defer r.Close()
	return r.Echo() == nil
}

// storedSecured reports whether an object is acknowledged.
func storedSecured(t *testing.T, address string, calls *tls.Config) bool {
	body := slices.Concat([]byte("--b\r\nContent-Type: application/dicom\r\n\r\n"), servedReport(t, "2.25.88", "2.25.771", 61), []byte("\r\n--b--\r\n"))
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: calls, DisableKeepAlives: true}}
	r, err := client.Post("https://"+address+"/dicomweb/studies", `multipart/related; type="application/dicom"; boundary=b`, bytes.NewReader(body))
	if err != nil {
		return false
	}
	r.Body.Close()
	return r.StatusCode == http.StatusOK
}

// answered reports whether the page answers.
func answered(address string, calls *tls.Config) bool {
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: calls, DisableKeepAlives: true}}
	r, err := client.Get("https://" + address + "/healthz")
	if err != nil {
		return false
	}
	r.Body.Close()
	return r.StatusCode == http.StatusOK
}
