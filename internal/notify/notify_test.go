package notify_test

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"echotally/internal/notify"
	"echotally/internal/notify/email"
	"echotally/internal/notify/webhook"
)

func event(n int) *notify.Event {
	return &notify.Event{Kind: notify.Findings, At: time.Unix(1_790_000_000+int64(n), 0).UTC(), Findings: map[string]int{"error": n}, About: fmt.Sprint("study ", n), State: fmt.Sprint(n)}
}

// put puts events into a queue and gives the IDs they got.
func put(t *testing.T, q *notify.Queue, all ...*notify.Event) (ids []string) {
	t.Helper()
	for _, e := range all {
		if err := q.Put(e); err != nil {
			t.Fatal(err)
		}
		ids = append(ids, e.ID)
	}
	return ids
}

// target takes down what it is told, after so many failures.
type target struct {
	lock  sync.Mutex
	fails int
	err   error
	told  []string
	all   func(n int)
}

func (*target) Name() string { return "target" }

func (t *target) Tell(_ context.Context, e *notify.Event) error {
	t.lock.Lock()
	defer t.lock.Unlock()
	if t.fails != 0 {
		t.fails--
		return t.err
	}
	t.told = append(t.told, e.ID)
	if t.all != nil {
		t.all(len(t.told))
	}
	return nil
}

func queue(t *testing.T, dir string, to notify.Target) *notify.Queue {
	t.Helper()
	q := &notify.Queue{Dir: dir, Targets: []notify.Target{to}, First: time.Millisecond, Longest: 4 * time.Millisecond, Keep: 1000 * 24 * time.Hour, Failed: func(string, error) {}}
	if _, err := q.Open(); err != nil {
		t.Fatal(err)
	}
	return q
}

