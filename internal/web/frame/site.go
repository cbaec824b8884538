package frame

import (
	"context"
	"errors"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/desk"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/internal/trail"
)

// Lab is what pages show: a ledger with what studies are read and judged by.
type Lab struct {
	Ledger *store.Store
	Key    *keyfile.Key
	Work   *desk.InForce
	Demo   bool // everything in it is invented

	addresses  addresses
	live       live
	made       made
	statistics counted[*store.Statistics]
	unjudged   counted[int]
}

// Desk is what studies are read and judged by now.
func (l *Lab) Desk() *desk.Desk { return l.Work.Desk() }

// Site answers requests by a table of routes.
type Site struct {
	Lab      *Lab
	Accounts *account.Book
	Sessions *session.Sessions
	Trail    *trail.Log
	Log      zerolog.Logger
	Now      func() time.Time
	Software string // name and version
	Secure   bool   // pages are reached by TLS, here or at a proxy in front
	Proxied  bool   // a proxy in front says who asks
	Upload   int64  // most bytes of an upload

	// Invent makes the invented lab, nil where there is none. It is called once.
	Invent func(context.Context) (*Lab, error)

	routes   []Route
	pages    *pages
	assets   assets
	kept     kept
	handler  http.Handler
	asking   limiter // of any request, by address
	entering limiter // of tries to sign in, by address

	demo     sync.Mutex
	invented *Lab
}

// Start makes the site ready to serve the routes.
func (s *Site) Start(routes []Route, templates ...Templates) error {
	if err := check(routes); err != nil {
		return err
	}
	var err error
	if s.assets, err = readAssets(); err != nil {
		return err
	}
	if s.pages, err = parse(templates, s.assets); err != nil {
		return err
	}
	s.routes = routes
	s.asking, s.entering = limiter{every: 20 * time.Millisecond, burst: 200}, limiter{every: 6 * time.Second, burst: 10}
	mux := http.NewServeMux()
	for i := range routes {
		mux.HandleFunc(routes[i].Method+" "+routes[i].Pattern, func(w http.ResponseWriter, r *http.Request) { s.answer(w, r, &routes[i]) })
	}
	mux.HandleFunc("GET /assets/{digest}/{name}", s.asset)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.answer(w, r, &Route{Allow: Everyone(), Handle: func(*Call) error { return ErrNotFound }})
	})
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.answer(w, r, &Route{Allow: Everyone(), Handle: func(*Call) error {
			return &Refusal{http.StatusForbidden, "This form was sent from another site.", "Open the page here and try again."}
		}})
	}))
	s.handler = cross.Handler(mux)
	return nil
}

// Unlimited lets every machine ask as often as it likes: for measuring.
func (s *Site) Unlimited() { s.asking.every = 0 }

// Routes is the table.
func (s *Site) Routes() []Route { return s.routes }

// mostOfForm bounds a form without files, in bytes.
const mostOfForm = 64 << 10

// slowestUpload and slowestForm are how long a body may take.
const (
	slowestUpload = 15 * time.Minute
	slowestForm   = 30 * time.Second
)

// ServeHTTP answers a request, with the headers that every answer has.
func (s *Site) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	for name, value := range map[string]string{
		"Content-Security-Policy":      "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
		"X-Content-Type-Options":       "nosniff",
		"Referrer-Policy":              "no-referrer",
		"Cross-Origin-Opener-Policy":   "same-origin",
		"Cross-Origin-Resource-Policy": "same-origin",
		"Permissions-Policy":           "camera=(), microphone=(), geolocation=()",
		"Cache-Control":                "no-store",
	} {
		h.Set(name, value)
	}
	if s.Secure {
		h.Set("Strict-Transport-Security", "max-age=31536000")
	}
	if !s.asking.allow(s.from(r), s.Now()) {
		h.Set("Retry-After", "1")
		http.Error(w, "too many requests; wait a moment", http.StatusTooManyRequests)
		return
	}
	s.handler.ServeHTTP(w, r)
}

// from is the address of the machine that asks.
func (s *Site) from(r *http.Request) string {
	if s.Proxied {
		// The proxy adds its peer at the end; what stands before anybody may have written.
		hops := strings.Split(r.Header.Get("X-Forwarded-For"), ",")
		if last := net.ParseIP(strings.TrimSpace(hops[len(hops)-1])); last != nil {
			return last.String()
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// answer lets a request in, or not, and answers it.
func (s *Site) answer(w http.ResponseWriter, r *http.Request, route *Route) {
	c := &Call{W: w, R: r, site: s, route: route, Lab: s.Lab}
	c.bound()
	if cookie, err := r.Cookie(s.cookieName()); err == nil {
		c.secret = cookie.Value
		if r.Header.Get("Live") != "" { // asked by the page itself, not by whoever reads it
			c.Session = s.Sessions.Look(c.secret)
		} else {
			c.Session = s.Sessions.Find(c.secret)
		}
	}
	if c.Session != nil && c.Session.Demo {
		if lab := s.inventedLab(); lab != nil {
			c.Lab = lab
		}
	}
	var err error
	switch {
	case route.Allow.Lets(c.Session):
		err = route.Handle(c)
	case c.Session == nil && r.Method == http.MethodGet && route.Refuse == nil:
		err = c.Go("/sign-in?then=" + escape(r.URL.RequestURI()))
	case c.Session == nil && route.Refuse != nil:
		err = &Refusal{http.StatusUnauthorized, "Nobody is signed in.", "The cookie of a session is to come with the request; it is had at /sign-in."}
	case c.Session == nil:
		err = &Refusal{http.StatusUnauthorized, "You are not signed in any more.", "Sign in and try again; nothing was changed."}
	default:
		err = &Refusal{http.StatusForbidden, "This page is for others in the lab.", "An administrator gives roles under Accounts."}
	}
	if err != nil {
		c.fail(err)
	}
}

func (s *Site) cookieName() string {
	if s.Secure {
		return "__Host-echotally"
	}
	return "echotally"
}

// InventedLab gives the invented lab, which is made when it is first asked for.
func (s *Site) InventedLab(ctx context.Context) (*Lab, error) {
	s.demo.Lock()
	defer s.demo.Unlock()
	if s.invented == nil {
		if s.Invent == nil {
			return nil, errors.New("there is no invented lab here")
		}
		lab, err := s.Invent(ctx)
		if err != nil {
			return nil, err
		}
		lab.Demo = true
		s.invented = lab
	}
	return s.invented, nil
}

func (s *Site) inventedLab() *Lab {
	s.demo.Lock()
	defer s.demo.Unlock()
	return s.invented
}

// Close ends what belongs to the site alone.
func (s *Site) Close() error {
	if lab := s.inventedLab(); lab != nil {
		return lab.Ledger.Close()
	}
	return nil
}
