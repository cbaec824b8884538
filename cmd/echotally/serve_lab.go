package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"echotally/internal/audit"
	"echotally/internal/datafile/bound"
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

// itemsRead are what is read again by the files of the lab, as they were a moment ago:
// every page of a case asks for them.
type itemsRead struct {
	*app
	lock  sync.Mutex
	set   *library.Library
	at    time.Time
	items *review.Items
}

// aMoment is for how long a change of these files may not be seen (site choice).
const aMoment = 10 * time.Second

func (r *itemsRead) of(set *library.Library) (*review.Items, error) {
	r.lock.Lock()
	defer r.lock.Unlock()
	if r.set == set && time.Since(r.at) < aMoment {
		return r.items, nil
	}
	layers, err := r.layers()
	if err != nil {
		return nil, err
	}
	items, err := review.LoadItems(set, layers...)
	if err == nil {
		r.set, r.at, r.items = set, time.Now(), items
	}
	return items, err
}

// labPages gives the page what is looked at together: periods, rules, actions, codes.
func (c *webSection) labPages(s *serving, pages *web.Pages) error {
	opt := audit.Defaults()
	if c.Settings != "" {
		src, err := bound.ReadFile(os.DirFS(filepath.Dir(c.Settings)), filepath.Base(c.Settings))
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
	read := &itemsRead{app: s.app}
	pages.Reading = &reading.Pages{Items: read.of}
	pages.Binder = s.binderPages(pages.Period)
	pages.Meeting = s.meetingPages(pages.Period)
	return nil
}
