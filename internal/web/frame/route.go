// Package frame owns how a page is asked for and answered: routes and who may use
// them, sessions, the layout of every page, headers, limits, live events, and the
// access log. It knows no page.
//
// A route says who may use it; one that does not say so keeps the site from being
// made. What a route shows of patients or staff is in the access log before it is
// shown.
package frame

import (
	"fmt"
	"net/http"
	"slices"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/trail"
)

// Route is one line of the table of routes.
type Route struct {
	Method  string
	Pattern string // as net/http has them; no part of it names a patient or holds a UID
	Allow   Allow
	Handle  func(*Call) error
	Logged  trail.EventID // what the access log calls it; "" for what shows neither patients nor staff
	Menu    string        // its name in the menu, "" for none
	Upload  bool          // takes files: the body may be large, and come slowly

	// Refuse answers other systems in their own form with what is refused; nil where people
	// ask, who get a page, and are led to sign in.
	Refuse func(w http.ResponseWriter, status int, why string)
}

// Allow says who may use a route.
type Allow struct {
	said     bool
	everyone bool
	roles    []account.Role // none: whoever is signed in
}

// Everyone may use the route, also without signing in.
func Everyone() Allow { return Allow{said: true, everyone: true} }

// SignedIn lets in whoever is signed in.
func SignedIn() Allow { return Allow{said: true} }

// Only lets in who has one of the roles.
func Only(roles ...account.Role) Allow { return Allow{said: true, roles: roles} }

// Lets reports whether a session, nil for none, may use the route.
func (a Allow) Lets(s *session.Session) bool {
	switch {
	case !a.said:
		return false
	case a.everyone:
		return true
	case s == nil:
		return false
	}
	return len(a.roles) == 0 || s.Has(a.roles...)
}

// check finds what is wrong with a table of routes.
func check(routes []Route) error {
	for _, r := range routes {
		switch {
		case !r.Allow.said:
			return fmt.Errorf("route %s %s does not say who may use it", r.Method, r.Pattern)
		case r.Handle == nil || r.Pattern == "":
			return fmt.Errorf("route %s %s is not whole", r.Method, r.Pattern)
		case !slices.Contains([]string{http.MethodGet, http.MethodPost}, r.Method):
			return fmt.Errorf("route %s %s: pages are got and forms are posted", r.Method, r.Pattern)
		}
	}
	return nil
}

// Item is an entry of the menu.
type Item struct {
	Name, Path string
	Here       bool
}

// menu is what of the table a session may choose.
func menu(routes []Route, c *Call) []Item {
	var out []Item
	here := c.section()
	for _, r := range routes {
		if r.Menu != "" && c.Session != nil && r.Allow.Lets(c.Session) {
			out = append(out, Item{r.Menu, r.Pattern, r.Menu == here})
		}
	}
	return out
}
