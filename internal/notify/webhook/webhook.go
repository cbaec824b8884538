// Package webhook owns telling of an event by a signed request to a URL of the lab.
package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"echotally/internal/notify"
)

// Target posts an event as JSON. Signature is the HMAC-SHA256 (RFC 2104) by the secret
// of the time in seconds since 1970, a full stop, and the body; so a receiver knows who
// sent it, and can refuse what is old.
type Target struct {
	URL    string
	Secret []byte
	TLS    *tls.Config   // nil for the system's authorities
	Wait   time.Duration // longest for an answer
	Now    func() time.Time
}

// Heads of a request.
const (
	HeadEvent     = "Echotally-Event"
	HeadTime      = "Echotally-Time"
	HeadSignature = "Echotally-Signature"
)

// Name is that of its folder.
func (*Target) Name() string { return "webhook" }

// Sign gives the signature of a body sent at a time.
func Sign(secret []byte, at int64, body []byte) string {
	mac := hmac.New(sha256.New, secret)
	fmt.Fprintf(mac, "%d.%s", at, body)
	return "sha256=" + hex.EncodeToString(mac.Sum(nil))
}

// Tell posts it. No redirect is followed. What the receiver answers is not read, but
// for its status: one that tells of a fault of the request is for good.
func (w *Target) Tell(ctx context.Context, e *notify.Event) error {
	body, err := json.Marshal(e)
	if err != nil {
		return err
	}
	ctx, done := context.WithTimeout(ctx, w.Wait)
	defer done()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(body))
	if err != nil {
		return errors.New("the URL of the webhook cannot be used") // the error would show it
	}
	at := w.Now().Unix()
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set(HeadEvent, e.ID)
	r.Header.Set(HeadTime, strconv.FormatInt(at, 10))
	r.Header.Set(HeadSignature, Sign(w.Secret, at, body))
	transport := &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: w.TLS, DisableKeepAlives: true}
	client := &http.Client{Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	if err != nil {
		return fmt.Errorf("the webhook does not answer: %w", unwrapped(err))
	}
	defer answer.Body.Close()
	_, _ = io.CopyN(io.Discard, answer.Body, 4096) // so that a small answer does not end in a reset
	switch status := answer.StatusCode; {
	case status >= 200 && status < 300:
		return nil
	case status == http.StatusRequestTimeout || status == http.StatusTooManyRequests || status >= 500:
		return fmt.Errorf("the webhook answers %d", status)
	case status == http.StatusUnauthorized || status == http.StatusForbidden || status == http.StatusNotFound:
		return fmt.Errorf("the webhook answers %d: look at its URL and secret", status) // who mends that wants what waits
	default:
		return fmt.Errorf("the webhook answers %d: %w", status, notify.ErrRefused)
	}
}

// unwrapped takes the URL out of an error, which may carry a secret of its own.
func unwrapped(err error) error {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err
		}
		err = inner
	}
}
