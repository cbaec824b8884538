// Package email owns telling of an event by mail (SMTP, RFC 5321).
package email

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"maps"
	"mime"
	"net"
	"net/smtp"
	"net/textproto"
	"slices"
	"strings"
	"time"

	"echotally/internal/notify"
)

// Security of the connection to a mail server.
type Security string

// Kinds of security.
const (
	StartTLS Security = "starttls" // RFC 3207; without it nothing is sent
	TLS      Security = "tls"      // from the first byte (RFC 8314)
	Plain    Security = "none"
)

// Target sends an event by SMTP (RFC 5321). The subject names nothing of the event but
// its kind.
type Target struct {
	Server         string // host and port
	Security       Security
	TLS            *tls.Config // nil for the system's authorities
	User, Password string      // "" for no authentication
	From           string
	To             []string
	Wait           time.Duration // longest for a whole mail
	Caution        string        // last line of each
}

// Name is that of its folder.
func (*Target) Name() string { return "mail" }

// Tell sends it. A permanent answer of the server (RFC 5321 section 4.2.1) to the mail
// itself is for good.
func (m *Target) Tell(ctx context.Context, e *notify.Event) error {
	host, _, err := net.SplitHostPort(m.Server)
	if err != nil {
		return errors.New("the mail server has to be given as host and port")
	}
	secured := &tls.Config{}
	if m.TLS != nil {
		secured = m.TLS.Clone()
	}
	secured.ServerName, secured.MinVersion = host, tls.VersionTLS12
	ctx, done := context.WithTimeout(ctx, m.Wait)
	defer done()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", m.Server)
	if err != nil {
		return err
	}
	defer conn.Close()
	end, _ := ctx.Deadline()
	if err := conn.SetDeadline(end); err != nil {
		return err
	}
	if m.Security == TLS {
		conn = tls.Client(conn, secured)
	}
	c, err := smtp.NewClient(conn, host)
	if err != nil {
		return err
	}
	defer c.Close()
	if err := m.login(c, host, secured); err != nil {
		return fmt.Errorf("mail server: %w", err) // of any kind: who mends it wants what waits
	}
	return m.send(c, e)
}

func (m *Target) login(c *smtp.Client, host string, secured *tls.Config) error {
	if m.Security == StartTLS {
		if err := c.StartTLS(secured); err != nil {
			return err
		}
	}
	if m.User == "" {
		return nil
	}
	return c.Auth(smtp.PlainAuth("", m.User, m.Password, host))
}

func (m *Target) send(c *smtp.Client, e *notify.Event) error {
	err := c.Mail(m.From)
	for _, to := range m.To {
		if err == nil {
			err = c.Rcpt(to)
		}
	}
	if err == nil {
		err = m.data(c, e)
	}
	if answer, ok := errors.AsType[*textproto.Error](err); ok && answer.Code >= 500 {
		return fmt.Errorf("the mail server answers %d: %w", answer.Code, notify.ErrRefused)
	}
	if err == nil {
		_ = c.Quit() // it was taken
	}
	return err
}

func (m *Target) data(c *smtp.Client, e *notify.Event) error {
	w, err := c.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write(m.message(e)); err != nil {
		return err
	}
	return w.Close()
}

// message is the whole of a mail (RFC 5322), in ASCII.
func (m *Target) message(e *notify.Event) []byte {
	subject, text := "echotally: a study with findings", "A study was recorded with findings.\n"
	switch {
	case e.Kind == notify.Quarantined:
		subject, text = "echotally: an object could not be read", "An object that was received could not be read and is kept in the quarantine.\n"
	case e.Updates != "" && len(e.Findings) == 0:
		subject, text = "echotally: update, no findings any more", "More has arrived that concerns a study reported to you before. It was checked again and has no such findings any more.\n"
	case e.Updates != "":
		subject, text = "echotally: update, other findings", "More has arrived that concerns a study reported to you before. It was checked again; its findings are now:\n"
	}
	for _, severity := range slices.Sorted(maps.Keys(e.Findings)) {
		text += fmt.Sprintf("%s: %d\n", severity, e.Findings[severity])
	}
	if e.Reason != "" {
		text += "Reason: " + e.Reason + "\n"
	}
	if e.Study != "" {
		text += "Study: " + e.Study + "\n"
	}
	text += "\n" + m.Caution + "\n"
	ascii := strings.Map(func(r rune) rune {
		if r == '\n' || r >= ' ' && r <= '~' {
			return r
		}
		return '?'
	}, text)
	message := func(id string) string { return "<" + id + "@echotally.invalid>" }
	heads := []string{
		"From: " + m.From, "To: " + strings.Join(m.To, ", "), "Subject: " + mime.QEncoding.Encode("utf-8", subject), "Date: " + e.At.Format(time.RFC1123Z),
		"Message-ID: " + message(e.ID), "Auto-Submitted: auto-generated", "MIME-Version: 1.0", "Content-Type: text/plain; charset=us-ascii",
	}
	if e.Updates != "" { // mail programs show it below the one before (RFC 5322 section 3.6.4)
		heads = append(heads, "In-Reply-To: "+message(e.Updates), "References: "+message(e.Updates))
	}
	return []byte(strings.Join(heads, "\r\n") + "\r\n\r\n" + strings.ReplaceAll(ascii, "\n", "\r\n"))
}