// TestNothingIsLostOverARestart: events that a target could not be told are told by the
// next process, in their order, and what was put twice, before or after, once.
func TestNothingIsLostOverARestart(t *testing.T) {
	dir := t.TempDir()
	down := &target{fails: -1, err: errors.New("down")}
	q := queue(t, dir, down)
	want := put(t, q, event(0), event(1), event(2))
	put(t, q, event(0), event(1), event(2))
	ctx, stop := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer stop()
	if err := q.Run(ctx); err != nil || len(down.told) > 0 {
		t.Fatal(err, down.told)
	}
	ctx, stop = context.WithCancel(context.Background())
	defer stop()
	up := &target{fails: 2, err: errors.New("still down"), all: func(n int) {
		if n == 4 {
			stop()
		}
	}}
	q = queue(t, dir, up)
	put(t, q, event(1))
	want = append(want, put(t, q, event(3))...)
	if err := q.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(up.told, want) {
		t.Errorf("told %v\nwant %v", up.told, want)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "target", "*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// TestWhatChangedIsToldAsAnUpdate: of the event told before, once, also over a restart
// and back to what was told first; that nothing is left is told to who was told before.
func TestWhatChangedIsToldAsAnUpdate(t *testing.T) {
	dir := t.TempDir()
	of := func(state string, findings map[string]int) *notify.Event {
		e := event(0)
		e.About, e.State, e.Findings = "a study", state, findings
		return e
	}
	nothing := event(1)
	nothing.State = ""
	var sent []*notify.Event
	for _, e := range []*notify.Event{nothing, of("a", map[string]int{"error": 1}), of("a", nil), of("b", map[string]int{"error": 2}), of("b", nil), of("a", map[string]int{"error": 1}), of("", map[string]int{}), of("", nil)} {
		q := queue(t, dir, &target{}) // each after a restart
		if put(t, q, e); e.ID != "" {
			sent = append(sent, e)
		}
	}
	before := ""
	ids := map[string]bool{}
	for n, e := range sent {
		if e.Updates != before {
			t.Errorf("event %d updates %q, want %q", n, e.Updates, before)
		}
		before, ids[e.ID] = e.ID, true
	}
	if len(sent) != 4 || len(ids) != 4 || sent[3].State != "" {
		t.Errorf("%d events, %d of them different", len(sent), len(ids))
	}
	b, err := json.Marshal(sent[3])
	if err != nil || !strings.Contains(string(b), `"updates":"`+sent[2].ID+`"`) || !strings.Contains(string(b), `"findings":{}`) || strings.Contains(string(b), "a study") {
		t.Errorf("%s, %v", b, err)
	}
	if b, err := json.Marshal(sent[0]); err != nil || strings.Contains(string(b), "updates") {
		t.Errorf("the first: %s, %v", b, err)
	}
}

// TestWhatWasToldIsForgotten after 400 days, and the file of it keeps to what is
// remembered, also while the program runs.
func TestWhatWasToldIsForgotten(t *testing.T) {
	dir := t.TempDir()
	q := queue(t, dir, &target{})
	q.Targets = nil // only what is remembered is looked at
	day := func(n int, about string, state int) *notify.Event {
		return &notify.Event{Kind: notify.Findings, At: time.Date(2026, 1, 1+n, 8, 0, 0, 0, time.UTC), About: about, State: fmt.Sprint(state)}
	}
	lines := func() int {
		b, err := os.ReadFile(filepath.Join(dir, "told"))
		if err != nil {
			t.Fatal(err)
		}
		return strings.Count(string(b), "\n")
	}
	put(t, q, day(0, "old", 0), day(100, "kept", 0))
	for n := range 1200 { // one thing that changes again and again
		put(t, q, day(101+n/3, "changing", n))
	}
	if got := lines(); got > 1100 {
		t.Errorf("%d lines while it runs", got)
	}
	last := day(500, "changing", 1200)
	put(t, q, last)
	q = queue(t, dir, &target{})
	if got := lines(); got != 2 {
		t.Errorf("%d lines after a restart, want 2", got)
	}
	kept, old, same := day(500, "kept", 0), day(500, "old", 0), day(501, "changing", 1200)
	if put(t, q, kept, old, same); kept.ID != "" || same.ID != "" || old.ID == "" || old.Updates != "" {
		t.Errorf("kept %q, old %q as update of %q, same %q", kept.ID, old.ID, old.Updates, same.ID)
	}
}

// TestWhatIsRefusedIsKept: an event that a target refuses for good, or that cannot be
// read, does not hold up the next, and is set aside.
func TestWhatIsRefusedIsKept(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	to := &target{fails: 1, err: notify.ErrRefused, all: func(int) { stop() }}
	q := queue(t, dir, to)
	if err := os.WriteFile(filepath.Join(dir, "target", "0.json"), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	ids := put(t, q, event(0), event(1))
	if err := q.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if aside, _ := filepath.Glob(filepath.Join(dir, "undelivered", "*")); len(aside) != 2 || !slices.Equal(to.told, ids[1:]) {
		t.Errorf("set aside %v, told %v", aside, to.told)
	}
}

// TestAWebhookIsSigned: OpenSSL comes to the same signature, and the body names nothing
// that the event does not.
func TestAWebhookIsSigned(t *testing.T) {
	var head http.Header
	var body []byte
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		head = r.Header
		body, _ = io.ReadAll(r.Body)
	}))
	defer server.Close()
	w := &webhook.Target{URL: server.URL, Secret: []byte("a secret of sixteen"), Wait: 10 * time.Second, Now: func() time.Time { return time.Unix(1_790_000_000, 0) }}
	e := event(2)
	e.ID = "0123"
	if err := w.Tell(context.Background(), e); err != nil {
		t.Fatal(err)
	}
	var fields map[string]any
	if err := json.Unmarshal(body, &fields); err != nil {
		t.Fatal(err)
	}
	for name := range fields {
		if !slices.Contains([]string{"id", "event", "at", "findings"}, name) {
			t.Errorf("the body has %s: %s", name, body)
		}
	}
	if head.Get(webhook.HeadTime) != "1790000000" || head.Get(webhook.HeadEvent) != "0123" {
		t.Errorf("%v", head)
	}
	if _, err := exec.LookPath("openssl"); err != nil {
		t.Skip("openssl is not installed: the signature was not compared with another program's")
	}
	openssl := exec.Command("openssl", "dgst", "-sha256", "-hmac", "a secret of sixteen", "-r")
	openssl.Stdin = strings.NewReader("1790000000." + string(body))
	out, err := openssl.Output()
	if want := "sha256=" + strings.Fields(string(out) + " -")[0]; err != nil || head.Get(webhook.HeadSignature) != want {
		t.Errorf("%s, want %s, %v", head.Get(webhook.HeadSignature), want, err)
	}
}

