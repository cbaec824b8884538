package access

import (
	"io"
	"net/http"

	"echotally/internal/account"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

type accountsPage struct {
	Accounts []account.Account
	Roles    []account.Role
	Wrong    *account.Fault
	Name     string // as it was sent, when it was refused
}

// Accounts is the page of accounts and their roles.
func (p *Pages) Accounts(c *frame.Call) error { return p.accounts(c, accountsPage{}, 0) }

func (p *Pages) accounts(c *frame.Call, data accountsPage, status int) error {
	data.Accounts, data.Roles = c.Site().Accounts.All(), account.Roles()
	return c.Page(frame.View{Title: "Accounts", Name: "accounts", Data: data, Status: status})
}

// Add makes an account.
func (p *Pages) Add(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	name := c.R.PostForm.Get("name")
	_, err := c.Site().Accounts.Add(name, c.R.PostForm.Get("password"), rolesOf(c.R.PostForm["role"]))
	return p.changed(c, err, name, trail.Create, "account")
}

// changed tells what a change came to, on the page it was sent from.
func (p *Pages) changed(c *frame.Call, err error, name string, action trail.Action, what string) error {
	c.About(name)
	if fault, ok := err.(*account.Fault); ok {
		return p.accounts(c, accountsPage{Wrong: fault, Name: name}, http.StatusUnprocessableEntity)
	}
	if err != nil {
		return err
	}
	c.Did(action, what)
	return c.Go("/accounts")
}

// Change gives an account other roles or another password, or closes or opens it. Who
// has it is signed out.
func (p *Pages) Change(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	form, book := c.R.PostForm, c.Site().Accounts
	name, what := form.Get("name"), "account: "+form.Get("do")
	var err error
	switch form.Get("do") {
	case "roles":
		err = book.SetRoles(name, rolesOf(form["role"]))
	case "password":
		err = book.SetPassword(name, form.Get("password"))
	case "close", "open":
		err = book.Close(name, form.Get("do") == "close")
	default:
		return frame.Bad("It was not said what to change.", "")
	}
	if err == nil && name != c.Session.Name {
		c.Site().Sessions.EndAll(name)
	}
	return p.changed(c, err, name, trail.Update, what)
}

func rolesOf(words []string) []account.Role {
	var out []account.Role
	for _, w := range words {
		out = append(out, account.Role(w))
	}
	return out
}

type logPage struct {
	Events []trail.Event
	Proof  *trail.Proof
}

// mostEvents is how many events the page of the access log shows; the table has all.
const mostEvents = 200

// Log is the page of the access log.
func (p *Pages) Log(c *frame.Call) error {
	var (
		data logPage
		err  error
	)
	if data.Proof, err = c.Site().Trail.CheckNew(); err != nil {
		return err
	}
	if data.Events, err = c.Site().Trail.Last(mostEvents); err != nil {
		return err
	}
	return c.Page(frame.View{Title: "Access log", Name: "log", Data: data})
}

// LogTable is all of the access log as a table.
func (p *Pages) LogTable(c *frame.Call) error {
	c.Did(trail.Read, "access log exported")
	return c.Send("text/csv; charset=utf-8", "access-log.csv", func(w io.Writer) error { return c.Site().Trail.CSV(w) })
}
