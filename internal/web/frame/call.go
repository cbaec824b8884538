package frame

import (
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"time"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/trail"
)

// Call is one request with who asks and what of.
type Call struct {
	W       http.ResponseWriter
	R       *http.Request
	Session *session.Session // nil for nobody
	Lab     *Lab             // the lab's own, or the invented one

	site   *Site
	route  *Route
	secret string // of the session's cookie
	about  string // what the access log names
	action trail.Action
	what   string
	loud   bool // to be logged whatever the route says
	event  trail.EventID

	shared *sharing // while a page is made for all who are shown the same
}

// Refusal is an answer that is no page: what was not done, and what to do.
type Refusal struct {
	Status       int
	Reason, Hint string
}

func (r *Refusal) Error() string { return r.Reason }

// ErrNotFound is the answer for what is not there.
var ErrNotFound error = &Refusal{http.StatusNotFound, "There is no such page here.", "It may have been taken out of the ledger, or the address is not whole."}

// Bad refuses what was sent, in words for who sent it.
func Bad(reason, hint string) error { return &Refusal{http.StatusUnprocessableEntity, reason, hint} }

// Unsent tells what was cut off or too large, while files are read, from what the machine
// could not do.
func Unsent(err error) error {
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, multipart.ErrMessageTooLarge) {
		return Bad("The files did not come whole.", "Send them again.")
	}
	return err
}

// Site is what the call came to.
func (c *Call) Site() *Site { return c.site }

// From is the address of the machine that asks.
func (c *Call) From() string { return c.site.from(c.R) }

// Now is the time.
func (c *Call) Now() time.Time { return c.site.Now() }

// section is the entry of the menu that the page belongs to.
func (c *Call) section() string {
	if c.route.Menu != "" {
		return c.route.Menu
	}
	first, _, _ := strings.Cut(strings.TrimPrefix(c.route.Pattern, "/"), "/")
	for _, r := range c.site.routes {
		if r.Menu != "" && (r.Pattern == "/"+first || r.Pattern == "/arrivals" && first == "study") {
			return r.Menu
		}
	}
	return ""
}

// bound keeps a request from taking for ever, or from sending without end.
func (c *Call) bound() {
	most, slowest := int64(mostOfForm), slowestForm
	if c.route.Upload {
		most, slowest = c.site.Upload, slowestUpload
	}
	c.R.Body = http.MaxBytesReader(c.W, c.R.Body, most)
	control := http.NewResponseController(c.W)
	now := time.Now() // deadlines are of the wall clock, whatever the site's clock says
	if c.R.ContentLength == 0 {
		_ = control.SetReadDeadline(time.Time{}) // nothing is to come: one that runs out ends whatever the connection is asked later
	} else {
		_ = control.SetReadDeadline(now.Add(slowest))
	}
	_ = control.SetWriteDeadline(now.Add(slowest + time.Minute))
}

// About names, for the access log, what the page is about.
func (c *Call) About(object string) { c.about = object }

// As has the access log call it something else than the route says: more is shown
// than usually.
func (c *Call) As(event trail.EventID) { c.event = event }

// Did has the access log say what was done, whatever the route says.
func (c *Call) Did(action trail.Action, what string) { c.action, c.what, c.loud = action, what, true }

// logged writes the access log before anything is shown.
func (c *Call) logged(outcome trail.Outcome) error {
	if c.shared != nil {
		return errNotShared
	}
	if c.route.Logged == "" && !c.loud {
		return nil
	}
	e := trail.Event{EventID: c.route.Logged, EventActionCode: c.action, EventOutcomeIndicator: outcome, EventTypeCode: c.what, ParticipantObjectID: c.about}
	if c.event != "" {
		e.EventID = c.event
	}
	if e.EventID == "" {
		e.EventID = trail.ApplicationActivity
	}
	if e.EventActionCode == "" {
		e.EventActionCode = trail.Read
	}
	if e.EventTypeCode == "" {
		e.EventTypeCode = c.route.Method + " " + c.route.Pattern
	}
	return c.Note(e)
}

// Note adds an event to the access log with who asks from where.
func (c *Call) Note(e trail.Event) error {
	if c.Session != nil {
		e.UserID = c.Session.Name
		e.RoleIDCode = c.Roles()
	}
	if c.Lab != nil && c.Lab.Demo {
		e.EventTypeCode += " (invented lab)"
	}
	e.NetworkAccessPointID = c.From()
	return c.site.Trail.Add(e)
}

// Page answers with a page.
func (c *Call) Page(v View) error {
	var err error
	if v.main == "" {
		if v.main, err = c.site.pages.main(v); err != nil {
			return err
		}
	}
	if c.shared != nil {
		v.Data = nil // it is rendered
		c.shared.view = &v
		return nil
	}
	before, after, err := c.site.pages.around(c, v)
	if err != nil {
		return err
	}
	outcome := trail.Success
	if v.Status >= http.StatusBadRequest {
		outcome = trail.MinorFailure
	}
	if err := c.logged(outcome); err != nil {
		return err
	}
	c.W.Header().Set("Content-Type", "text/html; charset=utf-8")
	if v.Status != 0 {
		c.W.WriteHeader(v.Status)
	}
	_, err = c.W.Write(before)
	if err == nil {
		_, err = io.WriteString(c.W, string(v.main))
	}
	if err == nil {
		_, err = c.W.Write(after)
	}
	return sent(err)
}

