// Package web owns the page the lab works in: the one table of its routes, and the
// first page.
//
// How a page is asked for and answered is in frame; each family of pages is a package
// of its own. Pages show what was judged and kept, and judge nothing.
package web

import (
	"embed"
	"slices"

	"echotally/internal/account"
	"echotally/internal/fhir/service"
	"echotally/internal/trail"
	"echotally/internal/web/access"
	"echotally/internal/web/action"
	"echotally/internal/web/binder"
	"echotally/internal/web/code"
	"echotally/internal/web/evidence"
	"echotally/internal/web/frame"
	"echotally/internal/web/health"
	"echotally/internal/web/meeting"
	"echotally/internal/web/people"
	"echotally/internal/web/period"
	"echotally/internal/web/reading"
	"echotally/internal/web/rulebook"
	"echotally/internal/web/study"
	"echotally/internal/web/upload"
)

//go:embed templates
var files embed.FS

// Pages are the families of pages.
type Pages struct {
	Access   *access.Pages
	Study    *study.Pages
	Upload   *upload.Pages
	Health   *health.Pages
	Period   *period.Pages
	Rules    *rulebook.Pages
	Action   *action.Pages
	Code     *code.Pages
	Evidence *evidence.Pages
	Reading  *reading.Pages
	People   *people.Pages
	Binder   *binder.Pages
	Meeting  *meeting.Pages
}

// Table is every route there is, with who may use it and what the access log calls it.
// The menu has the routes with a name, in this order.
func (p *Pages) Table() []frame.Route {
	const get, post = "GET", "POST"
	var (
		everyone = frame.Everyone()
		signedIn = frame.SignedIn()
		clinical = frame.Only(account.Sonographer, account.Reader, account.QualityManager)
		streams  = &frame.Streams{}
	)
	return slices.Concat([]frame.Route{
		{Method: get, Pattern: "/{$}", Allow: signedIn, Handle: p.home},
		{Method: get, Pattern: "/live", Allow: signedIn, Handle: streams.Changes},
		{Method: post, Pattern: "/demo", Allow: signedIn, Handle: p.enterDemo},
		{Method: post, Pattern: "/demo/leave", Allow: signedIn, Handle: p.leaveDemo},

		{Method: get, Pattern: "/arrivals", Allow: clinical, Handle: frame.Kept(p.Study.Arrivals), Menu: "Arrivals"},
		{Method: get, Pattern: "/study/{token}", Allow: clinical, Handle: p.Study.Sheet, Logged: trail.ProcedureRecord},
		{Method: post, Pattern: "/study/{token}/reason", Allow: clinical, Handle: p.Study.Reason, Logged: trail.ProcedureRecord},
		{Method: post, Pattern: "/study/{token}/reason/withdraw", Allow: clinical, Handle: p.Study.Withdraw, Logged: trail.ProcedureRecord},

		{Method: get, Pattern: "/check", Allow: clinical, Handle: p.Upload.Form, Menu: "Check files"},
		{Method: post, Pattern: "/check", Allow: clinical, Handle: p.Upload.Check, Upload: true},
		{Method: get, Pattern: "/check/{id}", Allow: clinical, Handle: p.Upload.Found, Logged: trail.ProcedureRecord},
		{Method: post, Pattern: "/check/{id}/keep", Allow: clinical, Handle: p.Upload.Keep, Logged: trail.Import},
		{Method: post, Pattern: "/check/{id}/discard", Allow: clinical, Handle: p.Upload.Discard},

		{Method: get, Pattern: "/healthz", Allow: everyone, Handle: p.Health.Alive},
		{Method: get, Pattern: "/metrics", Allow: everyone, Handle: p.Health.Metrics},

		{Method: get, Pattern: "/sign-in", Allow: everyone, Handle: p.Access.Form},
		{Method: post, Pattern: "/sign-in", Allow: everyone, Handle: p.Access.SignIn, Logged: trail.UserAuthentication},
		{Method: get, Pattern: "/sign-in/other", Allow: everyone, Handle: p.Access.Begin},
		{Method: get, Pattern: "/sign-in/back", Allow: everyone, Handle: p.Access.Back, Logged: trail.UserAuthentication},
		{Method: post, Pattern: "/sign-out", Allow: signedIn, Handle: p.Access.SignOut, Logged: trail.UserAuthentication},
		{Method: get, Pattern: "/first/{code}", Allow: everyone, Handle: p.Access.FirstForm},
		{Method: post, Pattern: "/first/{code}", Allow: everyone, Handle: p.Access.FirstAccount, Logged: trail.UserAuthentication},
	}, p.together(), p.office())
}

