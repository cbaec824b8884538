package access

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"echotally/internal/account"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// Provider is another system that signs people in, by OpenID Connect. It says who they
// are and to which groups they belong; which role a group has is said here.
type Provider struct {
	Words  string // what the page calls it
	Issuer string
	Client string
	Secret string
	Back   string                  // address of this site that people come back to
	Claim  string                  // that lists the groups
	Roles  map[string]account.Role // by group

	lock  sync.Mutex
	known *oidc.Provider
	begun map[string]begun // by state
}

// begun is a signing in that has begun.
type begun struct {
	nonce, verifier, then string
	until                 time.Time
}

// longestSignIn is how long somebody may take at the other system, and mostBegun how
// many may be at it.
const (
	longestSignIn = 10 * time.Minute
	mostBegun     = 1000
)

// Name is what the page calls it, "" for none.
func (p *Provider) Name() string {
	if p == nil {
		return ""
	}
	return p.Words
}

// reach finds out about the other system, once.
func (p *Provider) reach(ctx context.Context) (*oidc.Provider, *oauth2.Config, error) {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.known == nil {
		// It is kept beyond this request, whose context ends.
		known, err := oidc.NewProvider(context.WithoutCancel(ctx), p.Issuer)
		if err != nil {
			return nil, nil, err
		}
		p.known = known
	}
	return p.known, &oauth2.Config{ClientID: p.Client, ClientSecret: p.Secret, Endpoint: p.known.Endpoint(), RedirectURL: p.Back, Scopes: []string{oidc.ScopeOpenID, "profile"}}, nil
}

// binding is the cookie by which who comes back is who went.
const binding = "echotally-sign-in"

// Begin sends who asks to the other system.
func (p *Pages) Begin(c *frame.Call) error {
	if p.Other == nil {
		return frame.ErrNotFound
	}
	if !c.MayTry("") {
		return &frame.Refusal{Status: http.StatusTooManyRequests, Reason: "Too many tries.", Hint: "Wait a minute, then try again."}
	}
	_, config, err := p.Other.reach(c.R.Context())
	if err != nil {
		return unreached(c, err)
	}
	state := rand.Text()
	b := begun{rand.Text(), oauth2.GenerateVerifier(), frame.Then(c.R.URL.Query().Get("then")), c.Now().Add(longestSignIn)}
	if !p.Other.keep(state, b, c.Now()) {
		return &frame.Refusal{Status: http.StatusServiceUnavailable, Reason: "Too many people are signing in just now.", Hint: "Try again in a minute."}
	}
	http.SetCookie(c.W, &http.Cookie{Name: binding, Value: state, Path: "/sign-in", MaxAge: int(longestSignIn.Seconds()), HttpOnly: true, Secure: c.Site().Secure, SameSite: http.SameSiteLaxMode})
	http.Redirect(c.W, c.R, config.AuthCodeURL(state, oidc.Nonce(b.nonce), oauth2.S256ChallengeOption(b.verifier)), http.StatusSeeOther)
	return nil
}

// unreached tells the program's log why, and who asks that it is so.
func unreached(c *frame.Call, err error) error {
	c.Site().Log.Error().Msg("the system that signs people in does not answer: " + err.Error())
	return &frame.Refusal{Status: http.StatusBadGateway, Reason: "The system that signs people in does not answer.", Hint: "Try again, or sign in with a password."}
}

func (p *Provider) keep(state string, b begun, now time.Time) bool {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.begun == nil {
		p.begun = map[string]begun{}
	}
	for s, o := range p.begun {
		if now.After(o.until) {
			delete(p.begun, s)
		}
	}
	if len(p.begun) >= mostBegun {
		return false
	}
	p.begun[state] = b
	return true
}

// take gives what was begun, once.
func (p *Provider) take(state string, now time.Time) (begun, bool) {
	p.lock.Lock()
	defer p.lock.Unlock()
	b, ok := p.begun[state]
	delete(p.begun, state)
	return b, ok && !now.After(b.until)
}

// Back is where the other system sends people back to.
func (p *Pages) Back(c *frame.Call) error {
	if p.Other == nil {
		return frame.ErrNotFound
	}
	query := c.R.URL.Query()
	state := query.Get("state")
	b, ok := p.Other.take(state, c.Now())
	if cookie, err := c.R.Cookie(binding); !ok || err != nil || cookie.Value != state || state == "" {
		return p.turnedAway(c, "Signing in took too long, or began elsewhere.")
	}
	name, roles, err := p.Other.who(c.R.Context(), query.Get("code"), b)
	if err != nil {
		c.Site().Log.Warn().Msg("somebody could not be signed in: " + err.Error())
		return p.turnedAway(c, "The other system did not sign you in.")
	}
	if len(roles) == 0 {
		return p.turnedAway(c, "No group of yours has a role here.")
	}
	c.SignIn(name, roles)
	c.Did(trail.Execute, "Login by OpenID Connect")
	return c.Go(b.then)
}

func (p *Pages) turnedAway(c *frame.Call, why string) error {
	c.Did(trail.Execute, "Login by OpenID Connect")
	return p.form(c, signIn{Then: "/", Wrong: why}, http.StatusUnauthorized)
}

// who asks the other system who brought a code, and holds its answer against its keys.
func (p *Provider) who(ctx context.Context, code string, b begun) (string, []account.Role, error) {
	known, config, err := p.reach(ctx)
	if err != nil {
		return "", nil, err
	}
	token, err := config.Exchange(ctx, code, oauth2.VerifierOption(b.verifier))
	if err != nil {
		return "", nil, errors.New("the code was not taken")
	}
	raw, ok := token.Extra("id_token").(string)
	if !ok {
		return "", nil, errors.New("there is no identity in the answer")
	}
	identity, err := known.Verifier(&oidc.Config{ClientID: p.Client}).Verify(ctx, raw)
	if err != nil {
		return "", nil, errors.New("the identity does not hold")
	}
	if identity.Nonce != b.nonce {
		return "", nil, errors.New("the identity is of another signing in")
	}
	var claims map[string]any
	if err := identity.Claims(&claims); err != nil {
		return "", nil, errors.New("the claims cannot be read")
	}
	name, _ := claims["preferred_username"].(string)
	if name == "" {
		name = identity.Subject
	}
	return short(name), p.rolesOf(claims[p.Claim]), nil
}

// short bounds a name, which stands in the access log.
func short(name string) string {
	const most = 64
	runes := []rune(strings.ToValidUTF8(name, ""))
	return string(runes[:min(len(runes), most)])
}

func (p *Provider) rolesOf(groups any) []account.Role {
	var names []string
	switch g := groups.(type) {
	case string:
		names = []string{g}
	case []any:
		for _, one := range g {
			names = append(names, fmt.Sprint(one))
		}
	}
	var out []account.Role
	for _, n := range names {
		if role, ok := p.Roles[n]; ok {
			out = append(out, role)
		}
	}
	return out
}
