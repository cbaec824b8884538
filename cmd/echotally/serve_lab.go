package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"echotally/internal/audit"
	"echotally/internal/datafile"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/web"
	"echotally/internal/web/action"
	"echotally/internal/web/code"
	"echotally/internal/web/people"
	"echotally/internal/web/period"
	"echotally/internal/web/reading"
	"echotally/internal/web/rulebook"
	"echotally/rules"
)

// labPages gives the page what is looked at together: periods, rules, actions, codes.
func (c *webSection) labPages(s *serving, pages *web.Pages) error {
	opt := audit.Defaults()
	if c.Settings != "" {
		src, err := datafile.ReadFile(os.DirFS(filepath.Dir(c.Settings)), filepath.Base(c.Settings))
		if err != nil {
			return misconfigured("web.settings: "+err.Error(), "it names the lab's settings file; echotally audit --help prints an example")
		}
		if err := opt.ReadSettings(c.Settings, src); err != nil {
			return faults{fmt.Errorf("web.settings: %w", err)}
		}
	}
	shipped := func() (*library.Library, error) {
		return library.Load(library.Settings{Edition: s.edition}, rules.FS)
	}
	load := func(settings library.Settings, more ...fs.FS) (*library.Library, error) {
		layers, err := s.layers()
		if err != nil {
			return nil, err
		}
		settings.Edition = s.edition
		return library.Load(settings, append(layers, more...)...)
	}
	site := ""
	if n := len(s.ruleFolders); n > 0 {
		site = s.ruleFolders[n-1]
	}
	pages.Period = &period.Pages{Choices: opt, Actions: actions}
	pages.Rules = &rulebook.Pages{Load: load, Shipped: shipped, Renew: s.rules.renew, Site: site, Period: pages.Period}
	pages.Action = &action.Pages{Add: addEntry, Period: pages.Period}
	pages.Code = &code.Pages{Load: load, Renew: s.rules.renew, Site: site, Period: pages.Period}
	pages.Evidence = s.evidencePages(pages.Period)
	pages.People = &people.Pages{Period: pages.Period}
	pages.Reading = &reading.Pages{Items: func(set *library.Library) (*review.Items, error) {
		layers, err := s.layers()
		if err != nil {
			return nil, err
		}
		return review.LoadItems(set, layers...)
	}}
	pages.Binder = s.binderPages(pages.Period)
	pages.Meeting = s.meetingPages(pages.Period)
	return nil
}