// Send answers with a document of another kind, to be kept under a name.
func (c *Call) Send(kind, name string, write func(io.Writer) error) error {
	if err := c.logged(trail.Success); err != nil {
		return err
	}
	c.W.Header().Set("Content-Type", kind)
	if name != "" {
		c.W.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	}
	return sent(write(c.W))
}

// Hand has another handler answer below a path.
func (c *Call) Hand(below string, h http.Handler) error {
	if err := c.logged(trail.Success); err != nil {
		return err
	}
	http.StripPrefix(below, h).ServeHTTP(c.W, c.R)
	return nil
}

// Failed tells the program's log of a fault that who asked learns nothing of.
func (c *Call) Failed(err error) {
	c.site.Log.Error().Str("route", c.route.Pattern).Msg(err.Error())
}

// Go answers with another page, by which a form is not sent twice.
func (c *Call) Go(path string) error {
	if err := c.logged(trail.Success); err != nil {
		return err
	}
	http.Redirect(c.W, c.R, path, http.StatusSeeOther)
	return nil
}

// errSent is what came after the answer had begun: whoever asked has gone.
var errSent = errors.New("the answer was not taken")

func sent(err error) error {
	if err != nil {
		return errors.Join(errSent, err)
	}
	return nil
}

// fail answers with what went wrong. A fault of the program or the machine is told
// to the log, and to who asked only that there was one.
func (c *Call) fail(err error) {
	if errors.Is(err, errSent) || c.R.Context().Err() != nil && errors.Is(err, context.Canceled) {
		return // whoever asked has gone: nothing was shown, and nobody was refused
	}
	if errors.Is(err, errBeingMade) {
		if err = c.making(); err == nil || errors.Is(err, errSent) {
			return
		}
	}
	r, ok := errors.AsType[*Refusal](err)
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		r, ok = &Refusal{http.StatusRequestEntityTooLarge, "That is more than may be sent at a time.", "Send fewer files, or take them in with echotally intake."}, true
	}
	if fault, is := errors.AsType[*account.Fault](err); is {
		r, ok = &Refusal{http.StatusUnprocessableEntity, fault.Reason, fault.Hint}, true
	}
	if !ok {
		c.Failed(err)
		r = &Refusal{http.StatusInternalServerError, "Something went wrong here.", "The program's own log says what. Try again, or ask who looks after it."}
	}
	if c.route.Logged == "" && (r.Status == http.StatusForbidden || r.Status == http.StatusUnauthorized) {
		c.loud, c.what = true, "refused "+c.route.Method+" "+c.route.Pattern
	}
	if err := c.refused(r); err != nil && !errors.Is(err, errSent) {
		c.Failed(err)
		http.Error(c.W, r.Reason, http.StatusInternalServerError)
	}
}

// refused says what was not done, in the form that the route has for it.
func (c *Call) refused(r *Refusal) error {
	if r.Status == http.StatusUnauthorized {
		// RFC 9110, 15.5.2, asks for a challenge. No registered scheme stands for a session
		// that a form begins, and Basic would make browsers ask for a password themselves.
		c.W.Header().Set("WWW-Authenticate", `Cookie realm="echotally", form-action="/sign-in", cookie-name="`+c.site.cookieName()+`"`)
	}
	if c.route.Refuse == nil {
		return c.Page(View{Title: r.Reason, Name: "refusal", Status: r.Status, Data: r})
	}
	if err := c.logged(trail.MinorFailure); err != nil {
		return err
	}
	c.route.Refuse(c.W, r.Status, strings.TrimSpace(r.Reason+" "+r.Hint))
	return nil
}

// SignIn begins a session for who asks.
func (c *Call) SignIn(name string, roles []account.Role) {
	if c.secret != "" {
		c.site.Sessions.End(c.secret)
	}
	c.secret = c.site.Sessions.Begin(name, roles)
	c.setCookie(c.secret, int(c.site.Sessions.Most.Seconds()))
	c.Session = c.site.Sessions.Find(c.secret)
}

// SignOut ends the session.
func (c *Call) SignOut() {
	c.site.Sessions.End(c.secret)
	c.setCookie("", -1)
}

// Change changes the session.
func (c *Call) Change(to func(*session.Session)) { c.site.Sessions.Change(c.secret, to) }

func (c *Call) setCookie(value string, age int) {
	http.SetCookie(c.W, &http.Cookie{
		Name: c.site.cookieName(), Value: value, Path: "/", MaxAge: age, HttpOnly: true, Secure: c.site.Secure, SameSite: http.SameSiteLaxMode,
	})
}

// MayTry reports whether another try to sign in is allowed from where the call comes.
func (c *Call) MayTry(name string) bool {
	now := c.Now()
	return c.site.entering.allow("from "+c.From(), now) && c.site.entering.allow("as "+strings.ToLower(name), now)
}

// Then is the page of this site that was asked for before signing in, "/" for none.
func Then(text string) string {
	u, err := url.Parse(text)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(text, `\`) {
		return "/"
	}
	return u.RequestURI()
}

func escape(text string) string { return url.QueryEscape(text) }
