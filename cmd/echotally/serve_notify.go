package main

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/notify"
	"echotally/internal/notify/email"
	"echotally/internal/notify/webhook"
	"echotally/internal/store"
	"echotally/internal/store/waiver"
)

// notifySection is what the configuration says of who is told what.
type notifySection struct {
	Severity    string `yaml:"severity"`
	Quarantined bool   `yaml:"quarantined"`
	Identify    bool   `yaml:"identify"`
	Authorities string `yaml:"authorities"`
	Webhook     struct {
		URL        string `yaml:"url"`
		SecretFile string `yaml:"secretFile"`
	} `yaml:"webhook"`
	Mail mailKeys `yaml:"mail"`
}

type mailKeys struct {
	Server       string   `yaml:"server"`
	Security     string   `yaml:"security"`
	User         string   `yaml:"user"`
	PasswordFile string   `yaml:"passwordFile"`
	From         string   `yaml:"from"`
	To           []string `yaml:"to"`
}

func (*notifySection) example() string {
	return `notify:                     # who is told; each event at least once, from a queue in the spool; of a study again
                            # (as an update, with the id of the event before) when more has come and it has other findings
  severity: error           # a study with a finding of at least this severity: error, warning, information
  quarantined: true         # an object could not be read
  identify: false           # name the study by its UID; a patient is never named
  authorities: ""           # PEM file of who certifies the servers; empty for those of the system
  webhook:
    url: ""                 # https; empty for none
    secretFile: ""          # file with the secret of the signature (HMAC-SHA256 of time, full stop and body)
  mail:
    server: ""              # such as mail.example.org:587; empty for none
    security: starttls      # or tls; none for this machine only
    user: ""
    passwordFile: ""
    from: ""
    to: []
`
}

func (n *notifySection) check() error {
	if !slices.Contains([]string{"error", "warning", "information"}, n.Severity) {
		return misconfigured("notify.severity is not a severity", "error, warning or information")
	}
	_, err := n.targets(time.Now)
	return err
}

// patience is how long a webhook or a mail server may take (site choice).
const patience = 30 * time.Second