// TestWhichAnswersAreForGood: of a webhook.
func TestWhichAnswersAreForGood(t *testing.T) {
	status := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Location", "/elsewhere")
		w.WriteHeader(status)
	}))
	w := &webhook.Target{URL: server.URL + "/path-that-is-secret", Secret: []byte("a secret of sixteen"), Wait: 10 * time.Second, Now: time.Now}
	for s, want := range map[int]string{200: "", 204: "", 302: "refused", 400: "refused", 410: "refused", 401: "again", 404: "again", 408: "again", 429: "again", 500: "again", 503: "again"} {
		status = s
		got, err := "", w.Tell(context.Background(), event(1))
		if errors.Is(err, notify.ErrRefused) {
			got = "refused"
		} else if err != nil {
			got = "again"
		}
		if got != want {
			t.Errorf("status %d: %v, want %s", s, err, want)
		}
	}
	server.Close()
	if err := w.Tell(context.Background(), event(1)); err == nil || errors.Is(err, notify.ErrRefused) || strings.Contains(err.Error(), "secret") {
		t.Errorf("nobody answers: %v", err)
	}
}

// mailServer is as much of RFC 5321, 3207 and 4954 as one mail needs.
type mailServer struct {
	tls      *tls.Config
	startTLS bool
	answer   string // to DATA's end
	login    string // what AUTH PLAIN gave
	secured  bool   // when the mail came
	mail     string
}

func (m *mailServer) serve(t *testing.T) string {
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
			m.talk(c)
		}
	}()
	return l.Addr().String()
}

func (m *mailServer) talk(c net.Conn) {
	defer func() { c.Close() }()
	secured := false
	if !m.startTLS && m.tls != nil {
		c, secured = tls.Server(c, m.tls), true
	}
	in := bufio.NewReader(c)
	say := func(line string) { _, _ = io.WriteString(c, line+"\r\n") }
	say("220 mail")
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		switch verb := strings.ToUpper(strings.Fields(line + " -")[0]); verb {
		case "EHLO":
			say("250-mail")
			if m.startTLS && !secured {
				say("250-STARTTLS")
			}
			say("250 AUTH PLAIN")
		case "STARTTLS":
			if !m.startTLS {
				say("502 not here")
				continue
			}
			say("220 go ahead")
			c, secured = tls.Server(c, m.tls), true
			in = bufio.NewReader(c)
		case "AUTH":
			b, _ := base64.StdEncoding.DecodeString(strings.Fields(line)[2])
			m.login = string(b)
			say("235 in")
		case "DATA":
			say("354 go on")
			var text strings.Builder
			for line != ".\r\n" {
				if line, err = in.ReadString('\n'); err != nil {
					return
				}
				text.WriteString(line)
			}
			m.mail, m.secured = text.String(), secured
			say(m.answer)
		case "QUIT":
			say("221 bye")
			return
		default:
			say("250 fine")
		}
	}
}

func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

