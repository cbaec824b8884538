package web

import (
	"crypto"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"echotally/internal/account"
	"echotally/internal/web/access"
)

// other is a system that signs people in (OpenID Connect Core 1.0, Discovery 1.0), as
// far as a client needs it.
type other struct {
	*httptest.Server
	key    *rsa.PrivateKey
	claims map[string]any // of who signs in; the nonce comes with the request
	asked  url.Values     // of the last request to sign in
}

func newOther(t *testing.T) *other {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	o := &other{key: key}
	mux := http.NewServeMux()
	answer := func(w http.ResponseWriter, v any) {
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(v)
	}
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, map[string]any{"issuer": o.URL, "authorization_endpoint": o.URL + "/authorize", "token_endpoint": o.URL + "/token", "jwks_uri": o.URL + "/keys", "id_token_signing_alg_values_supported": []string{"RS256"}})
	})
	b64 := base64.RawURLEncoding
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, map[string]any{"keys": []any{map[string]any{"kty": "RSA", "use": "sig", "alg": "RS256", "kid": "1", "n": b64.EncodeToString(key.N.Bytes()), "e": b64.EncodeToString(big.NewInt(int64(key.E)).Bytes())}}})
	})
	mux.HandleFunc("/token", func(w http.ResponseWriter, r *http.Request) {
		sum := sha256.Sum256([]byte(r.PostFormValue("code_verifier")))
		if r.PostFormValue("code") != "good" || b64.EncodeToString(sum[:]) != o.asked.Get("code_challenge") {
			http.Error(w, `{"error":"invalid_grant"}`, http.StatusBadRequest)
			return
		}
		answer(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": o.token(t)})
	})
	o.Server = httptest.NewServer(mux)
	t.Cleanup(o.Close)
	return o
}

// token is a signed identity (RFC 7519, RFC 7518 section 3.3).
func (o *other) token(t *testing.T) string {
	claims := map[string]any{"iss": o.URL, "aud": "echotally", "sub": "17", "exp": time.Now().Add(time.Minute).Unix(), "nonce": o.asked.Get("nonce")}
	for k, v := range o.claims {
		claims[k] = v
	}
	b64 := base64.RawURLEncoding
	text, err := json.Marshal(claims)
	if err != nil {
		t.Error(err)
	}
	signed := b64.EncodeToString([]byte(`{"alg":"RS256","kid":"1"}`)) + "." + b64.EncodeToString(text)
	sum := sha256.Sum256([]byte(signed))
	mark, err := rsa.SignPKCS1v15(rand.Reader, o.key, crypto.SHA256, sum[:])
	if err != nil {
		t.Error(err)
	}
	return signed + "." + b64.EncodeToString(mark)
}

// TestAnotherSystemSignsPeopleIn: who comes back with an identity that holds and a group
// that has a role gets a session, and nobody else.
func TestAnotherSystemSignsPeopleIn(t *testing.T) {
	o := newOther(t)
	site, server := newSite(t, func(p *Pages) {
		p.Access.Other = &access.Provider{Words: "the hospital account", Issuer: o.URL, Client: "echotally", Secret: "s", Claim: "groups", Roles: map[string]account.Role{"echo-lab": account.Sonographer}}
	})
	// come goes to the other system and back, and gives the cookie of a session, "" for none.
	come := func(code string, change func(url.Values), keep bool) string {
		c := newClient(site)
		begin := c.ask(t, get(t, server.URL+"/sign-in/other?then=/check"))
		to, err := begin.Location()
		if err != nil || !strings.HasPrefix(to.String(), o.URL) {
			t.Fatalf("%v, %v", to, err)
		}
		o.asked = to.Query()
		back := url.Values{"code": {code}, "state": {o.asked.Get("state")}}
		if change != nil {
			change(back)
		}
		r := get(t, server.URL+"/sign-in/back?"+back.Encode())
		for _, cookie := range begin.Cookies() {
			if keep {
				r.AddCookie(cookie)
			}
		}
		answer := c.ask(t, r)
		for _, cookie := range answer.Cookies() {
			if cookie.Name == "echotally" {
				if answer.Header.Get("Location") != "/check" {
					t.Errorf("leads to %q", answer.Header.Get("Location"))
				}
				return cookie.Value
			}
		}
		return ""
	}
	o.claims = map[string]any{"preferred_username": "quill", "groups": []string{"other", "echo-lab"}}
	if s := site.Sessions.Find(come("good", nil, true)); s == nil || s.Name != "quill" || !s.Has(account.Sonographer) || s.Has(account.Reader, account.Administrator) {
		t.Errorf("%+v", s)
	}
	for what, try := range map[string]func() string{
		"another code":    func() string { return come("bad", nil, true) },
		"another state":   func() string { return come("good", func(v url.Values) { v.Set("state", "x") }, true) },
		"another browser": func() string { return come("good", nil, false) },
		"no group":        func() string { o.claims = map[string]any{"groups": []string{"other"}}; return come("good", nil, true) },
		"other audience": func() string {
			o.claims = map[string]any{"aud": "x", "groups": "echo-lab"}
			return come("good", nil, true)
		},
		"other nonce": func() string {
			o.claims = map[string]any{"nonce": "x", "groups": "echo-lab"}
			return come("good", nil, true)
		},
		"over": func() string {
			o.claims = map[string]any{"exp": 1, "groups": "echo-lab"}
			return come("good", nil, true)
		},
	} {
		if try() != "" {
			t.Errorf("%s: is signed in", what)
		}
	}
}
