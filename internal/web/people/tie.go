package people

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"echotally/internal/account"
	"echotally/internal/staff"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// mostOfName bounds a name that is sent, in bytes.
const mostOfName = 300

// Tie says which member of staff an account is, or that it is nobody any more.
func (p *Pages) Tie(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	sent := c.R.PostForm
	f := form{Account: strings.TrimSpace(sent.Get("account")), Person: strings.TrimSpace(sent.Get("person"))}
	refuse := func(at, reason, hint string) error {
		f.At, f.Wrong, f.Hint = at, reason, hint
		return p.people(c, f, http.StatusUnprocessableEntity)
	}
	ctx, person := c.R.Context(), ""
	switch {
	case f.Account == "" || len(f.Account) > mostOfName || len(f.Person) > mostOfName:
		return refuse("account", "It is not said which account.", "The name as it stands at the top of the page when the person is signed in.")
	case sent.Get("do") == "nobody":
	case own(c, f.Account) && !c.Lab.Demo && anotherManager(c):
		return refuse("account", "Another quality manager says who you are.", "So nobody chooses whose figures to see.")
	case f.Person == "":
		return refuse("person", "It is not said who the account is.", "A name as the reports write it, or a pseudonym of the ledger.")
	default:
		known, err := p.known(c)
		if frame.BeingMade(err) {
			return refuse("person", "The studies are being counted.", "Send it again in a moment.")
		}
		if err != nil {
			return err
		}
		if person, err = staff.Person(c.Lab.Key, f.Person, known); err != nil {
			return refuse("person", "The ledger knows no such member of staff.", "Write the name as the reports or the lab's list of staff do, such as Family^Given, or give the pseudonym.")
		}
	}
	err := staff.Tie(ctx, c.Lab.Ledger, c.Lab.Key, f.Account, person, c.Session.Name)
	if errors.Is(err, staff.ErrTaken) {
		return refuse("person", "Another account is this member of staff.", "Take that back first: a member of staff has one account.")
	}
	if err != nil {
		return err
	}
	c.About("account " + f.Account)
	words := "account tied to a member of staff"
	if person == "" {
		words = "account tied to nobody"
	}
	c.Did(trail.Update, words)
	return c.Go("/people#who")
}

func own(c *frame.Call, name string) bool { return strings.EqualFold(name, c.Session.Name) }

// anotherManager reports whether somebody else could say who this quality manager is.
func anotherManager(c *frame.Call) bool {
	return slices.ContainsFunc(c.Site().Accounts.All(), func(a account.Account) bool {
		return !a.Closed && a.Has(account.QualityManager) && !own(c, a.Name)
	})
}

// known are the members of staff by pseudonym: those on the lab's list, and those in
// the studies of the last twelve months.
func (p *Pages) known(c *frame.Call) (map[string]bool, error) {
	listed, err := c.Lab.Ledger.Staff(c.R.Context())
	if err != nil {
		return nil, err
	}
	_, studies, err := p.Period.Lately(c)
	if err != nil {
		return nil, err
	}
	out := map[string]bool{}
	for person := range listed {
		out[person] = true
	}
	for _, s := range studies {
		out[s.Sonographer], out[s.Reader] = true, true
	}
	delete(out, "")
	return out, nil
}