// TestAnUpdateByMailStandsBelowTheFirst: its subject says what it is, its head names the
// mail before it, in words that name no study.
func TestAnUpdateByMailStandsBelowTheFirst(t *testing.T) {
	for _, findings := range []map[string]int{{"error": 2}, {}} {
		server := &mailServer{answer: "250 taken"}
		m := &email.Target{Server: server.serve(t), Security: email.Plain, From: "lab@example.org", To: []string{"a@example.org"}, Wait: 20 * time.Second, Caution: "A caution."}
		e := event(3)
		e.ID, e.Updates, e.Findings = "second", "first", findings
		if err := m.Tell(context.Background(), e); err != nil {
			t.Fatal(err)
		}
		parsed, err := mail.ReadMessage(strings.NewReader(strings.TrimSuffix(server.mail, ".\r\n")))
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(parsed.Body)
		for head, want := range map[string]string{"Message-Id": "<second@echotally.invalid>", "In-Reply-To": "<first@echotally.invalid>", "References": "<first@echotally.invalid>"} {
			if got := parsed.Header.Get(head); got != want {
				t.Errorf("%s: %s, want %s", head, got, want)
			}
		}
		subject, text := "echotally: update, other findings", "its findings are now:\r\nerror: 2\r\n"
		if len(findings) == 0 {
			subject, text = "echotally: update, no findings any more", "has no such findings any more.\r\n"
		}
		if parsed.Header.Get("Subject") != subject || !strings.Contains(string(body), text) || !strings.Contains(string(body), "A caution.") {
			t.Errorf("%s", server.mail)
		}
	}
}

// TestMailIsSentSecured: with STARTTLS and with TLS from the beginning, with a password,
// and not at all where the server offers no STARTTLS or its certificate is not trusted.
func TestMailIsSentSecured(t *testing.T) {
	pair, pool := certificate(t)
	served := &tls.Config{Certificates: []tls.Certificate{pair}}
	e := event(3)
	e.Study = "2.25.7"
	for name, tt := range map[string]struct {
		server   mailServer
		security email.Security
		trusted  bool
		sent     bool
		refused  bool
	}{
		"STARTTLS":         {mailServer{tls: served, startTLS: true, answer: "250 taken"}, email.StartTLS, true, true, false},
		"TLS":              {mailServer{tls: served, answer: "250 taken"}, email.TLS, true, true, false},
		"none offered":     {mailServer{answer: "250 taken"}, email.StartTLS, true, false, false},
		"not trusted":      {mailServer{tls: served, startTLS: true, answer: "250 taken"}, email.StartTLS, false, false, false},
		"refused for good": {mailServer{tls: served, startTLS: true, answer: "554 no"}, email.StartTLS, true, true, true},
		"later":            {mailServer{tls: served, startTLS: true, answer: "451 later"}, email.StartTLS, true, true, false},
	} {
		t.Run(name, func(t *testing.T) {
			m := &email.Target{Server: tt.server.serve(t), Security: tt.security, User: "lab", Password: "pass", From: "lab@example.org", To: []string{"a@example.org", "b@example.org"}, Wait: 20 * time.Second, Caution: "A caution."}
			if tt.trusted {
				m.TLS = &tls.Config{RootCAs: pool}
			}
			err := m.Tell(context.Background(), e)
			if taken := tt.server.answer[0] == '2' && tt.sent; (err == nil) != taken || errors.Is(err, notify.ErrRefused) != tt.refused {
				t.Errorf("%v", err)
			}
			if (tt.server.mail != "") != tt.sent || tt.sent && (!tt.server.secured || tt.server.login != "\x00lab\x00pass") {
				t.Errorf("sent: %t, secured: %t, login %q", tt.server.mail != "", tt.server.secured, tt.server.login)
			}
			head, body, _ := strings.Cut(tt.server.mail, "\r\n\r\n")
			if strings.Contains(head, "2.25.7") || tt.sent && (!strings.Contains(head, "Subject: echotally: a study with findings\r\n") || !strings.Contains(body, "error: 3\r\n") || !strings.Contains(body, "A caution.")) {
				t.Errorf("%s", tt.server.mail)
			}
		})
	}
}
