package web

import (
	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/web/frame"
)

// home is the first page: how to get the first study in while there is none, then the
// page that who asks works with.
func (p *Pages) home(c *frame.Call) error {
	if !c.Lab.Demo {
		uids, _, err := c.Lab.Ledger.UIDs(c.R.Context(), 0)
		if err != nil {
			return err
		}
		if len(uids) == 0 {
			return c.Page(frame.View{Title: "The first study", Name: "welcome", Data: p.Health.Receivers})
		}
	}
	if !c.Session.Has(account.Sonographer, account.Reader, account.QualityManager) {
		return c.Go("/health")
	}
	return c.Go("/arrivals")
}

// enterDemo shows the invented lab to this session; it is made when it is first asked
// for.
func (p *Pages) enterDemo(c *frame.Call) error {
	if _, err := c.Site().InventedLab(c.R.Context()); err != nil {
		return err
	}
	c.Change(func(s *session.Session) { s.Demo = true })
	return c.Go("/")
}

func (p *Pages) leaveDemo(c *frame.Call) error {
	c.Change(func(s *session.Session) { s.Demo = false })
	return c.Go("/")
}
