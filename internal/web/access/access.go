// Package access owns the pages by which people come in: signing in and out, the
// first account, accounts and their roles, and the access log.
package access

import (
	"embed"
	"net/http"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of accounts.
type Pages struct {
	First *session.Once // by which the first account is made; nil when there are accounts
	Other *Provider     // another system that signs people in; nil for none
}

type signIn struct {
	Then, Name, Wrong string
	Nobody            bool   // has an account yet
	Other             string // name of the other system
}

// Form is the page to sign in.
func (p *Pages) Form(c *frame.Call) error {
	then := frame.Then(c.R.URL.Query().Get("then"))
	if c.Session != nil {
		return c.Go(then)
	}
	return p.form(c, signIn{Then: then}, 0)
}

func (p *Pages) form(c *frame.Call, data signIn, status int) error {
	data.Nobody = c.Site().Accounts.Empty() && p.First != nil
	data.Other = p.Other.Name()
	return c.Page(frame.View{Title: "Sign in", Name: "sign-in", Data: data, Status: status})
}

// SignIn takes name and password.
func (p *Pages) SignIn(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	data := signIn{Then: frame.Then(c.R.PostForm.Get("then")), Name: c.R.PostForm.Get("name")}
	if !c.MayTry(data.Name) {
		data.Wrong = "Too many tries. Wait a minute, then try again."
		c.Did(trail.Execute, "Login, too many tries")
		return p.form(c, data, http.StatusTooManyRequests)
	}
	a := c.Site().Accounts.Try(data.Name, c.R.PostForm.Get("password"))
	if a == nil {
		data.Wrong = "Name and password do not belong together. Try again; who has forgotten the password gets another one from an administrator."
		c.Did(trail.Execute, "Login")
		return p.form(c, data, http.StatusUnauthorized)
	}
	c.SignIn(a.Name, a.Roles)
	c.Did(trail.Execute, "Login")
	return c.Go(data.Then)
}

// SignOut ends the session.
func (p *Pages) SignOut(c *frame.Call) error {
	c.SignOut()
	c.Did(trail.Execute, "Logout")
	return c.Go("/sign-in")
}

type first struct{ Code, Name, Wrong, Hint string }

// FirstForm is the page behind the link that is printed at the start while nobody has
// an account.
func (p *Pages) FirstForm(c *frame.Call) error {
	if !p.First.Fits(c.R.PathValue("code")) {
		return &frame.Refusal{Status: http.StatusNotFound, Reason: "This link was used, or is not whole.", Hint: "Sign in; or start the program again: it prints a new link while nobody has an account."}
	}
	return c.Page(frame.View{Title: "The first account", Name: "first", Data: first{Code: c.R.PathValue("code")}})
}

// FirstAccount makes the first account, with all roles.
func (p *Pages) FirstAccount(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	data := first{Code: c.R.PathValue("code"), Name: c.R.PostForm.Get("name")}
	if !p.First.Fits(data.Code) || !c.Site().Accounts.Empty() {
		return p.FirstForm(c)
	}
	a, err := c.Site().Accounts.Add(data.Name, c.R.PostForm.Get("password"), account.Roles())
	if fault, ok := err.(*account.Fault); ok {
		data.Wrong, data.Hint = fault.Reason, fault.Hint
		return c.Page(frame.View{Title: "The first account", Name: "first", Data: data, Status: http.StatusUnprocessableEntity})
	}
	if err != nil {
		return err
	}
	p.First.Use()
	c.SignIn(a.Name, a.Roles)
	c.Did(trail.Create, "first account")
	return c.Go("/")
}
