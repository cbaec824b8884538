package frame

import (
	"strings"

	"echotally/internal/account"
	"echotally/internal/staff"
)

// Name is the account of the session. A page that asks for it is that account's alone.
func (c *Call) Name() string {
	if c.shared != nil {
		c.shared.personal = true
	}
	return c.Session.Name
}

// Who stands for the account of the session in what the ledger keeps: two persons can
// be told apart, and neither is named.
func (c *Call) Who() string { return c.mark(c.Name()) }

// Roles are the roles of the session, between spaces.
func (c *Call) Roles() string {
	var out []string
	for _, r := range c.Session.Roles {
		out = append(out, string(r))
	}
	return strings.Join(out, " ")
}

func (c *Call) mark(name string) string { return staff.Mark(c.Lab.Key, name) }

// Person is who did something, as people read it: the account where one is known that a
// mark of the ledger stands for, and the roles it had then, between spaces.
func (c *Call) Person(who, roles string) string {
	var words []string
	for _, r := range strings.Fields(roles) {
		words = append(words, account.Role(r).Words())
	}
	out := strings.Join(words, ", ")
	for _, a := range c.site.Accounts.All() {
		if who != "" && c.mark(a.Name) == who {
			return a.Name + " (" + out + ")"
		}
	}
	if who != "" && c.Session != nil && c.Who() == who { // signed in by another system
		return c.Name() + " (" + out + ")"
	}
	return out
}