// office are the routes of who looks after the program: last in the menu.
func (p *Pages) office() []frame.Route {
	const get, post = "GET", "POST"
	var (
		office = frame.Only(account.QualityManager, account.Administrator)
		admin  = frame.Only(account.Administrator)
	)
	return []frame.Route{
		{Method: get, Pattern: "/health", Allow: office, Handle: p.Health.Health, Menu: "Health"},
		{Method: post, Pattern: "/health/verify", Allow: office, Handle: p.Health.Verify},
		{Method: post, Pattern: "/health/retry", Allow: office, Handle: p.Health.Retry},
		{Method: post, Pattern: "/health/rules", Allow: office, Handle: p.Health.ReadRules},
		{Method: post, Pattern: "/health/anew", Allow: office, Handle: p.Health.Anew},
		{Method: post, Pattern: "/health/anew/stop", Allow: office, Handle: p.Health.StopAnew},
		{Method: get, Pattern: "/accounts", Allow: admin, Handle: p.Access.Accounts, Menu: "Accounts", Logged: trail.UserAuthentication},
		{Method: post, Pattern: "/accounts", Allow: admin, Handle: p.Access.Add, Logged: trail.UserAuthentication},
		{Method: post, Pattern: "/accounts/change", Allow: admin, Handle: p.Access.Change, Logged: trail.UserAuthentication},
		{Method: get, Pattern: "/log", Allow: office, Handle: p.Access.Log, Menu: "Access log", Logged: trail.AuditLogUsed},
		{Method: get, Pattern: "/log/table", Allow: office, Handle: p.Access.LogTable, Logged: trail.AuditLogUsed},
	}
}