// targets are those that are named.
func (n *notifySection) targets(now func() time.Time) (out []notify.Target, err error) {
	var trusted *tls.Config
	if n.Authorities != "" {
		trusted = &tls.Config{RootCAs: authorities(n.Authorities), MinVersion: tls.VersionTLS12}
		if trusted.RootCAs == nil {
			return nil, misconfigured("notify.authorities holds no certificate of an authority", "name a PEM file")
		}
	}
	if n.Webhook.URL != "" {
		to, err := url.Parse(n.Webhook.URL)
		if err != nil || to.Host == "" || to.Scheme != "https" && (to.Scheme != "http" || !loopback(to.Hostname())) {
			return nil, misconfigured("notify.webhook.url cannot be used", "https, or http on this machine only")
		}
		secret, err := secretOf("notify.webhook.secretFile", n.Webhook.SecretFile)
		if err != nil {
			return nil, err
		}
		out = append(out, &webhook.Target{URL: n.Webhook.URL, Secret: []byte(secret), TLS: trusted, Wait: patience, Now: now})
	}
	if n.Mail.Server != "" {
		m, err := n.Mail.target(trusted)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

func (m *mailKeys) target(trusted *tls.Config) (*email.Target, error) {
	host, _, err := net.SplitHostPort(m.Server)
	if err != nil {
		return nil, misconfigured("notify.mail.server has to be host and port", "such as mail.example.org:587")
	}
	out := &email.Target{Server: m.Server, Security: email.Security(m.Security), TLS: trusted, User: m.User, Wait: patience, Caution: layout.Caution}
	switch {
	case !slices.Contains([]email.Security{email.StartTLS, email.TLS, email.Plain}, out.Security):
		return nil, misconfigured("notify.mail.security is not known", "starttls, tls or none")
	case out.Security == email.Plain && !loopback(host):
		return nil, misconfigured("notify.mail.security may be none for a server on this machine only", "starttls or tls")
	case len(m.To) == 0:
		return nil, misconfigured("notify.mail.to names nobody", "such as [quality@example.org]")
	}
	for i, text := range append([]string{m.From}, m.To...) {
		address, err := mail.ParseAddress(text)
		switch {
		case err != nil:
			return nil, misconfigured("notify.mail.from or notify.mail.to is not a mail address", "such as quality@example.org")
		case i == 0:
			out.From = address.Address
		default:
			out.To = append(out.To, address.Address)
		}
	}
	if m.User != "" {
		if out.Password, err = lineOf("notify.mail.passwordFile", m.PasswordFile, 1); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (n *notifySection) says() string {
	var to []string
	if u, err := url.Parse(n.Webhook.URL); err == nil && n.Webhook.URL != "" {
		to = append(to, "the webhook at "+u.Host) // a path may hold a secret
	}
	if n.Mail.Server != "" {
		to = append(to, layout.CountOf(len(n.Mail.To), "mail address", "mail addresses"))
	}
	if len(to) == 0 {
		return ""
	}
	out := "notifications of studies with findings (" + n.Severity + " and above)"
	if n.Quarantined {
		out += " and of objects that could not be read"
	}
	return out + " to " + strings.Join(to, " and ")
}

func (n *notifySection) begin(ctx context.Context, s *serving) error {
	targets, err := n.targets(s.now)
	if err != nil || len(targets) == 0 {
		return err
	}
	queue := &notify.Queue{
		Dir: filepath.Join(s.spool.Dir, "notify"), Targets: targets, First: notify.DefaultFirst, Longest: notify.DefaultLongest, Keep: notify.DefaultKeep,
		Failed: func(target string, err error) {
			s.record.Log.Warn().Str("target", target).Err(err).Msg("notification not delivered")
		},
	}
	teller := &teller{notifySection: n, serving: s, queue: queue}
	fresh, err := queue.Open()
	if err == nil && n.Quarantined {
		err = teller.quarantine(fresh)
	}
	if err != nil {
		return hinted{fmt.Errorf("queue of notifications: %w", err), "check that the spool may be written to"}
	}
	tell := s.record.Tell
	s.record.Compared = func(r *store.Receipt) error { return teller.recorded(context.WithoutCancel(ctx), r) }
	s.record.Tell = func(r *store.Receipt) error { return cmp.Or(tell(r), s.record.Compared(r)) }
	s.group.Go(func() error { return queue.Run(ctx) })
	return nil
}

// teller puts what happens into the queue.
type teller struct {
	*notifySection
	*serving
	queue *notify.Queue
	turn  sync.Mutex // so that what was found last is told last
}

// quarantine has objects told that come to the quarantine, and those that lie there and
// were not told before a crash; of a new queue, these are let be.
func (t *teller) quarantine(fresh bool) error {
	t.spool.Apart = func(name string, reason error) {
		if err := t.apart(name, reason.Error()); err != nil {
			t.record.Log.Error().Err(err).Msg("the notification of an object in the quarantine could not be queued; it is at the next start") // it is at the next start
		}
	}
	held, err := t.spool.Held()
	for _, h := range held {
		if fresh {
			err = errors.Join(err, t.queue.Note(t.inQuarantine(h.Name, h.Reason)))
		} else if t.now().Sub(h.Came) < notify.Remembered {
			err = errors.Join(err, t.apart(h.Name, h.Reason))
		}
	}
	return err
}

func (t *teller) apart(name, reason string) error { return t.queue.Put(t.inQuarantine(name, reason)) }

// inQuarantine is the event of an object that was put there. Another reason, which a
// later version of the program may find, is nothing new.
func (t *teller) inQuarantine(name, reason string) *notify.Event {
	return &notify.Event{Kind: notify.Quarantined, About: name, State: "in quarantine", At: t.now(), Reason: reason}
}

// recorded tells of a study, and again when it was judged anew and fails other rules.
func (t *teller) recorded(ctx context.Context, r *store.Receipt) error {
	if r.StudyInstanceUID == "" {
		return nil
	}
	t.turn.Lock()
	defer t.turn.Unlock()
	judgement, err := t.ledger.LatestJudgement(ctx, r.StudyInstanceUID)
	if err != nil || judgement == nil {
		return err
	}
	waivers, err := t.ledger.Waivers(ctx, r.StudyInstanceUID)
	if err != nil {
		return err
	}
	counts, failed := map[string]int{}, []string{}
	for _, res := range judgement.Results {
		waived := slices.ContainsFunc(waivers, func(w waiver.Waiver) bool { return w.Rule == res.Rule && !w.Withdrawn })
		if res.Outcome == finding.Fail && !waived && res.Severity.Rank() >= finding.Severity(t.Severity).Rank() {
			counts[string(res.Severity)]++
			failed = append(failed, res.Rule+" "+string(res.Severity))
		}
	}
	slices.Sort(failed)
	e := &notify.Event{Kind: notify.Findings, About: r.StudyInstanceUID, State: strings.Join(failed, "\n"), At: t.now(), Findings: counts}
	if t.Identify {
		e.Study = r.StudyInstanceUID
	}
	return t.queue.Put(e)
}
