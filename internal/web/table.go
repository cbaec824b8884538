// Package web owns the page the lab works in: the one table of its routes, and the
// first page.
//
// How a page is asked for and answered is in frame; each family of pages is a package
// of its own. Pages show what was judged and kept, and judge nothing.
package web

import (
	"embed"

	"echotally/internal/account"
	"echotally/internal/trail"
	"echotally/internal/web/access"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
	"echotally/internal/web/study"
)

//go:embed templates
var files embed.FS

// Pages are the families of pages.
type Pages struct {
	Access    *access.Pages
	Study     *study.Pages
	Period    *period.Pages
	Receivers []Receiver // where studies may be sent to
}

// Table is every route there is, with who may use it and what the access log calls it.
// The menu has the routes with a name, in this order.
func (p *Pages) Table() []frame.Route {
	const get, post = "GET", "POST"
	var (
		everyone = frame.Everyone()
		signedIn = frame.SignedIn()
		clinical = frame.Only(account.Sonographer, account.Reader, account.QualityManager)
		manager  = frame.Only(account.QualityManager)
		streams  = &frame.Streams{}
	)
	return []frame.Route{
		{Method: get, Pattern: "/{$}", Allow: signedIn, Handle: p.home},
		{Method: get, Pattern: "/live", Allow: clinical, Handle: streams.Changes},
		{Method: post, Pattern: "/demo", Allow: signedIn, Handle: p.enterDemo},
		{Method: post, Pattern: "/demo/leave", Allow: signedIn, Handle: p.leaveDemo},

		{Method: get, Pattern: "/arrivals", Allow: clinical, Handle: p.Study.Arrivals, Menu: "Arrivals"},

		{Method: get, Pattern: "/lab", Allow: manager, Handle: p.Period.Page, Menu: "Lab period", Logged: trail.Query},
		{Method: get, Pattern: "/lab/studies", Allow: manager, Handle: p.Period.Studies, Logged: trail.Query},
		{Method: get, Pattern: "/lab/audit/{kind}", Allow: manager, Handle: p.Period.Export, Logged: trail.Export},

		{Method: get, Pattern: "/sign-in", Allow: everyone, Handle: p.Access.Form},
		{Method: post, Pattern: "/sign-in", Allow: everyone, Handle: p.Access.SignIn, Logged: trail.UserAuthentication},
		{Method: post, Pattern: "/sign-out", Allow: signedIn, Handle: p.Access.SignOut, Logged: trail.UserAuthentication},
		{Method: get, Pattern: "/first/{code}", Allow: everyone, Handle: p.Access.FirstForm},
		{Method: post, Pattern: "/first/{code}", Allow: everyone, Handle: p.Access.FirstAccount, Logged: trail.UserAuthentication},
	}
}

// Templates are those of all families of pages.
func Templates() []frame.Templates {
	return []frame.Templates{{Files: files}, access.Templates(), study.Templates(), period.Templates()}
}

// Receiver is a way by which studies come in, in words for who sets up a scanner.
type Receiver struct{ Kind, Host, Port, Title string }