// together are the routes of what the lab looks at together.
func (p *Pages) together() []frame.Route {
	const get, post = "GET", "POST"
	var (
		clinical = frame.Only(account.Sonographer, account.Reader, account.QualityManager)
		manager  = frame.Only(account.QualityManager)
		deciding = frame.Only(account.Reader, account.QualityManager)
	)
	return []frame.Route{
		{Method: get, Pattern: "/lab", Allow: manager, Handle: frame.Kept(p.Period.Page), Menu: "Lab period", Logged: trail.Query},
		{Method: get, Pattern: "/lab/studies", Allow: manager, Handle: frame.Kept(p.Period.Studies), Logged: trail.Query},
		{Method: get, Pattern: "/lab/audit/{kind}", Allow: manager, Handle: p.Period.Export, Logged: trail.Export},
		{Method: get, Pattern: "/fhir/", Allow: manager, Handle: p.Period.FHIR, Logged: trail.Export, Refuse: service.Refuse},
		{Method: post, Pattern: "/fhir/", Allow: manager, Handle: p.Period.FHIR, Logged: trail.Export, Refuse: service.Refuse},

		{Method: get, Pattern: "/rules", Allow: clinical, Handle: frame.Kept(p.Rules.List), Menu: "Rules"},
		{Method: get, Pattern: "/rules/{structure}/{name}", Allow: clinical, Handle: frame.Kept(p.Rules.Rule)},
		{Method: get, Pattern: "/rules/{structure}/{name}/what-if", Allow: manager, Handle: p.Rules.Effect},
		{Method: post, Pattern: "/rules/{structure}/{name}/propose", Allow: manager, Handle: p.Rules.Propose, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/rules-changes", Allow: deciding, Handle: frame.Kept(p.Rules.Changes)},
		{Method: post, Pattern: "/rules-changes/{number}", Allow: deciding, Handle: p.Rules.Settle, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/actions", Allow: clinical, Handle: frame.Kept(p.Action.List), Menu: "Actions"},
		{Method: post, Pattern: "/actions", Allow: manager, Handle: p.Action.Begin, Logged: trail.ApplicationActivity},
		{Method: post, Pattern: "/actions/{number}", Allow: manager, Handle: p.Action.Change, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/codes", Allow: manager, Handle: frame.Kept(p.Code.List), Menu: "Codes"},
		{Method: post, Pattern: "/codes", Allow: manager, Handle: p.Code.Settle, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/readings", Allow: clinical, Handle: frame.Kept(p.Reading.List), Menu: "Second readings", Logged: trail.Query},
		{Method: post, Pattern: "/readings", Allow: manager, Handle: p.Reading.Draw, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/readings/results", Allow: manager, Handle: frame.Kept(p.Evidence.Readings), Logged: trail.Query},
		{Method: get, Pattern: "/readings/{draw}", Allow: clinical, Handle: frame.Kept(p.Reading.One), Logged: trail.Query},
		{Method: post, Pattern: "/readings/{draw}/undraw", Allow: manager, Handle: p.Reading.Undraw, Logged: trail.ApplicationActivity},
		{Method: post, Pattern: "/readings/{draw}/entries/{number}/withdraw", Allow: manager, Handle: p.Reading.Withdraw, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/readings/{draw}/worksheet/{file}", Allow: clinical, Handle: p.Reading.Worksheet, Logged: trail.Export},
		{Method: post, Pattern: "/readings/{draw}/send", Allow: clinical, Handle: p.Reading.Send, Logged: trail.ProcedureRecord, Upload: true},
		{Method: get, Pattern: "/readings/{draw}/{case}", Allow: clinical, Handle: frame.Kept(p.Reading.Case), Logged: trail.ProcedureRecord},
		{Method: post, Pattern: "/readings/{draw}/{case}", Allow: clinical, Handle: p.Reading.Enter, Logged: trail.ProcedureRecord},
		{Method: get, Pattern: "/own", Allow: clinical, Handle: frame.Kept(p.People.Own), Menu: "My figures", Logged: trail.Query},
		{Method: get, Pattern: "/people", Allow: manager, Handle: frame.Kept(p.People.People), Menu: "People", Logged: trail.Query},
		{Method: post, Pattern: "/people", Allow: manager, Handle: p.People.Tie, Logged: trail.UserAuthentication},
		{Method: get, Pattern: "/meetings", Allow: manager, Handle: frame.Kept(p.Meeting.List), Menu: "Meetings", Logged: trail.Query},
		{Method: post, Pattern: "/meetings", Allow: manager, Handle: p.Meeting.Record, Logged: trail.ApplicationActivity, Upload: true},
		{Method: post, Pattern: "/meetings/withdraw", Allow: manager, Handle: p.Meeting.Withdraw, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/meetings/{quarter}/{file}", Allow: manager, Handle: p.Meeting.Document, Logged: trail.Export},
		{Method: post, Pattern: "/meetings/{quarter}/attendance", Allow: manager, Handle: p.Meeting.Attendance, Logged: trail.Export, Upload: true},
		{Method: get, Pattern: "/binder", Allow: manager, Handle: frame.Kept(p.Binder.List), Menu: "Binder", Logged: trail.Query},
		{Method: get, Pattern: "/binder/{set}/{name}", Allow: manager, Handle: frame.Kept(p.Binder.Requirement), Logged: trail.Query},
		{Method: post, Pattern: "/binder/{set}/{name}/attach", Allow: manager, Handle: p.Binder.Attach, Logged: trail.ApplicationActivity, Upload: true},
		{Method: post, Pattern: "/binder/{set}/{name}/withdraw", Allow: manager, Handle: p.Binder.Withdraw, Logged: trail.ApplicationActivity},
		{Method: get, Pattern: "/binder/{set}/document/{file}", Allow: manager, Handle: p.Binder.Document, Logged: trail.Export},
	}
}

// Templates are those of all families of pages.
func Templates() []frame.Templates {
	return []frame.Templates{{Files: files}, access.Templates(), health.Templates(), period.Templates(), study.Templates(), rulebook.Templates(), action.Templates(), binder.Templates(), meeting.Templates(), code.Templates(), evidence.Templates(), reading.Templates(), people.Templates(), upload.Templates()}
}
