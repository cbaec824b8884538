package main

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"os"
	"strings"

	"echotally/internal/printable"
)

// authorities are those whose certificates a PEM file holds, nil for none.
func authorities(name string) *x509.CertPool {
	pem, err := os.ReadFile(name)
	pool := x509.NewCertPool()
	if err != nil || !pool.AppendCertsFromPEM(pem) {
		return nil
	}
	return pool
}

// pemFile is a PEM file with the flag that names it.
type pemFile struct{ flag, name string }

// callsBy is the TLS of who calls: which authorities are believed, those of the system
// where none are named, and the certificate that is shown, none where none is named.
func callsBy(believed, certificate, key pemFile) (*tls.Config, error) {
	out := &tls.Config{MinVersion: tls.VersionTLS12}
	if believed.name != "" {
		if out.RootCAs = authorities(believed.name); out.RootCAs == nil {
			return nil, unusable("no certificate of an authority in "+believed.flag, "a PEM file")
		}
	}
	if certificate.name+key.name != "" {
		pair, err := tls.LoadX509KeyPair(certificate.name, key.name)
		if err != nil {
			return nil, unusable(certificate.flag+" and "+key.flag+" cannot be read, or do not belong together", "PEM files")
		}
		out.Certificates = []tls.Certificate{pair}
	}
	return out, nil
}

// mostSecret bounds the file of a secret.
const mostSecret = 4096

// secretIn reads a file that holds one secret of at least so many characters in one
// line. The error says what is wrong of the file, to be put behind what names it.
func secretIn(name string, least int) (string, error) {
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() || info.Size() > mostSecret {
		return "", errors.New("cannot be read")
	}
	b, err := os.ReadFile(name)
	secret := strings.TrimSpace(string(b))
	if err != nil || len(secret) < least || strings.ContainsFunc(secret, printable.Unsafe) {
		return "", errors.New("holds no secret")
	}
	return secret, nil
}
